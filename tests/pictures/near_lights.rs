//! Near lamps at known places, seen in two mirror spheres: the whole way from frames to distances.
//!
//! The frames are this project's own renders; what is known about them is arithmetic (a lamp's place, a sphere's
//! place), and the triangle itself is checked against closed forms beside its code.

#![allow(clippy::unwrap_used, reason = "a test stops where its input is not what it should be")]

use std::path::Path;

use nalgebra::Vector3;
use plateproof::demo::render::{Background, MirrorSphere, RenderOptions, render};
use plateproof::demo::scene::DiscLight;
use plateproof::demo::set::deck_at_dusk;
use plateproof::findings::Finding;
use plateproof::image::write::{ExrAttributes, write_exr};
use plateproof::image::{DataWindow, Size};
use plateproof::optics::camera::{FovSource, View};
use plateproof::set_light::{Shape, set_light};
use plateproof::sheet::{load_sheet_of_set, sheet_from_json};
use plateproof::shot::{RunOptions, check_shot};
use plateproof::sphere::SphereCone;
use serde_json::{Value, json};

const SIZE: Size = Size { width: 1600, height: 900 };
const RADIUS_MM: f64 = 125.0;
/// 32 mm on a sensor 24.89 mm wide.
const FOCAL_MM: f64 = 32.0;
const SENSOR_MM: f64 = 24.89;

/// Two spheres of the salt ferry's deck, mm: right, up, towards the camera.
const FIRST: [f64; 3] = [-500.0, 0.0, -3000.0];
const SECOND: [f64; 3] = [450.0, 100.0, -3400.0];
/// The lantern, of 70 mm radius.
const LANTERN: [f64; 3] = [-1300.0, 1400.0, -2000.0];
const LANTERN_RADIUS_MM: f64 = 70.0;

fn view() -> View {
    let fov_deg = 2.0 * (SENSOR_MM / (2.0 * FOCAL_MM)).atan().to_degrees();
    View::from_horizontal_fov(SIZE, 1.0, fov_deg, FovSource::Sheet)
}

/// The direction and distance in which a sphere mirrors the lantern: from the point of its surface whose normal halves
/// the angle between lantern and camera.
fn lantern_from(centre: Vector3<f64>) -> (Vector3<f64>, f64) {
    let (lantern, towards_camera) = (Vector3::from(LANTERN), -centre.normalize());
    let mut line = lantern - centre;
    for _ in 0..50 {
        let normal = (line.normalize() + towards_camera).normalize();
        line = lantern - (centre + normal * RADIUS_MM);
    }
    (line.normalize(), line.norm())
}

fn write_sphere(path: &Path, place: [f64; 3], background: Background) {
    let centre = Vector3::from(place);
    let (direction, distance) = lantern_from(centre);
    let lantern = DiscLight {
        direction,
        angular_radius_rad: (LANTERN_RADIUS_MM / distance).asin(),
        radiance: [900.0, 700.0, 500.0],
    };
    let moon = DiscLight::new(75.0, 35.0, 3.0, [90.0, 110.0, 140.0]);
    let scene = deck_at_dusk(7, 160.0).with_light(lantern).with_light(moon);
    let cone = SphereCone { axis: centre.normalize(), half_angle_rad: (RADIUS_MM / centre.norm()).asin() };
    let sphere = MirrorSphere { cone, reflectance: [0.6; 3] };
    let options = RenderOptions { background, ..RenderOptions::default() };
    let picture = render(&scene, &view(), SIZE, Some(&sphere), &options);
    let data = DataWindow { x: 0, y: 0, width: SIZE.width, height: SIZE.height };
    write_exr(path, SIZE, data, &picture.rgb, picture.alpha.as_deref(), &ExrAttributes::default()).unwrap();
}

/// The finding for mirrors at both places and CG spheres at these.
fn finding(cg: [[f64; 3]; 2], mirrors: &Value) -> Finding {
    let folder = tempfile::tempdir().unwrap();
    for (name, place) in [("m1", FIRST), ("m2", SECOND)] {
        write_sphere(&folder.path().join(format!("{name}.exr")), place, Background::Shown);
    }
    for (name, place) in [("c1", cg[0]), ("c2", cg[1])] {
        write_sphere(&folder.path().join(format!("{name}.exr")), place, Background::Transparent);
    }
    let sheet = json!({
        "format": "plateproof-shot/1", "shot": "SF_0700", "mirrors": mirrors,
        "cg": { "spheres": [ { "mirror": "m1", "frame": "c1.exr" }, { "mirror": "m2", "frame": "c2.exr" } ] },
        "camera": { "focal_length_mm": FOCAL_MM, "sensor_mm": [SENSOR_MM, SENSOR_MM * 9.0 / 16.0] },
    });
    let sheet = sheet_from_json(sheet, &folder.path().join("shot.json"), folder.path()).unwrap();
    let report = check_shot(&sheet, RunOptions::default()).report;
    let found = report.findings.iter().find(|f| f.check == "sphere-place").cloned();
    found.unwrap_or_else(|| panic!("{report:?}"))
}

fn mirrors(extra: [Value; 2]) -> Value {
    let mut list = json!([{ "name": "m1", "frame": "m1.exr" }, { "name": "m2", "frame": "m2.exr" }]);
    for (mirror, extra) in list.as_array_mut().unwrap().iter_mut().zip(extra) {
        mirror.as_object_mut().unwrap().extend(extra.as_object().unwrap().clone());
    }
    list
}

fn known_size() -> Value {
    mirrors([json!({ "diameter_mm": 250.0 }), json!({ "diameter_mm": 250.0 })])
}

/// The lights with their distance: (measured and its sd), or the lower bound alone.
fn distances(finding: &Finding) -> (Vec<[f64; 2]>, Vec<f64>) {
    let (mut measured, mut bounds) = (Vec::new(), Vec::new());
    for light in finding.detail["lights"].as_array().unwrap() {
        let distance = light["distance_mm"].as_f64().unwrap();
        match light["distance_mm_sd"].as_f64() {
            Some(sd) => measured.push([distance, sd]),
            None => bounds.push(distance),
        }
    }
    (measured, bounds)
}

#[test]
fn a_lantern_is_put_at_its_distance_and_the_moon_is_far() {
    let truth = lantern_from(Vector3::from(FIRST)).1;
    for mirrors in [
        known_size(),
        // Noted on set, counted away from the camera, from some corner of the deck.
        mirrors([
            json!({ "diameter_mm": 250.0, "position_mm": [1000.0, 900.0, 4000.0] }),
            json!({ "diameter_mm": 250.0, "position_mm": [1950.0, 1000.0, 4400.0] }),
        ]),
    ] {
        let finding = finding([FIRST, SECOND], &mirrors);
        let (measured, bounds) = distances(&finding);
        let [[distance, sd]] = measured[..] else { panic!("{finding:?}") };
        assert!((distance - truth).abs() < 3.0 * sd, "{distance} +/- {sd} mm, truth {truth}");
        assert!(sd < 0.1 * truth, "{distance} +/- {sd} mm");
        let [bound] = bounds[..] else { panic!("{finding:?}") };
        assert!(bound > 15_000.0, "{bound}");
        assert_eq!(finding.verdict.word(), "match", "{finding:?}");
    }
}

#[test]
fn a_cg_sphere_elsewhere_is_told_with_what_it_does() {
    let elsewhere = [FIRST[0] + 400.0, FIRST[1], FIRST[2]];
    let finding = finding([elsewhere, SECOND], &known_size());
    // The angle at the lantern between both places, to the point that its distance is counted from.
    let [a, b] = [FIRST, elsewhere].map(|place| Vector3::from(LANTERN) - Vector3::from(place));
    let truth_deg = a.angle(&b).to_degrees();
    let (value, sd) = (finding.value.unwrap(), finding.value_sd.unwrap());
    assert!((value - truth_deg).abs() < 3.0 * sd.max(0.5), "{value} +/- {sd} deg, truth {truth_deg}");
    assert_eq!(finding.verdict.word(), "mismatch", "{finding:?}");
    assert_eq!(finding.concerns, "cg");
    assert!(finding.reason.contains("to frame right"), "{}", finding.reason);
    let offset = finding.detail["places"][0]["cg_offset_mm"].as_array().unwrap();
    assert!((offset[0].as_f64().unwrap() - 400.0).abs() < 8.0, "{offset:?}");
}

#[test]
fn places_that_the_pictures_contradict_are_said() {
    let wrong = mirrors([
        json!({ "diameter_mm": 250.0, "position_mm": [0.0, 0.0, 0.0] }),
        json!({ "diameter_mm": 250.0, "position_mm": [3000.0, 0.0, 0.0] }),
    ]);
    let finding = finding([FIRST, SECOND], &wrong);
    assert!(finding.reason.contains("position_mm puts m1 and m2 3000 mm apart"), "{}", finding.reason);
    assert!(!finding.detail.contains_key("lights"));
}

#[test]
fn noted_places_that_may_count_either_way_are_asked_about() {
    let noted =
        mirrors([json!({ "position_mm": [-500.0, 0.0, -3000.0] }), json!({ "position_mm": [450.0, 100.0, -3400.0] })]);
    let finding = finding([FIRST, SECOND], &noted);
    assert!(finding.reason.contains("add diameter_mm"), "{}", finding.reason);
    assert_eq!(finding.verdict.word(), "not-given", "{finding:?}");
}

/// Written as a light of its own, the lantern is a ball where it stood, and the moon shines from infinity.
#[test]
fn the_light_of_the_set_puts_the_lantern_in_its_place() {
    let folder = tempfile::tempdir().unwrap();
    for (name, place) in [("m1", FIRST), ("m2", SECOND)] {
        write_sphere(&folder.path().join(format!("{name}.exr")), place, Background::Shown);
    }
    // Circles as if drawn by hand, a few pixels off: there is no CG sphere to help the search.
    let drawn = mirrors([
        json!({ "diameter_mm": 250.0, "near_px": [460, 448, 88] }),
        json!({ "diameter_mm": 250.0, "near_px": [1070, 392, 78] }),
    ]);
    let sheet = json!({
        "format": "plateproof-shot/1", "shot": "SF_0700", "mirrors": drawn,
        "camera": { "focal_length_mm": FOCAL_MM, "sensor_mm": [SENSOR_MM, SENSOR_MM * 9.0 / 16.0] },
    });
    let path = folder.path().join("shot.json");
    std::fs::write(&path, sheet.to_string()).unwrap();
    let outcome = set_light(&load_sheet_of_set(&path).unwrap()).unwrap();
    assert_eq!(outcome.lights.len(), 2, "{:?}", outcome.document.error);
    for (light, (record, from)) in outcome.lights.iter().zip(outcome.document.mirrors.iter().zip([FIRST, SECOND])) {
        let balls: Vec<_> = light.emitters.iter().filter(|e| e.shape != Shape::Distant).collect();
        let [lantern] = balls[..] else { panic!("{:?}", light.emitters) };
        let Shape::Ball { position_mm, radius_mm } = lantern.shape else { panic!("{lantern:?}") };
        let sd = record.lights[lantern.place].distance_mm_sd.unwrap();
        let off = (position_mm - (Vector3::from(LANTERN) - Vector3::from(from))).norm();
        assert!(off < 3.0 * sd, "{off} mm off, sd {sd} mm");
        assert!((radius_mm / LANTERN_RADIUS_MM - 1.0).abs() < 0.25, "{radius_mm} mm");
        assert!(light.emitters.iter().any(|e| e.shape == Shape::Distant), "the moon");
        // Each sphere shows a little of what is behind the other.
        assert!(record.of_directions.other_mirror > 0.0, "{record:?}");
    }
}
