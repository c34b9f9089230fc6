//! Regions of a photographed sphere to leave out: crew, tripod, the photographer.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::structure::Misfit;

/// A region to leave out, given either by direction (a cone of `radius_deg` around `azimuth_deg`, `elevation_deg`) or
/// by its outline in the frame (`polygon_px`).
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default)]
pub struct IgnoreSpec {
    /// What is there; the report names it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub what: Option<String>,
    /// Azimuth of the cone's axis in camera axes, degrees.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = -360.0, max = 360.0))]
    pub azimuth_deg: Option<f64>,
    /// Elevation of the cone's axis, degrees.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = -90.0, max = 90.0))]
    pub elevation_deg: Option<f64>,
    /// Half-angle of the cone, degrees.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(extend("exclusiveMinimum" = 0, "maximum" = 180))]
    pub radius_deg: Option<f64>,
    /// Corners of the region in order, pixels of the frame. It may extend beyond the sphere.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub polygon_px: Option<Vec<[f64; 2]>>,
}

/// A completely described region.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum IgnoreRegion<'a> {
    /// All directions within `radius_deg` of an axis.
    Cone {
        /// Azimuth of the axis in camera axes, degrees.
        azimuth_deg: f64,
        /// Its elevation, degrees.
        elevation_deg: f64,
        /// Half-angle, degrees.
        radius_deg: f64,
    },
    /// The inside of a polygon in the frame, px.
    Polygon(&'a [[f64; 2]]),
}

/// Largest number of corners of a polygon; outlines drawn by hand have a few dozen.
const MOST_CORNERS: usize = 4096;

impl IgnoreSpec {
    /// The region, if it is given completely and in one way only.
    pub fn region(&self) -> Option<IgnoreRegion<'_>> {
        match (self.azimuth_deg, self.elevation_deg, self.radius_deg, &self.polygon_px) {
            (Some(azimuth_deg), Some(elevation_deg), Some(radius_deg), None) => {
                Some(IgnoreRegion::Cone { azimuth_deg, elevation_deg, radius_deg })
            }
            (None, None, None, Some(corners)) if (3..=MOST_CORNERS).contains(&corners.len()) => {
                Some(IgnoreRegion::Polygon(corners))
            }
            _ => None,
        }
    }

    /// The region in words.
    pub fn words(&self) -> String {
        let place = match self.region() {
            Some(IgnoreRegion::Cone { azimuth_deg, elevation_deg, radius_deg }) => {
                format!("within {radius_deg:.0} deg of azimuth {azimuth_deg:.0} deg, elevation {elevation_deg:.0} deg")
            }
            Some(IgnoreRegion::Polygon(corners)) => format!("a polygon of {} corners", corners.len()),
            None => "nothing".to_owned(),
        };
        match &self.what {
            Some(what) => format!("{} ({place})", crate::printable_text(what)),
            None => place,
        }
    }

    /// Every region is either a complete cone or a complete polygon, never both.
    pub(super) fn rule(&self, path: &str) -> Result<(), Misfit> {
        if self.region().is_some() {
            return Ok(());
        }
        Err(Misfit {
            cause: format!("`{path}` is neither a cone nor a polygon"),
            remedy:
                "give `azimuth_deg`, `elevation_deg` and `radius_deg`, or else `polygon_px` with three corners or more"
                    .to_owned(),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cone() -> IgnoreSpec {
        IgnoreSpec {
            azimuth_deg: Some(10.0),
            elevation_deg: Some(-5.0),
            radius_deg: Some(8.0),
            ..IgnoreSpec::default()
        }
    }

    #[test]
    fn a_region_is_one_thing_and_whole() {
        assert!(cone().rule("i").is_ok());
        assert_eq!(cone().words(), "within 8 deg of azimuth 10 deg, elevation -5 deg");
        assert!(IgnoreSpec { radius_deg: None, ..cone() }.rule("i").is_err());
        let corners = Some(vec![[0.0, 0.0], [4.0, 0.0], [0.0, 4.0]]);
        let polygon =
            IgnoreSpec { polygon_px: corners.clone(), what: Some("crew".to_owned()), ..IgnoreSpec::default() };
        assert_eq!(polygon.words(), "crew (a polygon of 3 corners)");
        assert!(IgnoreSpec { polygon_px: corners, ..cone() }.rule("i").is_err());
        assert!(IgnoreSpec { polygon_px: Some(vec![[0.0; 2]; 2]), ..IgnoreSpec::default() }.rule("i").is_err());
    }
}
