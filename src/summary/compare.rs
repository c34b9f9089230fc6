//! What changed since an earlier set of reports.

use std::cmp::Ordering;
use std::collections::{BTreeMap, BTreeSet};

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::ShotLine;
use super::change::{Change, ChangeKind};
use crate::findings::ShotVerdict;

/// A shot of the earlier set that is no longer in this one.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Gone {
    /// The shot's name.
    pub shot: String,
    /// Its version then.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub version: Option<String>,
    /// Its verdict then.
    pub verdict: ShotVerdict,
}

/// The whole comparison; each shot's own is in its [`ShotLine::change`].
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Comparison {
    /// Where the earlier reports are.
    pub against: String,
    /// Shots that match now and did not.
    pub cured: usize,
    /// Shots that match now because more of their mismatches are waived.
    #[serde(default)]
    pub waived: usize,
    /// Shots that are nearer and do not match yet.
    pub better: usize,
    /// Shots that are as they were.
    pub same: usize,
    /// Shots that are worse.
    pub worse: usize,
    /// Shots that the earlier set did not have.
    pub first_seen: usize,
    /// Shots of the earlier set that are no longer in this one.
    pub gone: Vec<Gone>,
}

/// Holds `now` against `earlier` and notes in each line what became of it. Both hold each shot once.
pub fn compare(now: &mut [ShotLine], earlier: &[ShotLine], against: &str) -> Comparison {
    let mut comparison = Comparison { against: against.to_owned(), ..Comparison::default() };
    let by_name: BTreeMap<&str, &ShotLine> = earlier.iter().map(|line| (line.shot.as_str(), line)).collect();
    for line in now.iter_mut() {
        let change = change_of(line, by_name.get(line.shot.as_str()).copied());
        *comparison.count(change.kind) += 1;
        line.change = Some(change);
    }
    let here: BTreeSet<&str> = now.iter().map(|line| line.shot.as_str()).collect();
    let gone = by_name.into_iter().filter(|(shot, _)| !here.contains(shot)).map(|(_, line)| line);
    comparison.gone = gone
        .map(|line| Gone { shot: line.shot.clone(), version: line.version.clone(), verdict: line.verdict })
        .collect();
    comparison
}

impl Comparison {
    fn count(&mut self, kind: ChangeKind) -> &mut usize {
        match kind {
            ChangeKind::Worse => &mut self.worse,
            ChangeKind::FirstSeen => &mut self.first_seen,
            ChangeKind::Same => &mut self.same,
            ChangeKind::Better => &mut self.better,
            ChangeKind::Waived => &mut self.waived,
            ChangeKind::Cured => &mut self.cured,
        }
    }
}

fn change_of(now: &ShotLine, then: Option<&ShotLine>) -> Change {
    let Some(then) = then else {
        return Change {
            kind: ChangeKind::FirstSeen,
            earlier_version: None,
            earlier_verdict: None,
            earlier_words: None,
        };
    };
    Change {
        kind: kind_of(now, then),
        earlier_version: then.version.clone(),
        earlier_verdict: Some(then.verdict),
        earlier_words: then.number.as_ref().map(|_| then.number_words()),
    }
}

fn kind_of(now: &ShotLine, then: &ShotLine) -> ChangeKind {
    match now.verdict.cmp(&then.verdict) {
        Ordering::Greater => ChangeKind::Worse,
        Ordering::Equal => within_verdict(now, then),
        Ordering::Less if now.verdict != ShotVerdict::Match => ChangeKind::Better,
        Ordering::Less if now.waived > then.waived => ChangeKind::Waived,
        Ordering::Less => ChangeKind::Cured,
    }
}

/// A number has moved where it differs by more than this many standard deviations of both values together (common
/// practice, no source).
const BEYOND_DOUBT_SD: f64 = 2.0;

/// For shots that match neither then nor now: whether the number that matters moved significantly outwards or
/// inwards. Numbers of different checks, and bounds, are not compared; one match is as good as another.
fn within_verdict(now: &ShotLine, then: &ShotLine) -> ChangeKind {
    let (Some(a), Some(b)) = (&now.number, &then.number) else { return ChangeKind::Same };
    let same = (&a.check, &a.mirror, &a.unit) == (&b.check, &b.mirror, &b.unit);
    let bounds = a.value_bound.is_some() || b.value_bound.is_some();
    let (Some(sd_now), Some(sd_then), true) = (a.value_sd, b.value_sd, same && !bounds) else {
        return ChangeKind::Same;
    };
    let uncertainty = BEYOND_DOUBT_SD * sd_now.hypot(sd_then);
    match a.value.abs() - b.value.abs() {
        _ if now.verdict == ShotVerdict::Match => ChangeKind::Same,
        further if further > uncertainty => ChangeKind::Worse,
        further if further < -uncertainty => ChangeKind::Better,
        _ => ChangeKind::Same,
    }
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::*;
    use crate::findings::{CheckId, sample};

    fn line(shot: &str, verdict: ShotVerdict) -> ShotLine {
        let mut report = sample::mismatch();
        (report.shot, report.verdict) = (shot.to_owned(), verdict);
        ShotLine::of(&report, Path::new("r"))
    }

    #[test]
    fn within_a_verdict_the_number_tells() {
        let with = |value: f64, verdict| {
            let mut line = line("a", verdict);
            let number = line.number.as_mut().unwrap();
            (number.value, number.value_sd) = (value, Some(0.1));
            line
        };
        let kind = |now: f64, then: f64| kind_of(&with(now, ShotVerdict::Mismatch), &with(then, ShotVerdict::Mismatch));
        assert_eq!(kind(12.0, 10.0), ChangeKind::Worse);
        assert_eq!(kind(-12.0, 10.0), ChangeKind::Worse, "to the other side");
        assert_eq!(kind(8.0, 10.0), ChangeKind::Better);
        assert_eq!(kind(10.2, 10.0), ChangeKind::Same, "within twice the sd of both");
        let mut other = with(2.0, ShotVerdict::Mismatch);
        other.number.as_mut().unwrap().check = CheckId::Exposure;
        assert_eq!(kind_of(&other, &with(10.0, ShotVerdict::Mismatch)), ChangeKind::Same, "another check");
    }

    #[test]
    fn every_kind_of_change_is_told() {
        use ShotVerdict::{Error, Match, Mismatch, Unsure};
        let earlier: Vec<ShotLine> = [("a", Mismatch), ("b", Match), ("c", Unsure), ("d", Error), ("gone", Match)]
            .map(|(shot, verdict)| line(shot, verdict))
            .to_vec();
        let mut now: Vec<ShotLine> = [("a", Match), ("b", Unsure), ("c", Unsure), ("d", Mismatch), ("new", Match)]
            .map(|(shot, verdict)| line(shot, verdict))
            .to_vec();
        let comparison = compare(&mut now, &earlier, "monday");
        let kinds: Vec<&str> = now.iter().map(|l| l.change.as_ref().unwrap().kind.word()).collect();
        assert_eq!(kinds, ["cured", "worse", "same", "better", "first seen"]);
        assert_eq!(comparison.gone.iter().map(|g| g.shot.as_str()).collect::<Vec<_>>(), ["gone"]);
        let counted = [comparison.cured, comparison.worse, comparison.same, comparison.better, comparison.first_seen];
        assert_eq!(counted, [1; 5]);
        assert_eq!(now[0].change.as_ref().unwrap().earlier_version, earlier[0].version);
        now[0].waived += 1;
        assert_eq!(
            (compare(&mut now, &earlier, "monday").waived, now[0].change.as_ref().unwrap().kind.word()),
            (1, "waived")
        );
    }
}
