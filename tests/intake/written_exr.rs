//! OpenEXR files written here: channel layouts, compressions, windows, attributes.

use std::path::{Path, PathBuf};

use exr::meta::attribute::Chromaticities;
use exr::prelude::*;
use half::f16;
use plateproof::ErrorKind;
use plateproof::image::limits::Limits;
use plateproof::image::open::OpenRequest;

use super::{open_layer, open_plain};

const WIDTH: usize = 37;
const HEIGHT: usize = 21;

/// A smooth ramp that is different in every channel.
fn ramp(seed: usize) -> Vec<f32> {
    let value = |i: usize| 0.05 + 0.01 * (i % WIDTH) as f32 + 0.02 * (i / WIDTH) as f32 + 0.1 * seed as f32;
    (0..WIDTH * HEIGHT).map(value).collect()
}

fn halves(seed: usize) -> FlatSamples {
    FlatSamples::F16(ramp(seed).into_iter().map(f16::from_f32).collect())
}

/// A layer of these channels with ZIP compression.
fn layer_of(name: Option<&str>, channels: &[(&str, FlatSamples)]) -> Layer<AnyChannels<FlatSamples>> {
    let channels = channels.iter().map(|(name, samples)| AnyChannel::new(*name, samples.clone())).collect();
    let attributes = LayerAttributes { layer_name: name.map(Text::from), ..LayerAttributes::default() };
    let encoding = Encoding { compression: Compression::ZIP16, ..Encoding::FAST_LOSSLESS };
    Layer::new((WIDTH, HEIGHT), attributes, encoding, AnyChannels::sort(channels))
}

type Written = Layer<AnyChannels<FlatSamples>>;

/// Writes one part per layer; the display window is the first part's size.
fn write(folder: &Path, layers: Vec<Written>) -> PathBuf {
    write_within(folder, ImageAttributes::with_size((WIDTH, HEIGHT)), layers)
}

fn write_within(folder: &Path, attributes: ImageAttributes, layers: Vec<Written>) -> PathBuf {
    let path = folder.join("written.exr");
    let layers: Layers<AnyChannels<FlatSamples>> = layers.into();
    Image::from_layers(attributes, layers).write().to_file(&path).unwrap();
    path
}

/// The frame's pixels of one channel.
fn channel(frame: &plateproof::image::Frame, index: usize) -> Vec<f32> {
    frame.rgb.iter().map(|p| p[index]).collect()
}

fn largest_difference(a: &[f32], b: &[f32]) -> f32 {
    assert_eq!(a.len(), b.len());
    a.iter().zip(b).map(|(a, b)| (a - b).abs()).fold(0.0, f32::max)
}

#[test]
fn every_compression_gives_the_picture_back() {
    let folder = tempfile::tempdir().unwrap();
    // Lossless ones exactly; PXR24 keeps halves; B44 and DWA lose what their designs lose on a smooth ramp.
    let kinds = [
        (Compression::Uncompressed, 0.0),
        (Compression::RLE, 0.0),
        (Compression::ZIP1, 0.0),
        (Compression::ZIP16, 0.0),
        (Compression::PIZ, 0.0),
        (Compression::PXR24, 0.0),
        (Compression::B44, 0.02),
        (Compression::B44A, 0.02),
        (Compression::DWAA(None), 0.02),
        (Compression::DWAB(None), 0.02),
    ];
    let blocks = [Blocks::ScanLines, Blocks::Tiles(Vec2(16, 8))];
    for ((compression, allowed), blocks) in kinds.iter().flat_map(|k| blocks.iter().map(move |b| (*k, *b))) {
        let mut layer = layer_of(None, &[("R", halves(2)), ("G", halves(1)), ("B", halves(0))]);
        layer.encoding = Encoding { compression, blocks, line_order: LineOrder::Increasing };
        let frame = open_plain(&write(folder.path(), vec![layer])).unwrap();
        for (index, seed) in [(0, 2), (1, 1), (2, 0)] {
            let want: Vec<f32> = ramp(seed).into_iter().map(|v| f16::from_f32(v).to_f32()).collect();
            let difference = largest_difference(&channel(&frame, index), &want);
            assert!(difference <= allowed, "{compression} {blocks:?} channel {index}: {difference}");
        }
    }
}

#[test]
fn lines_from_bottom_to_top_stand_upright() {
    let folder = tempfile::tempdir().unwrap();
    let mut layer = layer_of(None, &[("R", halves(2)), ("G", halves(1)), ("B", halves(0))]);
    layer.encoding.line_order = LineOrder::Decreasing;
    layer.encoding.blocks = Blocks::ScanLines;
    let frame = open_plain(&write(folder.path(), vec![layer])).unwrap();
    assert!(frame.rgb[0][0] < frame.rgb[WIDTH * (HEIGHT - 1)][0]);
}

#[test]
fn float_and_integer_samples_keep_their_values() {
    let folder = tempfile::tempdir().unwrap();
    let whole = FlatSamples::U32((0..WIDTH * HEIGHT).map(|i| i as u32 * 1000).collect());
    let layer = layer_of(None, &[("R", FlatSamples::F32(ramp(0))), ("G", whole), ("B", halves(0))]);
    let frame = open_plain(&write(folder.path(), vec![layer])).unwrap();
    assert_eq!(channel(&frame, 0), ramp(0));
    assert_eq!(frame.rgb[3][1], 3000.0);
}

#[test]
fn the_unprefixed_picture_wins_over_hundreds_of_other_channels() {
    let folder = tempfile::tempdir().unwrap();
    let names: Vec<String> = (0..300).map(|i| format!("aov{i:03}.R")).collect();
    let mut channels: Vec<(&str, FlatSamples)> = names.iter().map(|n| (n.as_str(), halves(3))).collect();
    channels.extend([("r", halves(2)), ("g", halves(1)), ("b", halves(0))]);
    let frame = open_plain(&write(folder.path(), vec![layer_of(None, &channels)])).unwrap();
    assert!(largest_difference(&channel(&frame, 0), &ramp(2)) < 1e-3);
    assert!(largest_difference(&channel(&frame, 2), &ramp(0)) < 1e-3);
    assert_eq!(frame.record.layer, None, "the picture itself has no layer name");
}

#[test]
fn named_layers_are_found_in_any_case_and_listed() {
    let folder = tempfile::tempdir().unwrap();
    let channels = [
        ("beauty.R", halves(2)),
        ("beauty.G", halves(1)),
        ("beauty.B", halves(0)),
        ("key.R", halves(3)),
        ("key.G", halves(3)),
        ("key.B", halves(3)),
        ("depth.Z", halves(5)),
        ("N.X", halves(6)),
        ("N.Y", halves(7)),
        ("N.Z", halves(8)),
    ];
    let path = write(folder.path(), vec![layer_of(None, &channels)]);
    let error = open_plain(&path).unwrap_err();
    assert_eq!(error.kind, ErrorKind::Parameter);
    assert!(error.remedy.contains("beauty, key"), "{error}");
    let beauty = open_layer(&path, Some("Beauty")).unwrap();
    assert!(largest_difference(&channel(&beauty, 0), &ramp(2)) < 2e-3);
    assert_eq!(beauty.record.layer.as_deref(), Some("beauty"));
    let one = open_layer(&path, Some("key.R")).unwrap();
    assert!(largest_difference(&channel(&one, 1), &ramp(3)) < 2e-3);
    assert!(one.warnings.iter().any(|w| w.contains("one channel")));
}

#[test]
fn the_only_colour_layer_needs_no_name() {
    let folder = tempfile::tempdir().unwrap();
    let channels = [("beauty.R", halves(2)), ("beauty.G", halves(1)), ("beauty.B", halves(0)), ("depth.Z", halves(5))];
    let frame = open_plain(&write(folder.path(), vec![layer_of(None, &channels)])).unwrap();
    assert_eq!(frame.record.layer.as_deref(), Some("beauty"));
}

#[test]
fn xyz_channels_are_xyz() {
    let folder = tempfile::tempdir().unwrap();
    let layer = layer_of(None, &[("X", halves(2)), ("Y", halves(1)), ("Z", halves(0))]);
    let frame = open_plain(&write(folder.path(), vec![layer])).unwrap();
    assert_eq!((frame.space.name.as_str(), frame.record.colour_space_from.as_str()), ("xyz", "file"));
    assert!(largest_difference(&channel(&frame, 0), &ramp(2)) < 1e-3);
}

#[test]
fn parts_are_layers() {
    let folder = tempfile::tempdir().unwrap();
    let parts = ["left", "right"].iter().zip([0, 3]).map(|(name, seed)| {
        layer_of(Some(name), &[("R", halves(seed)), ("G", halves(seed + 1)), ("B", halves(seed + 2))])
    });
    let path = write(folder.path(), parts.collect());
    assert!(open_plain(&path).unwrap_err().remedy.contains("left, right"));
    let right = open_layer(&path, Some("right")).unwrap();
    assert!(largest_difference(&channel(&right, 0), &ramp(3)) < 1e-3);
    assert!((right.record.decoded_fraction - 0.5).abs() < 1e-9);
}

#[test]
fn overscan_is_placed_against_a_display_window_away_from_the_origin() {
    let folder = tempfile::tempdir().unwrap();
    let mut layer = layer_of(None, &[("R", halves(2)), ("G", halves(1)), ("B", halves(0))]);
    layer.attributes.layer_position = Vec2(95, 48);
    let mut attributes = ImageAttributes::new(IntegerBounds::new((100, 50), (27_usize, 17_usize)));
    attributes.pixel_aspect = 2.0;
    let frame = open_plain(&write_within(folder.path(), attributes, vec![layer])).unwrap();
    assert_eq!((frame.data.x, frame.data.y, frame.size.width, frame.size.height), (-5, -2, 27, 17));
    assert_eq!(frame.pixel(-5, -2), Some(frame.rgb[0]));
    assert_eq!(frame.pixel(-6, -2), None);
    assert_eq!(frame.pixel_aspect, 2.0);
}

#[test]
fn coverage_is_read_only_when_wanted() {
    let folder = tempfile::tempdir().unwrap();
    let channels = [("R", halves(2)), ("G", halves(1)), ("B", halves(0)), ("A", halves(4))];
    let path = write(folder.path(), vec![layer_of(None, &channels)]);
    let with = open_plain(&path).unwrap();
    assert!(largest_difference(with.alpha.as_deref().unwrap(), &ramp(4)) < 1e-3);
    let limits = Limits::default();
    let request =
        OpenRequest { shown_as: "written.exr", clip_level: Some(0.5), ..OpenRequest::of(&path, "cg", &limits) };
    let without = plateproof::image::open::open(&request).unwrap();
    assert!(without.alpha.is_none());
    assert_eq!(without.clip_level, Some([0.5; 3]));
    assert_eq!((without.record.role.as_str(), without.record.file.as_str()), ("cg", "written.exr"));
}

#[test]
fn invalid_coverage_and_colour_mask_the_pixel_once() {
    let folder = tempfile::tempdir().unwrap();
    let mut red = ramp(0);
    red[4] = f32::NAN;
    red[5] = f32::MAX;
    let mut alpha = ramp(1);
    alpha[4] = f32::INFINITY;
    alpha[6] = f32::NEG_INFINITY;
    let channels = [("R", FlatSamples::F32(red)), ("G", halves(1)), ("B", halves(0)), ("A", FlatSamples::F32(alpha))];
    let frame = open_plain(&write(folder.path(), vec![layer_of(None, &channels)])).unwrap();
    assert_eq!(frame.record.masked_pixels, 2);
    assert!(frame.rgb[4].iter().chain(&frame.rgb[6]).all(|v| v.is_nan()));
    assert_eq!(frame.rgb[5][0], f32::MAX);
    assert_eq!(frame.alpha.unwrap()[6], 0.0);
}

#[test]
fn camera_attributes_become_exposure_and_lens() {
    let folder = tempfile::tempdir().unwrap();
    let mut layer = layer_of(None, &[("R", halves(2)), ("G", halves(1)), ("B", halves(0))]);
    let own = &mut layer.attributes;
    own.exposure = Some(0.02);
    own.aperture = Some(2.8);
    own.iso_speed = Some(800.0);
    let other = [
        ("tStop", AttributeValue::F32(3.0)),
        ("effectiveFocalLength", AttributeValue::F32(33.0)),
        ("pinholeFocalLength", AttributeValue::F32(32.0)),
        ("sensorPhotositePitch", AttributeValue::F32(8.25)),
        (
            "sensorAcquisitionRectangle",
            AttributeValue::IntegerBounds(IntegerBounds::new((0, 0), (2880_usize, 1620_usize))),
        ),
        ("sensorOverallDimensions", AttributeValue::FloatVec2(Vec2(28.25, 18.17))),
        ("cameraModel", AttributeValue::Text("ferry cam".into())),
    ];
    own.other.extend(other.into_iter().map(|(name, value)| (Text::from(name), value)));
    let meta = open_plain(&write(folder.path(), vec![layer])).unwrap().meta;
    let near = |value: Option<f64>, want: f64| (value.unwrap() - want).abs() < 1e-5 * want;
    assert!(near(meta.exposure_time_s, 0.02) && near(meta.f_number, 2.8) && near(meta.t_stop, 3.0));
    assert!(near(meta.iso, 800.0) && near(meta.focal_length_mm, 32.0));
    // 2880 photosites of 8.25 µm.
    assert!(near(meta.sensor_width_mm, 23.76));
    assert_eq!(meta.horizontal_fov_deg, None, "centre (0, 0) and width 1 is a filler");
    assert_eq!(meta.camera.as_deref(), Some("ferry cam"));
}

/// The file and its header's values are OpenEXR's own (`golden/exr_attributes`).
#[test]
fn attributes_that_openexr_itself_wrote_are_read() {
    let golden = |name: &str| Path::new(env!("CARGO_MANIFEST_DIR")).join("golden/exr_attributes").join(name);
    let frame = open_plain(&golden("camera.exr")).unwrap();
    let meta = &frame.meta;
    let near = |value: Option<f64>, want: f64| (value.unwrap() - want).abs() < 1e-5 * want.abs();
    // 172.8 deg of 1001/24000 s.
    assert!(near(meta.exposure_time_s, 172.8 / 360.0 * 1001.0 / 24_000.0), "{:?}", meta.exposure_time_s);
    assert!(near(meta.t_stop, 2.9) && near(meta.focus_m, 3.25) && near(meta.entrance_pupil_mm, 128.5));
    assert!(near(meta.sensor_width_mm, 23.76));
    // 118.8 µm to the right and 59.4 µm up on 23.76 mm: the axis lies to the left and below.
    let [across, down] = meta.axis_off_centre.unwrap();
    assert!((across + 0.005).abs() < 1e-6 && (down - 0.0025).abs() < 1e-6);
    let record = &frame.record;
    assert_eq!((&*record.colour_space, &*record.colour_space_from), ("acescg", "file"));
    assert_eq!((&*record.encoding, &*record.encoding_from), ("scene-linear", "file"));
    let told = open_plain(&golden("contradicting.exr")).unwrap();
    assert_eq!((&*told.record.colour_space, &*told.record.colour_space_from), ("rec2020", "chromaticities"));
    assert_eq!(told.record.encoding, "srgb");
    for words in ["expTime", "display"] {
        assert!(told.warnings.iter().any(|w| w.contains(words)), "{words}: {:?}", told.warnings);
    }
    assert!(told.warnings.iter().any(|w| w.contains("rec709") && w.contains("rec2020")), "{:?}", told.warnings);
}

#[test]
fn a_screen_window_gives_the_field_of_view() {
    let folder = tempfile::tempdir().unwrap();
    let mut layer = layer_of(None, &[("R", halves(2)), ("G", halves(1)), ("B", halves(0))]);
    layer.attributes.screen_window_width = 2.0;
    let meta = open_plain(&write(folder.path(), vec![layer])).unwrap().meta;
    assert!((meta.horizontal_fov_deg.unwrap() - 90.0).abs() < 1e-9);
}

#[test]
fn chromaticities_name_a_known_space() {
    let folder = tempfile::tempdir().unwrap();
    let mut attributes = ImageAttributes::with_size((WIDTH, HEIGHT));
    // ITU-R BT.2020-2, table 3.
    attributes.chromaticities = Some(Chromaticities {
        red: Vec2(0.708, 0.292),
        green: Vec2(0.170, 0.797),
        blue: Vec2(0.131, 0.046),
        white: Vec2(0.3127, 0.3290),
    });
    let layer = layer_of(None, &[("R", halves(2)), ("G", halves(1)), ("B", halves(0))]);
    let frame = open_plain(&write_within(folder.path(), attributes, vec![layer])).unwrap();
    let record = frame.record;
    assert_eq!((record.colour_space.as_str(), record.colour_space_from.as_str()), ("rec2020", "chromaticities"));
}

#[test]
fn the_hash_is_of_the_whole_file() {
    let folder = tempfile::tempdir().unwrap();
    let path = write(folder.path(), vec![layer_of(None, &[("R", halves(2)), ("G", halves(1)), ("B", halves(0))])]);
    let mut bytes = std::fs::read(&path).unwrap();
    bytes.extend(b"something after the last block");
    std::fs::write(&path, &bytes).unwrap();
    let frame = open_plain(&path).unwrap();
    assert_eq!(frame.record.blake3, blake3::hash(&bytes).to_hex().to_string());
}

/// A perspective camera's `worldToNDC` for row vectors (Imath): a camera at `place` that looks along world −z, of half
/// width `tangent` at unit distance. `x_from_minus_one`: x' runs from −1 to 1 in place of 0 to 1.
fn world_to_ndc(tangent: f32, place: [f32; 3], x_from_minus_one: bool) -> [f32; 16] {
    // x' = (X / tangent + w') / 2 and w' = −Z for a point (X, Y, Z) in the camera's axes.
    let (scale, shift) = if x_from_minus_one { (1.0, 0.0) } else { (0.5, 0.5) };
    let rows = [[scale / tangent, 0.0, 0.0, 0.0], [0.0, -scale / tangent, 0.0, 0.0], [-shift, -shift, -1.0, -1.0]];
    let last = [0, 1, 2, 3].map(|j| -(0..3).map(|i| place[i] * rows[i][j]).sum::<f32>());
    let mut flat = [0.0; 16];
    for (i, row) in rows.iter().chain(std::iter::once(&last)).enumerate() {
        flat[4 * i..4 * i + 4].copy_from_slice(row);
    }
    flat
}

#[test]
fn place_time_lens_and_matrix_are_read() {
    let folder = tempfile::tempdir().unwrap();
    let mut layer = layer_of(None, &[("R", halves(0)), ("G", halves(1)), ("B", halves(2))]);
    let own = &mut layer.attributes;
    // OpenEXR: UTC = local + utcOffset, so two hours east is −7200.
    own.capture_date = Some(Text::from("2026:06:21 17:20:00"));
    own.utc_offset = Some(-7200.0);
    (own.latitude, own.longitude, own.altitude) = (Some(27.717), Some(85.317), Some(1305.0));
    own.world_to_normalized_device = Some(world_to_ndc(0.5, [120.0, -30.0, 900.0], false));
    // Corners are inclusive: 0 to 2879 are 2880 photosites.
    let area = IntegerBounds::new((0, 0), (2880_usize, 1620_usize));
    for (name, value) in [
        ("lensModel", AttributeValue::Text("prime 32".into())),
        ("lensSerialNumber", AttributeValue::Text("0042".into())),
        ("sensorAcquisitionRectangle", AttributeValue::IntegerBounds(area)),
        ("sensorPhotositePitch", AttributeValue::F32(8.25)),
        ("pinholeFocalLength", AttributeValue::F32(32.0)),
    ] {
        own.other.insert(name.into(), value);
    }
    let meta = open_plain(&write(folder.path(), vec![layer.clone()])).unwrap().meta;
    assert_eq!(meta.captured.unwrap().to_string(), "2026-06-21 17:20:00 UTC+02:00");
    assert!((meta.latitude_deg.unwrap() - 27.717).abs() < 1e-5 && (meta.longitude_deg.unwrap() - 85.317).abs() < 1e-5);
    assert_eq!((meta.lens.as_deref(), meta.lens_serial.as_deref()), (Some("prime 32"), Some("0042")));
    assert_eq!(meta.acquisition_px, Some([2880, 1620]));
    assert!((meta.sensor_width_mm.unwrap() - 23.76).abs() < 1e-6);
    // 2 atan(0.5) wherever the camera stands.
    let expected = 2.0 * 0.5_f64.atan().to_degrees();
    assert!((meta.matrix_fov_deg.unwrap() - expected).abs() < 1e-3, "{:?}", meta.matrix_fov_deg);
    layer.attributes.world_to_normalized_device = Some(world_to_ndc(0.5, [120.0, -30.0, 900.0], true));
    let frame = open_plain(&write(folder.path(), vec![layer.clone()])).unwrap();
    assert!((frame.meta.matrix_fov_deg.unwrap() - expected).abs() < 1e-3);
    assert!(frame.warnings.iter().any(|w| w.contains("-1 to 1")), "{:?}", frame.warnings);
    layer.attributes.world_to_normalized_device = Some([f32::NAN; 16]);
    assert_eq!(open_plain(&write(folder.path(), vec![layer])).unwrap().meta.matrix_fov_deg, None);
}
