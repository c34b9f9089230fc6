//! One row per encoding: name, other names, curve, source.
//!
//! Constants are from memory of the publications named in the rows; every curve is checked against
//! `golden/reference_values.json`, which colour-science 0.4.7 computed. Codes are full scale (`code / 1023`), footroom
//! included: a file that was expanded from legal to full range reads wrong on every log curve.

use super::Encoding;
use super::camera::MirroredLog;
use super::log_curve::LogCurve;
use super::parameters::{
    ACESCCT, C_LOG, C_LOG2, C_LOG3, CINEON, CINEON_NO_OFFSET, D_LOG, F_LOG, F_LOG2, FILM_GEN5, L_LOG, LOG3G10,
    LOGC3_EI160, LOGC3_EI200, LOGC3_EI250, LOGC3_EI320, LOGC3_EI400, LOGC3_EI500, LOGC3_EI640, LOGC3_EI800,
    LOGC3_EI1000, LOGC3_EI1280, LOGC3_EI1600, LOGC4, PANALOG, S_LOG2, S_LOG3, V_LOG, VIPERLOG,
};

/// How a row turns codes into light.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Curve {
    Linear,
    Srgb,
    Bt709,
    Gamma(f64),
    Pq,
    Hlg,
    AcesCc,
    Log(LogCurve),
    Mirrored(MirroredLog),
    NLog,
    AppleLog,
}

/// What is known of one encoding.
#[derive(Debug)]
pub(super) struct Row {
    pub(super) encoding: Encoding,
    pub(super) name: &'static str,
    /// Other names, folded (lower case, letters and digits only).
    pub(super) aliases: &'static [&'static str],
    pub(super) curve: Curve,
    pub(super) note: &'static str,
}

const fn row(
    encoding: Encoding,
    name: &'static str,
    aliases: &'static [&'static str],
    curve: Curve,
    note: &'static str,
) -> Row {
    Row { encoding, name, aliases, curve, note }
}

/// All encodings, in the order of [`Encoding`]'s variants.
#[rustfmt::skip] // one row, two lines: read as a table
pub(super) static ROWS: [Row; 41] = [
    row(Encoding::SceneLinear, "scene-linear", &["linear", "lin"], Curve::Linear,
        "linear light, no curve"),
    row(Encoding::Srgb, "srgb", &["iec61966", "iec6196621"], Curve::Srgb,
        "display light, IEC 61966-2-1:1999"),
    row(Encoding::Bt709, "bt709", &["rec709", "itu709"], Curve::Bt709,
        "scene light, inverse of the camera curve of ITU-R BT.709-6 (2015); not the display curve, that is bt1886"),
    row(Encoding::Bt1886, "bt1886", &["rec1886", "gamma24", "g24"], Curve::Gamma(2.4),
        "display light, ITU-R BT.1886 (2011) with black 0: a power of 2.4"),
    row(Encoding::Gamma22, "gamma-2.2", &["g22"], Curve::Gamma(2.2),
        "display light, a power of 2.2 (common practice, no source)"),
    row(Encoding::Gamma26, "gamma-2.6", &["g26", "dci"], Curve::Gamma(2.6),
        "display light, a power of 2.6 as in SMPTE RP 431-2:2011"),
    row(Encoding::Pq, "pq", &["st2084", "smptest2084", "rec2100pq", "bt2100pq"], Curve::Pq,
        "display light in units of 100 cd/m², SMPTE ST 2084:2014"),
    row(Encoding::Hlg, "hlg", &["aribstdb67", "rec2100hlg", "bt2100hlg"], Curve::Hlg,
        "scene light with 1 = peak, inverse OETF of ITU-R BT.2100-2 (2018), table 5"),
    row(Encoding::AcesCc, "acescc", &[], Curve::AcesCc,
        "Academy S-2014-003, ACEScc (2014)"),
    row(Encoding::AcesCct, "acescct", &[], Curve::Log(ACESCCT),
        "Academy S-2016-001, ACEScct (2016)"),
    row(Encoding::Cineon, "cineon", &["cineonlog"], Curve::Log(CINEON),
        "film log, code 95 = black, 685 = 1, 0.002 density a step (Kodak Cineon, from memory), black offset taken out"),
    row(Encoding::CineonNoOffset, "cineon-no-offset", &[], Curve::Log(CINEON_NO_OFFSET),
        "film log, 685 = 1, 0.002 density a step (Kodak Cineon, from memory), black offset left in: darkest is 0.005"),
    row(Encoding::LogC3Ei160, "logc3-ei160", &["arrilogc3ei160"], Curve::Log(LOGC3_EI160),
        "ARRI, ALEXA Log C Curve: Usage in VFX (2012), SUP 3.x, linear scene exposure, EI 160"),
    row(Encoding::LogC3Ei200, "logc3-ei200", &["arrilogc3ei200"], Curve::Log(LOGC3_EI200),
        "ARRI, ALEXA Log C Curve: Usage in VFX (2012), SUP 3.x, linear scene exposure, EI 200"),
    row(Encoding::LogC3Ei250, "logc3-ei250", &["arrilogc3ei250"], Curve::Log(LOGC3_EI250),
        "ARRI, ALEXA Log C Curve: Usage in VFX (2012), SUP 3.x, linear scene exposure, EI 250"),
    row(Encoding::LogC3Ei320, "logc3-ei320", &["arrilogc3ei320"], Curve::Log(LOGC3_EI320),
        "ARRI, ALEXA Log C Curve: Usage in VFX (2012), SUP 3.x, linear scene exposure, EI 320"),
    row(Encoding::LogC3Ei400, "logc3-ei400", &["arrilogc3ei400"], Curve::Log(LOGC3_EI400),
        "ARRI, ALEXA Log C Curve: Usage in VFX (2012), SUP 3.x, linear scene exposure, EI 400"),
    row(Encoding::LogC3Ei500, "logc3-ei500", &["arrilogc3ei500"], Curve::Log(LOGC3_EI500),
        "ARRI, ALEXA Log C Curve: Usage in VFX (2012), SUP 3.x, linear scene exposure, EI 500"),
    row(Encoding::LogC3Ei640, "logc3-ei640", &["arrilogc3ei640"], Curve::Log(LOGC3_EI640),
        "ARRI, ALEXA Log C Curve: Usage in VFX (2012), SUP 3.x, linear scene exposure, EI 640"),
    row(Encoding::LogC3, "logc3", &["logc", "arrilogc", "arrilogc3", "logc3ei800"], Curve::Log(LOGC3_EI800),
        "ARRI, ALEXA Log C Curve: Usage in VFX (2012), SUP 3.x, linear scene exposure, EI 800"),
    row(Encoding::LogC3Ei1000, "logc3-ei1000", &["arrilogc3ei1000"], Curve::Log(LOGC3_EI1000),
        "ARRI, ALEXA Log C Curve: Usage in VFX (2012), SUP 3.x, linear scene exposure, EI 1000"),
    row(Encoding::LogC3Ei1280, "logc3-ei1280", &["arrilogc3ei1280"], Curve::Log(LOGC3_EI1280),
        "ARRI, ALEXA Log C Curve: Usage in VFX (2012), SUP 3.x, linear scene exposure, EI 1280"),
    row(Encoding::LogC3Ei1600, "logc3-ei1600", &["arrilogc3ei1600"], Curve::Log(LOGC3_EI1600),
        "ARRI, ALEXA Log C Curve: Usage in VFX (2012), SUP 3.x, linear scene exposure, EI 1600"),
    row(Encoding::LogC4, "logc4", &["arrilogc4"], Curve::Log(LOGC4),
        "ARRI, LogC4 Logarithmic Color Space Specification (2022)"),
    row(Encoding::SLog2, "s-log2", &["sonyslog2"], Curve::Log(S_LOG2),
        "Sony, S-Log2 technical paper (2012); 18 % grey = 0.18"),
    row(Encoding::SLog3, "s-log3", &["sonyslog3"], Curve::Log(S_LOG3),
        "Sony, Technical Summary for S-Gamut3.Cine/S-Log3 and S-Gamut3/S-Log3 (2014)"),
    row(Encoding::CLog, "c-log", &["canonlog"], Curve::Mirrored(C_LOG),
        "Canon, Canon Log gamma curves white paper, version 1.2 (2018)"),
    row(Encoding::CLog2, "c-log2", &["canonlog2"], Curve::Mirrored(C_LOG2),
        "Canon, Canon Log gamma curves white paper, version 1.2 (2018)"),
    row(Encoding::CLog3, "c-log3", &["canonlog3"], Curve::Mirrored(C_LOG3),
        "Canon, Canon Log gamma curves white paper, version 1.2 (2018)"),
    row(Encoding::VLog, "v-log", &["panasonicvlog"], Curve::Log(V_LOG),
        "Panasonic, VARICAM V-Log/V-Gamut reference manual (2014)"),
    row(Encoding::Log3G10, "log3g10", &["redlog3g10"], Curve::Log(LOG3G10),
        "RED, White Paper on REDWideGamutRGB and Log3G10, version 3 (2017)"),
    row(Encoding::RedLogFilm, "redlogfilm", &["redlog", "redredlogfilm"], Curve::Log(CINEON),
        "RED REDLogFilm: Cineon's curve with its black offset taken out (from memory)"),
    row(Encoding::FLog, "f-log", &["fujifilmflog"], Curve::Log(F_LOG),
        "Fujifilm, F-Log data sheet 1.0 (2016)"),
    row(Encoding::FLog2, "f-log2", &["fujifilmflog2"], Curve::Log(F_LOG2),
        "Fujifilm, F-Log2 data sheet 1.0 (2022)"),
    row(Encoding::NLog, "n-log", &["nikonnlog"], Curve::NLog,
        "Nikon, N-Log specification document 1.0.0 (2018)"),
    row(Encoding::DLog, "d-log", &["djidlog"], Curve::Log(D_LOG),
        "DJI, White Paper on D-Log and D-Gamut (2017)"),
    row(Encoding::LLog, "l-log", &["leicallog"], Curve::Log(L_LOG),
        "Leica, L-Log reference manual 1.0 (2022)"),
    row(Encoding::AppleLog, "apple-log", &["applelogprofile"], Curve::AppleLog,
        "Apple, Apple Log Profile white paper (2023)"),
    row(Encoding::Panalog, "panalog", &[], Curve::Log(PANALOG),
        "Panavision Panalog: code 64 = black, 681 = 1 (from memory)"),
    row(Encoding::ViperLog, "viperlog", &["viper"], Curve::Log(VIPERLOG),
        "Thomson ViperLog: 500 codes a decade, 1023 = 1 (from memory); darkest is 0.009"),
    row(Encoding::FilmGen5, "film-gen5", &["filmgeneration5", "blackmagicfilmgen5", "blackmagicfilmgeneration5", "bmdfilmgen5"], Curve::Log(FILM_GEN5),
        "Blackmagic Design, Generation 5 Color Science technical reference (2021)"),
];

/// The variants in the order of the rows.
pub(super) const ALL: [Encoding; ROWS.len()] = {
    let mut all = [Encoding::SceneLinear; ROWS.len()];
    let mut index = 0;
    while index < all.len() {
        // A row out of place would answer for another curve: refuse to compile.
        assert!(ROWS[index].encoding as usize == index);
        all[index] = ROWS[index].encoding;
        index += 1;
    }
    all
};
