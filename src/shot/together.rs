//! Remedies that touch each other: two factors that an artist would else have to multiply, and what only follows from
//! something else that is wrong.

use crate::report::detail::{AFTER, LIGHTS_AMISS};
use crate::report::{Finding, Verdict};
use crate::units::Stops;

/// Checks that move when a single light is mended.
const FOLLOWS_LIGHTS: [&str; 2] = ["key-fill-ratio", "colour-balance"];

/// Where the capture is wrong and the CG only follows it, says so of what the capture mends: done twice it would be wrong again.
pub(super) fn by_the_capture(findings: &mut [Finding]) {
    let mirrors: Vec<Option<String>> = findings
        .iter()
        .filter(|f| f.check == "environment" && f.concerns == "reference" && f.verdict == Verdict::Mismatch)
        .map(|f| f.mirror.clone())
        .collect();
    for mirror in mirrors {
        let of_cg = |f: &Finding| f.concerns != "reference" && f.mirror == mirror;
        let follows = |f: &Finding| of_cg(f) && f.check == "environment" && f.verdict == Verdict::Match;
        if !findings.iter().any(follows) {
            continue;
        }
        let asks = |f: &&mut Finding| of_cg(f) && f.verdict == Verdict::Mismatch && !f.remedy.is_empty();
        for finding in findings.iter_mut().filter(asks) {
            finding.remedy += " (the CG follows the environment: mend it there, and not here besides)";
        }
    }
}

/// Where a single light is wrong, contrast and colour of all light follow from it: their own cures, done besides, would
/// mend it twice.
pub(super) fn in_order(findings: &mut [Finding]) {
    let mirrors: Vec<Option<String>> = findings.iter().map(|f| f.mirror.clone()).collect();
    for (index, mirror) in mirrors.into_iter().enumerate() {
        let off = |check: &str| {
            let asks = |f: &&Finding| f.verdict == Verdict::Mismatch && f.waived.is_none() && !f.remedy.is_empty();
            findings.iter().filter(asks).find(|f| f.check == check && f.mirror == mirror)
        };
        let check = findings[index].check.as_str();
        if findings[index].verdict != Verdict::Mismatch || !FOLLOWS_LIGHTS.contains(&check) {
            continue;
        }
        let amiss = off("highlight-direction").filter(|f| f.detail.contains_key(LIGHTS_AMISS));
        let first = amiss.or_else(|| off("light-gains")).or_else(|| off("key-fill-ratio").filter(|f| f.check != check));
        if let Some(first) = first.map(|f| f.check.clone()) {
            findings[index].detail.insert(AFTER.to_owned(), first.clone().into());
            findings[index].remedy =
                format!("mend {first} first, then check again: the light that is wrong there changes this too");
        }
    }
}

/// Where both are off, tells the one gain a channel that mends both.
pub(super) fn one_gain(findings: &mut [Finding]) {
    let off = |check: &str| findings.iter().position(|f| f.check == check && f.verdict == Verdict::Mismatch);
    let (Some(exposure), Some(colour)) = (off("exposure"), off("colour-balance")) else { return };
    let Some(stops) = findings[exposure].value else { return };
    let gains = findings[colour].detail.get("channel_gain_rgb").and_then(|g| g.as_array());
    let Some([r, g, b]) = gains.map(Vec::as_slice) else { return };
    let (Some(r), Some(g), Some(b)) = (r.as_f64(), g.as_f64(), b.as_f64()) else { return };
    let both = [r, g, b].map(|gain| gain * Stops(-stops).ratio());
    findings[colour].detail.insert("gain_rgb_with_exposure".to_owned(), both.to_vec().into());
    let words = format!("; with the exposure at once R {:.2} G {:.2} B {:.2}", both[0], both[1], both[2]);
    findings[colour].remedy.push_str(&words);
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::sample;

    #[test]
    fn what_follows_from_a_wrong_light_waits_for_it() {
        let mut findings = sample::mismatch().findings;
        let at = |findings: &[Finding], check: &str| findings.iter().position(|f| f.check == check).unwrap();
        let (key_fill, colour) = (at(&findings, "key-fill-ratio"), at(&findings, "colour-balance"));
        let direction = at(&findings, "highlight-direction");
        for finding in [key_fill, colour] {
            findings[finding].verdict = Verdict::Mismatch;
            findings[finding].remedy = "a gain of its own".to_owned();
        }
        in_order(&mut findings);
        assert_eq!(findings[key_fill].remedy, "a gain of its own");
        assert!(findings[colour].remedy.starts_with("mend key-fill-ratio first"));
        findings[direction].verdict = Verdict::Mismatch;
        findings[direction].detail.insert(LIGHTS_AMISS.to_owned(), true.into());
        in_order(&mut findings);
        for finding in [key_fill, colour] {
            assert!(findings[finding].remedy.starts_with("mend highlight-direction first"));
        }
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
        assert!(findings[colour].remedy.ends_with("; with the exposure at once R 1.80 G 2.00 B 2.40"));
    }
}
