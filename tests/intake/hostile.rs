//! Files that are missing, cut, mislabelled or lie about their size.

use std::io::Cursor;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use exr::prelude::write_rgba_file;
use image::{DynamicImage, ImageBuffer, ImageFormat, Rgb};
use plateproof::ErrorKind;
use plateproof::image::limits::Limits;

use super::{CUT_STEP_BYTES, open_plain, open_within};

fn save(folder: &Path, name: &str, bytes: &[u8]) -> PathBuf {
    let path = folder.join(name);
    std::fs::write(&path, bytes).unwrap();
    path
}

fn small_exr(folder: &Path) -> Vec<u8> {
    let path = folder.join("small.exr");
    write_rgba_file(&path, 20, 40, |x, y| (x as f32 * 0.01, y as f32 * 0.01, 0.25_f32, 1.0_f32)).unwrap();
    std::fs::read(path).unwrap()
}

fn raster(format: ImageFormat) -> Vec<u8> {
    let float = matches!(format, ImageFormat::Hdr);
    let image = DynamicImage::ImageRgb8(ImageBuffer::from_fn(24, 16, |x, y| Rgb([x as u8 * 9, y as u8 * 11, 77])));
    let image = if float { DynamicImage::ImageRgb32F(image.to_rgb32f()) } else { image };
    let mut bytes = Cursor::new(Vec::new());
    image.write_to(&mut bytes, format).unwrap();
    bytes.into_inner()
}

#[test]
fn cut_files_give_an_error_or_a_picture() {
    let folder = tempfile::tempdir().unwrap();
    let kinds = [
        ("cut.exr", small_exr(folder.path())),
        ("cut.png", raster(ImageFormat::Png)),
        ("cut.jpg", raster(ImageFormat::Jpeg)),
        ("cut.tif", raster(ImageFormat::Tiff)),
        ("cut.hdr", raster(ImageFormat::Hdr)),
        ("cut.tga", raster(ImageFormat::Tga)),
    ];
    for (name, whole) in kinds {
        assert!(open_plain(&save(folder.path(), name, &whole)).is_ok(), "{name} is sound when whole");
        for length in (1..whole.len()).step_by(CUT_STEP_BYTES) {
            let start = Instant::now();
            let outcome = open_plain(&save(folder.path(), name, &whole[..length]));
            assert!(start.elapsed() < Duration::from_secs(2), "{name} cut to {length}");
            match outcome {
                Err(error) => assert!(matches!(error.kind, ErrorKind::Malformed | ErrorKind::Unsupported), "{error}"),
                Ok(frame) => assert_eq!(frame.rgb.len(), frame.size.width * frame.size.height),
            }
        }
    }
}

#[test]
fn a_cut_exr_is_an_error_wherever_it_is_cut() {
    let folder = tempfile::tempdir().unwrap();
    let whole = small_exr(folder.path());
    for length in (1..whole.len()).step_by(CUT_STEP_BYTES) {
        let error = open_plain(&save(folder.path(), "cut.exr", &whole[..length])).unwrap_err();
        assert_eq!(error.kind, ErrorKind::Malformed, "{error}");
    }
}

#[test]
fn single_wrong_bytes_do_no_harm() {
    let folder = tempfile::tempdir().unwrap();
    let whole = small_exr(folder.path());
    for index in 0..whole.len().min(900) {
        let mut spoilt = whole.clone();
        spoilt[index] ^= 0xa5;
        let start = Instant::now();
        if let Ok(frame) = open_plain(&save(folder.path(), "spoilt.exr", &spoilt)) {
            assert_eq!(frame.rgb.len(), frame.data.width * frame.data.height);
        }
        assert!(start.elapsed() < Duration::from_secs(2), "byte {index}");
    }
}

#[test]
fn missing_empty_and_foreign_files_name_the_remedy() {
    let folder = tempfile::tempdir().unwrap();
    let cases = [
        (folder.path().join("none.exr"), ErrorKind::Io),
        (folder.path().to_path_buf(), ErrorKind::Io),
        (save(folder.path(), "empty.exr", b""), ErrorKind::Malformed),
        (save(folder.path(), "text.exr", b"the ferry leaves at six"), ErrorKind::Malformed),
        (save(folder.path(), "text.txt", b"the ferry leaves at six"), ErrorKind::Unsupported),
    ];
    for (path, kind) in cases {
        let error = open_plain(&path).unwrap_err();
        assert_eq!(error.kind, kind, "{error}");
        assert!(!error.remedy.is_empty());
        assert_eq!(error.file, path);
    }
}

#[test]
fn a_file_under_the_wrong_name_is_read_by_its_content() {
    let folder = tempfile::tempdir().unwrap();
    let frame = open_plain(&save(folder.path(), "really_png.jpg", &raster(ImageFormat::Png))).unwrap();
    assert_eq!(frame.format, "png");
}

#[test]
fn limits_hold_before_anything_is_decoded() {
    let folder = tempfile::tempdir().unwrap();
    let files = [
        save(folder.path(), "a.exr", &small_exr(folder.path())),
        save(folder.path(), "a.png", &raster(ImageFormat::Png)),
    ];
    let limits = [
        Limits { max_pixels: 100, ..Limits::default() },
        Limits { max_bytes: 100, ..Limits::default() },
        Limits { max_file_bytes: 100, ..Limits::default() },
    ];
    for (file, limits) in files.iter().flat_map(|f| limits.iter().map(move |l| (f, l))) {
        assert_eq!(open_within(file, None, limits).unwrap_err().kind, ErrorKind::Limit);
    }
}

#[test]
fn a_header_that_claims_a_vast_picture_is_refused_at_once() {
    let folder = tempfile::tempdir().unwrap();
    let mut bytes = small_exr(folder.path());
    let name = b"dataWindow\0box2i\0";
    let at = bytes.windows(name.len()).position(|w| w == name).unwrap() + name.len() + 4;
    for (window, kind) in [([0, 0, 900_000, 900_000], ErrorKind::Limit), ([0, 0, 15_999, 15_999], ErrorKind::Malformed)]
    {
        for (slot, value) in bytes[at..at + 16].chunks_exact_mut(4).zip(window) {
            slot.copy_from_slice(&i32::to_le_bytes(value));
        }
        let start = Instant::now();
        let error = open_plain(&save(folder.path(), "vast.exr", &bytes)).unwrap_err();
        assert_eq!(error.kind, kind, "{error}");
        assert!(start.elapsed() < Duration::from_secs(1));
    }
}
