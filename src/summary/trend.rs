//! Shots over all their versions.

use std::cmp::Ordering;
use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{Number, compare_versions};
use crate::findings::{CheckId, Concerns, Report, ShotVerdict, Verdict};
use crate::report::text::headline;

/// One shot over all its versions.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ShotTrend {
    /// The shot's name.
    pub shot: String,
    /// Its versions, oldest first.
    pub versions: Vec<VersionPoint>,
}

/// What is kept of one version.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct VersionPoint {
    /// The CG version.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub version: Option<String>,
    /// Its verdict.
    pub verdict: ShotVerdict,
    /// The one number that mattered.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub number: Option<Number>,
    /// Why it had its verdict, where there is no such number.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub why: Option<String>,
    /// What every check of the CG measured.
    pub checks: Vec<TrendCheck>,
}

/// What one check measured of one version.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct TrendCheck {
    /// Name of the check.
    pub check: CheckId,
    /// The mirror, where the report names one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mirror: Option<String>,
    /// Its verdict.
    pub verdict: Verdict,
    /// The mismatch is waived.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub waived: bool,
    /// CG minus photographed, in `unit`; absent where nothing was measured.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub value: Option<f64>,
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
}

impl VersionPoint {
    /// What is kept of a report whose one number that matters is `number`.
    pub(super) fn of(report: &Report, number: Option<&Number>) -> Self {
        let of_cg = report.findings.iter().filter(|finding| finding.concerns == Concerns::Cg);
        let checks = of_cg.map(|finding| TrendCheck {
            check: finding.check.clone(),
            mirror: finding.mirror.clone(),
            verdict: finding.verdict,
            waived: finding.waived.is_some(),
            value: finding.value.filter(|value| value.is_finite()),
            value_sd: finding.value_sd.filter(|sd| sd.is_finite()),
            value_bound: finding.value_bound.clone(),
            unit: finding.unit.clone(),
            tolerance: finding.tolerance,
        });
        Self {
            version: report.version.clone(),
            verdict: report.verdict,
            number: number.cloned(),
            why: number.is_none().then(|| headline(report)),
            checks: checks.collect(),
        }
    }

    /// The order of versions; a shot that could not be done and whose version nobody knows comes last.
    fn order(&self, other: &Self) -> Ordering {
        let failed = |point: &Self| point.verdict == ShotVerdict::Error && point.version.is_none();
        let versions = || compare_versions(self.version.as_deref(), other.version.as_deref());
        failed(self).cmp(&failed(other)).then_with(versions).then_with(|| self.verdict.cmp(&other.verdict))
    }
}

impl ShotTrend {
    /// The first of the versions that all have the newest one's verdict, where an older one had another.
    pub fn since(&self) -> Option<&VersionPoint> {
        let now = self.versions.last()?.verdict;
        let changed = self.versions.iter().rposition(|point| point.verdict != now)?;
        self.versions.get(changed + 1)
    }
}

/// Every version of every shot once, oldest first; of two reports of one version the worse counts.
pub(super) fn in_order(points: BTreeMap<String, Vec<VersionPoint>>) -> Vec<ShotTrend> {
    let trend = |(shot, mut versions): (String, Vec<VersionPoint>)| {
        versions.sort_by(VersionPoint::order);
        versions.reverse();
        versions.dedup_by(|a, b| a.version == b.version);
        versions.reverse();
        ShotTrend { shot, versions }
    };
    points.into_iter().map(trend).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::findings::sample;

    fn point(version: Option<&str>, verdict: ShotVerdict) -> VersionPoint {
        let mut report = sample::mismatch();
        (report.version, report.verdict) = (version.map(str::to_owned), verdict);
        VersionPoint::of(&report, None)
    }

    #[test]
    fn versions_stand_in_their_order_and_once() {
        use ShotVerdict::{Error, Match, Mismatch, Unsure};
        let points = vec![
            point(None, Error),
            point(Some("v10"), Match),
            point(Some("v9"), Match),
            point(Some("v9"), Unsure),
            point(Some("v8"), Mismatch),
        ];
        let mut trends = in_order(BTreeMap::from([("SF_0010".to_owned(), points)]));
        let seen: Vec<(Option<&str>, ShotVerdict)> =
            trends[0].versions.iter().map(|p| (p.version.as_deref(), p.verdict)).collect();
        assert_eq!(seen, [(Some("v8"), Mismatch), (Some("v9"), Unsure), (Some("v10"), Match), (None, Error)]);
        trends[0].versions.pop();
        assert_eq!(trends[0].since().unwrap().version.as_deref(), Some("v10"));
        trends[0].versions.drain(..2);
        assert_eq!(trends[0].since(), None, "it was never otherwise");
    }
}
