//! Other material from set, and what a lead has waived.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::length::unit_mm;
use super::{CheckId, ImageSpec};
use crate::base::date::IsoDate;

/// An environment picture that the CG is lit by.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default)]
pub struct EnvironmentSpec {
    /// The picture; with a bracket, what applies to every exposure. Once loaded, it has been copied into each entry of
    /// `bracket`.
    #[serde(flatten, skip_serializing_if = "ImageSpec::names_no_file")]
    pub image: ImageSpec,
    /// The exposures of a bracket, instead of one merged `frame`: lat-long pictures as stitched by a 360-degree camera,
    /// in any order.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    #[schemars(length(max = 32))]
    pub bracket: Vec<ImageSpec>,
    /// Azimuth of the picture's centre column in camera axes, degrees; 0 = the direction from the sphere to the camera.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub heading_deg: Option<f64>,
}

impl EnvironmentSpec {
    /// Every file of it.
    pub(crate) fn pictures(&self) -> &[ImageSpec] {
        if self.bracket.is_empty() { std::slice::from_ref(&self.image) } else { &self.bracket }
    }

    /// The same, to be changed.
    pub(crate) fn pictures_mut(&mut self) -> &mut [ImageSpec] {
        if self.bracket.is_empty() { std::slice::from_mut(&mut self.image) } else { &mut self.bracket }
    }
}

/// A length measured on set and where its ends are in the plate.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default)]
#[schemars(extend("required" = ["name", "ends_px", "length", "unit"]))]
pub struct MeasuredSpec {
    /// What was measured.
    pub name: String,
    /// Where its two ends are in the plate, px.
    pub ends_px: [[f64; 2]; 2],
    /// Its length in `unit`.
    #[schemars(extend("exclusiveMinimum" = 0))]
    pub length: f64,
    /// Unit of `length` and `distance`: `mm`, `cm`, `m`, `in` or `ft`.
    #[schemars(extend("enum" = ["mm", "cm", "m", "in", "ft"]))]
    pub unit: String,
    /// Its distance from the camera in `unit`.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(extend("exclusiveMinimum" = 0))]
    pub distance: Option<f64>,
    /// It stands upright on the ground from which `camera.height_mm` was measured. If `distance` is left out, that height
    /// and `camera.tilt_deg` give it.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub stands_on_ground: bool,
}

impl MeasuredSpec {
    /// Millimetres of one `unit`.
    fn unit_mm(&self) -> f64 {
        unit_mm(&self.unit).unwrap_or(1.0)
    }

    /// Its length, mm.
    pub fn length_mm(&self) -> f64 {
        self.length * self.unit_mm()
    }

    /// Its noted distance from the camera, mm.
    pub fn distance_mm(&self) -> Option<f64> {
        self.distance.map(|distance| distance * self.unit_mm())
    }
}

/// Where and when the sphere was photographed, to work out where the sun was.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default)]
pub struct PlaceSpec {
    /// Latitude, degrees; north is positive.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = -90.0, max = 90.0))]
    pub latitude_deg: Option<f64>,
    /// Longitude, degrees; east is positive.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = -180.0, max = 180.0))]
    pub longitude_deg: Option<f64>,
    /// When the sphere was photographed, ISO 8601 with the offset from UTC: `2026-06-21T17:20:00+02:00`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub time: Option<String>,
}

/// A mismatch that somebody accepts until a date.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(default)]
#[schemars(extend("required" = ["check", "by", "why", "until"]))]
pub struct WaiverSpec {
    /// Name of the check that is waived.
    pub check: String,
    /// Who accepts it.
    #[schemars(length(min = 1))]
    pub by: String,
    /// Why it is acceptable.
    #[schemars(length(min = 1))]
    pub why: String,
    /// The last day on which the waiver is valid, `YYYY-MM-DD`.
    pub until: String,
}

impl WaiverSpec {
    /// Whether it covers `check` on that day; the date in `until` is the last one covered.
    pub fn covers(&self, check: &CheckId, day: IsoDate) -> bool {
        *check == self.check.as_str() && IsoDate::parse(&self.until).is_some_and(|until| day <= until)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_waiver_holds_through_its_last_day() {
        let waiver =
            WaiverSpec { check: "exposure".to_owned(), until: "2027-01-31".to_owned(), ..WaiverSpec::default() };
        let day = |text| IsoDate::parse(text).unwrap();
        assert!(waiver.covers(&CheckId::Exposure, day("2027-01-31")));
        assert!(!waiver.covers(&CheckId::Exposure, day("2027-02-01")));
        assert!(!waiver.covers(&CheckId::ColourBalance, day("2027-01-30")));
    }
}
