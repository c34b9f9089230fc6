//! How much one input file may cost. Checked against what a header claims before anything is allocated for it.

use std::path::Path;

use crate::{Error, ErrorKind, Result};

/// Bytes of one decoded pixel in memory: three 32-bit channels.
pub(super) const PIXEL_BYTES: u64 = 12;

/// Bytes of one decoded pixel's coverage.
const ALPHA_BYTES: u64 = 4;

/// What profile and texts of a PNG file may unfold to, bytes: far more than any holds, and nothing beside the picture.
pub(super) const PNG_BESIDE_BYTES: u64 = 64 << 20;

/// Bytes of a pixel that the decoder of JPEG XL works in: planes of floats, and copies of them for its filters.
pub(super) const JXL_PIXEL_BYTES: u64 = 48;

/// The same of HEIC: samples of luma and chroma, of the picture in four channels, and of that turned.
pub(super) const HEIC_PIXEL_BYTES: u64 = 32;

/// Upper bounds on one input file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Limits {
    /// Pixels of the data window, and of the display window. Default 2²⁸ (16384 × 16384): a 16K plate passes.
    pub max_pixels: u64,
    /// Bytes of the file. Default 16 GiB: a render with some hundred uncompressed channels passes, since OpenEXR files
    /// are streamed. Files of the other kinds are held in memory and so count against `max_bytes` too.
    pub max_file_bytes: u64,
    /// Bytes of memory for the decoded picture with the blocks or file bytes being decoded. Default 4 GiB.
    pub max_bytes: u64,
}

impl Default for Limits {
    fn default() -> Self {
        Self { max_pixels: 1 << 28, max_file_bytes: 16 << 30, max_bytes: 4 << 30 }
    }
}

impl Limits {
    /// Refuses a file that is too long.
    ///
    /// # Errors
    /// [`ErrorKind::Limit`] above `max_file_bytes`.
    pub fn check_file(&self, path: &Path, bytes: u64) -> Result<()> {
        if bytes <= self.max_file_bytes {
            return Ok(());
        }
        let cause = format!("the file has {bytes} bytes, more than the limit of {}", self.max_file_bytes);
        Err(Error::new(ErrorKind::Limit, path, cause, "give a smaller file, or raise the limit with --max-file"))
    }

    /// Refuses a picture whose pixels, with `scratch_bytes` of working memory, would not fit.
    ///
    /// # Errors
    /// [`ErrorKind::Malformed`] for a picture without pixels, [`ErrorKind::Limit`] for one that is too large.
    pub fn check_picture(
        &self,
        path: &Path,
        width: u64,
        height: u64,
        with_alpha: bool,
        scratch_bytes: u64,
    ) -> Result<()> {
        self.check_pixels(path, width, height)?;
        let pixels = width.saturating_mul(height);
        let each = PIXEL_BYTES + if with_alpha { ALPHA_BYTES } else { 0 };
        let bytes = pixels.saturating_mul(each).saturating_add(scratch_bytes);
        if bytes <= self.max_bytes { Ok(()) } else { Err(self.too_large(path, [width, height], bytes)) }
    }

    /// Refuses a picture without pixels or with too many, however little of it is held at once.
    ///
    /// # Errors
    /// As [`Self::check_picture`].
    pub fn check_pixels(&self, path: &Path, width: u64, height: u64) -> Result<()> {
        let pixels = width.saturating_mul(height);
        if pixels == 0 {
            let cause = format!("the picture is {width} × {height} pixels");
            return Err(Error::new(ErrorKind::Malformed, path, cause, "write the file again"));
        }
        let bytes = pixels.saturating_mul(PIXEL_BYTES);
        if pixels <= self.max_pixels { Ok(()) } else { Err(self.too_large(path, [width, height], bytes)) }
    }

    fn too_large(&self, path: &Path, [width, height]: [u64; 2], bytes: u64) -> Error {
        let cause = format!(
            "the header claims {width} × {height} pixels ({bytes} bytes decoded); the limits are {} pixels and {} bytes",
            self.max_pixels, self.max_bytes
        );
        let remedy = "check the file, give a smaller one, or raise --max-pixels and --max-decoded";
        Error::new(ErrorKind::Limit, path, cause, remedy)
    }
}

/// `count` zeros, which take no memory until they are written over.
///
/// # Errors
/// [`ErrorKind::Limit`] where the system gives no memory for them.
pub(super) fn zeroed<T: bytemuck::Zeroable>(path: &Path, count: usize) -> Result<Vec<T>> {
    bytemuck::try_zeroed_vec(count).map_err(|()| no_memory(path, count.saturating_mul(size_of::<T>())))
}

/// An empty list with room for `count` bytes.
///
/// # Errors
/// [`ErrorKind::Limit`] where the system gives no memory for them.
pub(super) fn room(path: &Path, count: usize) -> Result<Vec<u8>> {
    let mut bytes = Vec::new();
    bytes.try_reserve_exact(count).map_err(|_| no_memory(path, count))?;
    Ok(bytes)
}

/// Large pieces that a library is about to ask for without a way to be told no are asked for here first.
const LARGE_PIECE_BYTES: usize = 16 << 20;

/// Asks the system whether it has room for `count` bytes, where those are many, and gives them back.
///
/// # Errors
/// [`ErrorKind::Limit`] where it has not.
pub(super) fn room_for(path: &Path, count: usize) -> Result<()> {
    if count < LARGE_PIECE_BYTES { Ok(()) } else { room(path, count).map(drop) }
}

fn no_memory(path: &Path, bytes: usize) -> Error {
    let cause = format!("the system has no {} MiB of memory for it", bytes.div_ceil(1 << 20));
    let remedy = "give a smaller file, check fewer shots at once (--jobs), or run it where a process may use more";
    Error::new(ErrorKind::Limit, path, cause, remedy)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_16k_plate_passes_and_a_lying_header_does_not() {
        let limits = Limits::default();
        let path = Path::new("ferry.exr");
        assert!(limits.check_picture(path, 16_384, 16_384, false, 0).is_ok());
        let error = limits.check_picture(path, u64::MAX, 2, false, 0).unwrap_err();
        assert_eq!(error.kind, ErrorKind::Limit);
        let error = limits.check_picture(path, 0, 2, false, 0).unwrap_err();
        assert_eq!(error.kind, ErrorKind::Malformed);
        assert!(limits.check_file(path, 17 << 30).is_err());
    }
}
