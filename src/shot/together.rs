//! Remedies that touch each other: two factors that an artist would else have to multiply, and what only follows from
//! something else that is wrong.

use crate::base::units::Stops;
use crate::check::exposure::illuminance;
use crate::compare::Comparison;
use crate::findings::detail::{AFTER, DECIDED_BY, GAIN_WITH_EXPOSURE, LIGHTS_AMISS, MEND_IN};
use crate::findings::remedy::{Condition, Step, Waits};
use crate::findings::{CheckId, Concerns, Finding, Remedy, Verdict};

use super::plan::Light;

/// Checks that move when a single light is mended.
const FOLLOWS_LIGHTS: [CheckId; 3] = [CheckId::KeyFillRatio, CheckId::Exposure, CheckId::ColourBalance];

/// What a mended direction does to the checks that sum over lights: where it brings one home, that is its cure, and where it does
/// not, what would remain is told. Mending such a number by a gain besides would mend it twice.
pub(super) fn follow_direction(findings: &mut [Finding], pair: &Comparison) {
    let off = |check: CheckId| findings.iter().find(|f| f.check == check && f.verdict == Verdict::Mismatch);
    let turned = match &pair.rotation {
        Some(_) => off(CheckId::EnvironmentRotation),
        None => off(CheckId::HighlightDirection).filter(|f| !f.detail.contains_key(LIGHTS_AMISS)),
    };
    let asked = turned.and_then(|finding| Some((finding.check.clone(), finding.remedy.action()?)));
    let Some((first, turn)) = asked else { return };
    let mut mended = Light::of(pair.cg_on_equal_terms(), 0.0);
    if !mended.apply(&turn, pair) {
        return;
    }
    for finding in findings.iter_mut().filter(|f| f.verdict == Verdict::Mismatch) {
        let after = match finding.check {
            CheckId::KeyFillRatio => mended.key_fill_stops(pair),
            CheckId::Exposure if sums_lamps(finding) => mended.illuminance_stops(pair),
            _ => None,
        };
        let Some(after) = after else { continue };
        if after.abs() <= finding.tolerance {
            finding.remedy = Step::Wait(Waits::FollowsFrom(first.clone())).into();
        } else if first == CheckId::EnvironmentRotation && finding.check == CheckId::KeyFillRatio {
            // Its own words already stand on the turn undone.
            finding.remedy.hold(Condition::AfterTheTurn { left_stops: after });
            continue;
        } else {
            finding.remedy = Step::Wait(Waits::Remains { first: first.clone(), stops: after }).into();
        }
        finding.detail.insert(AFTER.to_owned(), first.name().into());
    }
}

/// [`follow_direction`] has settled it already.
fn follows_direction(finding: &Finding) -> bool {
    let after = finding.detail.get(AFTER).and_then(|a| a.as_str());
    matches!(after, Some("environment-rotation" | "highlight-direction"))
}

/// The exposure finding speaks of what a subject receives, lamps included.
fn sums_lamps(finding: &Finding) -> bool {
    finding.detail.get(DECIDED_BY).and_then(|d| d.as_str()) == Some(illuminance::WHAT)
}

/// Where the capture is wrong and the CG only follows it, says so of what the capture mends: done twice it would be wrong again.
pub(super) fn by_the_capture(findings: &mut [Finding]) {
    let mirrors: Vec<Option<String>> = findings
        .iter()
        .filter(|f| {
            f.check == CheckId::Environment && f.concerns == Concerns::Reference && f.verdict == Verdict::Mismatch
        })
        .map(|f| f.mirror.clone())
        .collect();
    for mirror in mirrors {
        let of_cg = |f: &Finding| f.concerns == Concerns::Cg && f.mirror == mirror;
        let follows = |f: &Finding| of_cg(f) && f.check == CheckId::Environment && f.verdict == Verdict::Match;
        if !findings.iter().any(follows) {
            continue;
        }
        let asks = |f: &&mut Finding| of_cg(f) && f.verdict == Verdict::Mismatch && !f.remedy.is_empty();
        for finding in findings.iter_mut().filter(asks) {
            finding.detail.insert(MEND_IN.to_owned(), "the environment".into());
            finding.remedy.hold(Condition::EnvironmentFirst);
        }
    }
}

/// Where a single light is wrong, contrast and colour of all light follow from it: their own cures, done besides, would
/// mend it twice.
pub(super) fn in_order(findings: &mut [Finding]) {
    let mirrors: Vec<Option<String>> = findings.iter().map(|f| f.mirror.clone()).collect();
    for (index, mirror) in mirrors.into_iter().enumerate() {
        if let Some(first) = before_light(findings, mirror.as_ref()) {
            // No layer is to be changed either, and nothing waits for one.
            if findings[index].check == CheckId::LightGains && findings[index].verdict >= Verdict::Unsure {
                findings[index].remedy = first;
            }
            continue;
        }
        let off = |check: CheckId| {
            let asks = |f: &&Finding| f.verdict == Verdict::Mismatch && f.waived.is_none() && !f.remedy.is_empty();
            findings.iter().filter(asks).find(|f| f.check == check && f.mirror == mirror)
        };
        let check = &findings[index].check;
        if findings[index].verdict != Verdict::Mismatch
            || !FOLLOWS_LIGHTS.contains(check)
            || follows_direction(&findings[index])
        {
            continue;
        }
        if *check == CheckId::Exposure && !sums_lamps(&findings[index]) && off(CheckId::LightGains).is_none() {
            continue;
        }
        let amiss = off(CheckId::HighlightDirection).filter(|f| f.detail.contains_key(LIGHTS_AMISS));
        let first = amiss
            .or_else(|| off(CheckId::LightGains))
            .or_else(|| off(CheckId::KeyFillRatio).filter(|f| f.check != *check));
        if let Some(first) = first.map(|f| f.check.clone()) {
            findings[index].detail.insert(AFTER.to_owned(), first.name().into());
            findings[index].remedy = Step::Wait(Waits::LightThere(first)).into();
        }
    }
}

/// What a mirror's pictures need before any light, where something else than light is the likelier cause.
fn before_light(findings: &[Finding], mirror: Option<&String>) -> Option<Remedy> {
    let of_mirror = |f: &&Finding| f.mirror.as_ref() == mirror && f.verdict >= Verdict::Unsure;
    findings.iter().filter(of_mirror).find(|f| f.remedy.comes_before_light()).map(|f| f.remedy.clone())
}

/// Where both are off, tells the one gain a channel that mends both.
pub(super) fn one_gain(findings: &mut [Finding]) {
    let off = |check: CheckId| findings.iter().position(|f| f.check == check && f.verdict == Verdict::Mismatch);
    let (Some(exposure), Some(colour)) = (off(CheckId::Exposure), off(CheckId::ColourBalance)) else { return };
    let found = &findings[exposure];
    let Some(value) = found.value else { return };
    let stops = found.detail.get("surroundings_stops").and_then(serde_json::Value::as_f64).unwrap_or(value);
    if (stops - value).abs() > found.tolerance {
        // No one gain mends lamps and surroundings that are off by different amounts.
        return;
    }
    let gains = findings[colour].detail.get("channel_gain_rgb").and_then(|g| g.as_array());
    let Some([r, g, b]) = gains.map(Vec::as_slice) else { return };
    let (Some(r), Some(g), Some(b)) = (r.as_f64(), g.as_f64(), b.as_f64()) else { return };
    let both = [r, g, b].map(|gain| gain * Stops(-stops).ratio());
    findings[colour].detail.insert(GAIN_WITH_EXPOSURE.to_owned(), both.to_vec().into());
    findings[colour].remedy.hold(Condition::WithExposure { rgb: both });
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::findings::sample;

    #[test]
    fn what_follows_from_a_wrong_light_waits_for_it() {
        let mut findings = sample::mismatch().findings;
        let at = |findings: &[Finding], check: &str| findings.iter().position(|f| f.check == check).unwrap();
        let (key_fill, colour) = (at(&findings, "key-fill-ratio"), at(&findings, "colour-balance"));
        let direction = at(&findings, "highlight-direction");
        for finding in [key_fill, colour] {
            findings[finding].verdict = Verdict::Mismatch;
            findings[finding].remedy = Remedy::told("a gain of its own");
        }
        in_order(&mut findings);
        assert_eq!(findings[key_fill].remedy.words(), "a gain of its own");
        assert!(findings[colour].remedy.words().starts_with("same cause as key-fill-ratio"));
        findings[direction].verdict = Verdict::Mismatch;
        findings[direction].detail.insert(LIGHTS_AMISS.to_owned(), true.into());
        in_order(&mut findings);
        for finding in [key_fill, colour] {
            assert!(findings[finding].remedy.words().starts_with("same cause as highlight-direction"));
        }
    }

    #[test]
    fn no_layer_is_changed_where_the_pictures_are_suspect() {
        let mut findings = sample::mismatch().findings;
        let at = |check: &str| findings.iter().position(|f| f.check == check).unwrap();
        let (exposure, key_fill) = (at("exposure"), at("key-fill-ratio"));
        for finding in [exposure, key_fill] {
            findings[finding].verdict = Verdict::Mismatch;
            findings[finding].remedy = Step::CutAtWhite.into();
        }
        let gains = Finding { check: CheckId::LightGains, remedy: Remedy::told("x 0.1"), ..findings[exposure].clone() };
        findings.push(gains);
        in_order(&mut findings);
        let last = findings.last().unwrap();
        assert_eq!(last.remedy, findings[exposure].remedy);
        assert!(findings[key_fill].remedy.comes_before_light() && !findings[key_fill].detail.contains_key(AFTER));
    }

    #[test]
    fn two_gains_become_one_where_both_are_off() {
        let mut findings = sample::mismatch().findings;
        let at = |findings: &[Finding], check: &str| findings.iter().position(|f| f.check == check).unwrap();
        let (exposure, colour) = (at(&findings, "exposure"), at(&findings, "colour-balance"));
        findings[exposure].value = Some(-1.0);
        findings[colour].detail.insert("channel_gain_rgb".to_owned(), vec![0.9, 1.0, 1.2].into());
        let before = findings.clone();
        findings[colour].verdict = Verdict::Unsure;
        one_gain(&mut findings);
        assert_eq!(findings[colour].remedy, before[colour].remedy);
        findings[colour].verdict = Verdict::Mismatch;
        one_gain(&mut findings);
        let words = findings[colour].remedy.words();
        assert!(words.contains("by R 1.80 G 2.00 B 2.40, exposure and colour in one; colour alone: "), "{words}");
    }
}
