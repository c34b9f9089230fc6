//! The fixes that a report asks for, tried on the light that was measured: which are needed, in which order, and what would
//! remain after all of them.
//!
//! Every check names what would mend its own number. Made one after the other, such fixes mend twice what only follows
//! from something else. So each is tried on the CG's measured lights and radiance, the most sweeping first, and is kept
//! only if it brings the CG nearer to the photograph. The others wait for it.

mod light;

use std::collections::BTreeSet;

use nalgebra::Vector3;
use serde_json::Value;

use super::pair::Pair;
use crate::colour::luminance;
use crate::compare::Comparison;
use crate::findings::detail::AFTER;
use crate::findings::numbers::place_words;
use crate::findings::remedy::{Step, Waits};
use crate::findings::{Action, CheckId, Concerns, Finding, Report, Verdict};
use crate::report::order::steps;
use crate::sphere::{azimuth_elevation_deg, direction_of_deg};
pub(super) use light::Light;
use light::Turned;

/// A fix is kept where what is outside of all tolerances together shrinks by this, in tolerances (common practice, no source).
const NEARER: f64 = 0.1;

/// A light missing or too many counts as so many tolerances.
const UNPAIRED_OVER: f64 = 2.0;

/// A number that is judged, under some light.
struct Number {
    check: CheckId,
    /// The number itself, where it is in stops.
    stops: Option<f64>,
    words: String,
    /// In tolerances.
    over: f64,
}

/// Tries the fixes of every mirror, and has those wait that follow from others.
pub(super) fn order_fixes(report: &mut Report, pairs: &[Pair]) {
    for pair in pairs {
        let comparison = &pair.comparison;
        let name = comparison.mirror.name.clone();
        let Some(left) = of_pair(report, comparison) else { continue };
        if !left.is_empty() {
            report.warnings.push(format!(
                "mirror {name}: with all fixes made there would remain {}: check again after each of them",
                left.join(", ")
            ));
        }
    }
}

/// Keeps the fixes that are needed, and gives what would remain after them; `None` where no fix changes the light of this mirror.
fn of_pair(report: &mut Report, pair: &Comparison) -> Option<Vec<String>> {
    let asked = asked(report, pair);
    if asked.is_empty() {
        return None;
    }
    let known: Vec<Finding> = report.findings.iter().filter(|f| is_of(f, pair)).cloned().collect();
    let level = known.iter().find(|f| f.check == CheckId::Exposure).and_then(surroundings_stops).unwrap_or(0.0);
    let mut light = Light::of(pair.cg_on_equal_terms(), level);
    let start = light.total();
    let numbers = |light: &Light| numbers(&known, pair, light, start);
    let outside = |light: &Light| numbers(light).iter().map(|n| (n.over - 1.0).max(0.0)).sum::<f64>();
    let mut now = outside(&light);
    let mut last: Option<CheckId> = None;
    for (index, action) in asked {
        let mut tried = light.clone();
        if !tried.apply(&action, pair) {
            return None; // What cannot be done in thought leaves open what all of them together do.
        }
        let then = outside(&tried);
        if then < now - NEARER {
            (light, now) = (tried, then);
            last = Some(report.findings[index].check.clone());
        } else if let Some(first) = &last {
            let finding = &mut report.findings[index];
            let remains = numbers(&light).into_iter().find(|n| n.check == finding.check && n.over > 1.0);
            let first = first.clone();
            finding.detail.insert(AFTER.to_owned(), first.name().into());
            finding.remedy = Step::Wait(match remains.map(|number| number.stops) {
                None => Waits::FollowsFrom(first),
                Some(Some(stops)) => Waits::Remains { first, stops },
                Some(None) => Waits::PartRemains(first),
            })
            .into();
        }
    }
    last?;
    let left: BTreeSet<String> = numbers(&light).into_iter().filter(|n| n.over > 1.0).map(|n| n.words).collect();
    Some(left.into_iter().collect())
}

/// What the report asks to change on this mirror's CG, in the order of its text, each by its finding; a turn of the whole before what
/// it moves, lights before gains of all.
fn asked(report: &Report, pair: &Comparison) -> Vec<(usize, Action)> {
    let place = |finding: &Finding| report.findings.iter().position(|f| std::ptr::eq(f, finding));
    let told = steps(report).into_iter().flat_map(asked_apart);
    let mut asked: Vec<(usize, Action)> = told
        .filter(|f| is_of(f, pair) && f.verdict == Verdict::Mismatch)
        .filter_map(|f| Some((place(f)?, f.remedy.action()?)))
        .filter(|(_, action)| !matches!(action, Action::RenderAgain | Action::ShootAgain | Action::Give))
        .collect();
    asked.sort_by_key(|(_, action)| match action {
        Action::TurnEnvironment { .. } => 0,
        Action::TurnLight { .. } => 1,
        Action::AddLight { .. } | Action::RemoveLight { .. } => 2,
        Action::LightGain { .. } => 3,
        _ => 4,
    });
    asked
}

/// Findings of one step ask for the same, or for gains that are told as one.
fn asked_apart(step: Vec<&Finding>) -> Vec<&Finding> {
    let first = step[0];
    step.into_iter().filter(|f| std::ptr::eq(*f, first) || f.remedy != first.remedy).collect()
}

fn is_of(finding: &Finding, pair: &Comparison) -> bool {
    finding.concerns != Concerns::Reference && finding.mirror.as_deref() == Some(pair.mirror.name.as_str())
}

/// Every number that the report judges, as it would be under this light. What is unsure now cannot be told to be mended.
fn numbers(findings: &[Finding], pair: &Comparison, light: &Light, start: [f64; 3]) -> Vec<Number> {
    let of = |check: CheckId| findings.iter().find(|f| f.check == check && f.verdict != Verdict::Unsure);
    let mut all = Vec::new();
    if let Some(finding) = of(CheckId::HighlightDirection) {
        let key = pair.mirror.lights.key();
        let angle = match light.turned {
            Turned::Nothing => finding.value,
            Turned::All => key.and_then(|key| light.nearest_deg(&key.direction)),
            Turned::Key => None,
        };
        if let Some(angle) = angle.filter(|_| finding.value.is_some()) {
            let words = format!("the key {angle:.1} deg off");
            all.push(Number {
                check: CheckId::HighlightDirection,
                stops: None,
                words,
                over: angle / finding.tolerance,
            });
        }
        // A light that is missing stays so until the CG shows one there, one too many until it does not.
        let open = unpaired(finding).into_iter().filter(|(place, missing)| light.shows(place) != *missing);
        all.extend(open.map(|(place, missing)| unpaired_number(missing, &place)));
    }
    let mut push = |check: CheckId, what: &str, value: f64, tolerance: f64| {
        let words = format!("{what} {value:+.2} stops");
        all.push(Number { check, stops: Some(value), words, over: value.abs() / tolerance });
    };
    if let (Some(finding), Some(value)) = (of(CheckId::KeyFillRatio), light.key_fill_stops(pair)) {
        push(CheckId::KeyFillRatio, "contrast", value, finding.tolerance);
    }
    if let Some(finding) = of(CheckId::Exposure) {
        if let Some(stops) = surroundings_stops(finding) {
            push(CheckId::Exposure, "surroundings", stops + light.surroundings_stops, finding.tolerance);
        }
        if let Some(stops) = light.illuminance_stops(pair) {
            push(CheckId::Exposure, "what a subject receives", stops, finding.tolerance);
        }
    }
    if let Some(finding) = of(CheckId::ColourBalance)
        && let Some(stops) = colour_stops(finding, light, start)
    {
        push(CheckId::ColourBalance, "colour", stops, finding.tolerance);
    }
    all
}

fn unpaired_number(missing: bool, place: &Vector3<f64>) -> Number {
    let what = if missing { "a light missing" } else { "a light too many" };
    let words = format!("{what} at {}", place_words(azimuth_elevation_deg(place)));
    Number { check: CheckId::HighlightDirection, stops: None, words, over: UNPAIRED_OVER }
}

fn surroundings_stops(finding: &Finding) -> Option<f64> {
    finding.detail.get("surroundings_stops").and_then(Value::as_f64)
}

/// The lights that the finding names missing (true) or too many.
fn unpaired(finding: &Finding) -> Vec<(Vector3<f64>, bool)> {
    let lights = match finding.remedy.action() {
        Some(Action::AddLight { lights }) => lights.into_iter().map(|l| (l.at, true)).collect(),
        Some(Action::RemoveLight { lights }) => lights.into_iter().map(|l| (l.at, false)).collect(),
        _ => Vec::new(),
    };
    lights.into_iter().map(|(at, missing)| (direction_of_deg(at.azimuth_deg, at.elevation_deg), missing)).collect()
}

/// The worst channel after what the fixes did to all light.
fn colour_stops(finding: &Finding, light: &Light, start: [f64; 3]) -> Option<f64> {
    let gains = finding.detail.get("channel_gain_rgb")?.as_array()?;
    let now = light.total();
    let level = luminance(now) / luminance(start);
    let channel = |c: usize| Some(-gains.get(c)?.as_f64()?.log2() + (now[c] / start[c] / level).log2());
    let stops = [channel(0)?, channel(1)?, channel(2)?];
    stops.into_iter().filter(|s| s.is_finite()).max_by(|a, b| a.abs().total_cmp(&b.abs()))
}
