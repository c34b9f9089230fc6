//! Exposure and lens from OpenEXR attributes.
//!
//! Names and units: OpenEXR Standard Attributes (AcademySoftwareFoundation, `ImfStandardAttributes.h`, camera set of
//! version 3.2).

use ::exr::meta::attribute::{AttributeValue, EnvironmentMap as StoredMap, IntegerBounds, Text};
use ::exr::meta::header::{Header, LayerAttributes};

use nalgebra::Vector3;

use super::super::{CaptureMeta, EnvironmentMap, SensorWidthBasis};
use super::layers::text;
use crate::CaptureTime;

/// How far the recorded width may exceed the whole sensor's before one of them must be wrong.
const SENSOR_WIDTH_SLACK: f64 = 1.001;

/// What the header says about exposure and lens, with notes for the reader.
pub(super) fn capture_meta(header: &Header) -> (CaptureMeta, Vec<String>) {
    let own = &header.own_attributes;
    let mut notes = Vec::new();
    let (sensor_width_mm, sensor_width_basis) = sensor_width_mm(own, &mut notes).unzip();
    let meta = CaptureMeta {
        exposure_time_s: exposure_time_s(own, &mut notes),
        f_number: positive(own.aperture),
        t_stop: number(own, "tStop"),
        iso: positive(own.iso_speed),
        focal_length_mm: focal_length_mm(own),
        sensor_width_mm,
        sensor_width_basis,
        focus_m: positive(own.focus),
        entrance_pupil_mm: signed(own, "entrancePupilOffset"),
        axis_off_centre: axis_off_centre(own, sensor_width_mm),
        acquisition_px: acquisition(own).map(|area| [area.size.width(), area.size.height()]),
        horizontal_fov_deg: horizontal_fov_deg(own, &mut notes),
        auto_white_balance: None,
        orientation: None,
        camera: named(own, ["cameraMake", "cameraModel"]),
        matrix_fov_deg: own.world_to_normalized_device.as_ref().and_then(|m| matrix_fov_deg(m, &mut notes)),
        camera_serial: words(own, "cameraSerialNumber"),
        lens: named(own, ["lensMake", "lensModel"]),
        lens_serial: words(own, "lensSerialNumber"),
        captured: captured(own),
        latitude_deg: within(own.latitude, 90.0),
        longitude_deg: within(own.longitude, 180.0),
        altitude_m: within(own.altitude, 20_000.0),
        heading_deg: None,
        environment_map: own.environment_map.map(environment_map),
    };
    (meta, notes)
}

/// The stated time; else the part of a frame's time that the shutter is open. Both are held against each other.
fn exposure_time_s(own: &LayerAttributes, notes: &mut Vec<String>) -> Option<f64> {
    /// A shutter's marks and its true opening differ by less (common practice, no source).
    const SAME_TIME: f64 = 0.05;
    let stated = positive(own.exposure);
    let open =
        number(own, "shutterAngle").zip(number(own, "captureRate")).map(|(angle_deg, rate)| angle_deg / 360.0 / rate);
    if let (Some(stated), Some(open)) = (stated, open)
        && (stated / open - 1.0).abs() > SAME_TIME
    {
        notes.push(format!(
            "its expTime of {stated:.5} s is not what shutterAngle and captureRate give, {open:.5} s: expTime is used"
        ));
    }
    stated.or(open)
}

/// A sensor that sits off the lens's axis, as fractions of the width of what it recorded. Positive distances bring in more of what is
/// right and below, so the axis lies left and above.
fn axis_off_centre(own: &LayerAttributes, width_mm: Option<f64>) -> Option<[f64; 2]> {
    /// More than a tenth of the picture is no sensor's tolerance.
    const LARGEST: f64 = 0.1;
    let AttributeValue::FloatVec2(offset_um) = attribute(own, "sensorCenterOffset")? else { return None };
    let width_mm = width_mm?;
    let part = |um: f32| -f64::from(um) / 1000.0 / width_mm;
    let axis = [part(offset_um.x()), part(offset_um.y())];
    axis.iter()
        .all(|part| part.abs() <= LARGEST)
        .then_some(axis)
        .filter(|axis| axis.iter().any(|part| part.abs() > 0.0))
}

/// The pinhole focal length is the one that makes the picture; the engraved one only stands in.
fn focal_length_mm(own: &LayerAttributes) -> Option<f64> {
    ["pinholeFocalLength", "effectiveFocalLength", "nominalFocalLength"].iter().find_map(|name| number(own, name))
}

/// Photosites read out × photosite pitch, else the whole sensor's width.
fn sensor_width_mm(own: &LayerAttributes, notes: &mut Vec<String>) -> Option<(f64, SensorWidthBasis)> {
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
        (Some(width), _) => Some((width, SensorWidthBasis::ReadOut)),
        (None, Some(whole)) => {
            notes.push(format!("the sensor area read out is not stated; its whole width of {whole:.2} mm is assumed"));
            Some((whole, SensorWidthBasis::WholeSensor))
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
            "the field of view of {fov_deg:.1} deg comes from screenWindowWidth = 1, which some programs write by default"
        ));
    }
    Some(fov_deg)
}

fn environment_map(stored: StoredMap) -> EnvironmentMap {
    match stored {
        StoredMap::LatitudeLongitude => EnvironmentMap::LatLong,
        StoredMap::Cube => EnvironmentMap::Cube,
    }
}

/// Make and model, for the report.
fn named(own: &LayerAttributes, names: [&str; 2]) -> Option<String> {
    let words: Vec<String> = names.iter().filter_map(|name| words(own, name)).collect();
    (!words.is_empty()).then(|| words.join(" "))
}

/// Horizontal field of view from `worldToNDC`, whatever the camera's place: the angle between the planes that project
/// onto the frame's left and right edge.
///
/// The matrix takes row vectors (Imath), so its columns are the planes x' = 0, y' = 0, z' = 0 and w' = 0, and the
/// right edge is the plane x' = w'. Some programs write x' from -1 to 1 where the standard says 0 to 1; a centred
/// camera shows it, as its view axis then lies at 0.
fn matrix_fov_deg(matrix: &[f32; 16], notes: &mut Vec<String>) -> Option<f64> {
    let column = |j: usize| Vector3::new(matrix[j], matrix[4 + j], matrix[8 + j]).cast::<f64>();
    let (x, w) = (column(0), column(3));
    let from_minus_one = x.dot(&w).abs() < 1e-4 * x.norm() * w.norm();
    let left = if from_minus_one { x + w } else { x };
    let right = w - x;
    let cosine = left.dot(&right) / (left.norm() * right.norm());
    let fov_deg = 180.0 - cosine.clamp(-1.0, 1.0).acos().to_degrees();
    if !cosine.is_finite() || w.norm() < 1e-9 || !(0.05..179.0).contains(&fov_deg) {
        return None;
    }
    if from_minus_one {
        notes.push(
            "its worldToNDC runs from -1 to 1, although OpenEXR specifies 0 to 1; it is read that way".to_owned(),
        );
    }
    Some(fov_deg)
}

/// `capDate` is local time; `utcOffset` is what has to be added to it to get UTC.
fn captured(own: &LayerAttributes) -> Option<CaptureTime> {
    let local = CaptureTime::parse(&text(own.capture_date.as_ref()?))?;
    Some(local.or_offset(own.utc_offset.map(|add| -f64::from(add))))
}

fn within(value: Option<f32>, largest: f64) -> Option<f64> {
    value.map(f64::from).filter(|v| v.is_finite() && v.abs() <= largest)
}

fn words(own: &LayerAttributes, name: &str) -> Option<String> {
    match attribute(own, name)? {
        AttributeValue::Text(value) => Some(text(value).trim().to_owned()).filter(|t| !t.is_empty()),
        _ => None,
    }
}

/// A finite number.
fn signed(own: &LayerAttributes, name: &str) -> Option<f64> {
    match attribute(own, name)? {
        AttributeValue::F32(value) => Some(f64::from(*value)),
        AttributeValue::F64(value) => Some(*value),
        _ => None,
    }
    .filter(|value| value.is_finite())
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

/// What the file calls its own colour space (`colorInteropID`, OpenEXR 3.4).
pub(super) fn interop_id(header: &Header) -> Option<String> {
    words(&header.own_attributes, "colorInteropID")
}

fn attribute<'a>(own: &'a LayerAttributes, name: &str) -> Option<&'a AttributeValue> {
    own.other.get(&Text::new_or_none(name)?)
}

fn positive(value: Option<f32>) -> Option<f64> {
    value.map(f64::from).filter(|v| *v > 0.0 && v.is_finite())
}
