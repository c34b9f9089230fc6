//! Spheres whose slopes are Gaussian, rendered by an independent path tracer: `golden/beckmann_spheres`. Nothing was tuned on
//! them.
#![allow(clippy::unwrap_used, reason = "a test stops where its input is not what it should be")]
#![allow(clippy::print_stdout, reason = "the figures of the comparison")]

use std::path::PathBuf;

use plateproof::findings::{Report, SphereRole, Verdict};
use plateproof::sheet::sheet_from_json;
use plateproof::shot::{RunOptions, check_shot};
use serde::Deserialize;
use serde_json::json;

/// How the frames were made.
#[derive(Deserialize)]
struct Truth {
    frames: Vec<String>,
    blur_deg_head_on: Vec<f64>,
    reflectance: [f64; 3],
    camera: serde_json::Value,
}

fn golden() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("golden/beckmann_spheres")
}

fn truth() -> Truth {
    serde_json::from_str(&std::fs::read_to_string(golden().join("truth.json")).unwrap()).unwrap()
}

fn report(truth: &Truth, frame: &str) -> Report {
    let sheet = json!({
        "format": "plateproof-shot/1",
        "shot": "SF_0610",
        "mirrors": [{ "name": "m1", "bracket": [frame], "reflectance": truth.reflectance }],
        "cg": { "spheres": [{ "mirror": "m1", "frame": "cg.exr" }] },
        "camera": truth.camera
    });
    let sheet = sheet_from_json(sheet, &golden().join("shot.json"), &golden()).unwrap();
    check_shot(&sheet, RunOptions::default()).report
}

/// Half of a normal spread of standard deviation 1 on each axis lies within √(2 ln 2).
const HALF_LIGHT: f64 = 1.177_410;

/// Off the middle a facet's tilt turns the reflection less across than along, by the cosine of the incidence: at the 33°
/// of the outermost light here the mean of both is 9 % less than head on.
const LEAST_OF_HEAD_ON: f64 = 0.91;

/// Blurs below this, head on, might be the lens's own: a pixel of these pictures is worth a degree.
const PLAIN_DEG: f64 = 2.0;

#[test]
fn normal_slopes_are_told_and_a_clean_sphere_has_none() {
    let truth = truth();
    for (frame, sd_deg) in truth.frames.iter().zip(&truth.blur_deg_head_on) {
        let report = report(&truth, frame);
        let mirror = report.spheres.iter().find(|s| s.role == SphereRole::Mirror).unwrap();
        let head_on = HALF_LIGHT * sd_deg;
        println!("{frame}: {:?} +/- {:?} deg, {head_on:.2}", mirror.surface_blur_deg, mirror.surface_blur_deg_sd);
        assert!(mirror.surface_blur_deg.is_none() || *sd_deg > 0.0, "{frame}: a clean sphere");
        assert!(mirror.surface_blur_deg.is_some() || head_on < PLAIN_DEG, "{frame}");
        let Some(blur) = mirror.surface_blur_deg else { continue };
        let reach = 3.0 * mirror.surface_blur_deg_sd.unwrap();
        let range = LEAST_OF_HEAD_ON * head_on - reach..head_on + reach;
        assert!(range.contains(&blur), "{frame}: {blur}, {range:?}");
    }
}

/// The light is the same on both sides: haze alone is no reason to turn or change anything.
#[test]
fn haze_alone_is_no_mismatch() {
    let truth = truth();
    for frame in &truth.frames {
        let report = report(&truth, frame);
        for finding in report.findings.iter().filter(|f| f.verdict != Verdict::NotGiven) {
            println!(
                "{frame}: {} {:?} +/- {:?} {}",
                finding.check,
                finding.value,
                finding.value_sd,
                finding.verdict.word()
            );
            assert_ne!(finding.verdict, Verdict::Mismatch, "{frame}: {} {}", finding.check, finding.reason);
        }
    }
}
