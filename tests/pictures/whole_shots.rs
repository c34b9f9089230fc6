//! What crews bring besides linear frames, through the whole program: camera JPEG brackets, frames in a delivered
//! encoding, a grey sphere.
//!
//! The light is that of the path-traced golden shots (`golden/path_traced`, mitsuba 3.9.1), whose CG agrees with the
//! photograph, and of published renders (`rendered_spheres`, Pakkapon Phongthawee 2023, MIT).

#![allow(clippy::unwrap_used, reason = "a test stops where its input is not what it should be")]
#![allow(clippy::print_stdout, reason = "shows the measured errors with --nocapture")]

use std::path::{Path, PathBuf};

use nalgebra::Vector3;
use plateproof::colour::ColourSpace;
use plateproof::findings::{Finding, Report, SphereRole};
use plateproof::image::Frame;
use plateproof::image::write::{ExrAttributes, write_exr, write_jpeg};
use plateproof::sheet::{load_sheet, sheet_from_json};
use plateproof::shot::{RunOptions, check_shot};
use serde_json::{Value, json};

use crate::sphere_scene::load::{exr_file as frame, reference_data};

const COMPARED: [&str; 4] = ["highlight-direction", "key-fill-ratio", "exposure", "colour-balance"];

fn golden() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("golden/path_traced/sf_010_all_match")
}

fn golden_sheet() -> Value {
    serde_json::from_str(&std::fs::read_to_string(golden().join("shot.json")).unwrap()).unwrap()
}

fn check(sheet: Value, folder: &Path) -> Report {
    let sheet = sheet_from_json(sheet, &folder.join("shot.json"), folder).unwrap();
    check_shot(&sheet, RunOptions::default()).report
}

fn finding<'a>(report: &'a Report, check: &str) -> &'a Finding {
    report.findings.iter().find(|f| f.check == check).unwrap_or_else(|| panic!("no {check}: {report:?}"))
}

/// Light to code values by an exponent, and back by a Common LUT Format file: nothing may change.
#[test]
fn a_delivered_encoding_gives_the_numbers_of_linear_frames() {
    const CLF: &str = r#"<?xml version="1.0" encoding="UTF-8"?>
<ProcessList xmlns="urn:AMPAS:CLF:v3.0" compCLFversion="3.0" id="salt-ferry-delivery">
  <Exponent inBitDepth="32f" outBitDepth="32f" style="basicFwd"><ExponentParams exponent="2.4"/></Exponent>
</ProcessList>"#;
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("delivery.clf"), CLF).unwrap();
    for name in ["mirror.exr", "plate.exr"] {
        let linear = frame(&golden().join(name));
        let code: Vec<[f32; 3]> = linear.rgb.iter().map(|rgb| rgb.map(|v| v.max(0.0).powf(1.0 / 2.4))).collect();
        let path = folder.path().join(name);
        write_exr(&path, linear.size, linear.data, &code, None, &ExrAttributes::default()).unwrap();
    }
    std::fs::copy(golden().join("cg.exr"), folder.path().join("cg.exr")).unwrap();
    let mut sheet = golden_sheet();
    sheet["mirrors"][0]["encoding"] = "delivery.clf".into();
    sheet["plate"]["encoding"] = "delivery.clf".into();
    let coded = check(sheet, folder.path());
    let linear = check_shot(&load_sheet(&golden().join("shot.json")).unwrap(), RunOptions::default()).report;
    assert_eq!(coded.verdict, linear.verdict);
    for check in COMPARED.into_iter().chain(["reference-drift"]) {
        let (a, b) = (finding(&coded, check), finding(&linear, check));
        let off = (a.value.unwrap() - b.value.unwrap()).abs();
        // Half-float code values: 2^-11 relative, times the exponent, is 0.0017 stop in one pixel.
        assert!(off < 0.003, "{check}: {:?} coded, {:?} linear", a.value, b.value);
        assert_eq!(a.verdict, b.verdict, "{check}");
    }
    let mirror = coded.inputs.iter().find(|input| input.role == "mirror").unwrap();
    assert!(mirror.encoding.contains("delivery.clf"), "{mirror:?}");
}

/// A folder with the golden shot's frames from set; a test puts its own CG there.
fn photographed() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    for name in ["mirror.exr", "plate.exr"] {
        std::fs::copy(golden().join(name), folder.path().join(name)).unwrap();
    }
    folder
}

/// The frame's light as the channels of ACEScg hold it.
fn in_acescg(linear: &Frame) -> Vec<[f32; 3]> {
    let from_working = ColourSpace::parse("acescg").unwrap().from_working().unwrap();
    let pixel = |rgb: &[f32; 3]| -> [f32; 3] { (from_working.map(|v| v as f32) * Vector3::from(*rgb)).into() };
    linear.rgb.iter().map(pixel).collect()
}

fn write(linear: &Frame, rgb: &[[f32; 3]], path: &Path) {
    write_exr(path, linear.size, linear.data, rgb, linear.alpha.as_deref(), &ExrAttributes::default()).unwrap();
}

/// What the sphere frame's camera did to its red channel is undone in the space in which it was measured: the drift of
/// 0.2 stop in the red of ACEScg is 0.35 stop in that of BT.709.
#[test]
fn a_drift_of_colour_is_undone_whatever_the_colour_space() {
    let folder = tempfile::tempdir().unwrap();
    for (name, red) in [("mirror.exr", 0.2_f32.exp2()), ("plate.exr", 1.0)] {
        let linear = frame(&golden().join(name));
        let drifted: Vec<[f32; 3]> = in_acescg(&linear).into_iter().map(|[r, g, b]| [r * red, g, b]).collect();
        write(&linear, &drifted, &folder.path().join(name));
    }
    std::fs::copy(golden().join("cg.exr"), folder.path().join("cg.exr")).unwrap();
    let mut sheet = golden_sheet();
    sheet["mirrors"][0]["colour_space"] = "acescg".into();
    sheet["mirrors"][0]["correct_drift"] = true.into();
    sheet["plate"]["colour_space"] = "acescg".into();
    let report = check(sheet, folder.path());
    let drift = finding(&report, "reference-drift");
    assert!((drift.detail["red_green_stops"].as_f64().unwrap() - 0.35).abs() < 0.03, "{drift:?}");
    let colour = finding(&report, "colour-balance");
    assert!(colour.value.unwrap().abs() < 0.03 && colour.verdict.word() == "match", "{colour:?}");
    assert!(finding(&report, "exposure").value.unwrap().abs() < 0.03);
}

/// A CG sphere that reflects as the real one does, in another colour space: nothing may change.
#[test]
fn a_tinted_sphere_is_the_same_sphere_in_any_colour_space() {
    let folder = photographed();
    let linear = frame(&golden().join("cg.exr"));
    let colour = |space: &str, rgb: &[[f32; 3]]| {
        write(&linear, rgb, &folder.path().join("cg.exr"));
        let mut sheet = golden_sheet();
        sheet["mirrors"][0]["reflectance"] = json!([0.55, 0.62, 0.70]);
        sheet["cg"]["spheres"][0]["reflectance"] = "same-as-mirror".into();
        sheet["cg"]["spheres"][0]["colour_space"] = space.into();
        finding(&check(sheet, folder.path()), "colour-balance").value.unwrap()
    };
    let (plain, wide) = (colour("rec709", &linear.rgb), colour("acescg", &in_acescg(&linear)));
    assert!((plain - wide).abs() < 0.002, "{plain} in BT.709, {wide} in ACEScg");
}

/// A linear bracket about whose stops nobody said anything, or said something wrong, without a plate.
#[test]
fn a_linear_bracket_is_merged_by_what_its_pictures_say() {
    let linear = frame(&golden().join("mirror.exr"));
    for stated in [None, Some([-3.0, 0.0, 2.0])] {
        let folder = tempfile::tempdir().unwrap();
        let mut bracket = Vec::new();
        for (index, stops) in [-2.0_f32, 0.0, 2.0].into_iter().enumerate() {
            let rgb: Vec<[f32; 3]> = linear.rgb.iter().map(|rgb| rgb.map(|v| v * stops.exp2())).collect();
            let name = format!("sphere_{index}.exr");
            write(&linear, &rgb, &folder.path().join(&name));
            bracket.push(json!({ "frame": name }));
            if let Some(stated) = stated {
                bracket[index]["exposure_stops"] = stated[index].into();
            }
        }
        std::fs::copy(golden().join("cg.exr"), folder.path().join("cg.exr")).unwrap();
        let mut sheet = golden_sheet();
        sheet.as_object_mut().unwrap().remove("plate");
        let mirror = sheet["mirrors"][0].as_object_mut().unwrap();
        mirror.remove("frame");
        mirror.insert("bracket".to_owned(), bracket.into());
        let report = check(sheet, folder.path());
        for check in ["key-fill-ratio", "exposure"] {
            let finding = finding(&report, check);
            assert!(finding.value.unwrap().abs() < 0.05, "{stated:?}: {finding:?}");
        }
        let said = if stated.is_some() { "what the pixels show is used" } else { "the middle one is assumed" };
        assert!(report.warnings.iter().any(|w| w.contains(said)), "{stated:?}: {:?}", report.warnings);
    }
}

/// What a sheet gives is used or refused, never replaced by something that a search found.
#[test]
fn an_outline_that_lies_outside_the_frame_is_an_error() {
    let mut sheet = golden_sheet();
    sheet["mirrors"][0]["outline_px"] = json!([2048.0, 1080.0, 300.0]);
    let error = check(sheet, &golden()).error.unwrap();
    assert!(error.cause.contains("outside the frame"), "{error:?}");
}

/// Coverage that says nothing about the sphere is not asked where it is.
#[test]
fn a_matte_of_something_else_does_not_place_the_sphere() {
    let folder = photographed();
    let cg = frame(&golden().join("cg.exr"));
    let width = cg.size.width;
    // The matte of a round thing in the upper left corner.
    let elsewhere = |i: usize| {
        let (x, y) = ((i % width) as f32 - 60.0, (i / width) as f32 - 60.0);
        (40.5 - x.hypot(y)).clamp(0.0, 1.0)
    };
    let alpha: Vec<f32> = (0..cg.rgb.len()).map(elsewhere).collect();
    let path = folder.path().join("cg.exr");
    write_exr(&path, cg.size, cg.data, &cg.rgb, Some(&alpha), &ExrAttributes::default()).unwrap();
    let outline = |sheet: Value, folder: &Path| {
        let report = check(sheet, folder);
        report.spheres.iter().find(|s| s.role == SphereRole::Cg).unwrap().outline_px
    };
    let truth = outline(golden_sheet(), &golden());
    let mut sheet = golden_sheet();
    sheet["cg"]["spheres"][0]["alpha"] = "none".into();
    let found = outline(sheet, folder.path());
    assert!((0..3).all(|i| (found[i] - truth[i]).abs() < 1.0), "{found:?}, not {truth:?}");
}

/// A CG written for a display says nothing about brightness, whether in 8 bits or in 16.
#[test]
fn a_cg_for_a_display_is_not_judged_by_its_brightness() {
    let folder = photographed();
    let linear = frame(&golden().join("cg.exr"));
    let (width, height) = (linear.size.width as u32, linear.size.height as u32);
    let shown = image::ImageBuffer::from_fn(width, height, |x, y| {
        let rgb = linear.rgb[(y * width + x) as usize];
        image::Rgb(rgb.map(|v| (f64::from((v / (1.0 + v)).max(0.0)).powf(1.0 / 2.2) * 65535.0) as u16))
    });
    shown.save(folder.path().join("cg.png")).unwrap();
    let mut sheet = golden_sheet();
    sheet["cg"]["spheres"][0]["frame"] = "cg.png".into();
    let report = check(sheet, folder.path());
    for check in ["exposure", "colour-balance"] {
        let finding = finding(&report, check);
        assert_eq!(finding.verdict.word(), "unsure", "{finding:?}");
        assert!(finding.reason.contains("view transform"), "{finding:?}");
    }
}

/// An invented camera's picture: a shoulder, a toe and an exponent that no standard has; 18 % grey is code 118 (ISO 12232
/// standard output sensitivity, from memory).
fn developed(light: f32) -> u8 {
    let light = f64::from(light).max(0.0);
    let shoulder = 1.0 - (-1.51 * light).exp();
    let toe = shoulder.powf(1.08) / (1.0 + 0.02 / (shoulder + 0.05));
    (255.0 * toe.powf(1.0 / 2.1)).round() as u8
}

#[test]
fn a_bracket_of_camera_jpegs_gives_up_its_curve_and_is_judged() {
    let folder = tempfile::tempdir().unwrap();
    let linear = frame(&golden().join("mirror.exr"));
    let mut bracket = Vec::new();
    for stops in [-10, -8, -6, -4, -2, 0, 2] {
        let gain = 2.0_f32.powi(stops);
        let code: Vec<[u8; 3]> = linear.rgb.iter().map(|rgb| rgb.map(|v| developed(v * gain))).collect();
        let name = format!("sphere_{stops}.jpg");
        write_jpeg(&folder.path().join(&name), linear.size, &code, 96).unwrap();
        bracket.push(json!({ "frame": name, "exposure_stops": stops }));
    }
    std::fs::copy(golden().join("cg.exr"), folder.path().join("cg.exr")).unwrap();
    let mut sheet = golden_sheet();
    sheet.as_object_mut().unwrap().remove("plate");
    let mirror = sheet["mirrors"][0].as_object_mut().unwrap();
    mirror.insert("bracket".to_owned(), bracket.into());
    mirror.remove("encoding");
    let report = check(sheet, folder.path());
    assert!(report.spheres.iter().any(|sphere| sphere.response_curve.is_some()), "{:?}", report.warnings);
    for check in COMPARED {
        let finding = finding(&report, check);
        let (value, sd) = (finding.value.unwrap(), finding.value_sd.unwrap());
        println!("{check}: {value:+.3} +/- {sd:.3} {} {} {}", finding.unit, finding.verdict.word(), finding.reason);
        // The CG is the same light: truth is zero (direction: a length, so never below zero).
        assert!(value.abs() < 3.0 * sd.max(0.05), "{check}: {value} +/- {sd}, {}", finding.reason);
        assert_ne!(finding.verdict.word(), "mismatch", "{check}: {}", finding.reason);
    }
    assert_eq!(finding(&report, "highlight-direction").verdict.word(), "match");
    // A single JPEG leaves more than half a stop of doubt in the contrast, and 0.4 stop in the exposure.
    assert!(finding(&report, "key-fill-ratio").value_sd.unwrap() < 0.2);
    assert!(finding(&report, "exposure").detail["surroundings_stops_sd"].as_f64().unwrap() < 0.2);
}

#[test]
#[cfg_attr(not(reference_data), ignore = "PLATEPROOF_REFERENCE_DATA is not set")]
fn a_published_matte_sphere_agrees_with_its_mirror() {
    let renders = reference_data().join("rendered_spheres/stylelight");
    let file = |material: &str| renders.join(material).join("abandoned_bakery_4k.exr");
    let sheet = json!({
        "format": "plateproof-shot/1", "shot": "SF_0800",
        "mirrors": [ { "name": "m1", "frame": file("mirror") } ],
        "grey_spheres": [ { "name": "g1", "frame": file("diffuse") } ],
        "cg": { "spheres": [ { "mirror": "m1", "frame": file("mirror") } ] },
    });
    let report = check(sheet, &renders);
    let matte = finding(&report, "grey-sphere");
    assert!(matte.value.is_some(), "{matte:?}");
    let (value, sd) = (matte.value.unwrap(), matte.value_sd.unwrap());
    println!("grey-sphere: {value:+.3} +/- {sd:.3} stops {}; {:?}", matte.verdict.word(), matte.detail);
    assert!(value.abs() < 2.0 * sd.max(0.1), "{value} +/- {sd}");
    assert_eq!(matte.verdict.word(), "match", "{}", matte.reason);
    // The same found by its edges and shading, without alpha, and then with two stops more contrast across it.
    let folder = tempfile::tempdir().unwrap();
    let bare = frame(&file("diffuse"));
    let (width, data) = (bare.data.width, bare.data);
    let mut steeper = bare.rgb.clone();
    for (i, rgb) in steeper.iter_mut().enumerate() {
        let across = (i % width) as f32 / width as f32;
        *rgb = rgb.map(|v| v * 0.25_f32.powf(((across - 0.35) / 0.3).clamp(0.0, 1.0)));
    }
    let judge = |name: &str, rgb: &[[f32; 3]]| {
        let path = folder.path().join(name);
        write_exr(&path, bare.size, data, rgb, None, &ExrAttributes::default()).unwrap();
        let sheet = json!({
            "format": "plateproof-shot/1", "shot": "SF_0801",
            "mirrors": [ { "name": "m1", "frame": file("mirror") } ],
            "grey_spheres": [ { "name": "g1", "frame": path } ],
            "cg": { "spheres": [ { "mirror": "m1", "frame": file("mirror") } ] },
        });
        finding(&check(sheet, folder.path()), "grey-sphere").clone()
    };
    let found = judge("found.exr", &bare.rgb);
    assert!((found.value.unwrap() - value).abs() < 0.05, "{found:?}");
    let shaded = judge("steeper.exr", &steeper);
    assert_ne!(shaded.verdict.word(), "match", "{shaded:?}");
}
