//! DPX: files of an independent library, and hostile ones.

use std::path::{Path, PathBuf};

use plateproof::ErrorKind;
use plateproof::image::Frame;
use plateproof::image::encoding::Encoding;
use plateproof::image::limits::Limits;
use plateproof::image::open::{Belief, OpenRequest, open};
use serde_json::Value;

use super::{CUT_STEP_BYTES, open_plain, open_within};

fn golden() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("golden/dpx")
}

fn bytes_of(name: &str) -> Vec<u8> {
    std::fs::read(golden().join(name)).unwrap()
}

/// Opens bytes under a name.
fn opened(bytes: &[u8]) -> plateproof::Result<Frame> {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("quay.dpx");
    std::fs::write(&path, bytes).unwrap();
    open_plain(&path)
}

fn put(bytes: &mut [u8], at: usize, value: &[u8]) {
    bytes[at..at + value.len()].copy_from_slice(value);
}

/// OpenImageIO wrote the files, or reads them, with these codes (`golden/dpx`); transfer is linear in all of them.
#[test]
fn every_form_gives_the_codes_of_the_independent_reader() {
    let expected: Value = serde_json::from_slice(&bytes_of("expected.json")).unwrap();
    let files = expected["files"].as_array().unwrap();
    assert!(files.len() >= 40);
    for file in files {
        let name = file["file"].as_str().unwrap();
        let bits = file["bits"].as_u64().unwrap();
        let codes: Vec<Vec<Vec<f32>>> = serde_json::from_value(file["codes"].clone()).unwrap();
        let frame = open_plain(&golden().join(name)).unwrap();
        let top = ((1_u32 << bits) - 1) as f32;
        let codes: Vec<&Vec<f32>> = codes.iter().flatten().collect();
        assert_eq!((frame.rgb.len(), frame.size.width, frame.format), (codes.len(), 9, "dpx"), "{name}");
        assert_eq!((u64::from(frame.integer_bits.unwrap()), frame.eight_bit), (bits, bits == 8));
        for (index, stored) in codes.iter().enumerate() {
            let grey = [0; 3];
            let places = if stored.len() == 1 { grey } else { [0, 1, 2] };
            for (value, place) in frame.rgb[index].iter().zip(places) {
                assert_eq!((value * top).round(), stored[place], "{name}, pixel {index}");
                assert!((value * top - stored[place]).abs() < 1e-2);
            }
            if stored.len() == 4 {
                assert_eq!((frame.alpha.as_ref().unwrap()[index] * top).round(), stored[3], "{name}");
            }
        }
        let record = &frame.record;
        assert_eq!((&*record.encoding, &*record.encoding_from), ("scene-linear", "file"));
        assert_eq!((&*record.colour_space, &*record.colour_space_from), ("rec709", "file"));
    }
}

#[test]
fn every_truncation_is_an_error() {
    for name in ["rgb_10_a_big.dpx", "rgba_8_packed_little.dpx", "luma_16_packed_big.dpx", "rgb_12_packed_little.dpx"] {
        let whole = bytes_of(name);
        assert!(opened(&whole).is_ok());
        let lengths = (1..whole.len()).step_by(CUT_STEP_BYTES).chain([whole.len() - 4, whole.len() - 1]);
        for length in lengths {
            let error = opened(&whole[..length]).unwrap_err();
            assert_eq!(error.kind, ErrorKind::Malformed, "{name} cut to {length}: {error}");
        }
        // The same where no length is stated.
        let mut unstated = whole.clone();
        put(&mut unstated, 16, &[0xFF; 4]);
        assert!(opened(&unstated).is_ok());
        assert_eq!(opened(&unstated[..whole.len() - 37]).unwrap_err().kind, ErrorKind::Malformed);
    }
}

#[test]
fn headers_that_lie_or_say_the_unusual_are_told_apart() {
    let whole = bytes_of("rgb_10_a_big.dpx");
    let with = |at: usize, value: &[u8]| {
        let mut bytes = whole.clone();
        put(&mut bytes, at, value);
        opened(&bytes)
    };
    let kind = |at, value: &[u8]| with(at, value).unwrap_err().kind;
    // Sizes, then place of the pixels, then depth and packing.
    assert_eq!(kind(772, &[0x7F, 0xFF, 0xFF, 0xFF]), ErrorKind::Limit);
    assert_eq!(kind(776, &[0xFF; 4]), ErrorKind::Malformed);
    assert_eq!(kind(776, &0_u32.to_be_bytes()), ErrorKind::Malformed);
    assert_eq!(kind(776, &60_000_u32.to_be_bytes()), ErrorKind::Malformed);
    assert_eq!(kind(808, &12_u32.to_be_bytes()), ErrorKind::Malformed);
    assert_eq!(kind(808, &0xFFFF_FFF0_u32.to_be_bytes()), ErrorKind::Malformed);
    assert_eq!(kind(803, &[7]), ErrorKind::Unsupported);
    assert_eq!(kind(803, &[32]), ErrorKind::Unsupported);
    assert_eq!(kind(804, &[0, 9]), ErrorKind::Malformed);
    assert_eq!(kind(806, &[0, 1]), ErrorKind::Unsupported);
    assert_eq!(kind(800, &[102]), ErrorKind::Unsupported);
    assert_eq!(kind(780, &[0, 0, 0, 1]), ErrorKind::Unsupported);
    assert_eq!(kind(768, &[0, 5]), ErrorKind::Unsupported);
    assert_eq!(kind(1928, &[1]), ErrorKind::Unsupported);
    assert_eq!(kind(812, &[0xFF, 0xFF, 0xFF, 0xFE]), ErrorKind::Malformed);
    // Stored from the bottom up, and from right to left.
    let (plain, upside, mirrored) = (opened(&whole).unwrap(), with(768, &[0, 2]).unwrap(), with(768, &[0, 1]).unwrap());
    assert_eq!(plain.rgb[..9], upside.rgb[36..]);
    assert_eq!(plain.rgb[0], mirrored.rgb[8]);
    // 3 to 2, as 32-bit numbers.
    let squeezed = with(1628, &[0, 0, 0, 3, 0, 0, 0, 2]).unwrap();
    assert_eq!(squeezed.pixel_aspect, 1.5);
    let video = with(784, &[0, 0, 0, 64]).map(|_| ());
    assert!(video.is_ok());
}

/// SMPTE ST 268-1:2014, tables 5A and 5B.
#[test]
fn transfer_and_colorimetric_codes_are_beliefs_and_unknown_ones_are_named() {
    let belief = |transfer: u8, colorimetric: u8| {
        let mut bytes = bytes_of("rgb_16_packed_little.dpx");
        put(&mut bytes, 801, &[transfer, colorimetric]);
        opened(&bytes)
    };
    for (code, encoding) in [(1, "cineon"), (2, "scene-linear"), (5, "bt709"), (6, "bt709"), (7, "bt709"), (8, "bt709")]
    {
        assert_eq!(belief(code, 6).unwrap().record.encoding, encoding);
    }
    for (code, name) in [(0, "user-defined"), (3, "logarithmic"), (4, "unspecified video"), (255, "undefined")] {
        let error = belief(code, 6).unwrap_err();
        assert_eq!(error.kind, ErrorKind::Parameter);
        assert!(error.cause.contains(name) && error.remedy.contains("s-log3"), "{error}");
    }
    let frame = belief(2, 255).unwrap();
    assert_eq!(frame.record.colour_space_from, "default");
    assert!(frame.warnings.iter().any(|w| w.contains("undefined")), "{:?}", frame.warnings);
    assert_eq!(belief(2, 7).unwrap().record.colour_space_from, "file");
}

/// A stated curve outranks the header, and the level at which it clips follows it.
#[test]
fn a_sheet_s_encoding_outranks_the_header() {
    let path = golden().join("rgb_10_a_big.dpx");
    let limits = Limits::default();
    let request = OpenRequest {
        shown_as: "quay.dpx",
        encoding: Some(Belief { value: Encoding::SLog3, from: "sheet" }),
        ..OpenRequest::of(&path, "plate", &limits)
    };
    let frame = open(&request).unwrap();
    assert_eq!(f64::from(frame.rgb[0][0]), f64::from(Encoding::SLog3.decode(0.0) as f32));
    assert_eq!(f64::from(frame.rgb[44][2]), f64::from(Encoding::SLog3.decode(1.0) as f32));
    assert_eq!(f64::from(frame.clip_level.unwrap()[0]), f64::from(Encoding::SLog3.decode(254.0 / 255.0) as f32));
    let tight = Limits { max_bytes: 8_000, ..Limits::default() };
    assert_eq!(open_within(&path, None, &tight).unwrap_err().kind, ErrorKind::Limit);
}
