//! HEIC stills of phones (ISO/IEC 23008-12 with HEVC, ITU-T H.265).
//!
//! The decoder turns and crops the picture as the file's properties say, which outrank its EXIF (ISO/IEC 23008-12, 6.5.10 and A.2.1).

use std::path::Path;

use ::image::metadata::Orientation;
use ::image::{DynamicImage, ImageBuffer};
use heifer::heifer_isobmff::boxes::{ColorInfo, Property};
use heifer::heifer_isobmff::{FourCC, HeifFile, ItemId};

use super::super::encoding::Encoding;
use super::super::limits::{HEIC_PIXEL_BYTES, Limits, PIXEL_BYTES, room_for};
use super::super::request::Belief;
use super::super::sniff::Kind;
use super::{Decoded, Stated, broken};
use crate::colour::ColourSpace;
use crate::{Error, ErrorKind, Result};

/// What an auxiliary picture is called that holds coverage.
const ALPHA: [&str; 2] = ["urn:mpeg:hevc:2015:auxid:1", "urn:mpeg:mpegB:cicp:systems:auxiliary:alpha"];

/// Decodes the main picture.
pub(super) fn decode(path: &Path, bytes: &[u8], limits: &Limits) -> Result<Decoded> {
    let file = HeifFile::parse(bytes).map_err(|error| broken(path, Kind::Heic, &error.to_string()))?;
    let main = file.primary_id;
    if let Some([width, height]) = size_of(&file) {
        let held = width.saturating_mul(height).saturating_mul(HEIC_PIXEL_BYTES);
        limits.check_picture(path, width, height, true, held)?;
        let all = held.saturating_add(width * height * PIXEL_BYTES);
        room_for(path, usize::try_from(all).unwrap_or(usize::MAX))?;
    }
    // Holds for what the stream itself claims as well.
    let max_pixels = limits.max_pixels.min(limits.max_bytes / (HEIC_PIXEL_BYTES + PIXEL_BYTES)).max(1);
    // A panic on a thread of its own could not be kept from the terminal.
    let options = heifer::Options { max_threads: 1, max_pixels };
    let picture = heifer::decode_with_options(bytes, &options).map_err(|error| refused(path, &error))?;
    let metadata = heifer::item_metadata(&file, main).unwrap_or_default();
    Ok(Decoded {
        orientation: turned_by(&file, main),
        profile: metadata.icc_profile,
        exif: metadata.exif,
        scale: 1.0,
        pixel_aspect: 1.0,
        stated: stated(&file, main),
        image: samples(path, &picture)?,
    })
}

/// Columns and rows of the main picture before it is turned, as the file's directory states them.
fn size_of(file: &HeifFile<'_>) -> Option<[u64; 2]> {
    let (width, height) = file.image_size(file.primary_id).ok().flatten()?;
    Some([u64::from(width), u64::from(height)])
}

fn refused(path: &Path, error: &heifer::Error) -> Error {
    match error {
        heifer::Error::Unsupported(what) => {
            let cause = format!("this form of HEIC is not read ({})", crate::printable_text(what));
            let remedy =
                "have the phone send JPEG, better a raw still; or convert it to PNG without changing its colours";
            Error::new(ErrorKind::Unsupported, path, cause, remedy)
        }
        other => broken(path, Kind::Heic, &other.to_string()),
    }
}

/// Eight bits as they are, more in sixteen.
fn samples(path: &Path, picture: &heifer::Image) -> Result<DynamicImage> {
    let (width, height) = (picture.width, picture.height);
    let kept = if picture.has_alpha { 4 } else { 3 };
    let codes = picture.data.chunks_exact(4).flat_map(|pixel| &pixel[..kept]).copied();
    let image = if picture.bit_depth <= 8 {
        let codes: Vec<u8> = codes.map(|code| code.min(255) as u8).collect();
        if kept == 4 {
            ImageBuffer::from_vec(width, height, codes).map(DynamicImage::ImageRgba8)
        } else {
            ImageBuffer::from_vec(width, height, codes).map(DynamicImage::ImageRgb8)
        }
    } else {
        let top = u32::from(picture.max_value()).max(1);
        let wide = |code: u16| ((u32::from(code) * 65_535 + top / 2) / top).min(65_535) as u16;
        let codes: Vec<u16> = codes.map(wide).collect();
        if kept == 4 {
            ImageBuffer::from_vec(width, height, codes).map(DynamicImage::ImageRgba16)
        } else {
            ImageBuffer::from_vec(width, height, codes).map(DynamicImage::ImageRgb16)
        }
    };
    image.ok_or_else(|| broken(path, Kind::Heic, "its picture is not of the size that it states"))
}

/// How far the decoder turned the picture, as EXIF would say it: the camera's columns are rows then.
fn turned_by(file: &HeifFile<'_>, item: ItemId) -> Orientation {
    let mut quarters = 0;
    for property in file.item_properties(item).into_iter().flatten() {
        if let Property::Rotation(anticlockwise) = property {
            quarters = *anticlockwise;
        }
    }
    match quarters {
        1 => Orientation::Rotate270,
        2 => Orientation::Rotate180,
        3 => Orientation::Rotate90,
        _ => Orientation::NoTransforms,
    }
}

/// Curve and primaries by the codes of ITU-T H.273, of the picture or of the first piece that it is made of; and what else is in
/// the file.
fn stated(file: &HeifFile<'_>, main: ItemId) -> Stated {
    let first_piece = file.referenced_items(main, b"dimg").first().copied();
    let codes = [Some(main), first_piece].into_iter().flatten().find_map(|item| codes_of(file, item));
    let (primaries, transfer) = codes.unwrap_or((2, 2));
    let encoding = match transfer {
        1 | 6 | 14 | 15 => Some(Encoding::Bt709),
        8 => Some(Encoding::SceneLinear),
        13 => Some(Encoding::Srgb),
        16 => Some(Encoding::Pq),
        18 => Some(Encoding::Hlg),
        _ => None,
    };
    let space = match primaries {
        1 => Some(ColourSpace::rec709()),
        9 => ColourSpace::parse("rec2020"),
        12 => ColourSpace::parse("p3-d65"),
        _ => None,
    };
    let warnings = if has_other_pictures(file, main) {
        vec!["a gain map or other picture beside the main one was left out".to_owned()]
    } else {
        Vec::new()
    };
    Stated {
        encoding: encoding.map(|value| Belief { value, from: "file" }),
        space: space.map(|value| Belief { value, from: "file" }),
        warnings,
    }
}

fn codes_of(file: &HeifFile<'_>, item: ItemId) -> Option<(u16, u16)> {
    file.item_properties(item).ok()?.find_map(|property| match property {
        Property::Color(ColorInfo::Nclx { primaries, transfer, .. }) => Some((*primaries, *transfer)),
        _ => None,
    })
}

/// Something is derived from the main picture by tone mapping (ISO 21496-1), or goes with it that is no coverage.
fn has_other_pictures(file: &HeifFile<'_>, main: ItemId) -> bool {
    let is_tone_map = |id: &ItemId| file.item(*id).is_ok_and(|item| item.item_type == FourCC(*b"tmap"));
    let is_coverage = |id: ItemId| {
        let mut properties = file.item_properties(id).into_iter().flatten();
        properties.any(|p| matches!(p, Property::AuxiliaryType(kind) if ALPHA.contains(&&**kind)))
    };
    file.referencing_items(main, b"dimg").iter().any(is_tone_map)
        || file.referencing_items(main, b"auxl").into_iter().any(|id| !is_coverage(id))
}
