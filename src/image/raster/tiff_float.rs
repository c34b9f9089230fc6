//! Floating-point TIFF of the kinds that the general decoder refuses: half floats, and one channel of floats.

use std::io::Cursor;
use std::path::Path;

use ::image::metadata::Orientation;
use ::image::{DynamicImage, ImageBuffer};
use tiff::ColorType;
use tiff::decoder::{Decoder, DecodingResult};
use tiff::tags::{SampleFormat, Tag};

use super::{Decoded, GREY_NOTE, Stated, broken, over_limit, unsupported};
use crate::Result;
use crate::image::limits::Limits;
use crate::image::sniff::Kind;

/// Samples per pixel and bits per sample of a layout that is read here.
struct Layout {
    samples: usize,
    bits: u8,
}

/// Decodes a file of these kinds; `None` for any other, which is left to the general decoder.
///
/// # Errors
/// `Malformed` for a damaged file, `Limit` for one that is too large, `Unsupported` for channels in planes of their
/// own.
pub(super) fn decode(path: &Path, bytes: &[u8], limits: &Limits) -> Result<Option<Decoded>> {
    let Ok(decoder) = Decoder::new(Cursor::new(bytes)) else { return Ok(None) };
    let mut allowed = tiff::decoder::Limits::default();
    allowed.decoding_buffer_size = usize::try_from(limits.max_bytes).unwrap_or(usize::MAX);
    allowed.intermediate_buffer_size = allowed.decoding_buffer_size;
    let mut decoder = decoder.with_limits(allowed);
    let Some(layout) = layout_of(&mut decoder) else { return Ok(None) };
    let failed = |error: tiff::TiffError| match error {
        tiff::TiffError::LimitsExceeded => over_limit(path, &"TIFF"),
        other => broken(path, Kind::Tiff, &other.to_string()),
    };
    let (width, height) = decoder.dimensions().map_err(failed)?;
    let decoded_bytes = u64::from(width) * u64::from(height) * (layout.samples * usize::from(layout.bits / 8)) as u64;
    limits.check_picture(path, u64::from(width), u64::from(height), true, decoded_bytes)?;
    if decoder.find_tag_unsigned(Tag::PlanarConfiguration).ok().flatten() == Some(2_u16) && layout.samples > 1 {
        return Err(unsupported(path, Kind::Tiff, "floating-point channels in separate planes"));
    }
    let orientation = decoder.find_tag_unsigned::<u16>(Tag::Orientation).ok().flatten();
    let orientation = orientation.and_then(|o| Orientation::from_exif(u8::try_from(o).ok()?));
    let orientation = orientation.unwrap_or(Orientation::NoTransforms);
    let profile = decoder.get_tag_u8_vec(Tag::IccProfile).ok();
    let samples = match decoder.read_image().map_err(failed)? {
        DecodingResult::F16(halves) => halves.into_iter().map(f32::from).collect(),
        DecodingResult::F32(floats) => floats,
        _ => return Err(unsupported(path, Kind::Tiff, "its sample layout")),
    };
    let mut image = picture(width, height, layout.samples, &samples)
        .ok_or_else(|| broken(path, Kind::Tiff, "the picture is incomplete"))?;
    image.apply_orientation(orientation);
    let warnings = if layout.samples <= 2 { vec![GREY_NOTE.to_owned()] } else { Vec::new() };
    let stated = Stated { warnings, ..Stated::default() };
    Ok(Some(Decoded { image, orientation, profile, exif: None, scale: 1.0, pixel_aspect: 1.0, stated }))
}

/// The layout, where the samples are floats and it is one of those read here.
fn layout_of(decoder: &mut Decoder<Cursor<&[u8]>>) -> Option<Layout> {
    let formats: Vec<u16> = decoder.find_tag_unsigned_vec(Tag::SampleFormat).ok()??;
    if formats.is_empty() || formats.iter().any(|f| *f != SampleFormat::IEEEFP.to_u16()) {
        return None;
    }
    match decoder.colortype().ok()? {
        ColorType::Gray(bits @ (16 | 32)) => Some(Layout { samples: 1, bits }),
        ColorType::GrayA(bits @ (16 | 32)) => Some(Layout { samples: 2, bits }),
        ColorType::RGB(bits @ 16) => Some(Layout { samples: 3, bits }),
        ColorType::RGBA(bits @ 16) => Some(Layout { samples: 4, bits }),
        _ => None,
    }
}

/// RGB or RGBA floats; grey becomes three equal channels. `None` where samples are missing.
fn picture(width: u32, height: u32, per_pixel: usize, samples: &[f32]) -> Option<DynamicImage> {
    let pixels = samples.chunks_exact(per_pixel);
    if per_pixel.is_multiple_of(2) {
        let rgba = pixels.flat_map(|p| [p[0], p[per_pixel / 2 - 1], p[per_pixel - 2], p[per_pixel - 1]]).collect();
        return ImageBuffer::from_raw(width, height, rgba).map(DynamicImage::ImageRgba32F);
    }
    let rgb = pixels.flat_map(|p| [p[0], p[per_pixel / 2], p[per_pixel - 1]]).collect();
    ImageBuffer::from_raw(width, height, rgb).map(DynamicImage::ImageRgb32F)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_layout_becomes_colour_in_order() {
        let of = |per_pixel: usize, samples: &[f32]| picture(1, 1, per_pixel, samples).unwrap();
        assert_eq!(of(1, &[0.5]).to_rgb32f().into_raw(), [0.5; 3]);
        assert_eq!(of(2, &[0.5, 0.25]).to_rgba32f().into_raw(), [0.5, 0.5, 0.5, 0.25]);
        assert_eq!(of(3, &[0.5, 1.0, 2.0]).to_rgb32f().into_raw(), [0.5, 1.0, 2.0]);
        assert_eq!(of(4, &[0.5, 1.0, 2.0, 0.25]).to_rgba32f().into_raw(), [0.5, 1.0, 2.0, 0.25]);
        assert!(picture(2, 1, 3, &[0.0; 3]).is_none());
    }
}
