//! JPEG, PNG, TIFF, Radiance HDR and TGA files written here.

use std::io::Cursor;
use std::path::{Path, PathBuf};

use exif::experimental::Writer;
use exif::{Field, In, Rational, Tag, Value};
use image::{DynamicImage, ImageBuffer, ImageFormat, Rgb, Rgba};
use plateproof::ErrorKind;
use plateproof::image::encoding::Encoding;
use plateproof::image::limits::Limits;
use plateproof::image::open::{Belief, OpenRequest, open};

use super::open_plain;

const WIDTH: u32 = 24;
const HEIGHT: u32 = 16;

fn code(x: u32, y: u32, channel: u32) -> u8 {
    (x * 10 + y * 3 + channel * 5) as u8
}

fn rgb8() -> DynamicImage {
    DynamicImage::ImageRgb8(ImageBuffer::from_fn(WIDTH, HEIGHT, |x, y| Rgb([0, 1, 2].map(|c| code(x, y, c)))))
}

fn rgb16() -> DynamicImage {
    let wide = |x, y, c| u16::from(code(x, y, c)) * 250 + 100;
    DynamicImage::ImageRgb16(ImageBuffer::from_fn(WIDTH, HEIGHT, |x, y| Rgb([0, 1, 2].map(|c| wide(x, y, c)))))
}

fn rgb32f() -> DynamicImage {
    let value = |x, y, c| f32::from(code(x, y, c)) / 16.0;
    DynamicImage::ImageRgb32F(ImageBuffer::from_fn(WIDTH, HEIGHT, |x, y| Rgb([0, 1, 2].map(|c| value(x, y, c)))))
}

fn bytes_of(image: &DynamicImage, format: ImageFormat) -> Vec<u8> {
    let mut bytes = Cursor::new(Vec::new());
    image.write_to(&mut bytes, format).unwrap();
    bytes.into_inner()
}

fn save(folder: &Path, name: &str, bytes: &[u8]) -> PathBuf {
    let path = folder.join(name);
    std::fs::write(&path, bytes).unwrap();
    path
}

/// IEC 61966-2-1, decoding.
fn srgb(code: f64) -> f64 {
    if code <= 0.04045 { code / 12.92 } else { ((code + 0.055) / 1.055).powf(2.4) }
}

#[test]
fn eight_and_sixteen_bit_files_decode_as_srgb() {
    let folder = tempfile::tempdir().unwrap();
    let kinds = [
        ("a.png", rgb8(), ImageFormat::Png, 8),
        ("a.tif", rgb8(), ImageFormat::Tiff, 8),
        ("a.tga", rgb8(), ImageFormat::Tga, 8),
        ("b.png", rgb16(), ImageFormat::Png, 16),
        ("b.tif", rgb16(), ImageFormat::Tiff, 16),
    ];
    for (name, image, format, bits) in kinds {
        let frame = open_plain(&save(folder.path(), name, &bytes_of(&image, format))).unwrap();
        assert_eq!((frame.size.width, frame.size.height), (WIDTH as usize, HEIGHT as usize));
        assert_eq!((frame.integer_bits, frame.eight_bit), (Some(bits), bits == 8), "{name}");
        let expected = image.to_rgb32f();
        for (got, code) in frame.rgb.iter().zip(expected.pixels()) {
            for (got, code) in got.iter().zip(code.0) {
                assert!((f64::from(*got) - srgb(f64::from(code))).abs() < 1e-6, "{name}: {got} from {code}");
            }
        }
        let clip = frame.clip_level.unwrap()[0];
        assert!((f64::from(clip) - srgb(254.0 / 255.0)).abs() < 1e-6);
    }
}

#[test]
fn jpeg_decodes_near_what_was_written() {
    let folder = tempfile::tempdir().unwrap();
    let flat = DynamicImage::ImageRgb8(ImageBuffer::from_pixel(32, 32, Rgb([200, 120, 40])));
    let frame = open_plain(&save(folder.path(), "a.jpg", &bytes_of(&flat, ImageFormat::Jpeg))).unwrap();
    // Quantisation of the encoder at its default quality: 3 of 255 codes.
    for (channel, code) in [200.0, 120.0, 40.0].into_iter().enumerate() {
        let got = f64::from(frame.rgb[500][channel]);
        assert!(got >= srgb((code - 3.0) / 255.0) && got <= srgb((code + 3.0) / 255.0), "{got} from {code}");
    }
    assert!(frame.warnings.is_empty(), "{:?}", frame.warnings);
}

#[test]
fn floating_point_files_are_scene_linear_without_a_ceiling() {
    let folder = tempfile::tempdir().unwrap();
    let tiff = open_plain(&save(folder.path(), "f.tif", &bytes_of(&rgb32f(), ImageFormat::Tiff))).unwrap();
    let hdr = open_plain(&save(folder.path(), "f.hdr", &bytes_of(&rgb32f(), ImageFormat::Hdr))).unwrap();
    let want: Vec<[f32; 3]> = rgb32f().to_rgb32f().pixels().map(|p| p.0).collect();
    assert_eq!(tiff.rgb, want);
    for (got, want) in hdr.rgb.iter().zip(&want) {
        // Shared exponent: 8 bits of the largest channel.
        let step = want.iter().copied().fold(0.0, f32::max) / 128.0;
        assert!(got.iter().zip(want).all(|(a, b)| (a - b).abs() <= step), "{got:?} from {want:?}");
    }
    for frame in [tiff, hdr] {
        assert_eq!(frame.record.encoding, "scene-linear");
        assert_eq!((frame.clip_level, frame.integer_bits), (None, None));
    }
}

#[test]
fn radiance_exposure_and_primaries_are_used() {
    let folder = tempfile::tempdir().unwrap();
    let plain = bytes_of(&rgb32f(), ImageFormat::Hdr);
    let text = String::from_utf8_lossy(&plain[..plain.len().min(200)]).into_owned();
    let end_of_line = text.find('\n').unwrap() + 1;
    let mut marked = b"#?RGBE\n".to_vec();
    marked.extend(b"EXPOSURE=4\nPRIMARIES=0.708 0.292 0.17 0.797 0.131 0.046 0.3127 0.329\n");
    marked.extend(&plain[end_of_line..]);
    let dark = open_plain(&save(folder.path(), "marked.hdr", &marked)).unwrap();
    let bright = open_plain(&save(folder.path(), "plain.hdr", &plain)).unwrap();
    assert!((dark.rgb[50][1] * 4.0 - bright.rgb[50][1]).abs() < 1e-6);
    assert_eq!(dark.record.colour_space, "rec2020");
    assert!(dark.warnings.iter().any(|w| w.contains("EXPOSURE")));
}

/// A TIFF of one strip of floating-point samples: little endian, `samples` per pixel of `bits` each.
fn float_tiff(size: (u16, u16), samples: u16, bits: u16, data: &[u8]) -> Vec<u8> {
    let short = |tag: u16, value: u16| entry(tag, 3, 1, u32::from(value));
    let tags = 10_u32;
    let after_tags = 8 + 2 + 12 * tags + 4;
    // Values for each sample stand behind the tags where they do not fit into an entry.
    let list = |value: u16| value.to_le_bytes().repeat(usize::from(samples));
    let per_sample = |tag: u16, value: u16, at: u32| match samples {
        1 => short(tag, value),
        2 => entry(tag, 3, 2, u32::from(value) << 16 | u32::from(value)),
        _ => entry(tag, 3, u32::from(samples), at),
    };
    let data_at = after_tags + 4 * u32::from(samples);
    let mut bytes = b"II*\0\x08\0\0\0".to_vec();
    bytes.extend((tags as u16).to_le_bytes());
    for entry in [
        short(256, size.0),
        short(257, size.1),
        per_sample(258, bits, after_tags),
        short(259, 1),
        short(262, if samples > 2 { 2 } else { 1 }),
        entry(273, 4, 1, data_at),
        short(277, samples),
        short(278, size.1),
        entry(279, 4, 1, data.len() as u32),
        per_sample(339, 3, after_tags + 2 * u32::from(samples)),
    ] {
        bytes.extend(entry);
    }
    bytes.extend([0; 4]);
    bytes.extend(list(bits));
    bytes.extend(list(3));
    bytes.extend(data);
    bytes
}

/// One entry of a TIFF directory (TIFF 6.0, section 2).
fn entry(tag: u16, kind: u16, count: u32, value: u32) -> Vec<u8> {
    let mut bytes = [tag.to_le_bytes(), kind.to_le_bytes()].concat();
    bytes.extend(count.to_le_bytes());
    bytes.extend(value.to_le_bytes());
    bytes
}

#[test]
fn half_float_and_one_channel_tiffs_are_scene_linear() {
    let folder = tempfile::tempdir().unwrap();
    let values = |samples: usize| (0..6 * samples).map(|i| 0.25 + i as f32 * 0.5);
    for (samples, bits) in [(1_usize, 32_u16), (1, 16), (3, 16)] {
        let data: Vec<u8> = match bits {
            16 => values(samples).flat_map(|v| half::f16::from_f32(v).to_le_bytes()).collect(),
            _ => values(samples).flat_map(f32::to_le_bytes).collect(),
        };
        let path = save(folder.path(), "a.tif", &float_tiff((3, 2), samples as u16, bits, &data));
        let frame = open_plain(&path).unwrap();
        assert_eq!((frame.size.width, frame.size.height, frame.clip_level), (3, 2, None), "{samples} x {bits}");
        assert_eq!(frame.record.encoding, "scene-linear");
        let want: Vec<f32> = values(samples).collect();
        for (i, pixel) in frame.rgb.iter().enumerate() {
            assert_eq!((pixel[0], pixel[2]), (want[i * samples], want[i * samples + samples - 1]));
        }
        assert_eq!(frame.warnings.iter().any(|w| w.contains("one channel")), samples == 1);
        for length in (1..save_length(&path)).step_by(37) {
            let cut = save(folder.path(), "cut.tif", &std::fs::read(&path).unwrap()[..length]);
            if let Err(error) = open_plain(&cut) {
                assert!(matches!(error.kind, ErrorKind::Malformed | ErrorKind::Unsupported), "{length}: {error}");
            }
        }
    }
}

fn save_length(path: &Path) -> usize {
    std::fs::read(path).unwrap().len()
}

#[test]
fn straight_coverage_of_a_png_is_kept_apart() {
    let folder = tempfile::tempdir().unwrap();
    let image = DynamicImage::ImageRgba8(ImageBuffer::from_pixel(4, 4, Rgba([255, 0, 0, 51])));
    let frame = open_plain(&save(folder.path(), "a.png", &bytes_of(&image, ImageFormat::Png))).unwrap();
    assert_eq!(frame.alpha.unwrap()[0], 0.2);
    assert_eq!(frame.rgb[0], [1.0, 0.0, 0.0]);
}

#[test]
fn what_the_request_says_outranks_the_file() {
    let folder = tempfile::tempdir().unwrap();
    let path = save(folder.path(), "a.png", &bytes_of(&rgb8(), ImageFormat::Png));
    let limits = Limits::default();
    let request = OpenRequest {
        shown_as: "a.png",
        encoding: Some(Belief { value: Encoding::SceneLinear, from: "sheet" }),
        ..OpenRequest::of(&path, "mirror", &limits)
    };
    let frame = open(&request).unwrap();
    assert_eq!(frame.record.encoding_from, "sheet");
    assert_eq!(frame.rgb[1][0], f32::from(code(1, 0, 0)) / 255.0);
}

/// A JPEG with these EXIF fields.
fn jpeg_with_exif(image: &DynamicImage, fields: &[Field]) -> Vec<u8> {
    let mut writer = Writer::new();
    for field in fields {
        writer.push_field(field);
    }
    let mut tiff = Cursor::new(Vec::new());
    writer.write(&mut tiff, false).unwrap();
    with_app1(&bytes_of(image, ImageFormat::Jpeg), &tiff.into_inner())
}

/// Puts an EXIF segment behind the start mark.
fn with_app1(jpeg: &[u8], tiff: &[u8]) -> Vec<u8> {
    let mut bytes = jpeg[..2].to_vec();
    bytes.extend([0xff, 0xe1]);
    bytes.extend((tiff.len() as u16 + 8).to_be_bytes());
    bytes.extend(b"Exif\0\0");
    bytes.extend(tiff);
    bytes.extend(&jpeg[2..]);
    bytes
}

fn field(tag: Tag, value: Value) -> Field {
    Field { tag, ifd_num: In::PRIMARY, value }
}

fn ratio(num: u32, denom: u32) -> Value {
    Value::Rational(vec![Rational { num, denom }])
}

#[test]
fn exif_becomes_exposure_and_lens() {
    let folder = tempfile::tempdir().unwrap();
    let fields = [
        field(Tag::ExposureTime, ratio(1, 50)),
        field(Tag::FNumber, ratio(56, 10)),
        field(Tag::PhotographicSensitivity, Value::Short(vec![400])),
        field(Tag::FocalLength, ratio(35, 1)),
        // 24 columns over 24 mm: 10 per centimetre.
        field(Tag::FocalPlaneXResolution, ratio(10, 1)),
        field(Tag::FocalPlaneResolutionUnit, Value::Short(vec![3])),
        field(Tag::WhiteBalance, Value::Short(vec![0])),
        field(Tag::Model, Value::Ascii(vec![b"ferry cam".to_vec()])),
    ];
    let meta = open_plain(&save(folder.path(), "a.jpg", &jpeg_with_exif(&rgb8(), &fields))).unwrap().meta;
    let near = |value: Option<f64>, want: f64| (value.unwrap() - want).abs() < 1e-9;
    assert!(near(meta.exposure_time_s, 0.02) && near(meta.f_number, 5.6) && near(meta.iso, 400.0));
    assert!(near(meta.focal_length_mm, 35.0) && near(meta.sensor_width_mm, 24.0));
    assert_eq!((meta.auto_white_balance, meta.camera.as_deref()), (Some(true), Some("ferry cam")));
}

#[test]
fn exif_tells_time_place_and_lens() {
    let folder = tempfile::tempdir().unwrap();
    let words = |tag, text: &str| field(tag, Value::Ascii(vec![text.as_bytes().to_vec()]));
    let dms = |parts: [(u32, u32); 3]| Value::Rational(parts.map(|(num, denom)| Rational { num, denom }).to_vec());
    let fields = [
        words(Tag::DateTimeOriginal, "2026:06:21 17:20:00"),
        words(Tag::OffsetTimeOriginal, "+02:00"),
        words(Tag::GPSLatitudeRef, "S"),
        field(Tag::GPSLatitude, dms([(54, 1), (19, 1), (1200, 100)])),
        words(Tag::GPSLongitudeRef, "E"),
        field(Tag::GPSLongitude, dms([(10, 1), (8, 1), (24, 1)])),
        words(Tag::GPSImgDirectionRef, "T"),
        field(Tag::GPSImgDirection, ratio(2145, 10)),
        words(Tag::LensModel, "ferry prime 32"),
        words(Tag::LensSerialNumber, "0042"),
        words(Tag::BodySerialNumber, "7"),
    ];
    let meta = open_plain(&save(folder.path(), "a.jpg", &jpeg_with_exif(&rgb8(), &fields))).unwrap().meta;
    let near = |value: Option<f64>, want: f64| (value.unwrap() - want).abs() < 1e-9;
    assert_eq!(meta.captured.unwrap().to_string(), "2026-06-21 17:20:00 UTC+02:00");
    assert!(near(meta.latitude_deg, -54.32) && near(meta.longitude_deg, 10.14) && near(meta.heading_deg, 214.5));
    assert_eq!((meta.lens.as_deref(), meta.lens_serial.as_deref()), (Some("ferry prime 32"), Some("0042")));
    assert_eq!(meta.camera_serial.as_deref(), Some("7"));
    // Magnetic bearings depend on place and year, so they are not taken for true ones.
    let magnetic = [words(Tag::GPSImgDirectionRef, "M"), field(Tag::GPSImgDirection, ratio(2145, 10))];
    let meta = open_plain(&save(folder.path(), "b.jpg", &jpeg_with_exif(&rgb8(), &magnetic))).unwrap().meta;
    assert_eq!(meta.heading_deg, None);
}

#[test]
fn the_35_mm_equivalent_stands_in_for_the_sensor() {
    let folder = tempfile::tempdir().unwrap();
    let fields = [field(Tag::FocalLength, ratio(20, 1)), field(Tag::FocalLengthIn35mmFilm, Value::Short(vec![30]))];
    let frame = open_plain(&save(folder.path(), "a.jpg", &jpeg_with_exif(&rgb8(), &fields))).unwrap();
    // A 3:2 picture: 36 mm × 20 / 30.
    assert!((frame.meta.sensor_width_mm.unwrap() - 24.0).abs() < 1e-9);
    assert!(frame.warnings.iter().any(|w| w.contains("35 mm equivalent")));
}

#[test]
fn orientation_turns_the_pixels() {
    let folder = tempfile::tempdir().unwrap();
    // Left half dark, right half bright; orientation 6 is shown turned a quarter clockwise, so the left goes up.
    let image = DynamicImage::ImageRgb8(ImageBuffer::from_fn(32, 16, |x, _| Rgb([if x < 16 { 10 } else { 240 }; 3])));
    let fields = [field(Tag::Orientation, Value::Short(vec![6]))];
    let frame = open_plain(&save(folder.path(), "a.jpg", &jpeg_with_exif(&image, &fields))).unwrap();
    assert_eq!((frame.size.width, frame.size.height), (16, 32));
    assert_eq!(frame.meta.orientation, Some(6));
    assert!(frame.pixel(8, 2).unwrap()[0] < 0.05 && frame.pixel(8, 29).unwrap()[0] > 0.8);
}

#[test]
fn damaged_exif_is_a_warning() {
    let folder = tempfile::tempdir().unwrap();
    let bytes = with_app1(&bytes_of(&rgb8(), ImageFormat::Jpeg), b"MM\0*\0\0\xff\xff nothing there");
    let frame = open_plain(&save(folder.path(), "a.jpg", &bytes)).unwrap();
    assert!(frame.warnings.iter().any(|w| w.contains("EXIF is damaged")), "{:?}", frame.warnings);
    assert_eq!(frame.meta.exposure_time_s, None);
}
