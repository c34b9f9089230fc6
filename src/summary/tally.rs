//! Shots counted by check, and those with like faults put together.

use std::cmp::Reverse;
use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::ShotLine;
use crate::findings::{CheckId, Concerns, ShotVerdict, Verdict};

/// What one check says of all shots; of several spheres of a shot the worst counts.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct CheckCount {
    /// Name of the check.
    pub check: CheckId,
    /// Shots in which it found something off with the CG that nobody waived.
    pub mismatch: usize,
    /// Shots in which it found something off that came from set.
    pub set_problem: usize,
    /// Shots in which that is waived.
    pub waived: usize,
    /// Shots in which it could not decide.
    pub unsure: usize,
    /// Shots in which it found nothing.
    #[serde(rename = "match")]
    pub matching: usize,
    /// Shots for which its input was not given.
    pub not_given: usize,
}

impl CheckCount {
    fn none(check: CheckId) -> Self {
        Self { check, mismatch: 0, set_problem: 0, waived: 0, unsure: 0, matching: 0, not_given: 0 }
    }
}

/// Every check that some shot was put to, those with most mismatches first.
pub fn by_check(shots: &[ShotLine]) -> Vec<CheckCount> {
    let mut counts: BTreeMap<&CheckId, CheckCount> = BTreeMap::new();
    for shot in shots {
        let mut worst: BTreeMap<&CheckId, (Verdict, bool, bool)> = BTreeMap::new();
        for line in &shot.checks {
            // Of a waived mismatch and a set problem the latter is still there.
            let said = (line.verdict, line.waived.is_none(), line.concerns == Concerns::Cg);
            let known = worst.entry(&line.check).or_insert(said);
            *known = (*known).max(said);
        }
        for (check, said) in worst {
            let count = counts.entry(check).or_insert_with(|| CheckCount::none(check.clone()));
            *match said {
                (Verdict::Mismatch, true, true) => &mut count.mismatch,
                (Verdict::Mismatch, true, false) => &mut count.set_problem,
                (Verdict::Mismatch, false, _) => &mut count.waived,
                (Verdict::Unsure, ..) => &mut count.unsure,
                (Verdict::Match, ..) => &mut count.matching,
                (Verdict::NotGiven, ..) => &mut count.not_given,
            } += 1;
        }
    }
    let mut counts: Vec<CheckCount> = counts.into_values().collect();
    counts.sort_by_key(|count| Reverse((count.mismatch, count.set_problem, count.unsure)));
    counts
}

/// Shots of one verdict whose number that matters is of one check and on one side.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct FaultGroup {
    /// Their verdict.
    pub verdict: ShotVerdict,
    /// The check that gives it.
    pub check: CheckId,
    /// `positive` or `negative`: on which side of the plate's the CG's numbers are; absent where they have no side.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub side: Option<String>,
    /// The shots, worst first.
    pub shots: Vec<String>,
}

/// What puts shots together.
type Fault<'a> = (ShotVerdict, &'a CheckId, Option<&'static str>);

/// What is off with a shot, or in doubt; `None` where it matches or could not be done.
fn fault(line: &ShotLine) -> Option<Fault<'_>> {
    if !matches!(line.verdict, ShotVerdict::Mismatch | ShotVerdict::Unsure) {
        return None;
    }
    let number = line.number.as_ref()?;
    // Angles and shares have no side, nor has a number that may be on either.
    let sided =
        !matches!(number.unit.as_str(), "deg" | "share" | "tolerances") && line.verdict == ShotVerdict::Mismatch;
    let side = sided.then_some(if number.value < 0.0 { "negative" } else { "positive" });
    Some((line.verdict, &number.check, side))
}

/// The groups of at least two shots with like faults: the worse verdict first, then the larger group. `shots` come
/// worst first.
pub fn fault_groups(shots: &[ShotLine]) -> Vec<FaultGroup> {
    let mut groups: Vec<FaultGroup> = Vec::new();
    for line in shots {
        let Some((verdict, check, side)) = fault(line) else { continue };
        let is_same = |g: &&mut FaultGroup| g.verdict == verdict && g.check == *check && g.side.as_deref() == side;
        match groups.iter_mut().find(is_same) {
            Some(group) => group.shots.push(line.shot.clone()),
            None => groups.push(FaultGroup {
                verdict,
                check: check.clone(),
                side: side.map(str::to_owned),
                shots: vec![line.shot.clone()],
            }),
        }
    }
    groups.retain(|group| group.shots.len() > 1);
    groups.sort_by_key(|group| Reverse((group.verdict, group.shots.len())));
    groups
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::*;
    use crate::findings::sample;

    /// A shot that is off by `value` of the check `check`.
    fn line(shot: &str, check: &str, value: f64) -> ShotLine {
        let mut report = sample::mismatch();
        report.shot = shot.to_owned();
        let mut line = ShotLine::of(&report, Path::new("r"));
        let number = line.number.as_mut().unwrap();
        (number.check, number.value, number.unit) = (check.into(), value, "stops".to_owned());
        line
    }

    #[test]
    fn shots_off_alike_stand_together_the_larger_group_first() {
        let shots = [
            line("a", "exposure", 2.0),
            line("b", "key-fill-ratio", 1.0),
            line("c", "exposure", -0.5),
            line("d", "key-fill-ratio", 0.9),
            line("e", "exposure", 0.5),
            line("f", "key-fill-ratio", 0.8),
        ];
        let groups = fault_groups(&shots);
        let seen: Vec<(&str, Option<&str>, String)> =
            groups.iter().map(|g| (g.check.name(), g.side.as_deref(), g.shots.concat())).collect();
        let positive = Some("positive");
        assert_eq!(seen, [("key-fill-ratio", positive, "bdf".to_owned()), ("exposure", positive, "ae".to_owned())]);
    }

    #[test]
    fn a_check_counts_once_a_shot_by_its_worst() {
        let mut shot = line("a", "exposure", 1.0);
        let mut waived = shot.checks[0].clone();
        (waived.verdict, waived.waived) = (Verdict::Mismatch, Some("waived".to_owned()));
        let mut unsure = shot.checks[0].clone();
        unsure.verdict = Verdict::Unsure;
        shot.checks = vec![unsure.clone(), waived.clone()];
        let mut second = shot.clone();
        second.checks = vec![unsure];
        let counts = by_check(&[shot.clone(), second]);
        assert_eq!(counts.len(), 1);
        assert_eq!((counts[0].waived, counts[0].unsure, counts[0].mismatch), (1, 1, 0));
        let mut of_set = waived;
        (of_set.concerns, of_set.waived) = (Concerns::Reference, None);
        shot.checks.push(of_set);
        assert_eq!((by_check(&[shot])[0].set_problem, counts[0].set_problem), (1, 0));
    }
}
