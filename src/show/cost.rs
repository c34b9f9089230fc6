//! What a shot will cost, from the headers of its frames.

use std::path::Path;

use super::provenance::named_files;
use crate::base::parallel;
use crate::image::probe::probe;
use crate::sheet::ShotSheet;
use crate::{Error, ErrorKind};

/// Bytes of a decoded pixel, three channels and coverage of 32 bits each, with what is worked out from the whole frame.
/// The peak of a whole process grows by 21 bytes a pixel from 960 x 540 to 3840 x 2160 px.
const DECODED_PIXEL_BYTES: u64 = 24;

/// The same of a bracket's further exposures: ten of 8192 x 8192 px take 16.2 bytes a pixel.
const EXPOSURE_PIXEL_BYTES: u64 = 17;

/// Maps, registration and the evidence picture of a shot, whatever its frames: the peak of a whole process over
/// 960 x 540 px frames is 75 MB.
const SHOT_BYTES: u64 = 96 << 20;

/// Memory that checking one shot takes at its peak.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Need {
    /// All of it.
    pub bytes: u64,
    /// The frame that takes most of it, as the sheet names it.
    pub largest: Option<String>,
    /// Its share.
    pub largest_bytes: u64,
}

/// Memory that checking one shot takes at its peak, as far as the headers of its frames tell. What cannot be read
/// counts nothing: it will be refused.
pub fn need(sheet: &ShotSheet) -> Need {
    let mut need = Need { bytes: SHOT_BYTES, largest: None, largest_bytes: 0 };
    let mut scratch = Vec::new();
    for (place, image) in sheet.images() {
        let (Ok(name), Ok(path)) = (image.file_name(), image.path(&sheet.base_dir)) else { continue };
        let Some(frame) = probe(&path, &image.limits) else { continue };
        let further = place.contains(".bracket[") && !place.ends_with(".bracket[0]");
        let each = if further { EXPOSURE_PIXEL_BYTES } else { DECODED_PIXEL_BYTES };
        let decoded = if place == "environment" {
            // What is kept of it besides is among what a shot takes anyway.
            frame.strip_pixels.saturating_mul(each)
        } else {
            frame.pixels.saturating_mul(each)
        };
        need.bytes = need.bytes.saturating_add(decoded);
        scratch.push(frame.scratch_bytes);
        let bytes = decoded.saturating_add(frame.scratch_bytes);
        if bytes > need.largest_bytes {
            (need.largest, need.largest_bytes) = (Some(name), bytes);
        }
    }
    // No more frames than cores are decoded at once.
    scratch.sort_unstable_by_key(|bytes| std::cmp::Reverse(*bytes));
    let at_once = scratch.iter().take(parallel::cores());
    need.bytes = at_once.fold(need.bytes, |sum, bytes| sum.saturating_add(*bytes));
    need
}

impl Need {
    /// Why a shot that needs so much is not checked where there is no more than `budget`; `sheet` is what is named where
    /// no single frame is at fault.
    pub fn refused(&self, sheet: &Path, budget: u64) -> Error {
        let mib = |bytes: u64| bytes.div_ceil(1 << 20);
        let cause = match &self.largest {
            Some(frame) => format!(
                "checking the shot takes about {} MiB of memory, {} MiB of it for {frame}, but {} MiB may be used",
                mib(self.bytes),
                mib(self.largest_bytes),
                mib(budget)
            ),
            None => format!(
                "checking a shot takes about {} MiB of memory, but {} MiB may be used",
                mib(self.bytes),
                mib(budget)
            ),
        };
        let remedy = "use smaller or fewer frames, raise --memory, or run it where a process may use more";
        Error::new(ErrorKind::Limit, sheet, cause, remedy)
    }
}

/// Bytes of all files that a shot names.
pub fn file_bytes(sheet: &ShotSheet, every: Option<u32>) -> u64 {
    let size = |path: &Path| path.metadata().map_or(0, |about| about.len());
    named_files(sheet, every).iter().map(|(_, path)| size(path)).fold(0, u64::saturating_add)
}
