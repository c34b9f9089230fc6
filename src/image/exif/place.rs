//! When and where a camera file was taken, from EXIF.
//!
//! Tags and units: CIPA DC-008 / JEITA CP-3451 (Exif 2.32).

use ::exif::{Exif, Tag, Value};

use super::{field, signed, words};
use crate::CaptureTime;
use crate::base::capture_time::parse_offset_s;

/// Local time of the shutter, with its distance from UTC where the file states it.
pub(super) fn captured(exif: &Exif) -> Option<CaptureTime> {
    let local = CaptureTime::parse(&words(exif, Tag::DateTimeOriginal)?)?;
    let offset = words(exif, Tag::OffsetTimeOriginal).and_then(|text| parse_offset_s(&text));
    Some(local.or_offset(offset))
}

pub(super) fn latitude_deg(exif: &Exif) -> Option<f64> {
    let sign = hemisphere(exif, Tag::GPSLatitudeRef, ["N", "S"])?;
    degrees(exif, Tag::GPSLatitude).map(|deg| sign * deg).filter(|deg| deg.abs() <= 90.0)
}

pub(super) fn longitude_deg(exif: &Exif) -> Option<f64> {
    let sign = hemisphere(exif, Tag::GPSLongitudeRef, ["E", "W"])?;
    degrees(exif, Tag::GPSLongitude).map(|deg| sign * deg).filter(|deg| deg.abs() <= 180.0)
}

/// Metres; a reference of 1 means below sea level.
pub(super) fn altitude_m(exif: &Exif) -> Option<f64> {
    let below = field(exif, Tag::GPSAltitudeRef).and_then(|f| f.value.get_uint(0)) == Some(1);
    signed(exif, Tag::GPSAltitude).map(|m| if below { -m } else { m }).filter(|m| m.abs() < 20_000.0)
}

/// Only against true north: how far magnetic north is off depends on place and year.
pub(super) fn heading_deg(exif: &Exif) -> Option<f64> {
    let by_true_north = words(exif, Tag::GPSImgDirectionRef).as_deref() == Some("T");
    signed(exif, Tag::GPSImgDirection).filter(|deg| by_true_north && (0.0..=360.0).contains(deg))
}

fn hemisphere(exif: &Exif, tag: Tag, [positive, negative]: [&str; 2]) -> Option<f64> {
    let letter = words(exif, tag)?;
    if letter == positive { Some(1.0) } else { (letter == negative).then_some(-1.0) }
}

/// Degrees, minutes and seconds.
fn degrees(exif: &Exif, tag: Tag) -> Option<f64> {
    let Value::Rational(parts) = &field(exif, tag)?.value else { return None };
    let part = |i: usize| parts.get(i).map_or(0.0, ::exif::Rational::to_f64);
    let value = part(0) + part(1) / 60.0 + part(2) / 3600.0;
    value.is_finite().then_some(value)
}
