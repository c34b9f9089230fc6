//! The camera that a picture was taken or rendered with.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{SensorFormat, schema_parts};
use crate::image::Size;

/// Two shapes count as the same within this relative difference (a pixel or two of rounding on a small picture).
const SAME_ASPECT: f64 = 0.005;

/// A camera. Every key may be left out; the field of view needs `focal_length_mm` and `sensor_mm` or
/// `sensor_format`.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default)]
pub struct CameraSpec {
    /// Which camera it was, where there were several.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub id: Option<String>,
    /// Focal length, mm.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(extend("exclusiveMinimum" = 0))]
    pub focal_length_mm: Option<f64>,
    /// Anamorphic squeeze: 1 for spherical lenses, 2 for a lens that captures twice the width.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.25, max = 4.0))]
    pub squeeze: Option<f64>,
    /// Width and height of the sensor area that `sensor_px` counts, mm.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(schema_with = "schema_parts::positive_pair")]
    pub sensor_mm: Option<[f64; 2]>,
    /// Name of the sensor or film format, instead of `sensor_mm`: `super-35`, `full-frame`, `super-16`, …
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(length(min = 1))]
    pub sensor_format: Option<String>,
    /// Pixel columns and rows of the sensor.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(schema_with = "schema_parts::positive_pair")]
    pub sensor_px: Option<[f64; 2]>,
    /// Pixel columns and rows that were read out from the sensor.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(schema_with = "schema_parts::positive_pair")]
    pub used_px: Option<[f64; 2]>,
    /// Pixel columns and rows that the camera wrote to its file.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(schema_with = "schema_parts::positive_pair")]
    pub recorded_px: Option<[f64; 2]>,
    /// Tilt, degrees; + = looking up.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = -90.0, max = 90.0))]
    pub tilt_deg: Option<f64>,
    /// Roll, degrees; + = the camera is rotated counter-clockwise as the operator sees it.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = -180.0, max = 180.0))]
    pub roll_deg: Option<f64>,
    /// Compass bearing in which the camera looks, degrees clockwise from true north: 0 = north, 90 = east.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = -360.0, max = 360.0))]
    pub heading_deg: Option<f64>,
    /// One standard deviation of `heading_deg`, degrees. If left out: 3.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.0, max = 180.0))]
    pub heading_sd_deg: Option<f64>,
    /// How much darker the lens makes the corners of the picture than its centre, as far as the CG lacks it, stops: 0 where it was
    /// removed from plate and sphere frames, or is in the CG. If left out: 0.5, as an uncertainty of `exposure`.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.0, max = 4.0))]
    pub corner_fall_off_stops: Option<f64>,
    /// Height of the lens above the ground, mm.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub height_mm: Option<f64>,
    /// Distance from the lens to the sphere, mm.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(extend("exclusiveMinimum" = 0))]
    pub distance_mm: Option<f64>,
    /// The same distance as written down on set, instead of `distance_mm`: `"3.2 m"`, `"10 ft 6 in"`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub distance: Option<String>,
    /// Focal length or sensor came from a command-line option, not from the sheet.
    #[serde(skip)]
    pub by_option: bool,
    /// Horizontal field of view over the full display width, from a command-line option; it overrides everything else.
    #[serde(skip)]
    pub fov_by_option_deg: Option<f64>,
}

/// The field of view that a sheet gives for one picture.
#[derive(Debug, Clone, PartialEq)]
pub struct SheetFieldOfView {
    /// Over the picture's full display width, degrees, with the squeeze taken out.
    pub horizontal_fov_deg: f64,
    /// What was assumed, where the picture's aspect ratio differs from what the camera recorded because it was cropped
    /// or padded.
    pub warning: Option<String>,
    /// It came from a command-line option, not from the sheet.
    pub by_option: bool,
}

impl CameraSpec {
    /// Every key that `self` leaves out taken from `other`.
    #[must_use]
    pub fn or(&self, other: &Self) -> Self {
        Self {
            id: self.id.clone().or_else(|| other.id.clone()),
            focal_length_mm: self.focal_length_mm.or(other.focal_length_mm),
            squeeze: self.squeeze.or(other.squeeze),
            sensor_mm: self.sensor_mm.or(other.sensor_mm),
            sensor_format: self.sensor_format.clone().or_else(|| other.sensor_format.clone()),
            sensor_px: self.sensor_px.or(other.sensor_px),
            used_px: self.used_px.or(other.used_px),
            recorded_px: self.recorded_px.or(other.recorded_px),
            tilt_deg: self.tilt_deg.or(other.tilt_deg),
            roll_deg: self.roll_deg.or(other.roll_deg),
            heading_deg: self.heading_deg.or(other.heading_deg),
            heading_sd_deg: self.heading_sd_deg.or(other.heading_sd_deg),
            corner_fall_off_stops: self.corner_fall_off_stops.or(other.corner_fall_off_stops),
            height_mm: self.height_mm.or(other.height_mm),
            distance_mm: self.distance_mm.or(other.distance_mm),
            distance: self.distance.clone().or_else(|| other.distance.clone()),
            by_option: self.by_option || other.by_option,
            fov_by_option_deg: self.fov_by_option_deg.or(other.fov_by_option_deg),
        }
    }

    /// Tilt and roll, where the tilt is known; a roll that nobody noted is 0.
    pub fn tilt_roll_deg(&self) -> Option<[f64; 2]> {
        Some([self.tilt_deg?, self.roll_deg.unwrap_or(0.0)])
    }

    /// The same camera without its sensor and the area that was read out.
    pub(super) fn without_read_out(&self) -> Self {
        Self { sensor_mm: None, sensor_format: None, sensor_px: None, used_px: None, recorded_px: None, ..self.clone() }
    }

    /// Width and height of the sensor area that `sensor_px` counts, mm: `sensor_mm`, else the gate of `sensor_format`.
    pub fn sensor_size_mm(&self) -> Option<[f64; 2]> {
        let format = || SensorFormat::named(self.sensor_format.as_deref()?).map(|format| format.size_mm);
        self.sensor_mm.or_else(format)
    }

    /// How much of the sensor's width was read out: 1 = all of it.
    pub fn width_read_out(&self) -> f64 {
        match (self.used_px, self.sensor_px) {
            (Some(used), Some(sensor)) => used[0] / sensor[0],
            _ => 1.0,
        }
    }

    /// Width of the read-out part of the sensor, mm, multiplied by the squeeze.
    fn used_width_mm(&self) -> Option<f64> {
        Some(self.sensor_size_mm()?[0] * self.width_read_out() * self.squeeze.unwrap_or(1.0))
    }

    /// The horizontal field of view of a picture of `size`, `2 atan(width / 2f)` of a pinhole; `None` unless focal
    /// length and sensor size are given.
    ///
    /// A picture of another size but the recorded aspect ratio was scaled, which changes nothing. One of another aspect
    /// ratio was cropped or padded: where its height is the recorded height, its width says by how much; otherwise the
    /// full recorded width is assumed. Both cases give a warning.
    pub fn horizontal_fov(&self, size: Size) -> Option<SheetFieldOfView> {
        if let Some(horizontal_fov_deg) = self.fov_by_option_deg {
            return Some(SheetFieldOfView { horizontal_fov_deg, warning: None, by_option: true });
        }
        let focal_mm = self.focal_length_mm?;
        let crop = self.width_crop(size);
        let width_mm = self.used_width_mm()? * crop.factor;
        let horizontal_fov_deg = 2.0 * (width_mm / (2.0 * focal_mm)).atan().to_degrees();
        Some(SheetFieldOfView { horizontal_fov_deg, warning: crop.warning, by_option: self.by_option })
    }

    /// Columns and rows that the camera recorded; only their ratio counts.
    fn recorded(&self) -> Option<[f64; 2]> {
        self.recorded_px.or(self.used_px).or(self.sensor_px).or_else(|| self.sensor_size_mm())
    }

    /// Columns and rows as noted, if the noted sensor is portrait and the picture landscape (or the reverse) and the
    /// two fit once width and height are swapped.
    pub(crate) fn sides_exchanged(&self, size: Size) -> Option<[f64; 2]> {
        let recorded = self.recorded()?;
        let picture = size.width as f64 / size.height as f64 / self.squeeze.unwrap_or(1.0);
        let noted = recorded[0] / recorded[1];
        let fits_exchanged = (picture * noted - 1.0).abs() <= EXCHANGED_ASPECT;
        (fits_exchanged && (picture / noted).ln().abs() > LYING).then_some(recorded)
    }

    fn width_crop(&self, size: Size) -> WidthCrop {
        let Some(recorded) = self.recorded() else { return WidthCrop::none() };
        let (width, height) = (size.width as f64, size.height as f64);
        let stretch = (width / height) / (recorded[0] / recorded[1]);
        let desqueezed = stretch / self.squeeze.unwrap_or(1.0);
        if [stretch, desqueezed].iter().any(|ratio| (ratio - 1.0).abs() <= SAME_ASPECT) {
            return WidthCrop::none();
        }
        let told_by_height = self.recorded_px.is_some_and(|px| (px[1] - height).abs() < 0.5);
        WidthCrop::of(size, recorded, told_by_height.then_some(width / recorded[0]))
    }
}

/// Relative difference in aspect ratio up to which a sensor with width and height swapped fits a picture: deliveries
/// crop a little.
const EXCHANGED_ASPECT: f64 = 0.15;

/// Natural log of the ratio of two aspect ratios beyond which one is certainly landscape and the other portrait.
const LYING: f64 = 0.3;

/// By how much a picture is narrower (or wider) than what the camera recorded.
struct WidthCrop {
    factor: f64,
    warning: Option<String>,
}

impl WidthCrop {
    fn none() -> Self {
        Self { factor: 1.0, warning: None }
    }

    fn of(size: Size, recorded: [f64; 2], known_factor: Option<f64>) -> Self {
        let assumed = match known_factor {
            Some(_) => "its width was cropped or padded and the field of view was adjusted",
            None => "it was cropped or padded in a way that the sheet does not say, and the full width is assumed",
        };
        let warning = format!(
            "the picture is {}x{}, but the camera recorded the proportions {}x{}: {assumed}",
            size.width, size.height, recorded[0], recorded[1]
        );
        Self { factor: known_factor.unwrap_or(1.0), warning: Some(warning) }
    }
}

#[cfg(test)]
mod tests {
    use approx::assert_relative_eq;

    use super::*;

    const UHD: Size = Size { width: 4096, height: 2160 };

    fn super_35(focal_length_mm: f64) -> CameraSpec {
        CameraSpec { focal_length_mm: Some(focal_length_mm), sensor_mm: Some([24.89, 18.66]), ..CameraSpec::default() }
    }

    #[test]
    fn field_of_view_follows_the_pinhole_formula() {
        // Closed form 2 atan(d / 2f) for a 24.89 mm gate: 18 mm 69.32°, 35 mm 39.15°, 50 mm 27.95°.
        for (focal, degrees) in [(18.0, 69.32), (35.0, 39.15), (50.0, 27.95)] {
            let told = super_35(focal).horizontal_fov(Size { width: 2048, height: 1536 }).unwrap();
            assert_relative_eq!(told.horizontal_fov_deg, degrees, epsilon = 0.01);
        }
    }

    #[test]
    fn reading_out_half_the_sensor_halves_the_tangent() {
        let whole = CameraSpec { sensor_px: Some([4608.0, 2430.0]), ..super_35(32.0) };
        let half = CameraSpec { used_px: Some([2304.0, 2430.0]), ..whole.clone() };
        let tangent =
            |camera: &CameraSpec| (camera.horizontal_fov(UHD).unwrap().horizontal_fov_deg.to_radians() / 2.0).tan();
        assert_relative_eq!(tangent(&half), tangent(&whole) / 2.0, epsilon = 1e-12);
    }

    #[test]
    fn squeeze_widens() {
        let spherical = super_35(40.0);
        let anamorphic = CameraSpec { squeeze: Some(2.0), ..spherical.clone() };
        let tangent =
            |camera: &CameraSpec| (camera.horizontal_fov(UHD).unwrap().horizontal_fov_deg.to_radians() / 2.0).tan();
        assert_relative_eq!(tangent(&anamorphic), 2.0 * tangent(&spherical), epsilon = 1e-12);
    }

    #[test]
    fn a_scaled_picture_keeps_its_field_of_view_and_a_cut_one_warns() {
        let camera = CameraSpec { recorded_px: Some([4096.0, 2160.0]), ..super_35(32.0) };
        let half_size = camera.horizontal_fov(Size { width: 2048, height: 1080 }).unwrap();
        assert_eq!(half_size, camera.horizontal_fov(UHD).unwrap());
        assert_eq!(half_size.warning, None);

        let cut = camera.horizontal_fov(Size { width: 3840, height: 2160 }).unwrap();
        assert!(cut.horizontal_fov_deg < half_size.horizontal_fov_deg);
        assert!(cut.warning.is_some());
        let letterbox = camera.horizontal_fov(Size { width: 4096, height: 1716 }).unwrap();
        assert_relative_eq!(letterbox.horizontal_fov_deg, half_size.horizontal_fov_deg);
        assert!(letterbox.warning.is_some());
    }

    #[test]
    fn a_field_of_view_by_option_outranks_the_lens() {
        let camera = CameraSpec { fov_by_option_deg: Some(42.0), ..super_35(32.0) };
        let told = camera.horizontal_fov(UHD).unwrap();
        assert_relative_eq!(told.horizontal_fov_deg, 42.0);
        assert!(told.by_option && !super_35(32.0).horizontal_fov(UHD).unwrap().by_option);
    }

    #[test]
    fn without_focal_length_or_sensor_nothing_is_told() {
        assert_eq!(CameraSpec { sensor_mm: Some([24.89, 18.66]), ..CameraSpec::default() }.horizontal_fov(UHD), None);
        assert_eq!(CameraSpec { focal_length_mm: Some(32.0), ..CameraSpec::default() }.horizontal_fov(UHD), None);
    }
}
