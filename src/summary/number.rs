//! The one number of a shot that matters.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use serde_json::Value;

use crate::findings::{CheckId, Finding, Verdict};
use crate::report::amiss::unpaired_light_words;
use crate::report::wording::{decisive_reason, tolerance_words, value_words};

/// Share of the light from which on a light without a partner is a mismatch (the rule of `highlight-direction`).
const UNPAIRED_SHARE: f64 = 0.10;

/// One measured number with its tolerance.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Number {
    /// The check that measured it.
    pub check: CheckId,
    /// The mirror, where the report names one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mirror: Option<String>,
    /// CG minus photographed, in `unit`.
    pub value: f64,
    /// One standard deviation.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub value_sd: Option<f64>,
    /// `lower` or `upper` where only a bound is known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub value_bound: Option<String>,
    /// Unit of value, standard deviation and tolerance.
    pub unit: String,
    /// The tolerance.
    pub tolerance: f64,
    /// The number and its tolerance in words, as the text report has them.
    pub words: String,
}

impl Number {
    pub(super) fn of(finding: &Finding, worst_frame: Option<u32>) -> Option<Self> {
        let at_frame = worst_frame.map(|frame| format!(", frame {frame}")).unwrap_or_default();
        if finding.verdict == Verdict::Mismatch
            && let Some((share, share_sd)) = unpaired_light(finding)
            && share / UNPAIRED_SHARE > times(finding.value.unwrap_or(0.0), finding.tolerance)
        {
            return Some(Self::of_light(
                finding,
                &format!("{}{at_frame}", unpaired_light_words(finding).unwrap_or_default()),
                share,
                share_sd,
            ));
        }
        let value = finding.value.filter(|value| value.is_finite())?;
        Some(Self {
            check: finding.check.clone(),
            mirror: finding.mirror.clone(),
            value,
            value_sd: finding.value_sd,
            value_bound: finding.value_bound.clone(),
            unit: finding.unit.clone(),
            tolerance: finding.tolerance,
            words: words(finding) + &at_frame,
        })
    }

    /// Where a light has no partner, the angle between those that have one is not what matters.
    fn of_light(finding: &Finding, words: &str, share: f64, share_sd: Option<f64>) -> Self {
        Self {
            check: finding.check.clone(),
            mirror: finding.mirror.clone(),
            value: share,
            value_sd: share_sd,
            value_bound: None,
            unit: "share".to_owned(),
            tolerance: UNPAIRED_SHARE,
            words: words.to_owned(),
        }
    }

    pub(super) fn times_tolerance(&self) -> f64 {
        times(self.value, self.tolerance)
    }
}

pub(super) fn words(finding: &Finding) -> String {
    let number = match tolerance_words(finding).as_str() {
        "-" => value_words(finding),
        tolerance => format!("{} ({tolerance})", value_words(finding)),
    };
    match decisive_reason(finding) {
        Some(reason) => format!("{number}: {reason}"),
        None => number,
    }
}

/// How far out a value is, in tolerances; 0 where there is no tolerance.
pub(super) fn times(value: f64, tolerance: f64) -> f64 {
    if value.is_finite() && tolerance > 0.0 { value.abs() / tolerance } else { 0.0 }
}

/// The share of the strongest light that one side has and the other has not, with its standard deviation.
fn unpaired_light(finding: &Finding) -> Option<(f64, Option<f64>)> {
    let lights = |key: &str| finding.detail.get(key).and_then(Value::as_array).map(Vec::as_slice).unwrap_or_default();
    let shares = lights("missing_in_cg").iter().chain(lights("extra_in_cg")).filter_map(|light| {
        let number = |key: &str| light.get(key).and_then(Value::as_f64).filter(|n| n.is_finite());
        Some((number("share")?, number("share_sd")))
    });
    shares.max_by(|a, b| a.0.total_cmp(&b.0))
}
