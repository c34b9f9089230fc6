//! What is kept of one report.

use std::path::Path;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use serde_json::Value;

use super::number::{Number, times, words};
use super::quantity::Measures;
use super::{Change, VersionPoint};
use crate::findings::detail::AFTER;
use crate::findings::{CheckId, Concerns, Finding, Report, ShotVerdict, Verdict};
use crate::report::order::{own_faults, set_faults, turned_instead};
use crate::report::text::headline;
use crate::report::wording::{undecided, undecided_words};

/// One shot of a summary.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ShotLine {
    /// The shot's name.
    pub shot: String,
    /// The CG version.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub version: Option<String>,
    /// Its verdict.
    pub verdict: ShotVerdict,
    /// The one number that matters: of the finding that gives the shot its verdict.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub number: Option<Number>,
    /// Why the shot has its verdict, in one sentence.
    pub why: String,
    /// What to do about the number, where the report knows.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub remedy: Option<String>,
    /// Why the number is what it is, where the report says so.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reason: Option<String>,
    /// Mismatches that a waiver covers.
    pub waived: usize,
    /// What came from set and does not fit: the checks that say so.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub set_faults: Vec<String>,
    /// Warnings in the report.
    pub warnings: usize,
    /// Every check of the report, worst first.
    pub checks: Vec<CheckLine>,
    /// What became of it since the earlier set, where there is one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub change: Option<Change>,
    /// Version of the program that wrote the report.
    pub program_version: String,
    /// The report's file.
    pub report: String,
    /// Number of the run that made the report, as its folder's manifests tell; 0 where none does.
    #[serde(skip)]
    pub(super) run: u64,
    /// What is kept of it for a trend, where one is asked for.
    #[serde(skip)]
    pub(super) point: Option<VersionPoint>,
    /// Content hash of the report's file.
    #[serde(skip)]
    pub(super) blake3: String,
    /// Numbers in which the shots of a show may be off alike.
    #[serde(skip)]
    pub(super) measures: Measures,
}

/// One check of a shot.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CheckLine {
    /// Name of the check.
    pub check: CheckId,
    /// The mirror, where the report names one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mirror: Option<String>,
    /// What it is about: `cg` for the CG, `reference` for the material from set, which does not count against the CG.
    pub concerns: Concerns,
    /// Its verdict.
    pub verdict: Verdict,
    /// Its number and tolerance in words, or why there is none.
    pub words: String,
    /// Why, and what to do, where the report says so.
    pub advice: String,
    /// Who waived it, why and until when.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub waived: Option<String>,
}

impl ShotLine {
    /// What is kept of a report read from `path`.
    pub fn of(report: &Report, path: &Path) -> Self {
        let deciding = deciding(report);
        let all: Vec<&Finding> = report.findings.iter().collect();
        let remedy = deciding.map(|f| first_of(turned_instead(f, &all).unwrap_or(f), &all).remedy.words());
        let remedy = remedy.or_else(|| report.error.as_ref().map(|e| e.remedy.clone()));
        Self {
            shot: report.shot.clone(),
            version: report.version.clone(),
            verdict: report.verdict,
            number: deciding.and_then(|finding| Number::of(finding, report.sequence.as_ref().map(|s| s.worst_frame))),
            why: headline(report),
            remedy: remedy.filter(|remedy| !remedy.is_empty()),
            reason: deciding.map(|f| f.reason.clone()).filter(|reason| !reason.is_empty()),
            waived: report.findings.iter().filter(|f| f.waived.is_some()).count(),
            set_faults: set_faults(report).into_iter().map(|f| f.check.to_string()).collect(),
            warnings: report.warnings.len(),
            checks: report.findings.iter().map(CheckLine::of).collect(),
            change: None,
            program_version: report.tool.version.clone(),
            report: path.to_string_lossy().into_owned(),
            run: 0,
            point: None,
            blake3: String::new(),
            measures: super::quantity::measures(report),
        }
    }

    /// Makes the shot `unsure` at the least where one of these checks was not decided.
    pub fn require(&mut self, checks: &[String]) {
        let missing = undecided(checks, self.checks.iter().map(|line| (&line.check, line.verdict)));
        if self.verdict == ShotVerdict::Match && !missing.is_empty() {
            self.verdict = ShotVerdict::Unsure;
            self.number = None;
            self.why = undecided_words(&missing);
        }
    }

    /// How far out the number is, in tolerances; 0 where there is none.
    pub fn times_tolerance(&self) -> f64 {
        self.number.as_ref().map_or(0.0, Number::times_tolerance)
    }

    /// What stands beside the verdict in a table.
    pub fn number_words(&self) -> String {
        self.number.as_ref().map_or_else(|| self.why.clone(), |n| format!("{} {}", n.check, n.words))
    }

    /// What from set does not fit, in words; empty where all does.
    pub fn set_words(&self) -> String {
        if self.set_faults.is_empty() { String::new() } else { format!("on-set: {}", self.set_faults.join(", ")) }
    }
}

impl CheckLine {
    fn of(finding: &Finding) -> Self {
        Self {
            check: finding.check.clone(),
            mirror: finding.mirror.clone(),
            concerns: finding.concerns,
            verdict: finding.verdict,
            words: if finding.verdict == Verdict::NotGiven { finding.reason.clone() } else { words(finding) },
            advice: sentences(&finding.reason, &finding.remedy.words()),
            waived: finding.waived.as_ref().map(waiver_words),
        }
    }
}

/// The finding that has to be fixed before this one, or this one itself.
fn first_of<'a>(finding: &'a Finding, all: &[&'a Finding]) -> &'a Finding {
    let Some(first) = finding.detail.get(AFTER).and_then(Value::as_str) else { return finding };
    all.iter().find(|f| f.check == first && f.mirror == finding.mirror).copied().unwrap_or(finding)
}

/// Why, then what to do.
fn sentences(reason: &str, remedy: &str) -> String {
    match (reason.is_empty(), remedy.is_empty()) {
        (false, false) => format!("{reason}. To do: {remedy}"),
        _ => format!("{reason}{remedy}"),
    }
}

fn waiver_words(waiver: &Value) -> String {
    let said = |key: &str| waiver.get(key).and_then(Value::as_str).unwrap_or("?").to_owned();
    format!("waived by {} until {}: {}", said("by"), said("until"), said("why"))
}

/// The finding whose number matters: the report's own first among those that give the shot its verdict and that no
/// other one explains; where all match, the one nearest to its tolerance.
fn deciding(report: &Report) -> Option<&Finding> {
    let wanted = match report.verdict {
        ShotVerdict::Error => return None,
        ShotVerdict::Mismatch => Verdict::Mismatch,
        ShotVerdict::Unsure => Verdict::Unsure,
        ShotVerdict::Match => Verdict::Match,
    };
    let about_cg = report.findings.iter().filter(|f| f.concerns == Concerns::Cg && f.waived.is_none());
    let deciding = about_cg.filter(|f| f.verdict == wanted);
    if report.verdict != ShotVerdict::Match {
        let all: Vec<&Finding> = deciding.collect();
        return own_faults(&all).into_iter().next();
    }
    let outness = |f: &Finding| times(f.value.unwrap_or(0.0), f.tolerance);
    deciding.max_by(|a, b| outness(a).total_cmp(&outness(b)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::findings::sample;

    #[test]
    fn the_number_is_that_of_what_decides() {
        let line = ShotLine::of(&sample::mismatch(), Path::new("r.json"));
        let number = line.number.clone().unwrap();
        assert!(line.why.starts_with("the key light is 10.3 deg off"), "{}", line.why);
        assert!(line.number_words().contains(number.check.name()));
        assert_eq!(ShotLine::of(&sample::error(), Path::new("r.json")).number, None);
        assert!(!ShotLine::of(&sample::error(), Path::new("r.json")).why.is_empty());
    }

    #[test]
    fn a_missing_light_is_told_as_such() {
        let mut report = sample::mismatch();
        let lights = serde_json::json!([{ "azimuth_deg": -116.0, "share": 0.6, "share_sd": 0.01 }]);
        report.findings[0].detail.insert("missing_in_cg".to_owned(), lights);
        let line = ShotLine::of(&report, Path::new("r.json"));
        assert_eq!(
            line.number_words(),
            "highlight-direction a light is missing: 60 % of what a surface facing it receives"
        );
        assert!((line.times_tolerance() - 6.0).abs() < 1e-9);
    }

    #[test]
    fn a_waived_mismatch_does_not_decide() {
        let mut report = sample::mismatch();
        report.verdict = ShotVerdict::Match;
        for finding in report.findings.iter_mut().filter(|f| f.verdict == Verdict::Mismatch) {
            finding.waived = Some(serde_json::json!({ "by": "hk", "why": "agreed", "until": "2027-01-31" }));
        }
        let line = ShotLine::of(&report, Path::new("r.json"));
        assert!(line.waived > 0);
        let shown = line.checks.iter().find_map(|c| c.waived.clone()).unwrap();
        assert_eq!(shown, "waived by hk until 2027-01-31: agreed");
        assert!(line.number.is_none_or(|n| n.value.abs() <= n.tolerance));
    }
}
