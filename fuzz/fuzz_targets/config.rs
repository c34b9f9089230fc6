//! A colour config (OpenColorIO), read by builds with the feature `ocio`. What it is put through stands in
//! `tests/hostile/drive.rs`, which ordinary tests use too.
#![no_main]

#[path = "../../tests/hostile/drive.rs"]
#[allow(dead_code, reason = "each target drives one kind of input")]
mod drive;

use std::sync::LazyLock;

use libfuzzer_sys::fuzz_target;
use tempfile::TempDir;

static FOLDER: LazyLock<TempDir> = LazyLock::new(|| TempDir::new().expect("a temporary folder"));

fuzz_target!(|bytes: &[u8]| {
    drive::config(bytes, FOLDER.path());
});
