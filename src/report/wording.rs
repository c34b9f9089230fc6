//! How measured numbers are put into words, the same in the text report and in the picture.
//!
//! Plain ASCII throughout, so that the words survive tickets and e-mail.

use crate::findings::numbers::{TOLERANCES, fixed, number_words, of_tolerance_words, plain_number};
use crate::findings::{CheckId, Concerns, Finding, Verdict};
use crate::printable_text;

/// What a finding measured: `10.3 +/- 0.3 deg`, `>= +1.20 stops`, or `not measured`.
pub fn value_words(finding: &Finding) -> String {
    let Some(value) = finding.value.filter(|value| value.is_finite()) else {
        return "not measured".to_owned();
    };
    let bound = bound_sign(finding.value_bound.as_deref());
    // A count is exact.
    if finding.value_sd == Some(0.0) && value.fract() == 0.0 {
        let unit = if value as i64 == 1 { finding.unit.trim_end_matches('s') } else { &finding.unit };
        return format!("{} {}", fixed(value, 0, false), printable_text(unit));
    }
    // An angle between two directions has no sign; a difference in stops without its sign says little.
    let signed = finding.unit != "deg";
    if finding.unit == TOLERANCES {
        return format!("{bound}{}", of_tolerance_words(value, finding.value_sd));
    }
    let unit = printable_text(&finding.unit);
    format!("{bound}{} {unit}", number_words(value, finding.value_sd, &finding.unit, signed))
}

/// The tolerance with its unit, or a dash where there is none.
pub fn tolerance_words(finding: &Finding) -> String {
    if finding.unit == TOLERANCES {
        // The number is told in parts of it.
        "-".to_owned()
    } else if finding.tolerance.is_finite() && finding.tolerance > 0.0 {
        format!("{} {}", plain_number(finding.tolerance), printable_text(&finding.unit))
    } else {
        "-".to_owned()
    }
}

/// The verdict word; `waived` where a waiver covers a mismatch, `set-problem` for a mismatch that concerns what came
/// from set.
pub fn verdict_words(finding: &Finding) -> &'static str {
    if finding.waived.is_some() {
        "waived"
    } else if is_set_problem(finding) {
        "set-problem"
    } else {
        finding.verdict.word()
    }
}

/// What came from set does not fit, and nobody waived it.
pub fn is_set_problem(finding: &Finding) -> bool {
    let fails = finding.verdict == Verdict::Mismatch && finding.waived.is_none();
    fails && finding.concerns == Concerns::Reference
}

/// The required checks of which some finding is missing or undecided.
pub fn undecided<'a>(required: &[String], findings: impl Iterator<Item = (&'a CheckId, Verdict)>) -> Vec<String> {
    let findings: Vec<(&CheckId, Verdict)> = findings.collect();
    let decided = |check: &String| {
        let mut of_check = findings.iter().filter(|(name, _)| **name == check.as_str()).peekable();
        of_check.peek().is_some() && of_check.all(|(_, verdict)| matches!(verdict, Verdict::Match | Verdict::Mismatch))
    };
    required.iter().filter(|check| !decided(check)).cloned().collect()
}

/// What is said of them.
pub fn undecided_words(checks: &[String]) -> String {
    format!("required and not decided: {}", checks.join(", "))
}

/// The clause of a mismatch's reason that decides it, where its number alone would not.
pub(crate) fn decisive_reason(finding: &Finding) -> Option<&str> {
    let size = finding.value?.abs() - 2.0 * finding.value_sd.unwrap_or(0.0);
    let number_decides = finding.verdict != Verdict::Mismatch || size > finding.tolerance;
    finding.reason.rsplit("; ").next().filter(|reason| !number_decides && !reason.is_empty())
}

/// The sign before a number of which only a bound is known.
pub(crate) fn bound_sign(bound: Option<&str>) -> &'static str {
    match bound {
        Some("lower") => ">= ",
        Some("upper") => "<= ",
        _ => "",
    }
}

/// A sentence from elsewhere: control characters escaped, the three signs that tickets mangle spelled out.
pub(crate) fn prose(text: &str) -> String {
    let spelled = text.replace('°', " deg").replace('±', "+/-").replace('\u{2212}', "-");
    printable_text(spelled.trim())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn signs_that_tickets_mangle_are_spelled_out() {
        assert_eq!(prose("turn 5° ± 1, raise by \u{2212}2\u{1b}"), "turn 5 deg +/- 1, raise by -2\\u{1b}");
    }
}
