//! Exposure and lens from EXIF.
//!
//! Tags and units: CIPA DC-008 / JEITA CP-3451 (Exif 2.32).

mod place;

use std::io::Cursor;

use ::exif::{Error as ExifError, Exif, Field, In, Reader, Tag, Value};

use super::{CaptureMeta, SensorWidthBasis, Size};

/// Diagonal of the 36 × 24 mm frame that `FocalLengthIn35mmFilm` refers to, in millimetres.
const DIAGONAL_35MM_FILM: f64 = 43.266_615_305_567_87;

/// How far the stored picture's shape may differ from the one EXIF states before it counts as cropped.
const ASPECT_SLACK: f64 = 0.01;

/// Width over height of the pictures that cameras take with their whole sensor or its whole width (common practice, no source).
const SENSOR_SHAPES: [f64; 5] = [5.0 / 4.0, 4.0 / 3.0, 3.0 / 2.0, 16.0 / 9.0, 256.0 / 135.0];
const SHAPE_SLACK: f64 = 0.02;

/// Sensor widths that exist, in millimetres; outside them the focal-plane resolution is wrong (common practice, no
/// source: from the smallest phone sensors to digital large format).
const POSSIBLE_SENSOR_MM: std::ops::RangeInclusive<f64> = 1.0..=130.0;

/// `PhotographicSensitivity` of 65535 means "larger than fits" (Exif 2.32, tag 34855).
const ISO_TOO_LARGE: f64 = 65_535.0;

/// What EXIF says.
#[derive(Debug, Default)]
pub(super) struct ExifFacts {
    /// Exposure and lens.
    pub(super) meta: CaptureMeta,
    /// The interoperability mark of Adobe RGB (`R03`) is set.
    pub(super) adobe_rgb: bool,
    /// Things the reader should know.
    pub(super) warnings: Vec<String>,
}

/// Reads the EXIF of a JPEG, PNG or TIFF file whose picture, as displayed, has `size`.
///
/// `turned`: the orientation swaps rows and columns, so the display width is the sensor's height. Damaged EXIF is a
/// warning; what can be read is used.
pub(super) fn read(bytes: &[u8], size: Size, turned: bool) -> ExifFacts {
    let mut facts = ExifFacts::default();
    let mut damaged = false;
    let read = Reader::new().continue_on_error(true).read_from_container(&mut Cursor::new(bytes));
    let read = read.or_else(|error| error.distill_partial_result(|errors| damaged = !errors.is_empty()));
    match read {
        Ok(exif) => fill(&mut facts, &exif, size, turned),
        Err(ExifError::NotFound(_)) => {}
        Err(_) => damaged = true,
    }
    if damaged {
        facts.warnings.push("its EXIF is damaged; only what could be read is used".to_owned());
    }
    facts
}

fn fill(facts: &mut ExifFacts, exif: &Exif, size: Size, turned: bool) {
    let focal_length_mm = number(exif, Tag::FocalLength);
    let (sensor_width_mm, sensor_width_basis) =
        sensor_width_mm(exif, size, turned, focal_length_mm, &mut facts.warnings).unzip();
    facts.meta = CaptureMeta {
        exposure_time_s: exposure_time_s(exif),
        f_number: f_number(exif),
        iso: iso(exif),
        focal_length_mm,
        sensor_width_mm,
        sensor_width_basis,
        auto_white_balance: field(exif, Tag::WhiteBalance).and_then(|f| f.value.get_uint(0)).map(|v| v == 0),
        camera: camera(exif),
        camera_serial: words(exif, Tag::BodySerialNumber),
        lens: words(exif, Tag::LensModel),
        lens_serial: words(exif, Tag::LensSerialNumber),
        captured: place::captured(exif),
        latitude_deg: place::latitude_deg(exif),
        longitude_deg: place::longitude_deg(exif),
        altitude_m: place::altitude_m(exif),
        heading_deg: place::heading_deg(exif),
        ..CaptureMeta::default()
    };
    facts.adobe_rgb = words(exif, Tag::InteroperabilityIndex).as_deref() == Some("R03");
}

/// `ExposureTime`, else 2^−Tv of `ShutterSpeedValue`.
fn exposure_time_s(exif: &Exif) -> Option<f64> {
    let apex = || signed(exif, Tag::ShutterSpeedValue).map(|tv| (-tv).exp2());
    number(exif, Tag::ExposureTime).or_else(apex).filter(|t| t.is_finite() && *t > 0.0)
}

/// `FNumber`, else 2^(Av/2) of `ApertureValue`.
fn f_number(exif: &Exif) -> Option<f64> {
    let apex = || signed(exif, Tag::ApertureValue).map(|av| (av / 2.0).exp2());
    number(exif, Tag::FNumber).or_else(apex).filter(|n| n.is_finite() && *n > 0.0)
}

fn iso(exif: &Exif) -> Option<f64> {
    let larger = || number(exif, Tag::ISOSpeed).or_else(|| number(exif, Tag::RecommendedExposureIndex));
    number(exif, Tag::PhotographicSensitivity).filter(|iso| *iso < ISO_TOO_LARGE).or_else(larger)
}

/// Width of the sensor area behind the stored columns: focal-plane resolution, else the 35 mm equivalent.
fn sensor_width_mm(
    exif: &Exif,
    size: Size,
    turned: bool,
    focal_length_mm: Option<f64>,
    warnings: &mut Vec<String>,
) -> Option<(f64, SensorWidthBasis)> {
    let as_shot = as_shot_size(exif, turned).unwrap_or([size.width as f64, size.height as f64]);
    let stored_aspect = size.width as f64 / size.height.max(1) as f64;
    if (as_shot[0] / as_shot[1] / stored_aspect - 1.0).abs() > ASPECT_SLACK {
        warnings
            .push("the picture was cropped after it was taken, so its EXIF does not give the field of view".to_owned());
        return None;
    }
    let measured = by_focal_plane(exif, as_shot[0], turned).map(|width| (width, SensorWidthBasis::FocalPlane));
    let mut equivalent = || by_35mm_equivalent(exif, stored_aspect, focal_length_mm, warnings);
    measured
        .or_else(|| Some((equivalent()?, SensorWidthBasis::FilmEquivalent)))
        .filter(|(width, _)| POSSIBLE_SENSOR_MM.contains(width))
}

/// Columns and rows when the picture was taken, as displayed.
fn as_shot_size(exif: &Exif, turned: bool) -> Option<[f64; 2]> {
    let (x, y) = (number(exif, Tag::PixelXDimension)?, number(exif, Tag::PixelYDimension)?);
    Some(if turned { [y, x] } else { [x, y] })
}

fn by_focal_plane(exif: &Exif, columns: f64, turned: bool) -> Option<f64> {
    let tag = if turned { Tag::FocalPlaneYResolution } else { Tag::FocalPlaneXResolution };
    let unit_mm = match field(exif, Tag::FocalPlaneResolutionUnit).and_then(|f| f.value.get_uint(0)) {
        None | Some(2) => 25.4,
        Some(3) => 10.0,
        Some(4) => 1.0,
        Some(5) => 0.001,
        Some(_) => return None,
    };
    number(exif, tag).map(|per_unit| columns / per_unit * unit_mm)
}

/// The equivalent compares diagonals: sensor diagonal = 43.27 mm × focal length / equivalent.
fn by_35mm_equivalent(
    exif: &Exif,
    aspect: f64,
    focal_length_mm: Option<f64>,
    warnings: &mut Vec<String>,
) -> Option<f64> {
    let equivalent_mm = number(exif, Tag::FocalLengthIn35mmFilm)?;
    if !is_shape_of_a_sensor(aspect) {
        warnings.push(
            "no sensor has this picture's shape, so it was cropped, and the 35 mm equivalent in its EXIF does not tell the field of view"
                .to_owned(),
        );
        return None;
    }
    let diagonal_mm = DIAGONAL_35MM_FILM * focal_length_mm? / equivalent_mm;
    warnings.push(format!(
        "the sensor width comes from the rounded 35 mm equivalent ({equivalent_mm:.0} mm) and is good to a few percent"
    ));
    Some(diagonal_mm * aspect / aspect.hypot(1.0))
}

/// Whether a camera's full picture has this shape, upright or not.
fn is_shape_of_a_sensor(aspect: f64) -> bool {
    SENSOR_SHAPES.iter().any(|shape| (aspect.max(aspect.recip()) / shape - 1.0).abs() < SHAPE_SLACK)
}

fn camera(exif: &Exif) -> Option<String> {
    let (make, model) = (words(exif, Tag::Make), words(exif, Tag::Model));
    match (make, model) {
        (Some(make), Some(model)) if model.starts_with(&make) => Some(model),
        (Some(make), Some(model)) => Some(format!("{make} {model}")),
        (make, model) => make.or(model),
    }
}

fn field(exif: &Exif, tag: Tag) -> Option<&Field> {
    exif.get_field(tag, In::PRIMARY)
}

/// A positive number.
fn number(exif: &Exif, tag: Tag) -> Option<f64> {
    signed(exif, tag).filter(|v| *v > 0.0)
}

/// A number, whatever its stored type.
fn signed(exif: &Exif, tag: Tag) -> Option<f64> {
    let value = match &field(exif, tag)?.value {
        Value::Rational(values) => values.first()?.to_f64(),
        Value::SRational(values) => values.first()?.to_f64(),
        Value::Float(values) => f64::from(*values.first()?),
        Value::Double(values) => *values.first()?,
        other => f64::from(other.get_uint(0)?),
    };
    value.is_finite().then_some(value)
}

fn words(exif: &Exif, tag: Tag) -> Option<String> {
    match &field(exif, tag)?.value {
        Value::Ascii(parts) => {
            let text = String::from_utf8_lossy(parts.first()?).trim().to_owned();
            (!text.is_empty()).then_some(text)
        }
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_square_is_no_sensors_shape() {
        for size in [[4032.0, 3024.0], [3024.0, 4032.0], [6000.0, 4000.0], [3840.0, 2160.0]] {
            assert!(is_shape_of_a_sensor(size[0] / size[1]), "{size:?}");
        }
        for size in [[3024.0, 3024.0], [2000.0, 900.0], [1100.0, 1000.0]] {
            assert!(!is_shape_of_a_sensor(size[0] / size[1]), "{size:?}");
        }
    }
}
