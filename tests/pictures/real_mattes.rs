//! A grey sphere beside the mirror sphere under two environments photographed on real sets, and a clipped key's strength
//! recovered from it.
//!
//! Source: `golden/rotated_environments` (a stage and a car park with sun, test images of the OpenEXR project; spheres
//! rendered by mitsuba 3.9.1). What the mirror shows unclipped is the truth for what the grey sphere tells of a clipped one.

#![allow(clippy::unwrap_used, reason = "a test stops where its input is not what it should be")]
#![allow(clippy::print_stdout, reason = "shows the measured numbers with --nocapture")]

use std::path::{Path, PathBuf};

use plateproof::findings::{Report, SphereRole, Verdict};
use plateproof::image::write::{ExrAttributes, write_exr};
use plateproof::sheet::sheet_from_json;
use plateproof::shot::{RunOptions, check_shot};
use serde_json::{Value, json};

use crate::pair::finding;
use crate::sphere_scene::load::exr_file;

/// Reflectance that the grey spheres were rendered with.
const MATTE_REFLECTANCE: f64 = 0.4;

/// Contrast and level that the mirror predicts (asked of the grey sphere as a whole: a median error of 0.06 stop).
const BOUND_STOPS: f64 = 0.06;

/// The whole of a recovered light, stops: its own stated sd is 0.07.
const RECOVERED_STOPS: f64 = 0.1;

fn golden() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("golden/rotated_environments")
}

/// The place's sheet with its grey sphere, all frames by their whole path.
fn sheet(place: &str) -> Value {
    let text = std::fs::read_to_string(golden().join(format!("{place}-none.json"))).unwrap();
    let mut sheet: Value = serde_json::from_str(&text).unwrap();
    let file = |name: String| json!(golden().join(name).to_string_lossy());
    sheet["mirrors"][0]["bracket"] = json!([file(format!("{place}.mirror.exr"))]);
    sheet["cg"]["spheres"][0]["frame"] = file(format!("{place}-none.exr"));
    let reflectance = [MATTE_REFLECTANCE; 3];
    sheet["grey_spheres"] = json!([{
        "name": "g1", "frame": file(format!("{place}.matte.exr")), "reflectance": reflectance,
        "outline_px": sheet["mirrors"][0]["outline_px"],
    }]);
    sheet
}

fn check(sheet: Value) -> Report {
    let report =
        check_shot(&sheet_from_json(sheet, Path::new("shot.json"), Path::new(".")).unwrap(), RunOptions::default());
    assert!(report.report.error.is_none(), "{:?}", report.report.error);
    report.report
}

fn number(detail: &serde_json::Map<String, Value>, key: &str) -> f64 {
    detail.get(key).and_then(Value::as_f64).unwrap_or_else(|| panic!("no {key}: {detail:?}"))
}

#[test]
fn a_matte_sphere_is_what_its_mirror_predicts_under_real_environments() {
    for place in ["stage", "car_park"] {
        let report = check(sheet(place));
        let matte = finding(&report, "grey-sphere");
        let (value, sd) = (matte.value.unwrap(), matte.value_sd.unwrap());
        let level = number(&matte.detail, "level_stops");
        println!("{place}: contrast {value:+.3} +/- {sd:.3} stops, level {level:+.3}");
        assert_eq!(matte.verdict, Verdict::Match, "{matte:#?}");
        assert!(value.abs() < BOUND_STOPS.max(2.0 * sd), "{matte:#?}");
        for key in ["level_stops", "red_green_stops", "blue_green_stops"] {
            assert!(number(&matte.detail, key).abs() < BOUND_STOPS, "{place}: {key}: {matte:#?}");
        }
    }
}

/// Circles drawn by hand in place of the outlines of mirror and grey sphere.
#[test]
fn circles_drawn_by_hand_serve_as_well_as_the_outlines() {
    for place in ["stage", "car_park"] {
        let mut sheet = sheet(place);
        let outline: Vec<f64> = serde_json::from_value(sheet["grey_spheres"][0]["outline_px"].clone()).unwrap();
        let drawn = json!([outline[0] + 0.08 * outline[2], outline[1] - 0.05 * outline[2], 1.1 * outline[2]]);
        for entry in ["mirrors", "grey_spheres"] {
            let entry = sheet[entry][0].as_object_mut().unwrap();
            entry.remove("outline_px");
            entry.insert("near_px".to_owned(), drawn.clone());
        }
        let report = check(sheet);
        let found = report.spheres.iter().find(|sphere| sphere.role == SphereRole::Mirror).unwrap();
        assert_eq!(found.found_by, "near");
        let off = (0..3).map(|i| (found.outline_px[i] - outline[i]).abs()).fold(0.0, f64::max);
        println!("{place}: {off:.2} px off");
        assert!(off < 0.01 * outline[2], "{place}: {:?} for {outline:?}", found.outline_px);
        let matte = finding(&report, "grey-sphere");
        assert_eq!(matte.verdict, Verdict::Match, "{place}: {matte:#?}");
    }
}

/// The mirror frame cut off at an eighth of its brightest value, as a camera would; with that level.
fn clipped(place: &str, folder: &Path) -> (PathBuf, f32) {
    let frame = exr_file(&golden().join(format!("{place}.mirror.exr")));
    let level = frame.rgb.iter().flatten().fold(0.0, |high: f32, v| high.max(*v)) / 8.0;
    let rgb: Vec<[f32; 3]> = frame.rgb.iter().map(|rgb| rgb.map(|v| v.min(level))).collect();
    let path = folder.join("clipped.exr");
    write_exr(&path, frame.size, frame.data, &rgb, frame.alpha.as_deref(), &ExrAttributes::default()).unwrap();
    (path, level)
}

#[test]
fn a_clipped_key_is_recovered_from_the_matte_sphere_under_real_environments() {
    for place in ["stage", "car_park"] {
        let whole = check(sheet(place));
        let key = &whole.spheres[0].lights[0];
        let folder = tempfile::tempdir().unwrap();
        let mut sheet = sheet(place);
        let (cut, level) = clipped(place, folder.path());
        sheet["mirrors"][0]["bracket"] = json!([{ "frame": cut.to_string_lossy(), "clip_level": level }]);
        let report = check(sheet);
        let matte = finding(&report, "grey-sphere");
        let recovered = matte.detail["recovered_lights"].as_array().unwrap();
        let own = recovered.iter().map(|l| l.as_object().unwrap()).min_by(|a, b| {
            let off = |l: &serde_json::Map<String, Value>| (number(l, "azimuth_deg") - key.azimuth_deg).abs();
            off(a).total_cmp(&off(b))
        });
        let own = own.unwrap();
        let seen = &report.spheres[0].lights[number(own, "light") as usize - 1];
        let off = (number(own, "illuminance") / key.illuminance).log2();
        println!(
            "{place}: whole {:.3}, clipped {:.3}, recovered {:.3} +/- {:.3}: {off:+.3} stops",
            key.illuminance,
            seen.illuminance,
            number(own, "illuminance"),
            number(own, "illuminance_sd"),
        );
        assert!(seen.clipped && (seen.illuminance / key.illuminance).log2() < -1.0, "at least half of it is cut off");
        assert!(off.abs() < RECOVERED_STOPS, "{place}: {matte:#?}");
    }
}
