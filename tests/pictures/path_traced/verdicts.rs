//! Whether a verdict is true to the truth, by the rule for false matches and false mismatches.

use plateproof::findings::Verdict;
use plateproof::sheet::Tolerances;

use super::shot::Shot;
use super::truth::{CHECKS, number};

/// An unpaired light of at least this share is a mismatch by itself.
const UNPAIRED_SHARE: f64 = 0.10;

/// One finding held against truth.
pub(crate) struct Call {
    pub(crate) shot: String,
    pub(crate) check: &'static str,
    /// Beyond 1.1 tolerances and called a match, or within tolerance and called a mismatch.
    pub(crate) falsehood: Option<&'static str>,
    /// Below half or above twice the tolerance, on input that allows a decision.
    pub(crate) clear: bool,
    pub(crate) decided: bool,
}

/// The four checks of the CG and the reference drift.
pub(crate) fn calls(shot: &Shot) -> Vec<Call> {
    CHECKS.into_iter().chain(["reference-drift"]).map(|check| call(shot, check)).collect()
}

fn call(shot: &Shot, check: &'static str) -> Call {
    let size = size_in_tolerances(shot, check);
    let verdict = shot.verdict(check);
    // Under clipping the contract forbids a match, however right the CG is.
    let cut_off = check == "exposure" && shot.truth.clip_level().is_some();
    let told = check == "reference-drift" || !matches!(shot.truth.expected(check), "unsure" | "not-mismatch");
    let decidable = told && !cut_off;
    Call {
        shot: shot.name.clone(),
        check,
        falsehood: match verdict {
            Some(Verdict::Match) if size > 1.1 => Some("false match"),
            Some(Verdict::Mismatch) if size < 1.0 => Some("false mismatch"),
            _ => None,
        },
        clear: decidable && !(0.5..=2.0).contains(&size),
        decided: matches!(verdict, Some(Verdict::Match | Verdict::Mismatch)),
    }
}

/// The true error over the default tolerance; for several criteria the worst.
fn size_in_tolerances(shot: &Shot, check: &str) -> f64 {
    let t = Tolerances::default();
    let truth = |key: &str| number(&shot.truth.error(check)[key]).abs();
    match check {
        "highlight-direction" => {
            let unpaired = shot.truth.unpaired_shares().into_iter().fold(0.0, f64::max) / UNPAIRED_SHARE;
            (truth("value_deg") / t.direction.deg).max(unpaired)
        }
        "key-fill-ratio" => truth("value_stops") / t.key_fill.stops,
        // Surroundings and what a subject receives are both judged.
        "exposure" => truth("value_stops").max(truth("illuminance_stops")) / t.exposure.stops,
        "colour-balance" => colour(shot, &t),
        _ => shot.truth.unexplained_drift_stops().abs() / t.reference_drift.stops,
    }
}

fn colour(shot: &Shot, tolerances: &Tolerances) -> f64 {
    let overall = &shot.truth.error("colour-balance")["overall"];
    let channels = overall["channel_stops"].as_array().unwrap().iter().map(|v| number(v).abs());
    let stops = channels.fold(0.0, f64::max) / tolerances.colour.stops;
    let mired = overall["mired_error"].as_f64().map_or(0.0, |m| m.abs() / tolerances.colour.mired);
    stops.max(mired)
}

/// A verdict that the truth file's own word does not contradict.
pub(crate) fn allowed(expected: &str, verdict: Option<Verdict>) -> bool {
    match expected {
        "match" | "not-mismatch" => verdict != Some(Verdict::Mismatch),
        "mismatch" => verdict != Some(Verdict::Match),
        "unsure" => verdict == Some(Verdict::Unsure),
        _ => true,
    }
}
