//! The spheres that real environments predict, against renders by an independent path tracer.
//!
//! Environments: test images of the OpenEXR project, in `PLATEPROOF_REFERENCE_DATA`; renders of spheres under them:
//! `golden/rotated_environments` (mitsuba 3.9.1). `-- --nocapture` prints the findings.

#![allow(clippy::unwrap_used, reason = "a test stops where its input is not what it should be")]
#![allow(clippy::print_stdout, reason = "shows the measured errors with --nocapture")]

use std::path::{Path, PathBuf};

use plateproof::findings::{Finding, Verdict};
use plateproof::sheet::{EnvironmentSpec, ImageSpec, load_sheet};
use plateproof::shot::{RunOptions, ShotOutcome, check_shot};

use crate::sphere_scene::load::reference_data;

/// The folder of the environments.
fn environments() -> PathBuf {
    reference_data().join("openexr_images/MultiResolution")
}

fn checked(shot: &str, environment: &Path, heading_deg: Option<f64>, options: RunOptions) -> ShotOutcome {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("golden/rotated_environments");
    let mut sheet = load_sheet(&folder.join(format!("{shot}.json"))).unwrap();
    let image = ImageSpec::of_frame(environment.to_str().unwrap());
    sheet.environment = Some(EnvironmentSpec { image, heading_deg, ..EnvironmentSpec::default() });
    let outcome = check_shot(&sheet, options);
    assert!(outcome.report.error.is_none(), "{:?}", outcome.report.error);
    outcome
}

fn half<'a>(outcome: &'a ShotOutcome, concerns: &str) -> &'a Finding {
    outcome.report.findings.iter().find(|f| f.check == "environment" && f.concerns == concerns).unwrap()
}

fn of(finding: &Finding, half: &str, check: &str, key: &str) -> f64 {
    finding.detail[half][check][key].as_f64().unwrap_or_else(|| panic!("no {half}.{check}.{key}: {:?}", finding.detail))
}

const PLACES: [(&str, &str); 2] = [("stage", "StageEnvLatLong.exr"), ("car_park", "KernerEnvLatLong.exr")];

/// The path tracer's sphere is the photograph: prediction and photograph must agree, and so must the CG.
#[test]
#[cfg_attr(not(reference_data), ignore = "PLATEPROOF_REFERENCE_DATA is not set")]
fn the_predicted_sphere_is_the_path_tracer_s() {
    let folder = environments();
    for (place, file) in PLACES {
        let outcome = checked(&format!("{place}-none"), &folder.join(file), Some(0.0), RunOptions::default());
        let (reference, cg) = (half(&outcome, "reference"), half(&outcome, "cg"));
        println!("{place}: {:?} {} | {:?} {}", reference.verdict, reference.reason, cg.verdict, cg.reason);
        println!("{}", serde_json::to_string_pretty(&reference.detail).unwrap());
        let value = |check: &str| of(reference, "predicted_against_photographed", check, "value");
        // The two programs place pixels half a column apart: 0.18 deg.
        assert!(value("environment-rotation").abs() < 0.3, "{place}: {}", value("environment-rotation"));
        assert!(value("exposure").abs() < 0.01, "{place}: {}", value("exposure"));
        assert!(value("key-fill-ratio").abs() < 0.05, "{place}: {}", value("key-fill-ratio"));
        assert!(value("colour-balance").abs() < 0.02, "{place}: {}", value("colour-balance"));
        assert_ne!(cg.verdict, Verdict::Mismatch, "{place}: {}", cg.reason);
    }
}

/// The CG turned by 14.2 deg: the capture agrees with the photograph, so the set-up is wrong.
#[test]
#[cfg_attr(not(reference_data), ignore = "PLATEPROOF_REFERENCE_DATA is not set")]
fn a_wrong_set_up_is_told_from_a_wrong_capture() {
    let folder = environments();
    let environment = folder.join("StageEnvLatLong.exr");
    let outcome = checked("stage-heading", &environment, Some(0.0), RunOptions::default());
    let cg = half(&outcome, "cg");
    println!("{} -> {}", cg.reason, cg.remedy);
    assert_eq!(cg.verdict, Verdict::Mismatch);
    assert!((of(cg, "cg_against_predicted", "environment-rotation", "correction_heading_deg") + 14.2).abs() < 0.3);
    assert!(
        cg.reason.contains("the capture agrees") && cg.remedy.words().contains("turn the environment -14."),
        "{cg:?}"
    );

    // The other way round: the capture is said to stand 25 deg off, and the CG agrees with the photograph.
    let outcome = checked("stage-none", &environment, Some(25.0), RunOptions::default());
    let (reference, cg) = (half(&outcome, "reference"), half(&outcome, "cg"));
    println!("{} -> {}", reference.reason, reference.remedy);
    assert_eq!((reference.verdict, cg.verdict), (Verdict::Mismatch, Verdict::Match));
    let turn = of(reference, "predicted_against_photographed", "environment-rotation", "correction_heading_deg");
    assert!((turn + 25.0).abs() < 0.3, "{turn}");
}

#[test]
#[cfg_attr(not(reference_data), ignore = "PLATEPROOF_REFERENCE_DATA is not set")]
fn a_heading_that_nobody_noted_is_found() {
    let folder = environments();
    let outcome = checked("car_park-none", &folder.join("KernerEnvLatLong.exr"), None, RunOptions::default());
    let heading = half(&outcome, "reference").detail["heading_deg"].as_f64().unwrap();
    assert!(heading.abs() < 0.3, "{heading}");
    assert!(outcome.report.assumptions.iter().any(|a| a.contains("heading is not given")));
}

#[test]
#[cfg_attr(not(reference_data), ignore = "PLATEPROOF_REFERENCE_DATA is not set")]
fn predicted_spheres_are_written_on_request_and_carry_the_mark() {
    let folder = environments();
    let options = RunOptions { predict: true, ..RunOptions::default() };
    let outcome = checked("stage-none", &folder.join("StageEnvLatLong.exr"), Some(0.0), options);
    let endings: Vec<&str> = outcome.attachments.iter().map(|a| a.ending.as_str()).collect();
    let wanted =
        ["predicted-mirror.m1.exr", "predicted-mirror.m1.png", "predicted-matte.m1.exr", "predicted-matte.m1.png"];
    assert_eq!(endings, wanted);
    for file in &outcome.attachments {
        let head = &file.bytes[..file.bytes.len().min(4096)];
        assert!(head.windows(10).any(|w| w == b"plateproof"), "{}", file.ending);
    }
}
