//! Decodes pictures and does nothing with them: what a check is held against by `benches/hostile_times.py`.
//!
//! `plain_decode crates FILE...` reads OpenEXR by the `exr` crate and everything else by the `image` crate; `plain_decode own FILE...`
//! opens the same files as a check does. What neither can read is passed over.

mod yardstick;

use std::path::{Path, PathBuf};

use image::ImageReader;
use plateproof::image::limits::Limits;
use plateproof::image::open::{OpenRequest, open};

fn main() {
    let mut words = std::env::args_os().skip(1);
    let decode = match words.next() {
        Some(word) if word == "crates" => by_crates,
        Some(word) if word == "own" => by_own,
        // `cargo bench` runs every bench without such words.
        _ => return,
    };
    for path in words.map(PathBuf::from) {
        std::hint::black_box(decode(&path));
    }
}

/// Pixels read, if any.
fn by_crates(path: &Path) -> Option<usize> {
    if path.extension().is_some_and(|ending| ending == "exr") {
        return yardstick::decode_rgb(path).ok();
    }
    let picture = ImageReader::open(path).ok()?.with_guessed_format().ok()?.decode().ok()?;
    Some(std::hint::black_box(picture).as_bytes().len())
}

fn by_own(path: &Path) -> Option<usize> {
    let limits = Limits::default();
    open(&OpenRequest::of(path, "plate", &limits)).ok().map(|frame| std::hint::black_box(frame).rgb.len())
}
