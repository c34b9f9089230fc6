//! Exposure and colour mended at once: two factors that an artist would else have to multiply.

use crate::report::{Finding, Verdict};
use crate::units::Stops;

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
