use proptest::prelude::*;

use super::*;
use crate::findings::sample::{self, keep_for_looking};
use crate::findings::{CheckId, Remedy};

fn widest(text: &str) -> usize {
    text.lines().map(display_width).max().unwrap_or(0)
}

fn assert_golden(report: &Report, name: &str, golden: &str) {
    let text = render_text(report, false);
    keep_for_looking(name, text.as_bytes());
    assert_eq!(text, golden);
}

#[test]
fn golden_mismatch() {
    assert_golden(
        &sample::mismatch(),
        "golden_mismatch.report.txt",
        include_str!("../testdata/golden_mismatch.report.txt"),
    );
}

#[test]
fn golden_unsure() {
    assert_golden(&sample::unsure(), "golden_unsure.report.txt", include_str!("../testdata/golden_unsure.report.txt"));
}

#[test]
fn golden_match() {
    assert_golden(&sample::all_match(), "golden_match.report.txt", include_str!("../testdata/golden_match.report.txt"));
}

#[test]
fn golden_error() {
    assert_golden(&sample::error(), "golden_error.report.txt", include_str!("../testdata/golden_error.report.txt"));
}

#[test]
fn colour_adds_nothing_but_colour() {
    let plain = render_text(&sample::mismatch(), false);
    let coloured = render_text(&sample::mismatch(), true);
    assert!(!plain.contains('\u{1b}'));
    let mut stripped = String::new();
    for (index, part) in coloured.split('\u{1b}').enumerate() {
        stripped.push_str(if index == 0 { part } else { part.split_once('m').unwrap().1 });
    }
    assert_eq!(stripped, plain);
    assert!(coloured.lines().next().unwrap().ends_with(TEXT_MARK), "the mark stands behind any colour");
}

#[test]
fn an_uncertainty_is_never_printed_as_zero() {
    let mut report = sample::mismatch();
    report.spheres[0].lights[0].direction_sd_deg = 0.034;
    let text = render_text(&report, false);
    let row = text.lines().skip_while(|line| !line.starts_with("  photographed")).nth(1).unwrap();
    assert!(row.contains(" <0.1 ") && !row.contains(" 0.0 "), "{row}");
}

#[test]
fn mirrors_are_named_where_there_are_several() {
    let mut report = sample::mismatch();
    report.findings[1].mirror = Some("m2".to_owned());
    let text = render_text(&report, false);
    assert!(text.contains("exposure (m2)") && text.contains("highlight-direction (m1)"), "{text}");
}

#[test]
fn worst_comes_first_whatever_the_order() {
    let mut report = sample::mismatch();
    report.findings.reverse();
    let text = render_text(&report, false);
    let place = |word: &str| text.find(word).unwrap_or_else(|| panic!("{word} is missing"));
    assert!(place("WHAT TO DO") < place("ON-SET PROBLEM"));
    assert!(place("\n  mismatch    highlight-direction") < place("\n  unsure      colour-balance"));
    assert!(place("\n  unsure      colour-balance") < place("\n  match       key-fill-ratio"));
}

#[test]
fn a_waived_mismatch_asks_for_nothing() {
    let text = render_text(&sample::all_match(), false);
    assert!(!text.contains("multiply the CG"));
    assert!(text.contains("waived by AB until 2027-01-31: dusk grade"));
}

#[test]
fn a_shot_without_any_comparison_says_so() {
    let mut report = sample::unsure();
    report.findings.clear();
    assert_eq!(headline(&report), "nothing could be compared");
}

#[test]
fn names_cannot_steer_the_terminal() {
    let mut report = sample::mismatch();
    report.shot = "SF\u{1b}[2J\n0420\u{202e}".to_owned();
    report.inputs[0].file = "plate\u{7}\r\n.exr".to_owned();
    report.findings[0].check = "a\tb\nc".into();
    report.warnings = vec!["one\nMATCH  forged  plateproof report".to_owned()];
    let text = render_text(&report, false);
    assert!(text.chars().all(|c| c == '\n' || !c.is_control()), "{text:?}");
    assert!(!text.contains('\u{202e}'));
    assert!(!text.lines().any(|line| line.starts_with("MATCH")), "no line can pass for a head: {text}");
}

#[test]
fn numbers_that_are_none_do_not_show() {
    let mut report = sample::mismatch();
    report.findings[0].value = Some(f64::NAN);
    report.findings[1].tolerance = f64::INFINITY;
    report.findings[1].value_sd = Some(f64::NAN);
    report.spheres[0].lights[0].share = f64::NAN;
    report.spheres[0].outline_px = [f64::INFINITY; 5];
    report.spheres[0].key_fill_stops_sd = Some(f64::NAN);
    report.inputs[0].decoded_fraction = f64::NAN;
    let text = render_text(&report, false);
    let own_words = text.replace("NaN or Inf", "");
    assert!(!own_words.contains("NaN") && !own_words.to_lowercase().contains(" inf"), "{text}");
}

proptest! {
    #[test]
    fn no_line_is_wider_than_the_page(words in "\\PC{0,300}", number in any::<f64>()) {
        let mut report = sample::mismatch();
        report.shot.clone_from(&words);
        report.version = Some(words.clone());
        report.findings[0].mirror = Some(words.clone());
        report.findings[1].check = words.as_str().into();
        report.findings[2].unit.clone_from(&words);
        report.findings[2].tolerance = number;
        report.findings[3].remedy = Remedy::told(words.as_str());
        report.findings[3].value = Some(number);
        report.findings[4].reason.clone_from(&words);
        report.inputs[0].role.clone_from(&words);
        report.inputs[0].file.clone_from(&words);
        report.inputs[0].encoding.clone_from(&words);
        report.spheres[0].name.clone_from(&words);
        report.spheres[0].lights[1].colour_reason = Some(words.clone());
        report.spheres[1].lights[0].azimuth_deg = number;
        report.spheres[1].key_fill_ratio = Some(number);
        report.tool.name.clone_from(&words);
        report.warnings = vec![words.clone()];
        let text = render_text(&report, false);
        prop_assert!(widest(&text) <= COLUMNS, "{text}");
        prop_assert!(text.lines().next().unwrap_or_default().ends_with(TEXT_MARK));
    }
}

/// Turning the environment and turning the key are one step with an alternative; advice that several share, one step.
#[test]
fn what_several_ask_for_stands_once_and_a_turn_has_its_alternative() {
    let mut report = sample::mismatch();
    let mut turn = report.findings[0].clone();
    (turn.check, turn.remedy) = (CheckId::EnvironmentRotation, Remedy::told("turn the environment -11.5 deg"));
    report.findings.push(turn);
    let text = render_text(&report, false);
    let (step, instead) =
        (text.find("turn the environment -11.5").unwrap(), text.find("instead: turn the CG").unwrap());
    assert!(step < instead, "{text}");
    report.findings.iter_mut().for_each(|f| f.remedy = Remedy::told("read the picture right"));
    let text = render_text(&report, false);
    assert_eq!(text.matches("FIX   read the picture right").count(), 1, "{text}");
    assert!(!text.contains("instead:") && !text.contains("WHAT TO DO"), "{text}");
}

/// What came from set and does not fit is no word against a CG that is right.
#[test]
fn a_right_cg_is_headed_as_that_beside_an_on_set_problem() {
    let mut report = sample::mismatch();
    report.verdict = ShotVerdict::Match;
    let text = render_text(&report, false);
    let first = text.lines().next().unwrap();
    assert!(first.starts_with("MATCH, 1 on-set problem  "), "{first}");
    assert!(text.contains("\n  set-problem reference-drift"), "{text}");
}
