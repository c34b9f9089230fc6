//! The summary as data, and its schema.

use std::cmp::Reverse;
use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use serde_json::Value;

use super::{
    CheckCount, Comparison, FaultGroup, Pattern, ReportSet, ShotLine, ShotTrend, by_check, compare, fault_groups,
    patterns,
};
use crate::findings::{ErrorNote, ShotVerdict, ToolNote};
use crate::report::json::schema_of;

/// The format mark of a summary.
pub const SUMMARY_FORMAT: &str = "plateproof-summary/1";

/// Many reports at one glance.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Summary {
    /// Always `plateproof-summary/1`.
    #[schemars(extend("const" = SUMMARY_FORMAT))]
    pub format: String,
    /// Which program wrote it.
    pub tool: ToolNote,
    /// The worst verdict of all; `error` too where a report could not be read.
    pub verdict: ShotVerdict,
    /// Shots by verdict.
    pub counts: Counts,
    /// Shots by what each check says of them.
    #[serde(default)]
    pub by_check: Vec<CheckCount>,
    /// Shots with like faults.
    #[serde(default)]
    pub groups: Vec<FaultGroup>,
    /// What the shots share.
    pub patterns: Vec<Pattern>,
    /// What changed since an earlier set of reports.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub comparison: Option<Comparison>,
    /// The newest version of every shot, worst first.
    pub shots: Vec<ShotLine>,
    /// The shots over all their versions, in the same order, where asked for.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub trends: Vec<ShotTrend>,
    /// Reports of older versions, which are left out.
    pub older_reports: usize,
    /// Reports that could not be read.
    pub unusable: Vec<ErrorNote>,
    /// Things the reader should know.
    pub warnings: Vec<String>,
}

/// Shots by verdict.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Counts {
    /// Shots that could not be done.
    pub error: usize,
    /// Shots with something off.
    pub mismatch: usize,
    /// Shots with something undecided.
    pub unsure: usize,
    /// Shots that match.
    #[serde(rename = "match")]
    pub matching: usize,
    /// Mismatches that a waiver covers, over all shots.
    pub waived_findings: usize,
}

impl Summary {
    /// Sums up `now`; `earlier` is an older set to hold it against, with the words that name it. What is missing or
    /// cannot be read there is a warning, unless nothing can.
    pub fn new(now: ReportSet, earlier: Option<(ReportSet, &str)>) -> Self {
        let ReportSet { lines: mut shots, older, mut trends, mut unusable, mut warnings } = now;
        let comparison = earlier.map(|(earlier, against)| {
            if earlier.lines.is_empty() {
                unusable.extend(earlier.unusable);
            } else {
                warnings.extend(earlier.unusable.iter().map(|error| format!("{against}: {error}")));
            }
            warnings.extend(earlier.warnings);
            compare(&mut shots, &earlier.lines, against)
        });
        shots.sort_by(worst_first);
        let places: BTreeMap<&str, usize> = shots.iter().enumerate().map(|(i, line)| (line.shot.as_str(), i)).collect();
        trends.sort_by_key(|trend| places.get(trend.shot.as_str()).copied());
        let worst = shots.first().map_or(ShotVerdict::Error, |line| line.verdict);
        Self {
            format: SUMMARY_FORMAT.to_owned(),
            tool: ToolNote::current(),
            verdict: if unusable.is_empty() { worst } else { ShotVerdict::Error },
            counts: Counts::of(&shots),
            by_check: by_check(&shots),
            groups: fault_groups(&shots),
            patterns: patterns(&shots),
            comparison,
            shots,
            trends,
            older_reports: older,
            unusable: unusable.iter().map(ErrorNote::from).collect(),
            warnings,
        }
    }
}

/// Verdict, then how far out, then name.
fn worst_first(a: &ShotLine, b: &ShotLine) -> std::cmp::Ordering {
    let verdict = Reverse(a.verdict).cmp(&Reverse(b.verdict));
    verdict.then_with(|| b.times_tolerance().total_cmp(&a.times_tolerance())).then_with(|| a.shot.cmp(&b.shot))
}

impl Counts {
    fn of(shots: &[ShotLine]) -> Self {
        let count = |verdict| shots.iter().filter(|line| line.verdict == verdict).count();
        Self {
            error: count(ShotVerdict::Error),
            mismatch: count(ShotVerdict::Mismatch),
            unsure: count(ShotVerdict::Unsure),
            matching: count(ShotVerdict::Match),
            waived_findings: shots.iter().map(|line| line.waived).sum(),
        }
    }
}

/// JSON Schema (draft 2020-12) of a summary.
pub fn summary_schema() -> Value {
    let mut schema = schema_of::<Summary>();
    schema.insert("title".to_owned(), "Summary of many reports, plateproof-summary/1".into());
    schema.to_value()
}

#[cfg(test)]
pub(super) mod tests {
    use std::path::Path;

    use super::*;
    use crate::findings::{Report, sample};
    use crate::report::json::to_json_of;

    pub(in crate::summary) fn named(mut report: Report, shot: &str) -> ShotLine {
        report.shot = shot.to_owned();
        ShotLine::of(&report, Path::new("reports/x.report.json"))
    }

    /// Every verdict, an earlier set, an unreadable report.
    pub(in crate::summary) fn full() -> Summary {
        let lines = vec![
            named(sample::all_match(), "SF_0010"),
            named(sample::unsure(), "SF_0020"),
            named(sample::mismatch(), "=SF_0030"),
            named(sample::error(), "SF_<0040>\u{1b}"),
        ];
        let unusable = vec![crate::Error::io("x.report.json", &std::io::ErrorKind::NotFound.into())];
        let now =
            ReportSet { lines, older: 2, unusable, warnings: vec!["a, \"b\"".to_owned()], ..ReportSet::default() };
        let earlier = vec![named(sample::mismatch(), "SF_0010"), named(sample::unsure(), "SF_0009")];
        Summary::new(now, Some((ReportSet { lines: earlier, ..ReportSet::default() }, "monday")))
    }

    #[test]
    fn worst_comes_first_and_counts_add_up() {
        let summary = full();
        let order: Vec<ShotVerdict> = summary.shots.iter().map(|line| line.verdict).collect();
        assert_eq!(order, [ShotVerdict::Error, ShotVerdict::Mismatch, ShotVerdict::Unsure, ShotVerdict::Match]);
        let Counts { error, mismatch, unsure, matching, .. } = summary.counts;
        assert_eq!([error, mismatch, unsure, matching], [1; 4]);
        assert_eq!(summary.verdict, ShotVerdict::Error);
    }

    #[test]
    fn it_validates_against_its_schema() {
        let validator = jsonschema::draft202012::new(&summary_schema()).unwrap();
        for summary in [full(), Summary::new(ReportSet::default(), None)] {
            let value: Value = serde_json::from_str(&to_json_of(&summary)).unwrap();
            let errors: Vec<String> =
                validator.iter_errors(&value).map(|e| format!("{}: {e}", e.instance_path())).collect();
            assert!(errors.is_empty(), "{errors:?}");
        }
    }
}
