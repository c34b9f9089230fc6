//! Reading image files: published test pictures, files written here, and hostile ones.
#![allow(clippy::unwrap_used, reason = "a helper of a test fails the test")]
#![allow(clippy::float_cmp, reason = "what is stored exactly must come back exactly")]
#![allow(clippy::print_stdout, reason = "a skipped test says why")]

mod dpx;
mod heic;
mod hostile;
mod jpeg_xl;
mod movies;
mod partial;
mod published;
mod raw;
mod strips;
mod written_exr;
mod written_raster;

use std::path::Path;

use plateproof::ErrorKind;
use plateproof::image::Frame;
use plateproof::image::limits::Limits;
use plateproof::image::open::{OpenRequest, open};

/// Opens a file about which nothing else is known, coverage included.
fn open_plain(path: &Path) -> plateproof::Result<Frame> {
    open_layer(path, None)
}

/// Opens a layer of a file, coverage included.
fn open_layer(path: &Path, layer: Option<&str>) -> plateproof::Result<Frame> {
    open_within(path, layer, &Limits::default())
}

/// Steps in which files are cut.
const CUT_STEP_BYTES: usize = 37;

/// A file cut at every step is an error or the whole picture, of so many pixels; returns how often it is refused.
fn refusals_when_cut(name: &str, whole: &[u8], pixels: usize) -> usize {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join(name);
    let is_refused = |length: &usize| {
        std::fs::write(&path, &whole[..*length]).unwrap();
        match open_plain(&path) {
            Ok(frame) => assert_eq!(frame.rgb.len(), pixels, "{name} cut to {length}"),
            Err(error) => {
                let is_told = matches!(error.kind, ErrorKind::Malformed | ErrorKind::Unsupported);
                assert!(is_told, "{name} cut to {length}: {error}");
                return true;
            }
        }
        false
    };
    (1..whole.len()).step_by(CUT_STEP_BYTES).filter(is_refused).count()
}

fn open_within(path: &Path, layer: Option<&str>, limits: &Limits) -> plateproof::Result<Frame> {
    open(&OpenRequest {
        shown_as: "as/the/sheet/says.exr",
        layer,
        want_alpha: true,
        ..OpenRequest::of(path, "plate", limits)
    })
}
