//! Small invented files of every kind that is read: what fuzzing starts from.

use std::io::Cursor;
use std::path::Path;

use exif::experimental::Writer;
use exif::{Field, In, Rational, Tag, Value};
use exr::prelude::*;
use image::{DynamicImage, ImageBuffer, ImageFormat, Rgb};

/// Columns and rows of every picture here.
const SIZE: (usize, usize) = (8, 6);

/// A file of the corpus: its name and its bytes.
pub(super) type Seed = (&'static str, Vec<u8>);

/// A kind of input: the folder of its corpus, and its seeds.
pub(super) fn kinds() -> Vec<(&'static str, Vec<Seed>)> {
    vec![
        ("sheet", sheets()),
        ("picture", pictures()),
        ("exif", exif_blocks()),
        ("clf", transforms()),
        ("report", reports()),
        #[cfg(feature = "ocio")]
        ("config", configs()),
    ]
}

/// Read only by builds that read colour configs.
#[cfg(feature = "ocio")]
fn configs() -> Vec<Seed> {
    let shortest = "ocio_profile_version: 2\nroles:\n  scene_linear: dock log\n  default: dock log\ncolorspaces:\n  - !<ColorSpace>\n    name: dock log\n    to_reference: !<FileTransform> {src: tables/small.cube}\n";
    vec![
        ("every_kind.ocio", include_bytes!("../../golden/colour_config/config.ocio").to_vec()),
        ("old.ocio", include_bytes!("../../golden/colour_config/old.ocio").to_vec()),
        ("shortest.ocio", shortest.as_bytes().to_vec()),
    ]
}

fn reports() -> Vec<Seed> {
    vec![("example.json", include_bytes!("../../src/report/testdata/contract_example.report.json").to_vec())]
}

fn sheets() -> Vec<Seed> {
    vec![
        ("shortest.json", include_bytes!("../../docs/examples/shortest.json").to_vec()),
        ("every_key.json", include_bytes!("../../docs/examples/every_key.json").to_vec()),
        ("numbers.json", SHEET_OF_NUMBERS.as_bytes().to_vec()),
    ]
}

const SHEET_OF_NUMBERS: &str = r#"{ "format": "plateproof-shot/1", "shot": "SF_0660",
  "plate": { "frame": "plate.####.exr", "frame_range": [1001, 1010], "clip_level": 12.5 },
  "mirrors": [ { "name": "m1", "bracket": [ { "frame": "a.jpg", "exposure_stops": -2 }, "b.jpg" ],
    "reflectance": "chrome", "diameter": "8 in" } ],
  "cg": { "spheres": [ { "mirror": "m1", "frame": "cg.exr", "layer": "beauty" } ] },
  "camera": { "focal_length_mm": 3.2e1, "sensor_mm": [24.89, 13.12], "distance": "12 ft" },
  "notes": { "tide": [null, true, "\u0007"] } }
"#;

fn pictures() -> Vec<Seed> {
    let compressions = [
        ("plain.exr", Compression::Uncompressed),
        ("rle.exr", Compression::RLE),
        ("zip.exr", Compression::ZIP16),
        ("piz.exr", Compression::PIZ),
        ("pxr24.exr", Compression::PXR24),
        ("b44.exr", Compression::B44),
    ];
    let mut seeds: Vec<Seed> = compressions.map(|(name, kind)| (name, exr(kind, Blocks::ScanLines))).into();
    seeds.push(("tiles.exr", exr(Compression::ZIP1, Blocks::Tiles(Vec2(4, 4)))));
    let eight = DynamicImage::ImageRgb8(ImageBuffer::from_fn(SIZE.0 as u32, SIZE.1 as u32, |x, y| {
        Rgb([x as u8 * 30, y as u8 * 40, 77])
    }));
    let float = DynamicImage::ImageRgb32F(eight.to_rgb32f());
    let rasters = [
        ("plain.jpg", &eight, ImageFormat::Jpeg),
        ("plain.png", &eight, ImageFormat::Png),
        ("sixteen.png", &DynamicImage::ImageRgb16(eight.to_rgb16()), ImageFormat::Png),
        ("plain.tif", &eight, ImageFormat::Tiff),
        ("float.tif", &float, ImageFormat::Tiff),
        ("plain.hdr", &float, ImageFormat::Hdr),
        ("plain.tga", &eight, ImageFormat::Tga),
    ];
    seeds.extend(rasters.map(|(name, picture, format)| (name, raster(picture, format))));
    seeds.push(("lossless.jxl", include_bytes!("../../golden/jpeg_xl/lossless.jxl").to_vec()));
    seeds.push(("lossy.jxl", include_bytes!("../../golden/jpeg_xl/lossy.jxl").to_vec()));
    seeds.push(("half_chroma.heic", include_bytes!("../../golden/heic/half_chroma.heic").to_vec()));
    seeds.push(("ten.heic", include_bytes!("../../golden/heic/ten.heic").to_vec()));
    #[cfg(feature = "raw")]
    seeds.extend(raw_stills());
    seeds.push(("ten_bits.dpx", include_bytes!("../../golden/dpx/rgb_10_a_big.dpx").to_vec()));
    seeds.push(("stream.dpx", include_bytes!("../../golden/dpx/rgba_12_packed_little.dpx").to_vec()));
    seeds
}

/// Read only by builds with their reader; to others they are files to refuse.
#[cfg(feature = "raw")]
fn raw_stills() -> Vec<Seed> {
    vec![
        ("bayer.dng", include_bytes!("../../golden/raw/bayer_daylight.dng").to_vec()),
        ("tiled.dng", include_bytes!("../../golden/raw/tiled.dng").to_vec()),
        ("x_trans.dng", include_bytes!("../../golden/raw/x_trans.dng").to_vec()),
    ]
}

fn raster(picture: &DynamicImage, format: ImageFormat) -> Vec<u8> {
    let mut bytes = Cursor::new(Vec::new());
    picture.write_to(&mut bytes, format).unwrap();
    bytes.into_inner()
}

fn exr(compression: Compression, blocks: Blocks) -> Vec<u8> {
    let ramp = |seed: usize| (0..SIZE.0 * SIZE.1).map(|i| f16::from_f32(0.02 * (i + 7 * seed) as f32)).collect();
    let channels = ["R", "G", "B", "A"].into_iter().enumerate();
    let channels = channels.map(|(seed, name)| AnyChannel::new(name, FlatSamples::F16(ramp(seed)))).collect();
    let attributes = LayerAttributes {
        exposure: Some(0.02),
        aperture: Some(4.0),
        iso_speed: Some(800.0),
        ..LayerAttributes::default()
    };
    let encoding = Encoding { compression, blocks, line_order: LineOrder::Increasing };
    let layer: Layer<AnyChannels<FlatSamples>> = Layer::new(SIZE, attributes, encoding, AnyChannels::sort(channels));
    let layers: Layers<AnyChannels<FlatSamples>> = vec![layer].into();
    let mut bytes = Cursor::new(Vec::new());
    let image = Image::from_layers(ImageAttributes::with_size(SIZE), layers);
    image.write().non_parallel().to_buffered(&mut bytes).unwrap();
    bytes.into_inner()
}

fn exif_blocks() -> Vec<Seed> {
    let ratio = |num, denom| Value::Rational(vec![Rational { num, denom }]);
    let text = |text: &str| Value::Ascii(vec![text.as_bytes().to_vec()]);
    let degrees = || Value::Rational([(54, 1), (20, 1), (375, 100)].map(|(num, denom)| Rational { num, denom }).into());
    let fields = [
        (Tag::ExposureTime, ratio(1, 50)),
        (Tag::FNumber, ratio(56, 10)),
        (Tag::PhotographicSensitivity, Value::Short(vec![800])),
        (Tag::FocalLength, ratio(32, 1)),
        (Tag::FocalPlaneXResolution, ratio(4000, 1)),
        (Tag::FocalPlaneResolutionUnit, Value::Short(vec![2])),
        (Tag::WhiteBalance, Value::Short(vec![1])),
        (Tag::DateTimeOriginal, text("2031:03:04 16:05:06")),
        (Tag::OffsetTimeOriginal, text("+01:00")),
        (Tag::BodySerialNumber, text("SF-7")),
        (Tag::LensModel, text("Ferry 32 mm")),
        (Tag::GPSLatitudeRef, text("N")),
        (Tag::GPSLatitude, degrees()),
        (Tag::GPSLongitudeRef, text("W")),
        (Tag::GPSLongitude, degrees()),
        (Tag::GPSAltitude, ratio(12, 1)),
    ];
    let fields = fields.map(|(tag, value)| Field { tag, ifd_num: In::PRIMARY, value });
    vec![
        ("big_end_first.exif", exif_block(&fields, false)),
        ("little_end_first.exif", exif_block(&fields, true)),
        ("exposure_alone.exif", exif_block(&fields[..3], true)),
    ]
}

fn exif_block(fields: &[Field], little_endian: bool) -> Vec<u8> {
    let mut writer = Writer::new();
    for field in fields {
        writer.push_field(field);
    }
    let mut bytes = Cursor::new(Vec::new());
    writer.write(&mut bytes, little_endian).unwrap();
    bytes.into_inner()
}

fn transforms() -> Vec<Seed> {
    let golden = Path::new(env!("CARGO_MANIFEST_DIR")).join("golden/clf");
    let small = ["cdl.clf", "exponent_basic.clf", "log_camera.clf", "lut1d.clf", "lut3d_trilinear.clf", "matrix.clf"];
    small.into_iter().chain(["range.clf"]).map(|name| (name, std::fs::read(golden.join(name)).unwrap())).collect()
}
