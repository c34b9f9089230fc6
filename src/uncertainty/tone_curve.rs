//! A camera file developed by a curve that nothing tells.
//!
//! Measured on camera JPEGs of known scenes decoded as sRGB: 2.00 true stops read as 1.2 to 2.7, channels apart by up to
//! 0.6 stop. Taken as the reach of two standard deviations or a little less.

/// Absolute stops.
pub const EXPOSURE_SD_STOPS: f64 = 0.4;

/// Fraction by which contrast in stops changes.
pub const CONTRAST_SD_FRACTION: f64 = 0.25;

/// One channel against another, stops.
pub const CHANNEL_SD_STOPS: f64 = 0.2;

/// One channel against another where the camera balanced its white by itself, stops (from the same files).
pub const AUTO_WHITE_SD_STOPS: f64 = 0.3;

/// Absolute stops of surroundings of this recorded luminance: the curve's gain at mid grey (0.18), and its contrast away
/// from there.
pub fn exposure_sd_stops(recorded_luminance: f64) -> f64 {
    let from_grey = if recorded_luminance > 0.0 { (recorded_luminance / 0.18).log2().abs().min(4.0) } else { 4.0 };
    EXPOSURE_SD_STOPS.hypot(CONTRAST_SD_FRACTION * from_grey)
}

/// Contrasts below one stop still take the doubt of one: toe and shoulder bend them too.
pub fn contrast_sd_stops(contrast_stops: f64) -> f64 {
    CONTRAST_SD_FRACTION * contrast_stops.abs().max(1.0)
}
