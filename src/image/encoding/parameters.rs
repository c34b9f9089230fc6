//! Parameters of the curves that share the form of [`LogCurve`] or [`MirroredLog`], as their makers published them.

use super::camera::MirroredLog;
use super::log_curve::{Base, LogCurve, Toe};

const fn line(cut: f64, slope: f64, intercept: f64) -> Toe {
    Toe::Line { cut, slope, intercept }
}

const fn log(base: Base, gain: f64, shift: f64, scale: f64, offset: f64, toe: Toe) -> LogCurve {
    LogCurve { base, gain, shift, scale, offset, toe }
}

pub(super) const ACESCCT: LogCurve =
    log(Base::Two, 1.0, 0.0, 1.0 / 17.52, 9.72 / 17.52, line(0.0078125, 10.5402377416545, 0.0729055341958355));

/// `10^((95 − 685) / 300)`: what code 95 would decode to without the offset.
const CINEON_BLACK: f64 = 0.010_797_751_623_277_1;
pub(super) const CINEON: LogCurve =
    log(Base::Ten, 1.0 - CINEON_BLACK, CINEON_BLACK, 300.0 / 1023.0, 685.0 / 1023.0, Toe::None);
pub(super) const CINEON_NO_OFFSET: LogCurve = log(Base::Ten, 1.0, 0.0, 300.0 / 1023.0, 685.0 / 1023.0, Toe::None);

/// `10^((64 − 681) / 444)`: what code 64 would decode to without the offset.
const PANALOG_BLACK: f64 = 0.040_771_844_610_380_74;
pub(super) const PANALOG: LogCurve =
    log(Base::Ten, 1.0 - PANALOG_BLACK, PANALOG_BLACK, 444.0 / 1023.0, 681.0 / 1023.0, Toe::None);
pub(super) const VIPERLOG: LogCurve = log(Base::Ten, 1.0, 0.0, 500.0 / 1023.0, 1.0, Toe::None);

/// LogC3's constants depend on the exposure index; 18 % grey stays at code 0.391 for all of them.
const fn logc3(cut: f64, b: f64, c: f64, d: f64, e: f64, f: f64) -> LogCurve {
    log(Base::Ten, 5.555556, b, c, d, line(cut, e, f))
}

pub(super) const LOGC3_EI160: LogCurve = logc3(0.005561, 0.080216, 0.269036, 0.381991, 5.842037, 0.092778);
pub(super) const LOGC3_EI200: LogCurve = logc3(0.006208, 0.076621, 0.266007, 0.382478, 5.776265, 0.092782);
pub(super) const LOGC3_EI250: LogCurve = logc3(0.006871, 0.072941, 0.262978, 0.382966, 5.710494, 0.092786);
pub(super) const LOGC3_EI320: LogCurve = logc3(0.007622, 0.068768, 0.259627, 0.383508, 5.637732, 0.092791);
pub(super) const LOGC3_EI400: LogCurve = logc3(0.008318, 0.064901, 0.256598, 0.383999, 5.571960, 0.092795);
pub(super) const LOGC3_EI500: LogCurve = logc3(0.009031, 0.060939, 0.253569, 0.384493, 5.506188, 0.092800);
pub(super) const LOGC3_EI640: LogCurve = logc3(0.009840, 0.056443, 0.250219, 0.385040, 5.433426, 0.092805);
pub(super) const LOGC3_EI800: LogCurve = logc3(0.010591, 0.052272, 0.247190, 0.385537, 5.367655, 0.092809);
pub(super) const LOGC3_EI1000: LogCurve = logc3(0.011361, 0.047996, 0.244161, 0.386036, 5.301883, 0.092814);
pub(super) const LOGC3_EI1280: LogCurve = logc3(0.012235, 0.043137, 0.240810, 0.386590, 5.229121, 0.092819);
pub(super) const LOGC3_EI1600: LogCurve = logc3(0.013047, 0.038625, 0.237781, 0.387093, 5.163350, 0.092824);

/// LogC4's code span above black, and its black.
const LOGC4_SPAN: f64 = (1023.0 - 95.0) / 1023.0;
const LOGC4_BLACK: f64 = 95.0 / 1023.0;
pub(super) const LOGC4: LogCurve = log(
    Base::Two,
    (262_144.0 - 16.0) / 117.45,
    64.0,
    LOGC4_SPAN / 14.0,
    LOGC4_BLACK - 6.0 * LOGC4_SPAN / 14.0,
    Toe::TangentAtZero,
);

/// S-Log2 is written in legal-range codes (64..940) and in units where 0.9 reflectance is 155/219 of S-Log's 1.
const S_LOG2_LEGAL_SPAN: f64 = 876.0 / 1023.0;
const S_LOG2_LEGAL_BLACK: f64 = 64.0 / 1023.0;
const S_LOG2_GAIN: f64 = 155.0 / 219.0 / 0.9;
pub(super) const S_LOG2: LogCurve = log(
    Base::Ten,
    S_LOG2_GAIN,
    0.037584,
    0.432699 * S_LOG2_LEGAL_SPAN,
    (0.616596 + 0.03) * S_LOG2_LEGAL_SPAN + S_LOG2_LEGAL_BLACK,
    line(0.0, 5.0 * S_LOG2_GAIN * S_LOG2_LEGAL_SPAN, 0.030001222851889303 * S_LOG2_LEGAL_SPAN + S_LOG2_LEGAL_BLACK),
);

pub(super) const S_LOG3: LogCurve = log(
    Base::Ten,
    1.0 / 0.19,
    0.01 / 0.19,
    261.5 / 1023.0,
    420.0 / 1023.0,
    line(0.01125, (171.2102946929 - 95.0) / 0.01125 / 1023.0, 95.0 / 1023.0),
);

const fn mirrored(gain: f64, scale: f64, offset: f64) -> MirroredLog {
    MirroredLog {
        gain,
        scale,
        offset_below: offset,
        offset_above: offset,
        half_width: 0.0,
        slope: 0.0,
        intercept: offset,
    }
}

pub(super) const C_LOG: MirroredLog = mirrored(10.1596, 0.45310179, 0.12512248);
pub(super) const C_LOG2: MirroredLog = mirrored(87.09937546, 0.24136077, 0.092864125);
pub(super) const C_LOG3: MirroredLog = MirroredLog {
    gain: 14.98325,
    scale: 0.36726845,
    offset_below: 0.12783901,
    offset_above: 0.12240537,
    half_width: 0.014,
    slope: 1.9754798,
    intercept: 0.12512219,
};

pub(super) const V_LOG: LogCurve = log(Base::Ten, 1.0, 0.00873, 0.241514, 0.598206, line(0.01, 5.6, 0.125));

/// Log3G10 is written on light shifted up by 0.01; the line is below that zero.
pub(super) const LOG3G10: LogCurve =
    log(Base::Ten, 155.975327, 155.975327 * 0.01 + 1.0, 0.224282, 0.0, line(-0.01, 15.1927, 15.1927 * 0.01));

pub(super) const F_LOG: LogCurve =
    log(Base::Ten, 0.555556, 0.009468, 0.344676, 0.790453, line(0.00089, 8.735631, 0.092864));
pub(super) const F_LOG2: LogCurve =
    log(Base::Ten, 5.555556, 0.064829, 0.245281, 0.384316, line(0.000889, 8.799461, 0.092864));
pub(super) const D_LOG: LogCurve = log(Base::Ten, 0.9892, 0.0108, 0.256663, 0.584555, line(0.0078, 6.025, 0.0929));
pub(super) const L_LOG: LogCurve = log(Base::Ten, 1.3, 0.0115, 0.27, 0.6, line(0.006, 8.0, 0.09));
pub(super) const FILM_GEN5: LogCurve = log(
    Base::E,
    1.0,
    0.005494072432257808,
    0.08692876065491224,
    0.5300133392291939,
    line(0.005, 8.283605932402494, 0.09246575342465753),
);
