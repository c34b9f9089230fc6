//! JPEG XL: files of libjxl, and damaged ones.

use std::path::{Path, PathBuf};

use plateproof::ErrorKind;
use plateproof::image::encoding::Encoding;
use plateproof::image::limits::Limits;
use serde_json::Value;

use super::{open_plain, open_within};

fn golden(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("golden/jpeg_xl").join(name)
}

/// Codes as libjxl decodes them (`golden/jpeg_xl`); of lossy files decoders may differ by a code (ISO/IEC 18181-3).
#[test]
fn codes_are_those_of_libjxl() {
    let expected: Value = serde_json::from_slice(&std::fs::read(golden("expected.json")).unwrap()).unwrap();
    let files = expected.as_object().unwrap();
    assert!(files.len() >= 4);
    for (name, file) in files {
        let codes: Vec<[f64; 3]> = serde_json::from_value(file["codes"].clone()).unwrap();
        let frame = open_plain(&golden(name)).unwrap();
        assert_eq!(Value::from(vec![frame.size.width, frame.size.height]), file["size"], "{name}");
        assert_eq!((frame.format, frame.integer_bits, frame.rgb.len()), ("jxl", Some(8), codes.len()));
        assert!(frame.is_display_picture(), "a phone's look is in it");
        let slack = if name == "lossy.jxl" { 1.01 } else { 0.01 };
        for (pixel, codes) in frame.rgb.iter().zip(&codes) {
            for channel in 0..3 {
                let code = 255.0 * Encoding::Srgb.encode(f64::from(pixel[channel]));
                assert!((code - codes[channel]).abs() < slack, "{name}: {code} {codes:?}");
            }
        }
        assert_eq!((&*frame.record.encoding, &*frame.record.colour_space), ("srgb", "rec709"), "{name}");
    }
    let meta = open_plain(&golden("with_exif.jxl")).unwrap().meta;
    assert!((meta.exposure_time_s.unwrap() - 0.02).abs() < 1e-6, "{meta:?}");
    assert_eq!((meta.camera.as_deref(), meta.orientation), (Some("ferry cam"), None));
}

#[test]
fn damaged_files_are_errors_and_limits_hold() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("quay.jxl");
    for name in ["lossless.jxl", "lossy.jxl", "with_exif.jxl"] {
        let whole = std::fs::read(golden(name)).unwrap();
        let mut refused = 0;
        for length in (0..whole.len()).step_by(37) {
            std::fs::write(&path, &whole[..length]).unwrap();
            match open_plain(&path) {
                Ok(frame) => assert_eq!(frame.rgb.len(), 24 * 16),
                Err(error) => {
                    refused += 1;
                    assert_eq!(error.kind, ErrorKind::Malformed, "{name} cut to {length}: {error}");
                }
            }
        }
        assert!(refused >= 3, "{name}");
        let tight = Limits { max_pixels: 100, ..Limits::default() };
        assert_eq!(open_within(&golden(name), None, &tight).unwrap_err().kind, ErrorKind::Limit);
    }
}
