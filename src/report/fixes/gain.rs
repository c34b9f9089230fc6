//! The one gain per channel that undoes what is off in exposure and colour, out of what the findings measured.

use crate::findings::detail::{AFTER, MEND_IN};
use crate::findings::{CheckId, Concerns, Finding, Verdict};

/// What the CG is to be multiplied by.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Correction {
    /// Exposure and colour in one, working space.
    pub(super) slope_rgb: [f64; 3],
    /// What undoes the exposure's error, stops; absent where exposure is not off.
    pub(super) exposure_stops: Option<f64>,
    /// What undoes the colour's error and leaves luminance as it is; absent where colour is not off.
    pub(super) channel_gain_rgb: Option<[f64; 3]>,
}

impl Correction {
    /// From what is to be undone: stops to be added, and a gain of each channel.
    fn of(exposure_stops: Option<f64>, channel_gain_rgb: Option<[f64; 3]>) -> Self {
        let level = exposure_stops.unwrap_or(0.0).exp2();
        let slope_rgb = channel_gain_rgb.unwrap_or([1.0; 3]).map(|gain| gain * level);
        Self { slope_rgb, exposure_stops, channel_gain_rgb }
    }

    /// What it undoes, for people.
    pub(super) fn words(&self) -> String {
        let exposure = self.exposure_stops.map(|stops| format!("exposure {stops:+.3} stops"));
        let colour = self
            .channel_gain_rgb
            .map(|[r, g, b]| format!("white balance R {r:.4} G {g:.4} B {b:.4} at equal luminance"));
        let parts: Vec<String> = exposure.into_iter().chain(colour).collect();
        format!("Undoes: {}.", parts.join(", "))
    }
}

/// A number of one finding with what it may be off by, and how far two mirrors may lie apart in it.
struct Measured<const N: usize> {
    values: [f64; N],
    sd: f64,
    tolerance: f64,
}

/// The correction, or why there is none.
pub(super) fn correction(findings: &[Finding]) -> Result<Correction, String> {
    let exposure = of_check(findings, &CheckId::Exposure, exposure_stops)?.map(|[stops]| -stops);
    let colour = of_check(findings, &CheckId::ColourBalance, channel_gain_stops)?.map(|stops| stops.map(f64::exp2));
    if exposure.is_none() && colour.is_none() {
        return Err("exposure and colour of the CG are not off".to_owned());
    }
    Ok(Correction::of(exposure, colour))
}

/// What the mirrors say together; `None` where the check finds nothing off.
fn of_check<const N: usize>(
    findings: &[Finding],
    check: &CheckId,
    read: fn(&Finding) -> Result<Measured<N>, String>,
) -> Result<Option<[f64; N]>, String> {
    let off = |f: &&Finding| {
        f.check == *check && f.concerns == Concerns::Cg && f.verdict == Verdict::Mismatch && f.waived.is_none()
    };
    let mut measured = Vec::new();
    for finding in findings.iter().filter(off) {
        if let Some(first) = finding.detail.get(AFTER).or_else(|| finding.detail.get(MEND_IN)).and_then(|v| v.as_str())
        {
            return Err(format!("{check} is corrected by fixing {first}: a gain as well would correct it twice"));
        }
        measured.push(read(finding)?);
    }
    together(check, &measured)
}

/// Mean of what the mirrors say, each weighed by its variance, where they agree.
fn together<const N: usize>(check: &CheckId, measured: &[Measured<N>]) -> Result<Option<[f64; N]>, String> {
    if measured.is_empty() {
        return Ok(None);
    }
    let weight = |m: &Measured<N>| 1.0 / m.sd.max(1e-6).powi(2);
    let total: f64 = measured.iter().map(weight).sum();
    let mut mean = [0.0; N];
    for m in measured {
        mean.iter_mut().zip(m.values).for_each(|(sum, value)| *sum += value * weight(m) / total);
    }
    let agree = |m: &Measured<N>| m.values.iter().zip(mean).all(|(value, mean)| (value - mean).abs() <= m.tolerance);
    if !measured.iter().all(agree) {
        return Err(format!("the mirror spheres disagree about {check}: no one gain mends the CG everywhere"));
    }
    Ok(Some(mean))
}

/// CG minus photographed. Where the surroundings are known they decide, as in the remedy.
fn exposure_stops(finding: &Finding) -> Result<Measured<1>, String> {
    let value = finding.value.ok_or("exposure could not be measured")?;
    let number = |key: &str| finding.detail.get(key).and_then(serde_json::Value::as_f64);
    let stops = number("surroundings_stops").unwrap_or(value);
    if (stops - value).abs() > finding.tolerance {
        return Err("lamps and surroundings are off by different amounts: no one gain mends both".to_owned());
    }
    let sd = number("surroundings_stops_sd").or(finding.value_sd).unwrap_or(finding.tolerance);
    Ok(Measured { values: [stops], sd, tolerance: finding.tolerance })
}

/// Base-2 logarithm of what each channel is to be multiplied by, luminance left as it is.
fn channel_gain_stops(finding: &Finding) -> Result<Measured<3>, String> {
    let gains = finding.detail.get("channel_gain_rgb").and_then(|gains| gains.as_array());
    let numbers: Vec<f64> = gains.into_iter().flatten().filter_map(serde_json::Value::as_f64).collect();
    let values = <[f64; 3]>::try_from(numbers).ok().filter(|gains| gains.iter().all(|g| g.is_finite() && *g > 0.0));
    let values = values.ok_or("colour-balance could not be measured")?.map(f64::log2);
    Ok(Measured { values, sd: finding.value_sd.unwrap_or(finding.tolerance), tolerance: finding.tolerance })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::findings::sample;

    fn finding(check: &str, value: f64) -> Finding {
        let mut finding = sample::mismatch().findings.into_iter().find(|f| f.check == check).unwrap();
        (finding.verdict, finding.value, finding.value_sd) = (Verdict::Mismatch, Some(value), Some(0.01));
        finding.detail.clear();
        finding.waived = None;
        finding
    }

    #[test]
    fn exposure_and_colour_become_one_slope() {
        // A stop under, and by definition 2^1 times the channels' own gains.
        let mut colour = finding("colour-balance", 0.3);
        colour.detail.insert("channel_gain_rgb".to_owned(), vec![0.9, 1.01, 1.25].into());
        let found = correction(&[finding("exposure", -1.0), colour.clone()]).unwrap();
        for (slope, expected) in found.slope_rgb.iter().zip([1.8, 2.02, 2.5]) {
            assert!((slope - expected).abs() < 1e-12);
        }
        let alone = correction(&[colour]).unwrap();
        assert_eq!((alone.exposure_stops, alone.channel_gain_rgb.map(|g| (g[2] * 100.0).round())), (None, Some(125.0)));
    }

    #[test]
    fn what_follows_from_something_else_gets_no_gain() {
        for key in [AFTER, MEND_IN] {
            let mut exposure = finding("exposure", -1.0);
            exposure.detail.insert(key.to_owned(), "environment-rotation".into());
            assert!(correction(&[exposure]).unwrap_err().contains("environment-rotation"));
        }
        let mut lamps = finding("exposure", -1.0);
        lamps.detail.insert("surroundings_stops".to_owned(), 0.0.into());
        assert!(correction(&[lamps]).unwrap_err().contains("lamps and surroundings"));
    }

    #[test]
    fn mirrors_are_weighed_where_they_agree_and_refused_where_not() {
        let tolerance = finding("exposure", 0.0).tolerance;
        let (mut a, b) = (finding("exposure", -1.0), finding("exposure", -1.0 - 0.9 * tolerance));
        a.value_sd = Some(0.02);
        // Weights 1 to 4.
        let mean = correction(&[a, b.clone()]).unwrap().exposure_stops.unwrap();
        assert!((mean - (1.0 + 0.8 * 0.9 * tolerance)).abs() < 1e-12);
        assert!(correction(&[finding("exposure", 1.0), b]).unwrap_err().contains("disagree"));
    }
}
