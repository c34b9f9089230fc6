//! Camera and display files in: JPEG, JPEG XL, HEIC, PNG, TIFF, Radiance HDR, TGA.

mod heic;
mod png_chunks;
mod profile;
mod samples;
mod tiff_float;

use std::borrow::Cow;
use std::io::Cursor;
use std::path::Path;

use ::image::codecs::hdr::HdrDecoder;
use ::image::error::DecodingError;
use ::image::metadata::Orientation;
use ::image::{DynamicImage, ImageDecoder, ImageError, ImageFormat, ImageReader};
use jxl_oxide::JxlImage;
use jxl_oxide::integration::JxlDecoder;

use self::samples::Linear;
use super::encoding::Encoding;
use super::exif::ExifFacts;
use super::guard::contain;
use super::limits::{JXL_PIXEL_BYTES, Limits, PIXEL_BYTES, PNG_BESIDE_BYTES, room_for};
use super::probe::check_length;
use super::request::{Belief, OpenRequest, Parts, named_space};
use super::sniff::Kind;
use super::stream::InputFile;
use super::{DataWindow, Frame, Size, exif};
use crate::base::parallel;
use crate::colour::ColourSpace;
use crate::{Error, ErrorKind, Result};

/// Fraction of full code at which a JPEG sample counts as clipped: block noise pulls saturated areas a few codes down
/// (250 of 255; common practice, no source).
const JPEG_CLIP_CODE: f64 = 250.0 / 255.0;

/// The same for lossless integer files (254 of 255; common practice, no source).
const LOSSLESS_CLIP_CODE: f64 = 254.0 / 255.0;

/// Bytes at the end of a JPEG in which its end mark must stand; some cameras append a preview or padding.
const JPEG_TAIL_BYTES: usize = 1 << 16;

/// Chromaticities of Adobe RGB (1998), red, green, blue and white (Adobe RGB (1998) Color Image Encoding, 2005).
const ADOBE_RGB: [[f64; 2]; 4] = [[0.64, 0.33], [0.21, 0.71], [0.15, 0.06], [0.3127, 0.3290]];

/// What to say of a picture with one channel.
const GREY_NOTE: &str = "the picture has one channel: it is treated as grey, and colour cannot be judged";

/// What a file says about its colours.
#[derive(Debug, Default)]
struct Stated {
    encoding: Option<Belief<Encoding>>,
    space: Option<Belief<ColourSpace>>,
    warnings: Vec<String>,
}

impl Stated {
    /// What this says, and where it is silent what `other` says.
    fn or(mut self, other: Self) -> Self {
        self.warnings.extend(other.warnings);
        Self { encoding: self.encoding.or(other.encoding), space: self.space.or(other.space), warnings: self.warnings }
    }
}

/// A decoded file before its colours are interpreted.
struct Decoded {
    image: DynamicImage,
    orientation: Orientation,
    profile: Option<Vec<u8>>,
    /// EXIF where it stands in a block of its own.
    exif: Option<Vec<u8>>,
    /// Floating-point samples are multiplied by this.
    scale: f32,
    pixel_aspect: f64,
    stated: Stated,
}

/// Opens a file of one of these kinds.
///
/// # Errors
/// See [`super::open::open`].
pub(super) fn open(request: &OpenRequest<'_>, kind: Kind, file: &InputFile) -> Result<Frame> {
    let path = request.path;
    if file.length() > request.limits.max_bytes {
        let cause = format!("the file has {} bytes, too many to hold in memory", file.length());
        return Err(Error::new(ErrorKind::Limit, path, cause, "convert it to OpenEXR, or raise --max-decoded"));
    }
    check_length(path, kind, file.length())?;
    let bytes = file.whole(path)?;
    let (decoded, blake3) =
        parallel::both(|| contain(|| decode(path, kind, &bytes, request.limits)), || blake3::hash(&bytes));
    let decoded = decoded.map_err(|panic| broken(path, kind, &panic))??;
    interpret(request, kind, &bytes, decoded, blake3.to_hex().to_string())
}

/// Turns code values into light and gathers what the file says.
fn interpret(
    request: &OpenRequest<'_>,
    kind: Kind,
    bytes: &[u8],
    mut decoded: Decoded,
    blake3: String,
) -> Result<Frame> {
    let size = Size { width: decoded.image.width() as usize, height: decoded.image.height() as usize };
    let in_file = if matches!(kind, Kind::Jxl | Kind::Heic) {
        decoded.exif.take().unwrap_or_default().into()
    } else {
        Cow::Borrowed(bytes)
    };
    let facts = exif_facts(kind, &in_file, size, decoded.orientation);
    let stated = colour_statements(kind, bytes, &mut decoded, &facts);
    let float = matches!(decoded.image, DynamicImage::ImageRgb32F(_) | DynamicImage::ImageRgba32F(_));
    let plain = if float { Encoding::SceneLinear } else { Encoding::Srgb };
    let encoding = request.encoding.or(stated.encoding).unwrap_or(Belief { value: plain, from: "default" });
    let space = request.colour_space.clone().or(stated.space);
    let space = space.unwrap_or_else(|| Belief { value: ColourSpace::rec709(), from: "default" });
    let linear = samples::linear(&decoded.image, encoding.value, decoded.scale)
        .ok_or_else(|| unsupported(request.path, kind, "its sample layout"))?;
    let mut warnings = stated.warnings;
    warnings.extend(facts.warnings);
    warnings.extend(notes(kind, bytes, &linear));
    let mut meta = facts.meta;
    meta.orientation = Some(u16::from(decoded.orientation.to_exif())).filter(|o| *o != 1);
    Ok(Parts {
        size,
        data: DataWindow { x: 0, y: 0, width: size.width, height: size.height },
        pixel_aspect: decoded.pixel_aspect,
        clip_level: linear.integer_bits.map(|_| encoding.value.decode(clip_code(kind))),
        encoding,
        space,
        rgb: linear.rgb,
        alpha: linear.alpha.filter(|_| request.want_alpha),
        masked: linear.masked,
        integer_bits: linear.integer_bits,
        format: kind.word(),
        meta,
        layer: None,
        decoded_fraction: 1.0,
        blake3,
        warnings,
    }
    .into_frame(request))
}

/// Things the reader should know about the samples.
fn notes(kind: Kind, bytes: &[u8], linear: &Linear) -> Vec<String> {
    let mut notes = Vec::new();
    if linear.grey {
        notes.push(GREY_NOTE.to_owned());
    }
    // The decoder fills what is missing with grey instead of refusing it.
    let tail = &bytes[bytes.len().saturating_sub(JPEG_TAIL_BYTES)..];
    if kind == Kind::Jpeg && !tail.windows(2).any(|two| two == [0xff, 0xd9]) {
        notes.push("the file has no end marker: its lower part may be missing".to_owned());
    }
    notes
}

fn clip_code(kind: Kind) -> f64 {
    if matches!(kind, Kind::Jpeg | Kind::Jxl | Kind::Heic) { JPEG_CLIP_CODE } else { LOSSLESS_CLIP_CODE }
}

/// EXIF of the kinds that carry it.
fn exif_facts(kind: Kind, bytes: &[u8], size: Size, orientation: Orientation) -> ExifFacts {
    if !matches!(kind, Kind::Jpeg | Kind::Png | Kind::Tiff | Kind::Jxl | Kind::Heic) || bytes.is_empty() {
        return ExifFacts::default();
    }
    let turned = orientation.to_exif() >= 5;
    contain(|| exif::read(bytes, size, turned)).unwrap_or_else(|_| ExifFacts {
        warnings: vec!["its EXIF is damaged and was not used".to_owned()],
        ..ExifFacts::default()
    })
}

/// Everything the file says about encoding and colour space, most trusted first.
fn colour_statements(kind: Kind, bytes: &[u8], decoded: &mut Decoded, facts: &ExifFacts) -> Stated {
    let chunks = if kind == Kind::Png { png_chunks::stated(bytes) } else { Stated::default() };
    let profile = decoded.profile.as_deref().map(by_profile).unwrap_or_default();
    let mark = if facts.adobe_rgb { by_adobe_mark() } else { Stated::default() };
    profile.or(chunks).or(std::mem::take(&mut decoded.stated)).or(mark)
}

/// What an embedded profile says; a warning where it is not understood.
fn by_profile(icc: &[u8]) -> Stated {
    let Some(profile) = profile::read(icc) else {
        let warning = "its embedded colour profile is damaged and was not used".to_owned();
        return Stated { warnings: vec![warning], ..Stated::default() };
    };
    let mut stated = Stated {
        encoding: profile.encoding.map(|value| Belief { value, from: "profile" }),
        space: profile.space.map(|value| Belief { value, from: "profile" }),
        warnings: Vec::new(),
    };
    let unknown = match (&stated.encoding, &stated.space) {
        (Some(_), Some(_)) => None,
        (None, Some(_)) => Some("tone curve"),
        (Some(_), None) => Some("primaries"),
        (None, None) => Some("tone curve and primaries"),
    };
    if let Some(what) = unknown {
        let name = crate::printable_text(&profile.description);
        stated.warnings.push(format!("the {what} of its embedded profile \"{name}\" is not known here"));
    }
    stated
}

/// Adobe RGB (1998) as the `R03` mark of EXIF means it.
fn by_adobe_mark() -> Stated {
    let [red, green, blue, white] = ADOBE_RGB;
    let space = ColourSpace::from_chromaticities(red, green, blue, white);
    Stated {
        encoding: gamma_2_2().map(|value| Belief { value, from: "file" }),
        space: space.map(|value| Belief { value: named_space(value), from: "file" }),
        warnings: Vec::new(),
    }
}

/// The encoding nearest to a power of 2.2.
fn gamma_2_2() -> Option<Encoding> {
    let error = |e: &Encoding| (e.decode(0.5) - 0.5_f64.powf(2.2)).abs() + (e.decode(0.1) - 0.1_f64.powf(2.2)).abs();
    Encoding::ALL.iter().copied().min_by(|a, b| error(a).total_cmp(&error(b)))
}

/// Decodes the samples and turns them upright.
fn decode(path: &Path, kind: Kind, bytes: &[u8], limits: &Limits) -> Result<Decoded> {
    let outcome = match kind {
        Kind::Hdr => decode_radiance(path, bytes, limits)?,
        Kind::Jpeg => decode_by_format(path, ImageFormat::Jpeg, bytes, limits)?,
        Kind::Png => decode_by_format(path, ImageFormat::Png, bytes, limits)?,
        Kind::Tiff => match tiff_float::decode(path, bytes, limits)? {
            Some(decoded) => Ok(decoded),
            None => decode_by_format(path, ImageFormat::Tiff, bytes, limits)?,
        },
        Kind::Jxl => decode_jxl(path, bytes, limits)?,
        Kind::Heic => Ok(heic::decode(path, bytes, limits)?),
        Kind::Tga | Kind::Exr | Kind::Dpx | Kind::Raw | Kind::Movie(_) => {
            decode_by_format(path, ImageFormat::Tga, bytes, limits)?
        }
    };
    let decoded = outcome.map_err(|error| from_image(path, kind, &error))?;
    // A part of a picture may be cut out of it of which nothing is left.
    if decoded.image.width() == 0 || decoded.image.height() == 0 {
        return Err(broken(path, kind, "it has no pixels"));
    }
    Ok(decoded)
}

fn decode_by_format(
    path: &Path,
    format: ImageFormat,
    bytes: &[u8],
    limits: &Limits,
) -> Result<Result<Decoded, ImageError>> {
    let mut reader = ImageReader::with_format(Cursor::new(bytes), format);
    let mut inner = image_limits(limits);
    if format == ImageFormat::Png {
        // The picture's own size is held below; this bounds what stands beside it.
        inner.max_alloc = Some(limits.max_bytes.min(PNG_BESIDE_BYTES));
    }
    reader.limits(inner);
    match reader.into_decoder() {
        Ok(decoder) => finish_decoding(path, decoder, limits),
        Err(error) => Ok(Err(error)),
    }
}

/// Checks the claimed size, then decodes.
fn finish_decoding(
    path: &Path,
    mut decoder: impl ImageDecoder,
    limits: &Limits,
) -> Result<Result<Decoded, ImageError>> {
    let (width, height) = decoder.dimensions();
    limits.check_picture(path, u64::from(width), u64::from(height), true, decoder.total_bytes())?;
    // Light takes three floats, beside the samples.
    let light = u64::from(width) * u64::from(height) * PIXEL_BYTES;
    room_for(path, usize::try_from(decoder.total_bytes().saturating_add(light)).unwrap_or(usize::MAX))?;
    let profile = decoder.icc_profile().ok().flatten();
    let orientation = decoder.orientation().unwrap_or(Orientation::NoTransforms);
    Ok(DynamicImage::from_decoder(decoder).map(|mut image| {
        image.apply_orientation(orientation);
        Decoded { image, orientation, profile, exif: None, scale: 1.0, pixel_aspect: 1.0, stated: Stated::default() }
    }))
}

/// JPEG XL. Its frame is upright already, whatever its EXIF says (ISO/IEC 18181-2, 9.3).
fn decode_jxl(path: &Path, bytes: &[u8], limits: &Limits) -> Result<Result<Decoded, ImageError>> {
    let mut decoder = match JxlDecoder::new(bytes) {
        Ok(decoder) => decoder,
        Err(error) => return Ok(Err(error)),
    };
    let (width, height) = decoder.dimensions();
    let pixels = u64::from(width) * u64::from(height);
    let held = decoder.total_bytes().saturating_add(pixels.saturating_mul(JXL_PIXEL_BYTES));
    limits.check_picture(path, u64::from(width), u64::from(height), true, held)?;
    room_for(path, usize::try_from(held.saturating_add(pixels * PIXEL_BYTES)).unwrap_or(usize::MAX))?;
    if let Err(error) = decoder.set_limits(image_limits(limits)) {
        return Ok(Err(error));
    }
    // The decoder would fill up what is missing of a file that was cut off.
    if !JxlImage::builder().read(bytes).is_ok_and(|image| image.is_loading_done()) {
        return Ok(Err(ImageError::IoError(std::io::ErrorKind::UnexpectedEof.into())));
    }
    let profile = decoder.icc_profile().ok().flatten();
    let exif = decoder.exif_metadata().ok().flatten().map(from_tiff_header);
    Ok(DynamicImage::from_decoder(decoder).map(|image| Decoded {
        image,
        orientation: Orientation::NoTransforms,
        profile,
        exif,
        scale: 1.0,
        pixel_aspect: 1.0,
        stated: Stated::default(),
    }))
}

/// EXIF from its TIFF header on: some programs put JPEG's mark before it.
fn from_tiff_header(mut exif: Vec<u8>) -> Vec<u8> {
    const MARKS: [&[u8]; 2] = [b"II*\0", b"MM\0*"];
    let start = (0..exif.len().min(16)).find(|at| MARKS.iter().any(|mark| exif[*at..].starts_with(mark)));
    exif.drain(..start.unwrap_or(0));
    exif
}

/// Radiance pictures: the header's `EXPOSURE` multiplied the pixels when they were written, so it is divided out;
/// `PRIMARIES` give the colour space (Ward, Real Pixels, Graphics Gems II, 1991; Radiance `picture` file format).
fn decode_radiance(path: &Path, bytes: &[u8], limits: &Limits) -> Result<Result<Decoded, ImageError>> {
    // The strict form insists on one of the two customary first lines.
    let decoder = match HdrDecoder::new_nonstrict(bytes) {
        Ok(decoder) => decoder,
        Err(error) => return Ok(Err(error)),
    };
    let header = decoder.metadata();
    let decoded = finish_decoding(path, decoder, limits)?;
    Ok(decoded.map(|decoded| {
        let exposure = header.exposure.filter(|e| e.is_normal() && *e > 0.0);
        let mut stated = Stated { space: radiance_primaries(&header.custom_attributes), ..Stated::default() };
        if let Some(exposure) = exposure.filter(|e| (e - 1.0).abs() > f32::EPSILON) {
            stated.warnings.push(format!("its header's EXPOSURE of {exposure} was divided out"));
        }
        let aspect = header.pixel_aspect_ratio.filter(|a| a.is_normal() && *a > 0.0);
        Decoded {
            scale: exposure.map_or(1.0, f32::recip),
            // Radiance states height over width.
            pixel_aspect: aspect.map_or(1.0, |a| 1.0 / f64::from(a)),
            stated,
            ..decoded
        }
    }))
}

/// `PRIMARIES= rx ry gx gy bx by wx wy`.
fn radiance_primaries(attributes: &[(String, String)]) -> Option<Belief<ColourSpace>> {
    let (_, text) = attributes.iter().find(|(key, _)| key == "PRIMARIES")?;
    let numbers: Vec<f64> = text.split_whitespace().map_while(|word| word.parse().ok()).collect();
    let [rx, ry, gx, gy, bx, by, wx, wy] = numbers[..] else { return None };
    let space = ColourSpace::from_chromaticities([rx, ry], [gx, gy], [bx, by], [wx, wy])?;
    Some(Belief { value: named_space(space), from: "chromaticities" })
}

fn image_limits(limits: &Limits) -> ::image::Limits {
    let mut inner = ::image::Limits::default();
    inner.max_alloc = Some(limits.max_bytes);
    inner
}

fn broken(path: &Path, kind: Kind, what: &str) -> Error {
    // Some decoders end their reason with a line break.
    let cause = format!("the {} data is damaged or incomplete ({})", kind.title(), what.trim());
    Error::new(ErrorKind::Malformed, path, cause, "copy or export the file again")
}

fn unsupported(path: &Path, kind: Kind, what: &str) -> Error {
    let cause = format!("this form of {} is not supported ({what})", kind.title());
    Error::new(ErrorKind::Unsupported, path, cause, "save it as 8- or 16-bit RGB, 32-bit float RGB, or OpenEXR")
}

/// The decoder's error as ours.
fn from_image(path: &Path, kind: Kind, error: &ImageError) -> Error {
    match error {
        ImageError::Unsupported(what) => unsupported(path, kind, &what.to_string()),
        ImageError::Limits(what) => over_limit(path, what),
        // Which of several broken parts its decoder names changes from run to run.
        ImageError::Decoding(_) if kind == Kind::Jxl => broken(path, kind, "a frame of it cannot be decoded"),
        ImageError::Decoding(what) => broken(path, kind, &decoding_cause(what)),
        ImageError::IoError(what) if what.kind() == std::io::ErrorKind::UnexpectedEof => {
            broken(path, kind, "the file ends too early")
        }
        other => broken(path, kind, &other.to_string()),
    }
}

fn over_limit(path: &Path, what: &dyn std::fmt::Display) -> Error {
    let cause = format!("decoding it would cost more memory than allowed ({what})");
    Error::new(ErrorKind::Limit, path, cause, "check the file, give a smaller one, or raise --max-decoded")
}

/// The innermost reason of a decoding error.
fn decoding_cause(error: &DecodingError) -> String {
    std::error::Error::source(error).map_or_else(|| error.to_string(), ToString::to_string)
}
