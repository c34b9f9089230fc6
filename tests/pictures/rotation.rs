//! Rotations that were put in come back, on spheres under real environments rendered by an independent path tracer.
//!
//! Source of the pictures and of the truth: `golden/rotated_environments` (two environments of the OpenEXR project,
//! mitsuba 3.9.1). `-- --nocapture` prints a line per shot.

#![allow(clippy::unwrap_used, reason = "a test stops where its input is not what it should be")]
#![allow(clippy::print_stdout, reason = "shows the measured errors with --nocapture")]

use std::path::Path;

use nalgebra::{Matrix3, Rotation3};
use plateproof::compare::rotation::{Turns, level_axes};
use plateproof::findings::{Finding, Verdict};
use plateproof::sheet::load_sheet;
use plateproof::shot::{RunOptions, check_shot};

/// The rotation must be right within this angle (the project's own requirement).
const BOUND_DEG: f64 = 0.2;

/// What the CG's environment was turned by: heading, tilt, roll.
const TURNS: [(&str, [f64; 3]); 4] =
    [("heading", [14.2, 0.0, 0.0]), ("all", [-151.0, 23.0, -8.0]), ("small", [1.7, -0.9, 0.4]), ("none", [0.0; 3])];

fn rotation_of(shot: &str) -> Finding {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("golden/rotated_environments");
    let sheet = load_sheet(&folder.join(format!("{shot}.json"))).unwrap();
    let report = check_shot(&sheet, RunOptions::default()).report;
    assert!(report.error.is_none(), "{shot}: {:?}", report.error);
    report.findings.into_iter().find(|f| f.check == "environment-rotation").unwrap()
}

fn turns([heading_deg, tilt_deg, roll_deg]: [f64; 3]) -> Rotation3<f64> {
    Turns { heading_deg, tilt_deg, roll_deg }.rotation(&level_axes(0.0, 0.0))
}

fn number(finding: &Finding, key: &str) -> f64 {
    finding.detail.get(key).and_then(serde_json::Value::as_f64).unwrap_or_else(|| panic!("no {key}: {finding:?}"))
}

#[test]
fn rotations_come_back_on_real_environments() {
    let mut worst = 0.0_f64;
    for place in ["stage", "car_park"] {
        for (name, put_in) in TURNS {
            let shot = format!("{place}-{name}");
            let finding = rotation_of(&shot);
            let keys = ["correction_heading_deg", "correction_tilt_deg", "correction_roll_deg"];
            let correction = turns(keys.map(|key| number(&finding, key)));
            // What undoes a rotation is its inverse.
            let off_deg = (turns(put_in) * correction).angle().to_degrees();
            let sd = finding.value_sd.unwrap();
            println!(
                "{shot:18} off by {off_deg:.3} deg, value {:.3} +/- {sd:.3}: {}",
                finding.value.unwrap(),
                finding.remedy
            );
            assert!(off_deg <= BOUND_DEG, "{shot}: off by {off_deg}");
            assert!(off_deg < 4.0 * sd + 0.02, "{shot}: off by {off_deg}, said to be known within {sd}");
            worst = worst.max(off_deg);
            let turned = turns(put_in).angle().to_degrees() > 5.0;
            assert_eq!(finding.verdict, if turned { Verdict::Mismatch } else { Verdict::Match }, "{shot}: {finding:?}");
            assert_eq!(finding.remedy.is_empty(), !turned, "{shot}");
        }
    }
    println!("worst {worst:.3} deg");
}

/// The stage's own turn is named in the words that an artist acts on.
#[test]
fn the_remedy_names_heading_alone_where_heading_is_all() {
    let remedy = rotation_of("stage-heading").remedy.words();
    assert!(remedy.starts_with("turn the environment -14."), "{remedy}");
    assert!(
        remedy.contains("clockwise seen from above); remaining error: key 0.") && !remedy.contains("tilt"),
        "{remedy}"
    );
}

/// An environment and another place: no rotation lays one upon the other.
#[test]
fn two_places_are_not_a_rotation_apart() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("golden/rotated_environments");
    let mut sheet = load_sheet(&folder.join("stage-none.json")).unwrap();
    "car_park-none.exr".clone_into(&mut sheet.cg.spheres[0].image.frame);
    let report = check_shot(&sheet, RunOptions::default()).report;
    let finding = report.findings.iter().find(|f| f.check == "environment-rotation").unwrap();
    println!("{} {}", finding.reason, finding.remedy);
    assert_ne!(finding.verdict, Verdict::Mismatch, "{finding:?}");
    assert!(finding.reason.contains("no rotation explains"), "{finding:?}");
}

/// The matrix of the turns, written out once more by hand: heading first, then tilt, then roll.
#[test]
fn turns_are_applied_in_the_contract_s_order() {
    let (h, t, r) = (f64::to_radians(30.0), f64::to_radians(20.0), f64::to_radians(10.0));
    let heading = Matrix3::new(h.cos(), 0.0, h.sin(), 0.0, 1.0, 0.0, -h.sin(), 0.0, h.cos());
    let tilt = Matrix3::new(1.0, 0.0, 0.0, 0.0, t.cos(), -t.sin(), 0.0, t.sin(), t.cos());
    let roll = Matrix3::new(r.cos(), -r.sin(), 0.0, r.sin(), r.cos(), 0.0, 0.0, 0.0, 1.0);
    assert!((turns([30.0, 20.0, 10.0]).matrix() - roll * tilt * heading).amax() < 1e-12);
}
