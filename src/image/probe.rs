//! What a file will cost, from its header alone.

use std::fs::File;
use std::io::{BufReader, Cursor, Read, Seek};
use std::path::Path;

use ::exr::meta::MetaData;
use ::exr::meta::header::Header;
use ::image::{ImageDecoder, ImageReader};
use heifer::heifer_isobmff::HeifFile;
use jxl_oxide::integration::JxlDecoder;

use super::guard::contain;
use super::limits::{HEIC_PIXEL_BYTES, JXL_PIXEL_BYTES, Limits, PNG_BESIDE_BYTES};
use super::sniff::Kind;
use super::{dpx, exr, movie, raw};
use crate::{Error, ErrorKind, Result};

/// Size of a picture and of its file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Probe {
    /// Pixels present, of the largest part where there are several.
    pub pixels: u64,
    /// Pixels of it that are held at once where it is read in strips.
    pub strip_pixels: u64,
    /// Bytes that decoding takes besides the decoded pixels: of OpenEXR the blocks in work, of other files the whole
    /// file and its samples.
    pub scratch_bytes: u64,
}

/// First bytes that tell a file's kind: four packets of a transport stream.
const KIND_BYTES: u64 = 4 * 192;

/// Bytes of a movie's frame, times so many, that ffmpeg holds while it decodes: references and threads (measured on H.264).
const HELD_BY_DECODER: u64 = 16;

/// Bytes of a pixel's samples that the decoder of progressive JPEG holds besides what it gives out.
const COEFFICIENT_BYTES: u64 = 8;

/// Beginning of a JPEG in which its size must stand, behind EXIF, profile and preview.
const JPEG_HEAD_BYTES: u64 = 32 << 20;

/// Longest HEIC file whose directory is looked at: more than any that is read.
const HEIC_BYTES: u64 = 256 << 20;

/// Bytes of a pixel while half-float TIFF turns into floats.
const HALF_TIFF_BYTES: u64 = 40;

/// Reads the header of the picture at `path`; `None` where it cannot be read or claims more pixels than `limits`
/// allow, so that opening it would fail as well. A camera or display file whose header is broken costs what holding it
/// takes.
pub fn probe(path: &Path, limits: &Limits) -> Option<Probe> {
    // A pipe would block for ever, so only ordinary files are opened.
    let about = path.metadata().ok().filter(std::fs::Metadata::is_file)?;
    let mut file = BufReader::new(File::open(path).ok()?);
    let mut first = Vec::new();
    file.by_ref().take(KIND_BYTES).read_to_end(&mut first).ok()?;
    file.rewind().ok()?;
    let kind = Kind::of(path, &first).ok()?;
    let probe = match kind {
        Kind::Exr => of_exr(file)?,
        Kind::Dpx => of_dpx(file, about.len())?,
        Kind::Movie(container) => of_movie(path, container)?,
        Kind::Raw => {
            let [pixels, scratch_bytes] = raw::cost(path, limits)?;
            Probe { pixels, strip_pixels: pixels, scratch_bytes }
        }
        kind => of_raster(file, kind, about.len()),
    };
    (probe.pixels <= limits.max_pixels).then_some(probe)
}

fn of_exr(file: BufReader<File>) -> Option<Probe> {
    let meta = contain(|| MetaData::read_from_buffered(file, false)).ok()?.ok()?;
    let pixels = |h: &Header| (h.layer_size.width() as u64).saturating_mul(h.layer_size.height() as u64);
    let each = meta.headers.iter().map(|h| Probe {
        pixels: pixels(h),
        strip_pixels: exr::strip_pixels(h),
        scratch_bytes: exr::scratch_bytes(h),
    });
    each.max_by_key(|probe| probe.pixels.saturating_add(probe.scratch_bytes))
}

/// Coded samples are turned into light where they lie: no more than the file is held besides.
fn of_dpx(file: BufReader<File>, file_bytes: u64) -> Option<Probe> {
    let mut head = Vec::new();
    file.take(dpx::HEADER_BYTES as u64).read_to_end(&mut head).ok()?;
    let pixels = dpx::size_of(&head)?;
    Some(Probe { pixels, strip_pixels: pixels, scratch_bytes: file_bytes })
}

fn of_movie(path: &Path, container: movie::Container) -> Option<Probe> {
    let ([width, height], bytes) = movie::cost(path, container)?;
    let pixels = width as u64 * height as u64;
    Some(Probe { pixels, strip_pixels: pixels, scratch_bytes: bytes.saturating_mul(2 + HELD_BY_DECODER) })
}

fn of_raster(file: BufReader<File>, kind: Kind, file_bytes: u64) -> Probe {
    let size = contain(|| raster_size(file, kind)).ok().flatten();
    let Size { pixels, samples } = size.unwrap_or_default();
    // Turning a picture upright takes a second copy.
    let mut scratch = samples.saturating_mul(2).saturating_add(file_bytes);
    if kind == Kind::Jpeg {
        // Its decoder has a copy of the file of its own.
        scratch = scratch.saturating_add(pixels.saturating_mul(COEFFICIENT_BYTES)).saturating_add(file_bytes);
    }
    if kind == Kind::Jxl {
        scratch = scratch.saturating_add(pixels.saturating_mul(JXL_PIXEL_BYTES));
    }
    if kind == Kind::Heic {
        scratch = scratch.saturating_add(pixels.saturating_mul(HEIC_PIXEL_BYTES));
    }
    Probe { pixels, strip_pixels: pixels, scratch_bytes: scratch }
}

/// Pixels, and bytes of their samples.
#[derive(Debug, Clone, Copy, Default)]
struct Size {
    pixels: u64,
    samples: u64,
}

fn raster_size(mut file: BufReader<File>, kind: Kind) -> Option<Size> {
    let sized = |decoder: &dyn ImageDecoder| {
        let (width, height) = decoder.dimensions();
        Some(Size { pixels: u64::from(width) * u64::from(height), samples: decoder.total_bytes() })
    };
    let mut within = ::image::Limits::default();
    within.max_alloc = Some(PNG_BESIDE_BYTES);
    if kind == Kind::Jpeg {
        // The decoder would read the whole file.
        let mut beginning = Vec::new();
        file.take(JPEG_HEAD_BYTES).read_to_end(&mut beginning).ok()?;
        let reader = ImageReader::with_format(Cursor::new(beginning), kind.format()?);
        return sized(&reader.into_decoder().ok()?);
    }
    if kind == Kind::Heic {
        // The directory may name what lies anywhere.
        let mut whole = Vec::new();
        file.take(HEIC_BYTES).read_to_end(&mut whole).ok()?;
        let directory = HeifFile::parse(&whole).ok()?;
        let (width, height) = directory.image_size(directory.primary_id).ok().flatten()?;
        let pixels = u64::from(width) * u64::from(height);
        return Some(Size { pixels, samples: pixels.saturating_mul(8) });
    }
    if kind == Kind::Jxl {
        return sized(&JxlDecoder::new(file).ok()?);
    }
    let mut reader = ImageReader::with_format(&mut file, kind.format()?);
    reader.limits(within);
    if let Ok(decoder) = reader.into_decoder() {
        return sized(&decoder);
    }
    if kind != Kind::Tiff {
        return None;
    }
    file.rewind().ok()?;
    let (width, height) = tiff::decoder::Decoder::new(file).ok()?.dimensions().ok()?;
    let pixels = u64::from(width) * u64::from(height);
    Some(Size { pixels, samples: pixels.saturating_mul(HALF_TIFF_BYTES / 2) })
}

/// Files of these kinds that are so much longer than their samples are damaged: none grows in coding by more than a
/// few per cent. Previews, and what cameras put behind a picture, have room.
const BESIDE_SAMPLES_BYTES: u64 = 256 << 20;

/// Refuses a camera or display file that is far longer than its picture can be, before it is read. TIFF may hold layers
/// and further pages.
pub(super) fn check_length(path: &Path, kind: Kind, length: u64) -> Result<()> {
    if length <= BESIDE_SAMPLES_BYTES || kind == Kind::Tiff {
        return Ok(());
    }
    let file = BufReader::new(File::open(path).map_err(|e| Error::io(path, &e))?);
    let Some(size) = contain(|| raster_size(file, kind)).ok().flatten() else { return Ok(()) };
    if length <= size.samples.saturating_mul(2).saturating_add(BESIDE_SAMPLES_BYTES) {
        return Ok(());
    }
    let cause = format!("the file has {length} bytes, and its picture only {} uncompressed", size.samples);
    Err(Error::new(ErrorKind::Malformed, path, cause, "copy or export the file again"))
}
