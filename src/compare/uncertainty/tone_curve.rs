//! A camera file with an unknown tone curve, or one whose curve was recovered from a bracket.
//!
//! Measured on camera JPEGs of known scenes decoded as sRGB: 2.00 true stops read as 1.2 to 2.7, channels apart by up
//! to 0.6 stop. Taken as the reach of two standard deviations or a little less.

use crate::compare::sphere_measurement::Trust;

/// Absolute stops at mid grey.
const EXPOSURE_SD_STOPS: f64 = 0.5;

/// The same where the curve was recovered from a bracket: cameras place middle grey as ISO 12232 says only within a
/// fraction of a stop (common practice, no source).
const RECOVERED_SD_STOPS: f64 = 0.15;

/// The same relative to a plate from the same camera that was measurably exposed alike: both place middle grey alike.
const RECOVERED_RELATIVE_SD_STOPS: f64 = 0.05;

/// Fraction by which contrast in stops changes.
const CONTRAST_SD_FRACTION: f64 = 0.25;

/// The same where the curve was recovered from a bracket: nominal shutter and f-numbers are rounded, and so is the
/// curve's slope (common practice, no source).
const RECOVERED_CONTRAST_FRACTION: f64 = 0.03;

/// The toe of camera curves: beyond this far below mid grey (code 46 of sRGB, 3 stops), each further stop may be off
/// by this much. Camera JPEGs lose two to three stops at codes 16 to 32 (3.6 to 5.1 stops below).
const TOE_FROM_STOPS: f64 = 3.0;
const TOE_SD_PER_STOP: f64 = 1.2;

/// The uncertainty stops growing this far below mid grey, stops.
const DARKEST_STOPS: f64 = 8.0;

/// What the channels' curves have in common cancels between channels. This fraction remains of an unknown curve (0.3
/// stop at mid grey: half of the 0.6 by which channels were seen to differ), and this one of a recovered curve.
const CHANNEL_FRACTION: f64 = 0.6;
const RECOVERED_CHANNEL_FRACTION: f64 = 0.4;

/// One channel against another where the camera balanced its white by itself, stops (from the same files).
pub const AUTO_WHITE_SD_STOPS: f64 = 0.3;

/// By how much a curve's gain at mid grey (stops) and its contrast (fraction) are unknown.
fn curve(trust: Trust) -> [f64; 2] {
    match (trust.tone_curve, trust.recovered_curve) {
        (true, _) => [EXPOSURE_SD_STOPS, CONTRAST_SD_FRACTION],
        (false, true) => [RECOVERED_SD_STOPS, RECOVERED_CONTRAST_FRACTION],
        (false, false) => [0.0; 2],
    }
}

/// Whether the curve leaves any uncertainty.
pub fn is_uncertain(trust: Trust) -> bool {
    curve(trust)[0] > 0.0
}

/// Absolute stops of surroundings: the curve's gain at mid grey (0.18), and its contrast away from there.
/// `recorded_luminance` is asked only where a curve is in doubt.
pub fn exposure_sd_stops(trust: Trust, recorded_luminance: impl Fn() -> f64) -> f64 {
    let [gain, contrast] = curve(trust);
    if gain == 0.0 {
        return 0.0;
    }
    let recorded = recorded_luminance();
    let from_grey = if recorded > 0.0 { (recorded / 0.18).log2().abs().min(4.0) } else { 4.0 };
    gain.hypot(contrast * from_grey).hypot(toe_sd_stops(trust, || recorded))
}

/// The same relative to a plate that was exposed like the sphere frame, where a bracket told the curve of both.
pub fn relative_exposure_sd_stops(trust: Trust, recorded_luminance: impl Fn() -> f64) -> f64 {
    if trust.tone_curve || !trust.recovered_curve {
        return exposure_sd_stops(trust, recorded_luminance);
    }
    let all = exposure_sd_stops(trust, recorded_luminance);
    (all * all - RECOVERED_SD_STOPS * RECOVERED_SD_STOPS).max(0.0).sqrt().hypot(RECOVERED_RELATIVE_SD_STOPS)
}

/// Uncertainty that the toe of an unknown curve gives to a recorded luminance, stops; the luminance is asked for only
/// where the curve is uncertain.
pub fn toe_sd_stops(trust: Trust, recorded_luminance: impl Fn() -> f64) -> f64 {
    if !trust.tone_curve {
        return 0.0;
    }
    let recorded = recorded_luminance();
    let below = if recorded > 0.0 { -(recorded / 0.18).log2() } else { DARKEST_STOPS };
    TOE_SD_PER_STOP * (below.min(DARKEST_STOPS) - TOE_FROM_STOPS).max(0.0)
}

/// One channel against another at a recorded luminance, stops: away from mid grey the channels' curves part.
pub fn channel_sd_stops(trust: Trust, recorded_luminance: impl Fn() -> f64) -> f64 {
    if trust.recovered_curve && !trust.tone_curve {
        return RECOVERED_CHANNEL_FRACTION * curve(trust)[0];
    }
    CHANNEL_FRACTION * exposure_sd_stops(trust, recorded_luminance)
}

/// Uncertainty of a contrast in stops. Contrasts below one stop get that of one stop: toe and shoulder bend them too.
pub fn contrast_sd_stops(trust: Trust, contrast_stops: f64) -> f64 {
    curve(trust)[1] * contrast_stops.abs().max(1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn linear_files_have_no_curve_and_grey_has_the_least_doubt() {
        assert!(exposure_sd_stops(Trust::default(), || 0.01) < 1e-12);
        let camera = Trust { tone_curve: true, ..Trust::default() };
        approx::assert_relative_eq!(exposure_sd_stops(camera, || 0.18), EXPOSURE_SD_STOPS);
        assert!(exposure_sd_stops(camera, || 0.02) > exposure_sd_stops(camera, || 0.1));
        assert!(contrast_sd_stops(camera, 3.0) > contrast_sd_stops(camera.after(true), 3.0));
    }
}
