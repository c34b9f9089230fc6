//! What the shots of a show share. When most shots are off alike, the cause is what they have in common.
//!
//! Robust throughout: the largest group of shots within a narrow window counts, and its median and spread
//! (from the median absolute deviation).
//! Something is said only where the group holds at least 60 % of the shots and its value stands clear of zero.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::ShotLine;
use super::quantity::{Measure, QUANTITIES, Quantity};
use crate::base::statistics::{SD_PER_MEDIAN_DEVIATION, median_of_few};
use crate::findings::Verdict;
use crate::findings::numbers::fixed;

/// Fewer shots than this show no pattern.
const FEWEST_SHOTS: usize = 4;

/// The group has to hold at least this fraction of the shots (common practice, no source).
const SHARED_FRACTION: f64 = 0.6;

/// Half-width of the window in tolerances: shots that differ by less are off alike for any practical purpose.
const WINDOW_TOLERANCES: f64 = 0.3;

/// A shared error under this many tolerances is nothing to act on.
const WORTH_SAYING_TOLERANCES: f64 = 0.4;

/// Something that the shots of a show share.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Pattern {
    /// What is shared, such as `exposure`.
    pub quantity: String,
    /// Shots that share it.
    pub shots_sharing: usize,
    /// Shots in which it could be known.
    pub shots_measured: usize,
    /// Their median; CG minus photographed. Absent where it is counted and not measured.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub median: Option<f64>,
    /// Their spread, one standard deviation.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub median_spread: Option<f64>,
    /// Unit of both.
    pub unit: String,
    /// The pattern and what to suspect, in one sentence.
    pub sentence: String,
}

/// Everything that the shots share, in the order of the checks.
pub fn patterns(lines: &[ShotLine]) -> Vec<Pattern> {
    let measured = QUANTITIES.iter().enumerate().filter_map(|(index, quantity)| {
        let measures = lines.iter().flat_map(|line| &line.measures.0).filter(|m| m.quantity == index);
        let shared = Shared::of(&measures.copied().collect::<Vec<_>>())?;
        Some(shared.pattern(quantity))
    });
    measured.chain(uncertainties(lines)).collect()
}

/// The largest group of shots that are off alike.
struct Shared {
    count: usize,
    of: usize,
    median: f64,
    spread: f64,
}

impl Shared {
    fn of(measures: &[Measure]) -> Option<Self> {
        if measures.len() < FEWEST_SHOTS {
            return None;
        }
        let tolerance = median_of_few(measures.iter().map(|m| m.tolerance))?;
        let sd = median_of_few(measures.iter().map(|m| m.sd))?;
        let half = (WINDOW_TOLERANCES * tolerance).max(2.0 * sd);
        let mut values: Vec<f64> = measures.iter().map(|m| m.value).collect();
        values.sort_by(f64::total_cmp);
        let group = densest(&values, 2.0 * half);
        let centre = median_of_few(group.iter().copied())?;
        let spread = SD_PER_MEDIAN_DEVIATION * median_of_few(group.iter().map(|value| (value - centre).abs()))?;
        let enough = group.len() as f64 >= SHARED_FRACTION * values.len() as f64;
        let clear = centre.abs() > half.max(WORTH_SAYING_TOLERANCES * tolerance);
        (enough && clear).then_some(Self { count: group.len(), of: values.len(), median: centre, spread })
    }

    fn pattern(&self, quantity: &Quantity) -> Pattern {
        let side = quantity.sides[usize::from(self.median > 0.0)];
        let number = fixed(self.median.abs(), quantity.decimals, false);
        let sentence = format!(
            "{} of {} shots are {number} {} {side}: suspect {}",
            self.count, self.of, quantity.unit, quantity.suspect
        );
        Pattern {
            quantity: quantity.name.to_owned(),
            shots_sharing: self.count,
            shots_measured: self.of,
            median: Some(self.median),
            median_spread: Some(self.spread),
            unit: quantity.unit.to_owned(),
            sentence,
        }
    }
}

/// The longest run of sorted values within `width`; of equally long ones the narrowest.
fn densest(sorted: &[f64], width: f64) -> &[f64] {
    let mut best = 0..0;
    let extent = |run: &std::ops::Range<usize>| sorted[run.end - 1] - sorted[run.start];
    let mut start = 0;
    for end in 1..=sorted.len() {
        while sorted[end - 1] - sorted[start] > width {
            start += 1;
        }
        let run = start..end;
        if run.len() > best.len() || (run.len() == best.len() && extent(&run) < extent(&best)) {
            best = run;
        }
    }
    &sorted[best]
}

/// Checks that most shots leave undecided: what is missing is missing for all.
fn uncertainties(lines: &[ShotLine]) -> impl Iterator<Item = Pattern> {
    let mut checks: Vec<&str> = lines.iter().flat_map(|l| &l.checks).map(|c| c.check.name()).collect();
    checks.sort_unstable();
    checks.dedup();
    checks.into_iter().filter_map(|check| {
        let has = |line: &&ShotLine, verdicts: &[Verdict]| {
            line.checks.iter().any(|c| c.check == check && verdicts.contains(&c.verdict))
        };
        let decidable = [Verdict::Unsure, Verdict::Match, Verdict::Mismatch];
        let of = lines.iter().filter(|line| has(line, &decidable)).count();
        let count = lines.iter().filter(|line| has(line, &[Verdict::Unsure])).count();
        let shared = of >= FEWEST_SHOTS && count as f64 >= SHARED_FRACTION * of as f64;
        shared.then(|| Pattern {
            quantity: format!("{check}-unsure"),
            shots_sharing: count,
            shots_measured: of,
            median: None,
            median_spread: None,
            unit: "shots".to_owned(),
            sentence: format!(
                "{count} of {of} shots are unsure about {check}: suspect how the sphere is shot or noted on set; \
                 the reports say what is missing"
            ),
        })
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn measures(values: &[f64], sd: f64) -> Vec<Measure> {
        values.iter().map(|value| Measure { quantity: 0, value: *value, sd, tolerance: 0.25 }).collect()
    }

    #[test]
    fn most_shots_under_alike_is_said_with_its_figures() {
        let mut values = vec![-0.20, -0.21, -0.19, -0.2, -0.22, -0.18, -0.2, -0.2, -0.21, -0.19, -0.2];
        values.extend([0.4, 0.0, -1.3]);
        let pattern = Shared::of(&measures(&values, 0.01)).unwrap().pattern(&QUANTITIES[0]);
        assert_eq!((pattern.shots_sharing, pattern.shots_measured), (11, 14));
        assert_eq!(
            pattern.sentence,
            "11 of 14 shots are 0.20 stops too dark: suspect the grade or exposure of the environment, not the shots"
        );
        // Median absolute deviation of the eleven is 0.01.
        assert!((pattern.median_spread.unwrap() - 0.014826).abs() < 1e-9);
    }

    #[test]
    fn what_is_not_shared_is_not_said() {
        for (why, values, sd) in [
            ("half of the shots", vec![-0.2, -0.2, -0.2, 0.3, 0.0, 0.6], 0.01),
            ("off, but each in its own way", vec![-0.2, -0.5, -0.8, -1.1, -1.4], 0.01),
            ("all good", vec![0.01, -0.02, 0.0, 0.02, 0.01], 0.01),
            ("alike, but within doubt", vec![-0.2, -0.2, -0.2, -0.2, -0.2], 0.2),
            ("too few shots", vec![-0.2, -0.2, -0.2], 0.01),
            ("too little to act on", vec![0.09, 0.09, 0.09, 0.09, 0.09], 0.001),
        ] {
            assert!(Shared::of(&measures(&values, sd)).is_none(), "{why}");
        }
    }

    #[test]
    fn the_densest_run_is_the_longest_then_the_narrowest() {
        assert_eq!(densest(&[0.0, 1.0, 1.1, 1.2, 5.0], 0.5), [1.0, 1.1, 1.2]);
        assert_eq!(densest(&[0.0, 0.4, 1.0, 1.1], 0.5), [1.0, 1.1]);
        assert_eq!(densest(&[], 0.5), [0.0; 0]);
    }

    #[test]
    fn quantities_name_known_checks() {
        for quantity in &QUANTITIES {
            assert!(crate::check::docs().any(|doc| doc.check == quantity.check), "{}", quantity.name);
        }
    }
}
