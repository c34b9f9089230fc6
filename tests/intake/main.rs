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

fn open_within(path: &Path, layer: Option<&str>, limits: &Limits) -> plateproof::Result<Frame> {
    open(&OpenRequest {
        shown_as: "as/the/sheet/says.exr",
        layer,
        want_alpha: true,
        ..OpenRequest::of(path, "plate", limits)
    })
}
