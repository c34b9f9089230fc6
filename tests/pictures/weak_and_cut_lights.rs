//! Lights that are there and hardly seen: a broad one that the CG has weaker, and a lamp on the rim of a small sphere.
//!
//! The frames are this project's own renders; which lamps are there, and how strong, is arithmetic.

#![allow(clippy::unwrap_used, reason = "a test stops where its input is not what it should be")]

use std::path::Path;

use plateproof::camera::{FovSource, View};
use plateproof::demo::render::{Background, MirrorSphere, RenderOptions, render};
use plateproof::demo::scene::{Panel, Scene};
use plateproof::demo::set::{deck_at_dusk, lamp};
use plateproof::image::write::{ExrAttributes, write_exr};
use plateproof::image::{DataWindow, Size};
use plateproof::report::{Finding, Report, Verdict};
use plateproof::sheet::sheet_from_json;
use plateproof::shot::{RunOptions, check_shot};
use serde_json::json;

const SIZE: Size = Size { width: 640, height: 360 };
const FOV_DEG: f64 = 45.0;

fn view() -> View {
    View::from_horizontal_fov(SIZE, 1.0, FOV_DEG, FovSource::Sheet)
}

fn write_sphere(path: &Path, scene: &Scene, radius_px: f64, background: Background, blur_px: f64) {
    let sphere = MirrorSphere::at(&view(), [330.0, 170.0], radius_px, [0.6; 3]);
    let options = RenderOptions { background, blur_px, ..RenderOptions::default() };
    let picture = render(scene, &view(), SIZE, Some(&sphere), &options);
    let data = DataWindow { x: 0, y: 0, width: SIZE.width, height: SIZE.height };
    write_exr(path, SIZE, data, &picture.rgb, picture.alpha.as_deref(), &ExrAttributes::default()).unwrap();
}

/// The report on the two, with the photographed outline searched for or given.
fn report(set: &Scene, cg: &Scene, radius_px: f64, outline_px: Option<[f64; 3]>) -> Report {
    let folder = tempfile::tempdir().unwrap();
    write_sphere(&folder.path().join("mirror.exr"), set, radius_px, Background::Shown, 0.6);
    write_sphere(&folder.path().join("cg.exr"), cg, radius_px, Background::Transparent, 0.0);
    let focal_mm = 12.0 / (FOV_DEG.to_radians() / 2.0).tan();
    let mut mirror = json!({ "name": "m1", "frame": "mirror.exr", "reflectance": [0.6, 0.6, 0.6] });
    if let Some(outline) = outline_px {
        mirror["outline_px"] = json!(outline);
    }
    let sheet = json!({
        "format": "plateproof-shot/1", "shot": "SF_0710",
        "mirrors": [mirror],
        "cg": { "spheres": [{ "mirror": "m1", "frame": "cg.exr", "reflectance": "same-as-mirror" }] },
        "camera": { "focal_length_mm": focal_mm, "sensor_mm": [24.0, 13.5] },
    });
    let sheet = sheet_from_json(sheet, &folder.path().join("shot.json"), folder.path()).unwrap();
    let report = check_shot(&sheet, RunOptions::default()).report;
    assert!(report.error.is_none(), "{:?}", report.error);
    report
}

fn finding<'a>(report: &'a Report, check: &str) -> &'a Finding {
    report.findings.iter().find(|f| f.check == check).unwrap()
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
