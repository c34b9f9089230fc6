//! Clean plates with known faults.

use std::path::PathBuf;

use super::*;
use crate::register::Warp;
use crate::register::test_scene::{Texture, frame, scaled, with_noise};
use crate::sheet::ShotSheet;

const SIZE: [usize; 2] = [640, 360];

fn size() -> [f64; 2] {
    SIZE.map(|s| s as f64)
}

/// A wall whose picture a camera move maps by `warp`.
fn wall(warp: &Warp, seed: u64) -> Frame {
    let light = Texture::new(5, 9.0, 90.0, 0.5);
    let inverse = nalgebra::Matrix3::from_fn(|r, c| warp.matrix_px()[r][c]).try_inverse().unwrap();
    let picture = frame(SIZE, |x, y| {
        let p = inverse * nalgebra::Vector3::new(x, y, 1.0);
        let v = 0.2 * light.at(p.x / p.z, p.y / p.z).exp2();
        [1.1 * v, v, 0.9 * v]
    });
    with_noise(picture, seed, 0.002)
}

fn still() -> Warp {
    Warp::identity(size())
}

fn with_actor(mut picture: Frame) -> Frame {
    for y in 120..360 {
        for x in 160..240 {
            picture.rgb[y * SIZE[0] + x] = [0.5, 0.12, 0.1];
        }
    }
    picture
}

fn spec(frame: &str, range: Option<[u32; 2]>) -> ImageSpec {
    ImageSpec { frame_range: range, ..ImageSpec::of_frame(frame) }
}

/// Runs the check on frames made by `make(file, number)`.
fn run(plate: &ImageSpec, clean: &ImageSpec, make: &(dyn Fn(&str, u32) -> Frame + Sync)) -> Addition {
    let sheet = ShotSheet {
        plate: Some(plate.clone()),
        clean_plate: Some(clean.clone()),
        base_dir: PathBuf::new(),
        ..ShotSheet::default()
    };
    let first = make(&plate.frame, plate.frame_number.or(plate.frame_range.map(|r| r[0])).unwrap_or(0));
    let open = |spec: &ImageSpec, _: &str| Ok(make(&spec.frame, spec.frame_number.unwrap_or(0)));
    let evidence = ShotEvidence { plate: Some(&first), ..ShotEvidence::of_sheet(&sheet, &open) };
    CleanPlate.run(&evidence).unwrap()
}

fn number(finding: &Finding, key: &str) -> f64 {
    finding.detail.get(key).and_then(Value::as_f64).unwrap_or(f64::NAN)
}

#[test]
fn a_locked_off_clean_plate_matches_and_shows_the_actor() {
    let make = |file: &str, _: u32| if file == "p" { with_actor(wall(&still(), 1)) } else { wall(&still(), 2) };
    let addition = run(&spec("p", None), &spec("c", None), &make);
    let finding = &addition.findings[0];
    assert_eq!(finding.verdict, Verdict::Match, "{finding:?}");
    assert!(finding.value.unwrap() < 0.05, "{finding:?}");
    let truth = 100.0 * 80.0 * 240.0 / (640.0 * 360.0);
    assert!((number(finding, "moved_percent") - truth).abs() < 1.5, "{finding:?}");
    assert_eq!(addition.attachments[0].ending, "moved.png");
}

#[test]
fn a_moved_camera_names_the_move_that_undoes_it() {
    let warp = Warp::similarity(size(), [4.0, -2.5], 0.5_f64.to_radians(), 1.0);
    let make = |file: &str, _: u32| if file == "p" { wall(&still(), 1) } else { wall(&warp, 2) };
    let finding = &run(&spec("p", None), &spec("c", None), &make).findings[0];
    assert_eq!(finding.verdict, Verdict::Mismatch);
    assert!((number(finding, "roll_deg") - 0.5).abs() < 0.01, "{finding:?}");
    assert!(
        finding.remedy.words().contains("4.00 px left") && finding.remedy.words().contains("counter-clockwise"),
        "{}",
        finding.remedy
    );
    assert_eq!(finding.concerns, "reference");
}

#[test]
fn exposure_alone_fails_it_with_the_gain_that_cures_it() {
    let make = |file: &str, _: u32| {
        if file == "p" { wall(&still(), 1) } else { scaled(wall(&still(), 2), [1.25, 1.25, 1.25]) }
    };
    let finding = &run(&spec("p", None), &spec("c", None), &make).findings[0];
    assert_eq!(finding.verdict, Verdict::Mismatch);
    assert!((number(finding, "exposure_stops") - 1.25f64.log2()).abs() < 0.01, "{finding:?}");
    assert!(finding.remedy.words().contains("0.80") && finding.reason.contains("exposure"), "{finding:?}");
}

#[test]
fn a_slower_second_take_is_searched() {
    // The plate pans 6 px a frame, the clean pass 2 px a frame and starts earlier.
    let pan = |px: f64| Warp::shift(size(), [px, 0.3 * px]);
    let make = |file: &str, n: u32| {
        let n = f64::from(n);
        if file == "p" { with_actor(wall(&pan(6.0 * (n - 1001.0)), 1)) } else { wall(&pan(2.0 * (n - 1.0) - 10.0), 2) }
    };
    let addition = run(&spec("p", Some([1001, 1006])), &spec("c", Some([1, 24])), &make);
    let finding = &addition.findings[0];
    let best: Vec<u64> =
        finding.detail["best_clean_frames"].as_array().unwrap().iter().filter_map(Value::as_u64).collect();
    assert_eq!(best, [6, 9, 12, 15, 18, 21], "{finding:?}");
    assert_eq!(finding.verdict, Verdict::Match, "{finding:?}");
    // Fewer frames were opened than there are pairs.
    assert!(addition.inputs.len() <= 24);
}

#[test]
fn a_clean_pass_that_ends_too_soon_is_said() {
    let pan = |px: f64| Warp::shift(size(), [px, 0.0]);
    let make = |file: &str, n: u32| {
        let step = if file == "p" { 10.0 } else { 2.0 };
        wall(&pan(step * f64::from(n - 1)), if file == "p" { 1 } else { 2 })
    };
    let finding = &run(&spec("p", Some([1, 4])), &spec("c", Some([1, 6])), &make).findings[0];
    assert_eq!(finding.verdict, Verdict::Mismatch, "{finding:?}");
    assert!(finding.reason.contains("ends (frame 6)"), "{}", finding.reason);
}

#[test]
fn a_plain_wall_is_unsure() {
    let make = |file: &str, _: u32| with_noise(frame(SIZE, |_, _| [0.3; 3]), if file == "p" { 1 } else { 2 }, 0.005);
    let finding = &run(&spec("p", None), &spec("c", None), &make).findings[0];
    assert_eq!(finding.verdict, Verdict::Unsure);
    assert!(finding.value.is_none() && !finding.reason.is_empty());
}
