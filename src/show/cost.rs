//! What a shot will cost, from the headers of its frames.

use std::path::Path;

use super::provenance::named_files;
use crate::image::probe::{Probe, probe};
use crate::sheet::ShotSheet;

/// Bytes of a decoded pixel, three channels and coverage of 32 bits each, with what is worked out from the whole frame.
/// The peak of a whole process grows by 21 bytes a pixel from 960 x 540 to 3840 x 2160 px.
const DECODED_PIXEL_BYTES: u64 = 24;

/// A camera or display file is held whole and decoded to 8- or 16-bit samples before it becomes light.
const HELD_PIXEL_BYTES: u64 = 8;

/// Maps, registration and the evidence picture of a shot, whatever its frames: the peak of a whole process over
/// 960 x 540 px frames is 75 MB.
const SHOT_BYTES: u64 = 96 << 20;

/// Memory that checking one shot takes at its peak, as far as the headers of its frames tell. What cannot be read
/// counts nothing: it will be refused.
pub fn memory_bytes(sheet: &ShotSheet) -> u64 {
    let frames =
        sheet.images().into_iter().filter_map(|(_, image)| probe(&image.path(&sheet.base_dir).ok()?, &image.limits));
    frames.map(decoded_bytes).fold(SHOT_BYTES, u64::saturating_add)
}

fn decoded_bytes(frame: Probe) -> u64 {
    let held =
        if frame.held { frame.file_bytes.saturating_add(frame.pixels.saturating_mul(HELD_PIXEL_BYTES)) } else { 0 };
    frame.pixels.saturating_mul(DECODED_PIXEL_BYTES).saturating_add(held)
}

/// Bytes of all files that a shot names.
pub fn file_bytes(sheet: &ShotSheet, every: Option<u32>) -> u64 {
    let size = |path: &Path| path.metadata().map_or(0, |about| about.len());
    named_files(sheet, every).iter().map(|(_, path)| size(path)).fold(0, u64::saturating_add)
}
