//! Where and when the film was shot: a North Sea harbour that does not exist, on an evening of May.

use serde_json::{Value, json};

use crate::CaptureTime;
use crate::base::sun::{SunPosition, sun_position};

const LATITUDE_DEG: f64 = 54.9;
const LONGITUDE_DEG: f64 = 8.0;

/// When the frames of a shot were taken, by the clock of the invented camera.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Clock {
    pub(crate) plate: &'static str,
    pub(crate) mirror: &'static str,
}

/// The last light: most of the film.
pub(crate) const DUSK: Clock = Clock { plate: "2026:05:12 20:48:00", mirror: "2026:05:12 20:56:00" };

/// While the sun still stands over the harbour.
pub(crate) const EVENING: Clock = Clock { plate: "2026:05:12 18:40:00", mirror: "2026:05:12 18:48:00" };

/// [`EVENING`]'s mirror frame in the time that sheets use.
pub(crate) const EVENING_TIME: &str = "2026-05-12T18:48:00+02:00";

/// A quarter of an hour before sunset.
pub(crate) const SUNSET_TIME: &str = "2026-05-12T21:00:00+02:00";

/// The harbour as a sheet notes it.
pub(crate) fn place() -> Value {
    json!({ "latitude_deg": LATITUDE_DEG, "longitude_deg": LONGITUDE_DEG })
}

/// Where the sun stands over the harbour.
pub(crate) fn sun_at(time: &str) -> SunPosition {
    let julian = CaptureTime::parse(time).and_then(CaptureTime::julian_date).unwrap_or(0.0);
    sun_position(julian, LATITUDE_DEG, LONGITUDE_DEG)
}

/// Azimuth, camera axes, of what has a compass bearing, for a view along `heading_deg`.
pub(crate) fn azimuth_deg(bearing_deg: f64, heading_deg: f64) -> f64 {
    crate::base::units::wrap_deg(heading_deg + 180.0 - bearing_deg)
}
