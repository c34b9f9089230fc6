//! Exposure and lens from OpenEXR attributes.
//!
//! Names and units: OpenEXR Standard Attributes (AcademySoftwareFoundation, `ImfStandardAttributes.h`, camera set of
//! version 3.2).

use ::exr::meta::attribute::{AttributeValue, IntegerBounds, Text};
use ::exr::meta::header::{Header, LayerAttributes};

use super::super::CaptureMeta;
use super::layers::text;

/// How far the recorded width may exceed the whole sensor's before one of them must be wrong.
const SENSOR_WIDTH_SLACK: f64 = 1.001;

/// What the header says about exposure and lens, with notes for the reader.
pub(super) fn capture_meta(header: &Header) -> (CaptureMeta, Vec<String>) {
    let own = &header.own_attributes;
    let mut notes = Vec::new();
    let meta = CaptureMeta {
        exposure_time_s: positive(own.exposure),
        f_number: positive(own.aperture),
        t_stop: number(own, "tStop"),
        iso: positive(own.iso_speed),
        focal_length_mm: focal_length_mm(own),
        sensor_width_mm: sensor_width_mm(own, &mut notes),
        horizontal_fov_deg: horizontal_fov_deg(own, &mut notes),
        auto_white_balance: None,
        orientation: None,
        camera: camera(own),
    };
    (meta, notes)
}

/// The pinhole focal length is the one that makes the picture; the engraved one only stands in.
fn focal_length_mm(own: &LayerAttributes) -> Option<f64> {
    ["pinholeFocalLength", "effectiveFocalLength", "nominalFocalLength"].iter().find_map(|name| number(own, name))
}

/// Photosites read out × photosite pitch, else the whole sensor's width.
fn sensor_width_mm(own: &LayerAttributes, notes: &mut Vec<String>) -> Option<f64> {
    let whole = whole_sensor_width_mm(own);
    let read_out = acquisition(own).zip(number(own, "sensorPhotositePitch"));
    // A box's corners are inclusive; the crate has turned them into a size already. Pitch is in micrometres.
    let read_out = read_out.map(|(area, pitch_um)| area.size.width() as f64 * pitch_um / 1000.0);
    match (read_out, whole) {
        (Some(width), Some(whole)) if width > whole * SENSOR_WIDTH_SLACK => {
            notes.push(format!(
                "the sensor area read out would be {width:.2} mm wide, the whole sensor {whole:.2} mm: neither is used"
            ));
            None
        }
        (Some(width), _) => Some(width),
        (None, Some(whole)) => {
            notes.push(format!("the sensor area read out is not stated; its whole width of {whole:.2} mm is assumed"));
            Some(whole)
        }
        (None, None) => None,
    }
}

fn whole_sensor_width_mm(own: &LayerAttributes) -> Option<f64> {
    match attribute(own, "sensorOverallDimensions")? {
        AttributeValue::FloatVec2(size) => positive(Some(size.x())),
        _ => None,
    }
}

fn acquisition(own: &LayerAttributes) -> Option<IntegerBounds> {
    match attribute(own, "sensorAcquisitionRectangle")? {
        AttributeValue::IntegerBounds(area) => Some(*area),
        _ => None,
    }
}

/// Field of view from `screenWindowWidth`, the picture's width at unit distance: 2·atan(w/2).
///
/// Programs that know no camera write centre (0, 0) and width 1, so that is believed only beside a camera matrix.
fn horizontal_fov_deg(own: &LayerAttributes, notes: &mut Vec<String>) -> Option<f64> {
    let width = positive(Some(own.screen_window_width))?;
    let centre = own.screen_window_center;
    let off_placeholder = [own.screen_window_width - 1.0, centre.x(), centre.y()];
    let placeholder = off_placeholder.iter().all(|difference| difference.abs() < f32::EPSILON);
    let has_camera = own.world_to_camera.is_some() || own.world_to_normalized_device.is_some();
    if placeholder && !has_camera {
        return None;
    }
    let fov_deg = 2.0 * (width / 2.0).atan().to_degrees();
    if placeholder {
        notes.push(format!(
            "the field of view of {fov_deg:.1} deg comes from screenWindowWidth = 1, which some programs write without meaning it"
        ));
    }
    Some(fov_deg)
}

/// Make and model, for the report.
fn camera(own: &LayerAttributes) -> Option<String> {
    let words: Vec<String> = ["cameraMake", "cameraModel"].iter().filter_map(|name| words(own, name)).collect();
    (!words.is_empty()).then(|| words.join(" "))
}

fn words(own: &LayerAttributes, name: &str) -> Option<String> {
    match attribute(own, name)? {
        AttributeValue::Text(value) => Some(text(value).trim().to_owned()).filter(|t| !t.is_empty()),
        _ => None,
    }
}

/// A positive number of any of the numeric attribute types.
fn number(own: &LayerAttributes, name: &str) -> Option<f64> {
    let value = match attribute(own, name)? {
        AttributeValue::F32(value) => f64::from(*value),
        AttributeValue::F64(value) => *value,
        AttributeValue::I32(value) => f64::from(*value),
        AttributeValue::Rational((above, below)) => f64::from(*above) / f64::from(*below),
        _ => return None,
    };
    (value > 0.0 && value.is_finite()).then_some(value)
}

fn attribute<'a>(own: &'a LayerAttributes, name: &str) -> Option<&'a AttributeValue> {
    own.other.get(&Text::new_or_none(name)?)
}

fn positive(value: Option<f32>) -> Option<f64> {
    value.map(f64::from).filter(|v| *v > 0.0 && v.is_finite())
}
