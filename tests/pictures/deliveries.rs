//! A right CG that comes in another size than the plate, or from a lens that nobody told.
//!
//! Source of the truth: `golden/path_traced`, `golden/outside_light` and `golden/deliveries` (path-traced with another renderer; the
//! READMEs say how).

#![allow(clippy::unwrap_used, reason = "a test stops where its input is not what it should be")]

use std::path::PathBuf;

use plateproof::findings::{Finding, Report, SphereRole, Verdict};
use plateproof::sheet::{ShotSheet, load_sheet};
use plateproof::shot::{RunOptions, check_shot};

fn golden() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("golden")
}

fn report(shot: &str, change: impl Fn(&mut ShotSheet)) -> Report {
    let mut sheet = load_sheet(&golden().join(shot).join("shot.json")).unwrap();
    change(&mut sheet);
    check_shot(&sheet, RunOptions::default()).report
}

fn delivered(file: &str) -> Report {
    report("path_traced/sf_010_all_match", |sheet| {
        sheet.cg.spheres[0].image.frame = golden().join("deliveries").join(file).to_string_lossy().into_owned();
    })
}

fn finding<'a>(report: &'a Report, check: &str) -> &'a Finding {
    report.findings.iter().find(|f| f.check == check).unwrap()
}

/// Half the size shows the same light, so that every number covers zero and is judged as a match.
#[test]
fn a_right_cg_at_half_size_matches() {
    let report = delivered("cg_half_size.exr");
    for check in ["highlight-direction", "key-fill-ratio", "exposure", "colour-balance"] {
        let finding = finding(&report, check);
        assert_eq!(finding.verdict, Verdict::Match, "{finding:#?}");
        // Three standard deviations: a threshold for four numbers that are right (the normal distribution).
        assert!(finding.value.unwrap().abs() < 3.0 * finding.value_sd.unwrap(), "{finding:#?}");
    }
}

/// Far off the axis of a wide lens a sphere draws an ellipse. Without a lens told, its alpha still says which: the true one is three
/// quarters of the photograph's, 98.42 by 97.53 px (closed form in the shot's truth), and directions agree.
#[test]
fn alpha_tells_the_ellipse_where_nobody_tells_the_lens() {
    let report = report("outside_light/pink_highlights", |sheet| sheet.camera = None);
    let cg = report.spheres.iter().find(|s| s.role == SphereRole::Cg).unwrap();
    for (axis, truth) in [(2, 98.42), (3, 97.53)] {
        // A tenth of a pixel: what 25 samples a pixel leave of such an edge, and the field of view that is read off it.
        assert!((cg.outline_px[axis] - truth).abs() < 0.1, "{:?}", cg.outline_px);
    }
    let direction = finding(&report, "highlight-direction");
    assert_ne!(direction.verdict, Verdict::Mismatch, "{direction:#?}");
    assert!(direction.value.unwrap() < 3.0 * direction.value_sd.unwrap(), "{direction:#?}");
}
