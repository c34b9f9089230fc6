use nalgebra::Vector3;
use serde_json::json;

use super::*;
use crate::findings::{CheckId, LightSeen, Place};
use crate::sphere::direction_of_deg;

fn lamp(azimuth_deg: f64) -> LightSeen {
    LightSeen::new(Place { azimuth_deg, elevation_deg: 20.0 }, 0.3)
}

fn contrast() -> Step {
    let light = |azimuth_deg, is_key, gain| LightToMend { at: lamp(azimuth_deg).at, is_key, gain };
    let cure = ContrastCure::Lights(vec![light(-40.0, true, 0.5), light(60.0, false, 2.0)]);
    Step::Contrast { off_stops: 0.8, with_exposure: false, cure }
}

#[test]
fn what_would_remain_is_no_part_of_the_short_form() {
    let leaves = Remaining { key_deg: Some(0.1), ..Remaining::default() };
    let turn = Remedy::from(Step::TurnEnvironment { turn: [-14.0, 0.0, 0.0], up: "world", leaves });
    assert_eq!(turn.short(), "turn the environment -14.0 deg about the vertical (clockwise seen from above)");
    assert_eq!(turn.words(), format!("{}; remaining error: key 0.1 deg", turn.short()));
}

/// Both lights are named in full; in short only the first, and never a part of a remark in brackets.
#[test]
fn a_remark_does_not_break_the_short_form() {
    let key = "multiply the CG key at azimuth -40, elevation +20 deg by 0.50 (it is 1.00 stops too strong)";
    let mut remedy = Remedy::from(contrast());
    assert_eq!(remedy.short(), key);
    remedy.hold(Condition::AfterTheTurn { left_stops: 0.4 });
    assert_eq!(remedy.short(), key);
    let words = remedy.words();
    assert!(words.contains("; multiply the CG light at azimuth +60, elevation +20 deg by 2.00 (it is"), "{words}");
    assert!(words.ends_with("too contrasty (after the advised turn, which leaves +0.40 stops)"), "{words}");
}

#[test]
fn the_environment_stands_in_the_place_of_the_cg() {
    let grey = Remedy::from(Step::Multiply { off_stops: 1.0 });
    let turned = Turn { from: direction_of_deg(10.0, 0.0), to: direction_of_deg(0.0, 0.0) };
    let key = Remedy::from(Step::TurnKey(turned));
    let both = Remedy::of_all([&grey, &key, &contrast().into()], Subject::Environment);
    let words = both.words();
    assert!(
        words.starts_with("multiply the environment by 0.50 (it is 1.00 stops too bright); turn the environment's key")
    );
    assert!(words.contains("; multiply the environment's key at azimuth -40"), "{words}");
    assert!(words.ends_with("; the environment's light is 0.80 stops too contrasty"), "{words}");
    assert!(!words.contains("CG"), "{words}");
}

#[test]
fn an_action_is_of_one_kind_and_lights_of_that_kind_are_collected() {
    let add = |light| Step::AddLight { light, strength: Strength::default() };
    let lights: Remedy =
        [add(lamp(10.0)), Step::RemoveLight { light: lamp(90.0) }, add(lamp(50.0))].into_iter().collect();
    assert_eq!(lights.action(), Some(Action::AddLight { lights: vec![lamp(10.0), lamp(50.0)] }));
}

#[test]
fn what_comes_first_is_the_action() {
    let mut remedy = Remedy::from(Step::MultiplyRgb { rgb: [1.1, 1.0, 0.9], warm_mired: None });
    assert_eq!(remedy.action(), Some(Action::Gain { rgb: [1.1, 1.0, 0.9] }));
    remedy.hold(Condition::WithExposure { rgb: [2.2, 2.0, 1.8] });
    assert_eq!(remedy.action(), Some(Action::Gain { rgb: [1.1, 1.0, 0.9] }));
    remedy.hold(Condition::ReflectanceFirst);
    assert_eq!(remedy.action(), Some(Action::Give));
    assert_eq!(remedy.short(), "first give the sphere's reflectance, R, G and B: a tinted sphere looks like this");
    remedy.hold(Condition::EnvironmentFirst);
    assert_eq!(remedy.action(), None, "the other finding has the action");
    let waits = Remedy::from(Step::Wait(Waits::LightThere(CheckId::LightGains)));
    assert_eq!((waits.action(), waits.is_empty()), (None, false));
}

/// Above 60 degrees of elevation azimuth means little (the contract of the report): frame axes are named.
#[test]
fn a_steep_key_is_moved_along_the_frame() {
    let turn = Turn { from: direction_of_deg(90.0, 80.0), to: direction_of_deg(-90.0, 80.0) };
    assert_eq!(Remedy::from(Step::TurnKey(turn)).words(), "move the CG key 20.0 deg towards frame left");
    let none = Turn { from: Vector3::y(), to: Vector3::y() };
    assert_eq!(Remedy::from(Step::TurnKey(none)).words(), "nothing to turn");
}

#[test]
fn a_report_holds_words_and_action_and_reads_them_back() {
    let remedy = Remedy::from(Ask::LinearRender);
    let written = serde_json::to_value(&remedy).unwrap();
    let expected = "render the CG sphere as scene-linear OpenEXR, half float or better";
    assert_eq!(written, json!({ "remedy": expected, "action": { "kind": "render-again" } }));
    let read: Remedy = serde_json::from_value(written.clone()).unwrap();
    assert_eq!((read.words(), read.action()), (remedy.words(), remedy.action()));
    assert_eq!(serde_json::to_value(&read).unwrap(), written);
    assert_eq!(serde_json::to_value(Remedy::default()).unwrap(), json!({ "remedy": "" }));
}
