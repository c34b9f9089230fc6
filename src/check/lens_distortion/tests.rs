//! The check against a grid through a known lens.

use serde_json::{Value, json};

use super::*;
use crate::register::lines::DistortionModel;
use crate::register::test_scene::{frame, with_noise};
use crate::sheet::{CgSpec, ImageSpec};

const SIZE: [usize; 2] = [960, 540];

fn tiles(k1: f64, k2: f64) -> Frame {
    let size = SIZE.map(|s| s as f64);
    let lens = Distortion { model: DistortionModel::Polynomial, k1, k2, ..Distortion::none(size) };
    let picture = frame(SIZE, |x, y| {
        let [u, v] = lens.straightened([x, y]);
        let joint = |c: f64| {
            let off = (c / 90.0 - (c / 90.0).round()).abs() * 90.0;
            1.0 / (1.0 + ((2.5 - off) / 0.6).exp())
        };
        [0.05 + 0.5 * joint(u + 0.04 * v) * joint(v - 0.02 * u); 3]
    });
    with_noise(picture, 4, 0.004)
}

fn run(picture: &Frame, stated: Option<Value>) -> Result<Finding> {
    let sheet = ShotSheet {
        straight_lines: Some(ImageSpec::of_frame("grid.exr")),
        cg: CgSpec { distortion: stated, ..CgSpec::default() },
        ..ShotSheet::default()
    };
    let open = |_: &ImageSpec, _: &str| Ok(picture.clone());
    let evidence = ShotEvidence::of_sheet(&sheet, &open);
    LensDistortion.run(&evidence).map(|addition| addition.findings[0].clone())
}

#[test]
fn the_right_distortion_matches_and_none_does_not() {
    let picture = tiles(-0.05, 0.01);
    let right = run(&picture, Some(json!({ "model": "polynomial", "k1": -0.05, "k2": 0.01 }))).unwrap();
    assert_eq!(right.verdict, Verdict::Match, "{right:?}");
    let none = run(&picture, Some(json!("none"))).unwrap();
    assert_eq!(none.verdict, Verdict::Mismatch, "{none:?}");
    // At the corner r = 1: straight radius 0.96, so the lens pushes it out by 1/0.96 - 1.
    let pull = none.detail["corner_pull_percent"].as_f64().unwrap();
    assert!((pull - 100.0 * (1.0 / 0.96 - 1.0)).abs() < 0.1, "{pull}");
    let half_diagonal = 0.5 * 960.0_f64.hypot(540.0);
    assert!((none.value.unwrap() - 0.04 * half_diagonal).abs() < 0.5, "{none:?}");
    assert!(none.remedy.words().contains("pincushion"), "{}", none.remedy);
    assert_eq!([none.concerns.word(), right.concerns.word()], ["cg", "cg"]);
}

#[test]
fn the_wrong_way_round_is_worse_than_none() {
    let picture = tiles(-0.05, 0.01);
    let wrong = run(&picture, Some(json!({ "k1": 0.05, "k2": -0.01 }))).unwrap();
    let none = run(&picture, Some(json!("none"))).unwrap();
    assert!(wrong.value.unwrap() > 1.8 * none.value.unwrap());
}

#[test]
fn an_unstated_distortion_is_asked_for_unless_the_lens_is_straight() {
    let bent = run(&tiles(-0.05, 0.01), None).unwrap();
    assert_eq!(bent.verdict, Verdict::Unsure);
    assert!(bent.remedy.words().contains("cg.distortion"), "{}", bent.remedy);
    let straight = run(&tiles(0.0, 0.0), None).unwrap();
    assert_eq!(straight.verdict, Verdict::Match, "{straight:?}");
}

#[test]
fn distortion_that_is_put_in_later_is_told_and_not_judged() {
    let finding = run(&tiles(-0.05, 0.01), Some(json!("in-comp"))).unwrap();
    assert_eq!((finding.verdict, finding.concerns.word()), (Verdict::NotGiven, "reference"));
    assert!(finding.value.is_none() && finding.detail.contains_key("k1"), "{finding:?}");
    assert!(finding.remedy.words().contains("in the comp with {"), "{}", finding.remedy);
}

#[test]
fn nothing_straight_is_unsure_and_nonsense_is_an_error() {
    let plain = with_noise(frame(SIZE, |_, _| [0.4; 3]), 1, 0.01);
    let finding = run(&plain, Some(json!("none"))).unwrap();
    assert_eq!(finding.verdict, Verdict::Unsure);
    assert!(finding.value.is_none() && !finding.remedy.is_empty());
    assert!(run(&tiles(0.02, 0.0), Some(json!({ "k9": 1 }))).is_err());
}
