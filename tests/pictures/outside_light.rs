//! Independently rendered spheres whose light was once judged wrongly.
//!
//! Source of the truth: `golden/outside_light` (path-traced with another renderer and camera; its README says how).

#![allow(clippy::unwrap_used, reason = "a test stops where its input is not what it should be")]

use std::path::PathBuf;

use plateproof::findings::{Finding, Report, Verdict};
use plateproof::sheet::load_sheet;
use plateproof::shot::{RunOptions, check_shot};

fn folder(name: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("golden/outside_light").join(name)
}

fn report(name: &str, cg: Option<&str>) -> Report {
    let mut sheet = load_sheet(&folder(name).join("shot.json")).unwrap();
    if let Some(cg) = cg {
        cg.clone_into(&mut sheet.cg.spheres[0].image.frame);
    }
    check_shot(&sheet, RunOptions::default()).report
}

fn finding<'a>(report: &'a Report, check: &str) -> &'a Finding {
    report.findings.iter().find(|f| f.check == check).unwrap()
}

/// Nothing is wrong with either CG, so no comparison of it may say so; nor does any advice change its light.
#[test]
fn right_light_is_not_accused_by_a_ceiling_that_nobody_stated() {
    for name in ["cut_off_bracket", "pink_highlights"] {
        let report = report(name, None);
        let accused: Vec<&Finding> = report.findings.iter().filter(|f| f.verdict == Verdict::Mismatch).collect();
        assert!(accused.is_empty(), "{name}: {accused:#?}");
        assert!(
            report.findings.iter().all(|f| !f.remedy.words().contains("multiply")),
            "{name}: {:#?}",
            report.findings
        );
        let colour = finding(&report, "colour-balance").value.unwrap();
        assert!(colour.abs() < 0.03, "{name}: {colour}");
        let surroundings = finding(&report, "exposure").detail["surroundings_stops"].as_f64().unwrap();
        assert!(surroundings.abs() < 0.1, "{name}: {surroundings}");
        // Most light of the bracket's lamps is lost in all exposures, and what colour it has nobody knows.
        let expected = if name == "pink_highlights" { Verdict::Match } else { Verdict::Unsure };
        assert_eq!(finding(&report, "colour-balance").verdict, expected, "{name}");
    }
}

/// The sensor ends at 1.0 before it multiplies by the white balance: R 1.2685, G 1.0, B 1.9871.
#[test]
fn levels_left_by_a_white_balance_are_found_below_their_overshoot() {
    let report = report("pink_highlights", None);
    let warning = report.warnings.iter().find(|w| w.contains("treated as clipped")).unwrap();
    let words: Vec<&str> = warning.split(|c: char| c.is_whitespace() || "()".contains(c)).collect();
    for (channel, level) in [("R", 1.2685), ("G", 1.0), ("B", 1.9871)] {
        let at = words.iter().position(|word| *word == channel).unwrap();
        let found: f64 = words[at + 1].parse().unwrap();
        // A level is told to within a step of half floats, a thousandth.
        assert!((found / level - 1.0).abs() < 0.001, "{channel}: {found}, {warning}");
    }
}

/// One exposure with most of its lights cut off: the surroundings tell that left and right are exchanged.
#[test]
fn a_flop_is_named_in_a_single_exposure() {
    let report = report("pink_highlights", Some("cg_flopped.exr"));
    let rotation = finding(&report, "environment-rotation");
    assert_eq!(rotation.verdict, Verdict::Mismatch, "{rotation:#?}");
    for finding in report.findings.iter().filter(|f| f.verdict == Verdict::Mismatch) {
        assert!(finding.remedy.words().contains("left and right swapped"), "{finding:#?}");
    }
    for check in ["exposure", "colour-balance", "key-fill-ratio"] {
        assert_ne!(finding(&report, check).verdict, Verdict::Mismatch, "{check}");
    }
}

/// The picture ends at 1.0 in green, and a sheet that says 3.0 is not believed, nor silently.
#[test]
fn a_stated_ceiling_that_the_picture_contradicts_is_named() {
    let mut sheet = load_sheet(&folder("pink_highlights").join("shot.json")).unwrap();
    sheet.mirrors[0].bracket[0].clip_level = Some(3.0);
    let report = check_shot(&sheet, RunOptions::default()).report;
    let said = report.warnings.iter().find(|w| w.contains("the stated clip_level lies above"));
    assert!(said.is_some_and(|w| w.contains("sphere.exr")), "{:#?}", report.warnings);
}

/// The empty plate given as the frame of the sphere: boards that join to something round where the CG's sphere stands are
/// no mirror, and nothing is compared.
#[test]
fn a_plate_given_as_the_mirror_frame_is_named() {
    let report = report("plate_as_mirror", None);
    let Some(error) = &report.error else { panic!("{:#?}", report.findings) };
    assert!(error.file.ends_with("plate.jpg") && error.cause.contains("looks like a mirror"), "{error:#?}");
    assert!(report.findings.iter().all(|f| f.verdict == Verdict::NotGiven), "{:#?}", report.findings);
}
