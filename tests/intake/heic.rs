//! HEIC: files of libheif, and damaged ones.

use std::path::{Path, PathBuf};

use plateproof::ErrorKind;
use plateproof::image::encoding::Encoding;
use plateproof::image::limits::Limits;
use plateproof::image::probe::probe;
use serde_json::Value;

use super::{CUT_STEP_BYTES, open_plain, open_within, refusals_when_cut};

fn golden(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("golden/heic").join(name)
}

fn expected() -> serde_json::Map<String, Value> {
    serde_json::from_slice(&std::fs::read(golden("expected.json")).unwrap()).unwrap()
}

/// Luma of BT.601, the matrix of every file here.
fn luma(codes: &[f64]) -> f64 {
    0.299 * codes[0] + 0.587 * codes[1] + 0.114 * codes[2]
}

/// Codes as libheif decodes them (`golden/heic`). With chroma for every pixel they are the same; with chroma at half size the two
/// take it to lie half a pixel apart: luma agrees, where no channel is cut off, and colours differ by what they change over that.
#[test]
fn codes_are_those_of_libheif() {
    let files = expected();
    assert!(files.len() >= 9);
    for (name, file) in &files {
        let want: Vec<Vec<f64>> = serde_json::from_value(file["codes"].clone()).unwrap();
        let frame = open_plain(&golden(name)).unwrap();
        let (bits, deep) = (file["bits"].as_u64().unwrap(), file["bits"] == 10);
        assert_eq!(Value::from(vec![frame.size.width, frame.size.height]), file["size"], "{name}");
        assert_eq!(
            (frame.format, frame.integer_bits, frame.eight_bit),
            ("heic", Some(if deep { 16 } else { 8 }), !deep)
        );
        assert!(frame.is_display_picture(), "{name}: a phone's look is in it");
        let top = ((1_u32 << bits) - 1) as f64;
        let codes = |pixel: &[f32; 3]| pixel.map(|light| top * Encoding::Srgb.encode(f64::from(light)));
        let got: Vec<[f64; 3]> = frame.rgb.iter().step_by(5).map(codes).collect();
        assert_eq!(got.len(), want.len(), "{name}");
        let exact = ["eight.heic", "cut_out.heic", "ten.heic"].contains(&&**name);
        let mut off = 0.0;
        for (got, want) in got.iter().zip(&want) {
            let cut_off = got.iter().chain(want.iter().take(3)).any(|code| !(3.0..252.0).contains(code));
            if exact {
                assert!((0..3).all(|c| (got[c] - want[c]).abs() < 1.05), "{name}: {got:?} {want:?}");
            } else if !cut_off {
                assert!((luma(got) - luma(want)).abs() < 1.5, "{name}: {got:?} {want:?}");
            }
            off += (0..3).map(|c| (got[c] - want[c]).abs()).sum::<f64>() / 3.0;
        }
        assert!(off / (got.len() as f64) < 2.5, "{name}: on the whole {off}");
        if let Some(alpha) = &frame.alpha {
            let stored: Vec<f64> = want.iter().map(|pixel| pixel[3]).collect();
            let coverage = alpha.iter().step_by(5).map(|a| f64::from(*a) * 255.0);
            assert!(coverage.zip(stored).all(|(got, want)| (got - want).abs() < 1.05), "{name}");
        }
    }
    assert!(open_plain(&golden("cut_out.heic")).unwrap().alpha.is_some());
}

#[test]
fn curve_primaries_exif_and_turn_are_told() {
    let belief = |name: &str| {
        let record = open_plain(&golden(name)).unwrap().record;
        (record.encoding, record.encoding_from, record.colour_space, record.colour_space_from)
    };
    let told = |encoding: &str, space: &str, from: &str| {
        (encoding.to_owned(), from.to_owned(), space.to_owned(), from.to_owned())
    };
    assert_eq!(belief("eight.heic"), told("srgb", "rec709", "file"));
    assert_eq!(belief("wide_gamut.heic"), told("srgb", "p3-d65", "file"));
    assert_eq!(belief("profile.heic"), told("srgb", "rec709", "profile"));
    let meta = open_plain(&golden("turned.heic")).unwrap().meta;
    assert!((meta.exposure_time_s.unwrap() - 0.02).abs() < 1e-6 && meta.focal_length_mm == Some(5.5), "{meta:?}");
    assert_eq!((meta.camera.as_deref(), meta.orientation), (Some("ferry cam"), Some(6)));
    assert_eq!(open_plain(&golden("half_chroma.heic")).unwrap().meta.orientation, None);
}

/// Coverage under the name of a depth picture (ITU-T H.265, table F.2) is another picture beside the main one.
#[test]
fn pictures_beside_the_main_one_are_left_out_and_told() {
    let mut bytes = std::fs::read(golden("cut_out.heic")).unwrap();
    let name = b"urn:mpeg:hevc:2015:auxid:1";
    let name_alt = b"urn:mpeg:mpegB:cicp:systems:auxiliary:alpha";
    let (at, length) = [name.as_slice(), name_alt]
        .into_iter()
        .find_map(|name| Some((bytes.windows(name.len()).position(|w| w == name)?, name.len())))
        .unwrap();
    bytes[at + length - 1] = b'2';
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("quay.heic");
    std::fs::write(&path, bytes).unwrap();
    let frame = open_plain(&path).unwrap();
    assert!(frame.alpha.is_none() && frame.warnings.iter().any(|w| w.contains("left out")), "{:?}", frame.warnings);
    let plain = open_plain(&golden("eight.heic")).unwrap();
    assert!(plain.warnings.is_empty(), "{:?}", plain.warnings);
}

#[test]
fn damaged_files_are_errors_and_limits_hold() {
    for name in expected().keys() {
        let whole = std::fs::read(golden(name)).unwrap();
        let size = open_plain(&golden(name)).unwrap().rgb.len();
        let refused = refusals_when_cut(name, &whole, size);
        assert!(refused * CUT_STEP_BYTES * 10 > whole.len() * 9, "{name}: {refused} of {} bytes", whole.len());
        let tight = Limits { max_pixels: 100, ..Limits::default() };
        assert_eq!(open_within(&golden(name), None, &tight).unwrap_err().kind, ErrorKind::Limit);
        let small = Limits { max_bytes: 20_000, ..Limits::default() };
        assert_eq!(open_within(&golden(name), None, &small).unwrap_err().kind, ErrorKind::Limit);
        let cost = probe(&golden(name), &Limits::default()).unwrap();
        // The stream is coded in blocks of 64, of which the file's directory cuts off what is too much.
        assert!((size..=size.max(4096)).contains(&(cost.pixels as usize)), "{name}: {cost:?}");
    }
}

/// Sizes in the directory that the stream does not have.
#[test]
fn a_size_that_lies_is_refused_or_cut_to_what_is_there() {
    let whole = std::fs::read(golden("eight.heic")).unwrap();
    let at = whole.windows(4).position(|w| w == b"ispe").unwrap() + 8;
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("quay.heic");
    let with = |width: u32| {
        let mut bytes = whole.clone();
        bytes[at..at + 4].copy_from_slice(&width.to_be_bytes());
        std::fs::write(&path, bytes).unwrap();
        open_plain(&path)
    };
    assert_eq!(with(u32::MAX).unwrap_err().kind, ErrorKind::Limit);
    assert_eq!(with(0).unwrap_err().kind, ErrorKind::Malformed);
    assert!(with(4096).is_err() || with(4096).unwrap().rgb.len() == 48 * 32);
}
