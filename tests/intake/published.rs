//! Published pictures, read from the folder that `PLATEPROOF_REFERENCE_DATA` names.
//!
//! OpenEXR test images: AcademySoftwareFoundation/openexr-images, BSD-3-Clause; what each must show is said by the
//! README beside it.

use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use exr::prelude::{ReadChannels, ReadLayers, read};
use plateproof::ErrorKind;

use super::{open_layer, open_plain};

/// Relative rounding error of a half-float: half a unit in the last of 11 binary digits.
const HALF_ROUNDING: f64 = 1.0 / 2048.0;

/// Error of stored half-floats below the smallest normal one.
const HALF_SUBNORMAL_STEP: f64 = 6e-8;

/// The folder of OpenEXR test images.
fn images() -> PathBuf {
    let folder =
        std::env::var_os("PLATEPROOF_REFERENCE_DATA").expect("PLATEPROOF_REFERENCE_DATA names the reference data");
    PathBuf::from(folder).join("openexr_images")
}

/// The files of a folder, in order.
fn files(folder: &Path) -> Vec<PathBuf> {
    let mut files: Vec<PathBuf> = std::fs::read_dir(folder).unwrap().map(|e| e.unwrap().path()).collect();
    files.sort();
    assert!(!files.is_empty(), "{} is empty", folder.display());
    files
}

#[test]
#[cfg_attr(not(reference_data), ignore = "PLATEPROOF_REFERENCE_DATA is not set")]
fn the_same_picture_in_two_colour_spaces_comes_out_the_same() {
    let images = images();
    let rec709 = open_plain(&images.join("Chromaticities/Rec709.exr")).unwrap();
    let xyz = open_plain(&images.join("Chromaticities/XYZ.exr")).unwrap();
    assert_eq!(xyz.record.colour_space_from, "chromaticities");
    assert_eq!(rec709.rgb.len(), xyz.rgb.len());
    for (a, b) in rec709.rgb.iter().zip(&xyz.rgb) {
        let (a, b) = (a.map(f64::from), b.map(f64::from));
        let (in_a, in_b) = (rec709.space.to_working(a), xyz.space.to_working(b));
        for row in 0..3 {
            let stored_b: f64 = (0..3).map(|c| (xyz.space.to_working[(row, c)] * b[c]).abs()).sum();
            let bound = HALF_ROUNDING * (a[row].abs() + stored_b) + 4.0 * HALF_SUBNORMAL_STEP;
            assert!((in_a[row] - in_b[row]).abs() <= bound, "{in_a:?} against {in_b:?}, allowed {bound}");
        }
    }
}

#[test]
#[cfg_attr(not(reference_data), ignore = "PLATEPROOF_REFERENCE_DATA is not set")]
fn luminance_chroma_names_the_remedy() {
    let images = images();
    for name in ["Rec709_YC.exr", "XYZ_YC.exr"] {
        let error = open_plain(&images.join("Chromaticities").join(name)).unwrap_err();
        assert_eq!(error.kind, ErrorKind::Unsupported);
        assert!(error.remedy.contains("R, G, B"), "{error}");
    }
}

#[test]
#[cfg_attr(not(reference_data), ignore = "PLATEPROOF_REFERENCE_DATA is not set")]
fn display_windows_land_where_the_set_says() {
    let images = images();
    let frames: Vec<_> = files(&images.join("DisplayWindow"))
        .iter()
        .filter(|f| f.extension().is_some_and(|e| e == "exr"))
        .map(|f| open_plain(f).unwrap())
        .collect();
    assert_eq!(frames.len(), 16);
    let visible = |index: usize| {
        let frame = &frames[index - 1];
        let rows = 0..frame.size.height as i64;
        rows.flat_map(|y| (0..frame.size.width as i64).map(move |x| (x, y)))
            .filter(|(x, y)| frame.pixel(*x, *y).is_some())
            .count()
    };
    let area = |index: usize| frames[index - 1].size.width * frames[index - 1].size.height;
    for frame in &frames {
        assert_eq!((frame.data.width, frame.data.height), (400, 300));
        assert_eq!(frame.rgb, frames[0].rgb, "all files hold the same pixels");
    }
    assert_eq!((visible(1), area(1)), (120_000, 120_000));
    for index in 2..=8 {
        assert!(visible(index) > 0 && (visible(index) < 120_000 || visible(index) < area(index)), "t{index:02}");
    }
    for index in 9..=12 {
        assert_eq!(visible(index), 0, "t{index:02}");
    }
    let (t13, t14) = (&frames[12], &frames[13]);
    assert_eq!(visible(13), 1);
    assert_eq!(t13.pixel(0, 0), t13.rgb.last().copied(), "the lower right pixel is in the upper left corner");
    assert_eq!(visible(14), 1);
    let corner = t14.pixel(t14.size.width as i64 - 1, t14.size.height as i64 - 1);
    assert_eq!(corner, t14.rgb.first().copied(), "the upper left pixel is in the lower right corner");
    for (index, aspect) in [(15, 1.5), (16, 0.667)] {
        let frame = &frames[index - 1];
        assert_eq!((frame.size, frame.data), (frames[6].size, frames[6].data), "windows as in t07");
        assert!((frame.pixel_aspect - aspect).abs() < 1e-3);
    }
}

#[test]
#[cfg_attr(not(reference_data), ignore = "PLATEPROOF_REFERENCE_DATA is not set")]
fn damaged_files_give_an_error_or_a_picture_within_time_and_memory() {
    let images = images();
    for file in files(&images.join("Damaged")) {
        let start = Instant::now();
        if let Err(error) = open_plain(&file) {
            assert!(!error.cause.is_empty() && !error.remedy.is_empty(), "{error}");
        }
        assert!(start.elapsed() < Duration::from_secs(2), "{} took too long", file.display());
    }
    // Peak of the whole test process, so an upper bound. Linux only: elsewhere there is no such file.
    if let Ok(status) = std::fs::read_to_string("/proc/self/status") {
        let peak = status.lines().find_map(|line| line.strip_prefix("VmHWM:")).unwrap();
        let peak_kib: u64 = peak.trim().trim_end_matches("kB").trim().parse().unwrap();
        assert!(peak_kib < 512 * 1024, "peak memory {peak_kib} KiB");
    }
}

#[test]
#[cfg_attr(not(reference_data), ignore = "PLATEPROOF_REFERENCE_DATA is not set")]
fn invalid_pixels_are_masked_and_counted() {
    let images = images();
    let all = open_plain(&images.join("TestImages/AllHalfValues.exr")).unwrap();
    // Exponent 31, either sign, any of 1024 mantissas: NaN and infinity of IEEE 754 binary16.
    assert_eq!(all.record.masked_pixels, 2048);
    assert_eq!(all.rgb.iter().filter(|p| p[0].is_nan()).count(), 2048);
    assert!(all.rgb.iter().any(|p| p[0] == 65_504.0), "the largest half is a legal value");

    let sound = open_plain(&images.join("TestImages/BrightRings.exr")).unwrap();
    let spoilt = open_plain(&images.join("TestImages/BrightRingsNanInf.exr")).unwrap();
    let differing = sound.rgb.iter().zip(&spoilt.rgb).filter(|(a, b)| a != b).count() as u64;
    assert_eq!(differing, spoilt.record.masked_pixels);
    assert!((1..100).contains(&differing), "a few pixels near the centre");
    assert!(spoilt.warnings.iter().any(|w| w.contains("NaN")));
}

#[test]
#[cfg_attr(not(reference_data), ignore = "PLATEPROOF_REFERENCE_DATA is not set")]
fn a_single_float_channel_of_extreme_range_is_grey() {
    let images = images();
    let frame = open_plain(&images.join("TestImages/WideFloatRange.exr")).unwrap();
    assert_eq!(frame.record.masked_pixels, 0);
    let largest = frame.rgb.iter().map(|p| p[0]).fold(0.0, f32::max);
    assert!(largest > 1e37, "{largest}");
    assert!(frame.rgb.iter().all(|p| p[0] == p[1] && p[1] == p[2]));
    assert!(frame.warnings.iter().any(|w| w.contains("one channel")));
}

#[test]
#[cfg_attr(not(reference_data), ignore = "PLATEPROOF_REFERENCE_DATA is not set")]
fn parts_are_chosen_by_name_and_listed_when_unclear() {
    let images = images();
    let file = images.join("MultiPart/multipart.0001.exr");
    let error = open_plain(&file).unwrap_err();
    assert_eq!(error.kind, ErrorKind::Parameter);
    assert!(error.remedy.contains("rgba_left") && error.remedy.contains("rgba_right"), "{error}");
    let left = open_layer(&file, Some("rgba_left")).unwrap();
    let right = open_layer(&file, Some("RGBA_Right")).unwrap();
    assert_eq!(left.record.layer.as_deref(), Some("rgba_left"));
    assert_ne!(left.rgb, right.rgb);
    let depth = open_layer(&file, Some("depth_left")).unwrap();
    assert!(depth.warnings.iter().any(|w| w.contains("one channel")));
    let unknown = open_layer(&file, Some("lantern")).unwrap_err();
    assert!(unknown.cause.contains("lantern") && unknown.remedy.contains("depth_right"), "{unknown}");
}

#[test]
#[cfg_attr(not(reference_data), ignore = "PLATEPROOF_REFERENCE_DATA is not set")]
fn every_rgb_file_has_the_pixels_that_the_crates_own_reader_finds() {
    let images = images();
    let mut compared = 0;
    for folder in ["Chromaticities", "MultiResolution", "ScanLines", "TestImages", "Tiles"] {
        for file in files(&images.join(folder)) {
            let reference = read()
                .no_deep_data()
                .largest_resolution_level()
                .rgb_channels(
                    |size, _| (size.width(), vec![[0.0_f32; 3]; size.area()]),
                    |(width, rgb), at, (r, g, b): (f32, f32, f32)| rgb[at.y() * *width + at.x()] = [r, g, b],
                )
                .first_valid_layer()
                .all_attributes()
                .from_file(&file);
            let Ok(reference) = reference else { continue };
            let frame = open_plain(&file).unwrap();
            let want = &reference.layer_data.channel_data.pixels.1;
            assert_eq!(frame.rgb.len(), want.len(), "{}", file.display());
            let finite = |p: &[f32; 3]| p.iter().all(|v| v.is_finite());
            let differ = frame.rgb.iter().zip(want).filter(|(a, b)| if finite(b) { a != b } else { !a[0].is_nan() });
            assert_eq!(differ.count(), 0, "{}", file.display());
            compared += 1;
        }
    }
    assert!(compared >= 12, "only {compared} files were comparable");
}

#[test]
#[cfg_attr(not(reference_data), ignore = "PLATEPROOF_REFERENCE_DATA is not set")]
fn mip_levels_below_the_largest_are_not_decoded() {
    let images = images();
    let frame = open_plain(&images.join("MultiResolution/KernerEnvLatLong.exr")).unwrap();
    assert_eq!((frame.size.width, frame.size.height), (1024, 512));
    assert!(frame.record.decoded_fraction > 0.5 && frame.record.decoded_fraction < 1.0);
}

#[test]
#[cfg_attr(not(reference_data), ignore = "PLATEPROOF_REFERENCE_DATA is not set")]
fn photographs_of_the_probe_are_eight_bit_srgb() {
    let images = images();
    let frame = open_plain(&images.with_file_name("psbox_probe1").join("Image_01.JPG")).unwrap();
    assert!(frame.eight_bit && frame.format == "jpeg");
    assert_eq!((frame.size.width, frame.size.height), (1100, 1000));
    assert_eq!((frame.record.encoding.as_str(), frame.record.encoding_from.as_str()), ("srgb", "default"));
    let clip = frame.clip_level.unwrap();
    assert!(frame.rgb.iter().any(|p| p[0] >= clip[0]), "the lamp's reflection is saturated");
}
