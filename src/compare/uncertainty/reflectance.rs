//! The real sphere's reflectance.

use crate::compare::sphere_measurement::ReflectanceUncertainty;
use crate::sheet::{MirrorReflectance, MirrorSpec};

/// Uncertainty of an unknown reflectance, all channels together, stops. Mirror spheres lie between worn chrome (0.5)
/// and silver (0.96): ±0.47 stop about 0.7, as two thirds of the cases.
const UNKNOWN_SD_STOPS: f64 = 0.35;

/// Uncertainty of a given reflectance without one of its own, stops (common practice, no source).
const GIVEN_SD_STOPS: f64 = 0.05;

/// Part of a reflectance's uncertainty that differs between channels (common practice, no source).
const TINT_FRACTION: f64 = 0.2;

/// Uncertainty of a mirror's reflectance as the sheet tells it, stops.
pub fn told_sd_stops(mirror: Option<&MirrorSpec>) -> f64 {
    let by_kind = match mirror.and_then(|m| m.reflectance) {
        None => UNKNOWN_SD_STOPS,
        Some(MirrorReflectance::Material(material)) => material.sd_stops(),
        Some(MirrorReflectance::Rgb(_)) => GIVEN_SD_STOPS,
    };
    mirror.and_then(|m| m.reflectance_sd_stops).unwrap_or(by_kind)
}

/// The part of a reflectance's uncertainty (stops) that remains in the comparison with a CG sphere that has its own
/// reflectance.
pub fn uncertainty(sd_stops: f64) -> ReflectanceUncertainty {
    ReflectanceUncertainty { common_sd_stops: sd_stops, channel_sd_stops: TINT_FRACTION * sd_stops }
}
