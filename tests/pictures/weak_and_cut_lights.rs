//! Lights that are there and hardly seen: a broad one that the CG has weaker, and a lamp on the rim of a small sphere.
//!
//! The frames are this project's own renders; which lamps are there, and how strong, is arithmetic.

#![allow(clippy::unwrap_used, reason = "a test stops where its input is not what it should be")]

use plateproof::demo::render::{Background, MirrorSphere, Picture, RenderOptions, render};
use plateproof::demo::scene::{Panel, Scene};
use plateproof::demo::set::{deck_at_dusk, lamp};
use plateproof::findings::{Report, Verdict};

use crate::pair::{self, SIZE, finding, view};

fn frame(scene: &Scene, radius_px: f64, background: Background, blur_px: f64) -> Picture {
    let sphere = MirrorSphere::at(&view(), [330.0, 170.0], radius_px, [0.6; 3]);
    let options = RenderOptions { background, blur_px, ..RenderOptions::default() };
    render(scene, &view(), SIZE, Some(&sphere), &options)
}

fn report(set: &Scene, cg: &Scene, radius_px: f64, outline_px: Option<[f64; 3]>) -> Report {
    let mirror = frame(set, radius_px, Background::Shown, 0.6);
    pair::report(&mirror, &frame(cg, radius_px, Background::Transparent, 0.0), outline_px)
}

/// A soft wall of light to the left, in luminances, beside a lamp that is the key.
fn with_wall(luminance: f64) -> Scene {
    let wall = Panel::new(-83.0, 11.0, [20.0, 16.0], 5.0, [luminance; 3]);
    let scene = deck_at_dusk(7, 160.0).with_light(lamp(50.0, 30.0, 3.0, 5000.0, 250.0));
    if luminance > 0.0 { scene.with_panel(wall) } else { scene }
}

#[test]
fn a_broad_light_a_stop_weaker_is_there_and_one_left_out_is_missing() {
    let set = with_wall(0.6);
    let missing = |cg: &Scene| {
        let report = report(&set, cg, 60.0, None);
        let finding = finding(&report, "highlight-direction").clone();
        (finding.verdict, finding.reason.contains("missing in the CG"), finding)
    };
    let (verdict, is_missing, finding) = missing(&with_wall(0.28));
    assert!(!is_missing && verdict != Verdict::Mismatch, "{finding:#?}");
    let (_, is_missing, finding) = missing(&with_wall(0.0));
    assert!(is_missing, "{finding:#?}");
}

/// A lamp 1.2 px inside the rim of a sphere of 25 px gives far more than a small one beside the camera. The outline is half
/// a pixel off, so that most of the lamp falls on it: a sixth of its light was counted, and the small lamp taken for the key.
#[test]
fn a_lamp_on_the_rim_of_a_small_sphere_does_not_turn_the_key_round() {
    let scene = deck_at_dusk(3, 20.0)
        .with_light(lamp(176.0, 35.0, 1.4, 6300.0, 3600.0))
        .with_light(lamp(-7.0, -11.0, 1.7, 4000.0, 480.0));
    let report = report(&scene, &scene, 25.0, Some([330.0, 170.5, 24.6]));
    for check in ["highlight-direction", "key-fill-ratio", "colour-balance"] {
        let finding = finding(&report, check);
        assert_ne!(finding.verdict, Verdict::Mismatch, "{finding:#?}");
    }
    let direction = finding(&report, "highlight-direction");
    let (value, sd) = (direction.value.unwrap(), direction.value_sd.unwrap());
    assert!(value < 3.0 * sd, "{direction:#?}");
    assert_eq!(direction.detail["lights"].as_array().unwrap().len(), 2, "{direction:#?}");
}

/// A lamp before a bright panel, at which the photograph is cut off: the CG has the panel alone, most of a stop below that
/// ceiling. The panel's direction agrees, but that is no proof that the lamp is there.
#[test]
fn a_lamp_left_out_before_a_panel_is_not_passed_over_where_the_photograph_is_cut_off() {
    const CEILING: f32 = 1.2;
    let panel = Panel::new(-40.0, 20.0, [8.0, 7.0], 1.0, [1.1; 3]);
    let set = |lamp_luminance: f64| {
        let scene = deck_at_dusk(7, 160.0).with_panel(panel.clone());
        if lamp_luminance > 0.0 { scene.with_light(lamp(-40.0, 20.0, 6.0, 5000.0, lamp_luminance)) } else { scene }
    };
    let cut = |mut picture: Picture| {
        picture.rgb.iter_mut().flatten().for_each(|v| *v = v.min(CEILING));
        picture
    };
    let photographed = cut(frame(&set(150.0), 60.0, Background::Shown, 0.6));
    // The same set whose lamp stands 4 deg further round: turned, not missing.
    let turned = deck_at_dusk(7, 160.0).with_panel(panel.clone()).with_light(lamp(-36.0, 20.0, 6.0, 5000.0, 150.0));
    let direction = |cg: &Scene| {
        let rendered = frame(cg, 60.0, Background::Transparent, 0.0);
        let report = pair::report_below(&photographed, &rendered, f64::from(CEILING));
        finding(&report, "highlight-direction").clone()
    };
    let (with, without) = (direction(&set(150.0)), direction(&set(0.0)));
    assert_eq!(with.verdict, Verdict::Match, "{with:#?}");
    assert_eq!(without.verdict, Verdict::Unsure, "{without:#?}");
    let turned = direction(&turned);
    assert!(!turned.reason.contains("may be missing"), "{turned:#?}");
    assert!(
        without.reason.contains("clipped")
            && without.reason.contains("may be missing")
            && without.remedy.words().contains("lamp"),
        "{without:#?}"
    );
}
