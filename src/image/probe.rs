//! What a file will cost, from its header alone.

use std::fs::File;
use std::io::{BufReader, Read, Seek};
use std::path::Path;

use ::exr::meta::MetaData;
use ::image::ImageReader;

use super::guard::contain;
use super::limits::{Limits, PNG_BESIDE_BYTES};
use super::sniff::Kind;

/// Size of a picture and of its file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Probe {
    /// Pixels present, of the largest part where there are several.
    pub pixels: u64,
    /// Bytes of the file.
    pub file_bytes: u64,
    /// The file is held in memory while it is decoded.
    pub held: bool,
}

/// Reads the header of the picture at `path`; `None` where it cannot be read or claims more pixels than `limits`
/// allow, so that opening it would fail as well.
pub fn probe(path: &Path, limits: &Limits) -> Option<Probe> {
    // A pipe would block for ever, so only ordinary files are opened.
    let about = path.metadata().ok().filter(std::fs::Metadata::is_file)?;
    let mut file = BufReader::new(File::open(path).ok()?);
    let mut first = Vec::new();
    file.by_ref().take(16).read_to_end(&mut first).ok()?;
    file.rewind().ok()?;
    let kind = Kind::of(path, &first).ok()?;
    let pixels = if kind == Kind::Exr { exr_pixels(file)? } else { raster_pixels(file)? };
    (pixels <= limits.max_pixels).then_some(Probe { pixels, file_bytes: about.len(), held: kind != Kind::Exr })
}

fn exr_pixels(file: BufReader<File>) -> Option<u64> {
    let meta = contain(|| MetaData::read_from_buffered(file, false)).ok()?.ok()?;
    meta.headers.iter().map(|h| (h.layer_size.width() as u64).saturating_mul(h.layer_size.height() as u64)).max()
}

fn raster_pixels(file: BufReader<File>) -> Option<u64> {
    let mut within = ::image::Limits::default();
    within.max_alloc = Some(PNG_BESIDE_BYTES);
    let size = contain(|| {
        let mut reader = ImageReader::new(file).with_guessed_format().ok()?;
        reader.limits(within);
        reader.into_dimensions().ok()
    });
    let size = size.ok()??;
    Some(u64::from(size.0) * u64::from(size.1))
}
