//! Where the sun stands.
//!
//! The NOAA solar equations (NOAA Global Monitoring Laboratory, solar calculator), which follow J. Meeus, Astronomical
//! Algorithms, chapters 25 (low accuracy) and 28; good to about 0.01° between 1900 and 2100.

/// Where the sun stands at a place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SunPosition {
    /// Compass bearing from true north, clockwise, degrees in [0, 360).
    pub bearing_deg: f64,
    /// Above the horizon as seen, refraction included, degrees.
    pub elevation_deg: f64,
}

/// The sun as seen from the Earth's centre.
#[derive(Debug, Clone, Copy, PartialEq)]
struct SunOnSphere {
    /// Apparent ecliptic longitude, degrees.
    longitude_deg: f64,
    /// Declination, degrees.
    declination_deg: f64,
    /// Apparent minus mean solar time, minutes.
    equation_of_time_min: f64,
}

/// Julian date of the epoch J2000.0, and days of a Julian century.
const J2000: f64 = 2_451_545.0;
const CENTURY_DAYS: f64 = 36_525.0;

/// Where the sun stands.
///
/// `julian_date` in UTC, `latitude_deg` north and `longitude_deg` east positive.
pub fn sun_position(julian_date: f64, latitude_deg: f64, longitude_deg: f64) -> SunPosition {
    let sun = sun_on_sphere(julian_date);
    let minutes_utc = (julian_date + 0.5).rem_euclid(1.0) * 1440.0;
    let solar_minutes = minutes_utc + sun.equation_of_time_min + 4.0 * longitude_deg;
    let hour_angle = (solar_minutes / 4.0 - 180.0).to_radians();
    let (sin_lat, cos_lat) = latitude_deg.to_radians().sin_cos();
    let (sin_dec, cos_dec) = sun.declination_deg.to_radians().sin_cos();
    let up = sin_lat * sin_dec + cos_lat * cos_dec * hour_angle.cos();
    let east = -cos_dec * hour_angle.sin();
    let north = cos_lat * sin_dec - sin_lat * cos_dec * hour_angle.cos();
    let true_elevation_deg = up.clamp(-1.0, 1.0).asin().to_degrees();
    SunPosition {
        bearing_deg: east.atan2(north).to_degrees().rem_euclid(360.0),
        elevation_deg: true_elevation_deg + refraction_deg(true_elevation_deg),
    }
}

fn sun_on_sphere(julian_date: f64) -> SunOnSphere {
    let t = (julian_date - J2000) / CENTURY_DAYS;
    let mean_longitude_deg = (280.46646 + t * (36_000.769_83 + 0.000_303_2 * t)).rem_euclid(360.0);
    let mean_anomaly = (357.52911 + t * (35_999.050_29 - 0.000_153_7 * t)).to_radians();
    let eccentricity = 0.016_708_634 - t * (0.000_042_037 + 0.000_000_126_7 * t);
    let centre_deg = mean_anomaly.sin() * (1.914_602 - t * (0.004_817 + 0.000_014 * t))
        + (2.0 * mean_anomaly).sin() * (0.019_993 - 0.000_101 * t)
        + (3.0 * mean_anomaly).sin() * 0.000_289;
    let node = (125.04 - 1934.136 * t).to_radians();
    let longitude_deg = mean_longitude_deg + centre_deg - 0.00569 - 0.00478 * node.sin();
    let mean_obliquity_deg = 23.0 + (26.0 + (21.448 - t * (46.815 + t * (0.00059 - 0.001_813 * t))) / 60.0) / 60.0;
    let obliquity = (mean_obliquity_deg + 0.00256 * node.cos()).to_radians();
    SunOnSphere {
        longitude_deg: longitude_deg.rem_euclid(360.0),
        declination_deg: (obliquity.sin() * longitude_deg.to_radians().sin()).asin().to_degrees(),
        equation_of_time_min: equation_of_time_min(
            mean_longitude_deg.to_radians(),
            mean_anomaly,
            eccentricity,
            obliquity,
        ),
    }
}

fn equation_of_time_min(mean_longitude: f64, mean_anomaly: f64, eccentricity: f64, obliquity: f64) -> f64 {
    let y = (obliquity / 2.0).tan().powi(2);
    let angle = y * (2.0 * mean_longitude).sin() - 2.0 * eccentricity * mean_anomaly.sin()
        + 4.0 * eccentricity * y * mean_anomaly.sin() * (2.0 * mean_longitude).cos()
        - 0.5 * y * y * (4.0 * mean_longitude).sin()
        - 1.25 * eccentricity * eccentricity * (2.0 * mean_anomaly).sin();
    4.0 * angle.to_degrees()
}

/// How much higher the sun is seen than it stands, at sea level (NOAA's approximation).
fn refraction_deg(elevation_deg: f64) -> f64 {
    let tangent = elevation_deg.to_radians().tan();
    let h = elevation_deg;
    let arc_seconds = if h > 85.0 {
        0.0
    } else if h > 5.0 {
        58.1 / tangent - 0.07 / tangent.powi(3) + 0.000_086 / tangent.powi(5)
    } else if h > -0.575 {
        1735.0 + h * (-518.2 + h * (103.4 + h * (-12.79 + 0.711 * h)))
    } else {
        -20.772 / tangent.min(-1e-6)
    };
    arc_seconds / 3600.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::CaptureTime;

    fn julian(text: &str) -> f64 {
        CaptureTime::parse(text).unwrap().julian_date().unwrap()
    }

    /// Reda & Andreas, Solar Position Algorithm, NREL/TP-560-34302, table A5.1: 2003-10-17 12:30:30 at UTC−7,
    /// longitude −105.1786, latitude 39.742476: topocentric zenith 50.11162, azimuth 194.34024.
    #[test]
    fn the_worked_example_of_nrel_is_met() {
        let sun = sun_position(julian("2003-10-17T12:30:30-07:00"), 39.742_476, -105.1786);
        // NOAA's equations claim about 0.01 deg, and their refraction is that of sea level, not of 1830 m.
        assert!((90.0 - sun.elevation_deg - 50.11162).abs() < 0.02, "{sun:?}");
        assert!((sun.bearing_deg - 194.34024).abs() < 0.02, "{sun:?}");
    }

    /// Meeus, Astronomical Algorithms, example 25.a: 1992-10-13 0h TD, apparent longitude 199.90895, declination
    /// −7.78507; example 28.b: equation of time of the same moment 13 min 42.6 s (+13.71 min).
    #[test]
    fn the_worked_examples_of_meeus_are_met() {
        let sun = sun_on_sphere(2_448_908.5);
        assert!((sun.longitude_deg - 199.90895).abs() < 1e-4, "{sun:?}");
        assert!((sun.declination_deg + 7.78507).abs() < 1e-4, "{sun:?}");
        assert!((sun.equation_of_time_min - 13.71).abs() < 0.02, "{sun:?}");
    }

    /// Bearings follow the day: east in the morning, south at noon, west in the evening; north at noon down under.
    #[test]
    fn bearings_follow_the_day_on_both_hemispheres() {
        let kiel = |time| sun_position(julian(time), 54.3, 10.1);
        assert!((kiel("2026-03-20T05:30:00Z").bearing_deg - 90.0).abs() < 5.0);
        assert!((kiel("2026-06-21T11:21:00Z").bearing_deg - 180.0).abs() < 1.0);
        assert!((kiel("2026-06-21T11:21:00Z").elevation_deg - (90.0 - 54.3 + 23.44)).abs() < 0.05);
        assert!(kiel("2026-06-21T23:30:00Z").elevation_deg < -10.0);
        let south = sun_position(julian("2026-12-21T02:00:00Z"), -35.0, 149.1);
        assert!(south.bearing_deg < 10.0 || south.bearing_deg > 350.0, "{south:?}");
    }

    #[test]
    fn poles_and_zenith_give_numbers() {
        for latitude in [-90.0, 0.0, 23.44, 90.0] {
            for hour in 0..24 {
                let sun = sun_position(2_461_212.5 + f64::from(hour) / 24.0, latitude, 0.0);
                assert!(sun.bearing_deg.is_finite() && sun.elevation_deg.abs() <= 91.0, "{latitude} {hour}: {sun:?}");
            }
        }
    }
}
