//! Shots of the show whose truth is a gain or a captured environment, from frames to findings.

use super::shots::shots;
use super::{make_folder, pretty, shot_sheet, show_sheet, write_frames, write_text};
use crate::findings::{Finding, Report, Verdict};
use crate::sheet::load_sheet;
use crate::shot::{RunOptions, check_shot};

/// One shot written and checked.
fn report(name: &str) -> Report {
    let folder = tempfile::tempdir().unwrap();
    let shot = shots().into_iter().find(|shot| shot.name == name).unwrap();
    let own = folder.path().join(name);
    make_folder(&own).unwrap();
    let staging = tempfile::tempdir_in(folder.path()).unwrap();
    write_frames(&shot, &own, staging.path()).unwrap();
    write_text(&folder.path().join("show.json"), &pretty(&show_sheet())).unwrap();
    write_text(&own.join("shot.json"), &pretty(&shot_sheet(&shot))).unwrap();
    let report = check_shot(&load_sheet(&own.join("shot.json")).unwrap(), RunOptions::default()).report;
    assert!(report.error.is_none(), "{:?}", report.error);
    assert_eq!(report.verdict, shot.verdict, "{name}: {:#?}", report.findings);
    report
}

fn finding<'a>(report: &'a Report, check: &str, concerns: &str) -> &'a Finding {
    report.findings.iter().find(|f| f.check == check && f.concerns == concerns).unwrap()
}

/// The CG's key is 1.5 times too strong and its rim 0.6 times: their gains are the inverse, the rest stays.
#[test]
fn light_gains_give_back_what_was_put_in() {
    let report = report("SF_0430");
    let advice = finding(&report, "light-gains", "cg");
    let gains = advice.detail["gains"].as_array().unwrap();
    assert_eq!(gains.len(), 3, "{advice:#?}");
    for (entry, truth) in gains.iter().zip([1.0 / 1.5, 1.0 / 0.6, 1.0]) {
        let gain = entry["gain"].as_f64().unwrap();
        assert!((gain / truth).log2().abs() < 0.06, "{gain} instead of {truth}: {advice:#?}");
    }
    assert_eq!(advice.verdict, Verdict::Mismatch);
    assert!(
        advice.remedy.words().contains("multiply layer rim by 1.")
            && advice.remedy.words().contains("multiply layer key by 0."),
        "{}",
        advice.remedy
    );
    assert!(advice.detail["in_no_layer_fraction"].as_f64().unwrap().abs() < 0.01);
    for left in ["exposure_stops", "key_fill_stops"] {
        assert!(advice.detail["remaining"][left].as_f64().unwrap().abs() < 0.1, "{advice:#?}");
    }
    assert_eq!(finding(&report, "environment-rotation", "cg").verdict, Verdict::Match);
}

/// The capture is 0.8 stop too bright and the CG follows it: the capture is what is wrong.
#[test]
fn a_wrong_capture_is_told_from_a_faithful_set_up() {
    let report = report("SF_0440");
    let (capture, set_up) = (finding(&report, "environment", "reference"), finding(&report, "environment", "cg"));
    assert_eq!((capture.verdict, set_up.verdict), (Verdict::Mismatch, Verdict::Match), "{capture:#?} {set_up:#?}");
    let exposure = capture.detail["predicted_against_photographed"]["exposure"]["value"].as_f64().unwrap();
    assert!((exposure - 0.8).abs() < 0.05, "{exposure}");
    assert!(capture.remedy.words().contains("multiply the environment by 0.5"), "{}", capture.remedy);
    assert!(set_up.reason.contains("the capture is what is wrong"), "{}", set_up.reason);
}

/// A sound capture and a CG that follows it: silence on both halves.
#[test]
fn a_sound_capture_is_silent() {
    let report = report("SF_0110");
    for concerns in ["reference", "cg"] {
        let half = finding(&report, "environment", concerns);
        assert_eq!(half.verdict, Verdict::Match, "{half:#?}");
        assert!(half.remedy.is_empty(), "{half:#?}");
    }
    assert_eq!(finding(&report, "environment-rotation", "cg").verdict, Verdict::Match);
    assert_eq!(finding(&report, "light-gains", "reference").verdict, Verdict::NotGiven);
}

/// A lamp that is missing does not make the environment turned.
#[test]
fn a_missing_light_is_not_a_rotation() {
    let report = report("SF_0320");
    let rotation = finding(&report, "environment-rotation", "cg");
    assert_eq!(rotation.verdict, Verdict::Match, "{rotation:#?}");
    assert!(rotation.value.unwrap() < 1.0, "{rotation:#?}");
}

/// Heading and tilt that were put in come back about the world's axes, though the camera looks down.
#[test]
fn a_turned_environment_is_named_with_its_turns() {
    let report = report("SF_0140");
    let rotation = finding(&report, "environment-rotation", "cg");
    let number = |key: &str| rotation.detail[key].as_f64().unwrap();
    assert_eq!(rotation.verdict, Verdict::Mismatch, "{rotation:#?}");
    assert!((number("correction_heading_deg") + 14.0).abs() < 0.4, "{rotation:#?}");
    assert!(
        rotation.remedy.words().starts_with("turn the environment -1")
            && rotation.remedy.words().contains("remaining error: key")
    );
    let left = rotation.detail["remaining"]["key_angle_deg"].as_f64().unwrap();
    assert!(left < 0.6, "{left}");
}
