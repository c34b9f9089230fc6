//! Spheres with a known roughness, rendered by an independent path tracer: `golden/hazy_spheres`.
#![allow(clippy::unwrap_used, reason = "a test stops where its input is not what it should be")]
#![allow(clippy::print_stdout, reason = "the figures of the comparison")]

use std::path::PathBuf;

use plateproof::report::{Report, SphereRole, Verdict};
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
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("golden/hazy_spheres")
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

/// Blurs below this, head on, might be the lens's own: a pixel of these pictures is worth a degree.
const PLAIN_DEG: f64 = 3.0;

/// A lower bound is worth something where it is at least half of the truth.
const LEAST_OF_TRUTH: f64 = 0.5;

#[test]
fn haze_is_told_by_its_blur_and_a_clean_sphere_has_none() {
    let truth = truth();
    for (frame, head_on) in truth.frames.iter().zip(&truth.blur_deg_head_on) {
        let report = report(&truth, frame);
        let mirror = report.spheres.iter().find(|s| s.role == SphereRole::Mirror).unwrap();
        println!("{frame}: {:?} +/- {:?} deg, head on {head_on:.2}", mirror.blur_deg, mirror.blur_deg_sd);
        let said = report.warnings.iter().any(|w| w.contains("wider than the CG sphere"));
        assert_eq!(said, mirror.blur_deg.is_some());
        assert!(mirror.blur_deg.is_none() || *head_on > 0.0, "{frame}: a clean sphere");
        assert!(mirror.blur_deg.is_some() || *head_on < PLAIN_DEG, "{frame}");
        let Some(blur) = mirror.blur_deg else { continue };
        let sd = mirror.blur_deg_sd.unwrap();
        assert!(
            blur > LEAST_OF_TRUTH * head_on && blur - 2.0 * sd < *head_on,
            "{frame}: {blur} +/- {sd}, head on {head_on}"
        );
        assert!(
            mirror
                .lights
                .iter()
                .filter(|l| l.angular_radius_deg.is_some())
                .all(|l| l.angular_radius_deg_bound.is_some())
        );
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
