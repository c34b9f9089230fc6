//! Raw stills: files that LibRaw reads alike, and damaged ones.

use std::path::{Path, PathBuf};

use plateproof::ErrorKind;

use super::open_plain;

fn golden(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("golden/raw").join(name)
}

/// A build without the reader says how to have one, or what to ask for.
#[cfg(not(feature = "raw"))]
#[test]
fn a_build_without_the_reader_says_so() {
    for name in ["bayer_daylight.dng", "tiled.dng"] {
        let error = open_plain(&golden(name)).unwrap_err();
        assert_eq!(error.kind, ErrorKind::Unsupported);
        assert!(error.remedy.contains("--features raw") && error.remedy.contains("linear TIFF"), "{error}");
    }
}

#[cfg(feature = "raw")]
mod with_the_reader {
    use plateproof::image::encoding::Encoding;
    use plateproof::image::limits::Limits;
    use plateproof::image::open::{Belief, OpenRequest, open};
    use plateproof::image::probe::probe;
    use plateproof::image::{Frame, RawBalance};
    use serde_json::Value;

    use super::super::{open_within, refusals_when_cut};
    use super::*;

    /// Largest difference from LibRaw's codes and levels: rounding.
    const SAME: f32 = 2e-6;

    /// LibRaw develops into 16 bits, and cuts off what is negative.
    const DEVELOPED: f64 = 2.0 / 65_535.0;

    fn expected() -> Value {
        serde_json::from_slice(&std::fs::read(golden("expected.json")).unwrap()).unwrap()
    }

    fn numbers<T: serde::de::DeserializeOwned>(value: &Value) -> T {
        serde_json::from_value(value.clone()).unwrap()
    }

    fn balanced(name: &str, raw_balance: RawBalance) -> Frame {
        let (path, limits) = (golden(name), Limits::default());
        open(&OpenRequest { raw_balance, ..OpenRequest::of(&path, "mirror", &limits) }).unwrap()
    }

    fn opened(bytes: &[u8]) -> plateproof::Result<Frame> {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("quay.dng");
        std::fs::write(&path, bytes).unwrap();
        open_plain(&path)
    }

    /// Pixels in stored order of a picture that EXIF's orientation 6 turned a quarter clockwise.
    fn unturned(frame: &Frame) -> Vec<[f32; 3]> {
        let (width, height) = (frame.size.height, frame.size.width);
        (0..width * height).map(|i| frame.rgb[i % width * height + (height - 1 - i / width)]).collect()
    }

    /// Codes, levels, colours of photosites and white balance by LibRaw (`golden/raw`).
    #[test]
    fn light_is_what_libraw_reads_in_both_balances() {
        let document = expected();
        let files = document["files"].as_array().unwrap();
        assert!(files.len() >= 7);
        for file in files {
            let name = file["file"].as_str().unwrap();
            let light: Vec<[f32; 3]> = numbers(&file["light"]);
            let gains: [f64; 3] = numbers(&file["gains"]);
            let turned = name == "bayer_turned.dng";
            for (balance, gains) in [(RawBalance::Unit, [1.0; 3]), (RawBalance::AsShot, gains)] {
                let frame = balanced(name, balance);
                let rgb = if turned { unturned(&frame) } else { frame.rgb.clone() };
                assert_eq!(rgb.len(), light.len(), "{name}");
                let clip = frame.clip_level.unwrap();
                let mut clipped = 0;
                for (i, (pixel, want)) in rgb.iter().zip(&light).enumerate() {
                    for c in 0..3 {
                        let got = f64::from(pixel[c]) / gains[c];
                        assert!((got as f32 - want[c]).abs() < SAME, "{name}, pixel {i}: {pixel:?} for {want:?}");
                        assert_eq!(pixel[c] >= clip[c], want[c] >= 254.0 / 255.0, "{name}, pixel {i} of channel {c}");
                        clipped += usize::from(pixel[c] >= clip[c]);
                    }
                }
                assert!(clipped > 0, "{name}: the lamp fills the sensor");
                let record = frame.record.raw.as_ref().unwrap();
                assert_eq!(record.white_balance, balance.name());
                assert!(record.gains.iter().zip(gains).all(|(a, b)| (a - b).abs() < 1e-5), "{record:?} {gains:?}");
                assert_eq!(record.photosites_per_pixel, numbers::<usize>(&file["side"]), "{name}");
                let first: [usize; 2] = numbers(&file["first"]);
                assert_eq!(record.used_px[..2], first, "{name}");
                assert_eq!((frame.format, frame.eight_bit, frame.is_display_picture()), ("raw", false, false));
            }
        }
    }

    /// LibRaw's own development at half size: linear, as shot, BT.709. It averages the two greens after it has balanced
    /// them, clips at white and knows no negative values; pixels near either end are left out.
    #[test]
    fn in_daylight_the_working_space_is_that_of_libraw() {
        let document = expected();
        let file = document["files"].as_array().unwrap().iter().find(|f| f["file"] == "bayer_daylight.dng").unwrap();
        let developed: Vec<Vec<[f64; 3]>> = numbers(&file["developed"]);
        let frame = balanced("bayer_daylight.dng", RawBalance::AsShot);
        let developed: Vec<[f64; 3]> = developed.into_iter().flatten().collect();
        assert_eq!(developed.len(), frame.rgb.len());
        let working: Vec<[f64; 3]> = frame.rgb.iter().map(|p| frame.space.to_working(p.map(f64::from))).collect();
        // LibRaw scales so that the channel that clips first is full.
        let usable =
            |i: &usize| developed[*i].iter().all(|v| (0.02..0.6).contains(v)) && frame.rgb[*i].iter().all(|v| *v < 0.9);
        let places: Vec<usize> = (0..developed.len()).filter(usable).collect();
        assert!(places.len() > 50, "{}", places.len());
        let sum = |all: &[[f64; 3]]| places.iter().map(|i| all[*i].iter().sum::<f64>()).sum::<f64>();
        let scale = sum(&working) / sum(&developed);
        for i in places {
            for c in 0..3 {
                let (got, want) = (working[i][c], scale * developed[i][c]);
                assert!(
                    (got - want).abs() < DEVELOPED * scale + 1e-3 * want,
                    "pixel {i}: {:?} {:?}",
                    working[i],
                    developed[i]
                );
            }
        }
    }

    /// As shot, what the camera balanced is grey; in unit balance daylight is, and a warm light stays warm.
    #[test]
    fn the_balance_decides_what_is_grey() {
        let as_shot = balanced("pidng.dng", RawBalance::AsShot);
        assert!(as_shot.space.to_working([1.0; 3]).iter().all(|v| (v - 1.0).abs() < 1e-4));
        assert_eq!(as_shot.record.raw.unwrap().camera_matrix, "one-illuminant");
        let warm = balanced("table.dng", RawBalance::AsShot).record.raw.unwrap();
        assert_eq!(warm.camera_matrix, "two-illuminants");
        let unit = balanced("bayer_daylight.dng", RawBalance::Unit);
        let neutral = balanced("bayer_daylight.dng", RawBalance::AsShot).record.raw.unwrap().gains.map(f64::recip);
        let grey = unit.space.to_working(neutral);
        assert!(grey.iter().all(|v| (v - 1.0).abs() < 2e-3), "{grey:?}");
    }

    #[test]
    fn exif_crop_and_turn_are_those_of_the_picture() {
        let frame = balanced("bayer_turned.dng", RawBalance::AsShot);
        let meta = &frame.meta;
        assert_eq!((frame.size.width, frame.size.height, meta.orientation), (14, 18, Some(6)));
        assert!((meta.exposure_time_s.unwrap() - 0.02).abs() < 1e-9 && (meta.f_number.unwrap() - 5.6).abs() < 1e-9);
        assert_eq!((meta.iso, meta.focal_length_mm), (Some(400.0), Some(35.0)));
        assert_eq!(meta.camera.as_deref(), Some("Ferry Works Salt 1"));
        assert!(meta.captured.is_some());
        // 28 photosites across, as held, at 10 to the centimetre.
        assert!((meta.sensor_width_mm.unwrap() - 28.0).abs() < 1e-6, "{meta:?}");
        assert_eq!(frame.record.raw.unwrap().used_px, [9, 9, 36, 28]);
    }

    #[test]
    fn a_curve_or_a_colour_space_of_a_sheet_is_a_mistake() {
        let (path, limits) = (golden("tiled.dng"), Limits::default());
        let of = OpenRequest::of(&path, "mirror", &limits);
        let curve = Some(Belief { value: Encoding::Srgb, from: "sheet" });
        assert_eq!(open(&OpenRequest { encoding: curve, ..of.clone() }).unwrap_err().kind, ErrorKind::Parameter);
        let linear = Some(Belief { value: Encoding::SceneLinear, from: "sheet" });
        assert_eq!(open(&OpenRequest { encoding: linear, ..of }).unwrap().record.encoding_from, "sheet");
    }

    #[test]
    fn truncations_are_errors_or_the_whole_picture() {
        for name in ["bayer_turned.dng", "tiled.dng", "table.dng", "x_trans.dng", "pidng.dng", "linear.dng"] {
            let whole = std::fs::read(golden(name)).unwrap();
            let pixels = opened(&whole).unwrap().rgb.len();
            let refused = refusals_when_cut(name, &whole, pixels);
            assert!(refused > 20, "{name}: {refused}");
        }
    }

    /// Sizes, places and counts that lie. Each changes one entry of the directory.
    #[test]
    fn directories_that_lie_are_refused() {
        let whole = std::fs::read(golden("bayer_daylight.dng")).unwrap();
        let directory = u32::from_le_bytes(whole[4..8].try_into().unwrap()) as usize;
        let entries = usize::from(u16::from_le_bytes(whole[directory..directory + 2].try_into().unwrap()));
        let changed = |tag: u16, count: Option<u32>, value: Option<u32>| {
            let mut bytes = whole.clone();
            for at in (0..entries).map(|i| directory + 2 + 12 * i) {
                if bytes[at..at + 2] == tag.to_le_bytes() {
                    if let Some(count) = count {
                        bytes[at + 4..at + 8].copy_from_slice(&count.to_le_bytes());
                    }
                    if let Some(value) = value {
                        bytes[at + 8..at + 12].copy_from_slice(&value.to_le_bytes());
                    }
                }
            }
            opened(&bytes)
        };
        assert_eq!(changed(256, None, Some(u32::MAX)).unwrap_err().kind, ErrorKind::Limit);
        assert_eq!(changed(257, None, Some(0)).unwrap_err().kind, ErrorKind::Malformed);
        assert_eq!(changed(257, None, Some(3000)).unwrap_err().kind, ErrorKind::Malformed);
        assert_eq!(changed(273, None, Some(u32::MAX - 8)).unwrap_err().kind, ErrorKind::Malformed);
        for tag in [258, 259, 262, 273, 277, 279, 33_421, 33_422, 50_706, 50_714, 50_717, 50_721, 50_728, 50_778] {
            for (count, value) in
                [(Some(u32::MAX), None), (Some(0), None), (None, Some(u32::MAX)), (None, Some(0)), (Some(7), Some(9))]
            {
                match changed(tag, count, value) {
                    Ok(frame) => {
                        assert!(frame.rgb.iter().all(|p| p[0].is_nan() || p.iter().all(|v| v.is_finite())), "{tag}");
                    }
                    Err(error) => assert!(!error.cause.is_empty() && !error.remedy.is_empty()),
                }
            }
        }
        let tight = Limits { max_bytes: 9_000, ..Limits::default() };
        assert_eq!(open_within(&golden("bayer_daylight.dng"), None, &tight).unwrap_err().kind, ErrorKind::Limit);
        let few = Limits { max_pixels: 100, ..Limits::default() };
        assert_eq!(open_within(&golden("bayer_daylight.dng"), None, &few).unwrap_err().kind, ErrorKind::Limit);
    }

    /// A budget that is found before anything is opened covers what opening takes.
    #[test]
    fn the_cost_is_known_from_the_header() {
        for name in ["bayer_turned.dng", "tiled.dng", "linear.dng"] {
            let cost = probe(&golden(name), &Limits::default()).unwrap();
            let frame = open_plain(&golden(name)).unwrap();
            assert!(cost.pixels >= frame.rgb.len() as u64 && cost.scratch_bytes > 0, "{name}: {cost:?}");
        }
    }
}
