//! What the shots of a show share. When most shots are off alike, the cause is what they have in common.
//!
//! Robust throughout: the largest group of shots within a narrow window counts, and its median and spread (1.4826 ×
//! median absolute deviation, the standard deviation of a normal distribution; Rousseeuw and Croux 1993, from memory).
//! Something is said only where the group holds at least 60 % of the shots and its value stands clear of zero.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use serde_json::Value;

use super::ShotLine;
use super::line::{Measure, Measures};
use crate::findings::numbers::fixed;
use crate::findings::{Finding, Report, ShotVerdict, Verdict};

/// Fewer shots than this show no pattern.
const FEWEST_SHOTS: usize = 4;

/// The group has to hold at least this fraction of the shots (common practice, no source).
const SHARED_FRACTION: f64 = 0.6;

/// Half-width of the window in tolerances: shots that differ by less are off alike for any practical purpose.
const WINDOW_TOLERANCES: f64 = 0.3;

/// A shared error under this many tolerances is nothing to act on.
const WORTH_SAYING_TOLERANCES: f64 = 0.4;

/// Standard deviation of a normal distribution over its median absolute deviation.
const MAD_TO_SD: f64 = 1.4826;

/// Something that the shots of a show share.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Pattern {
    /// What is shared, such as `exposure`.
    pub quantity: String,
    /// Shots that share it.
    pub shots_sharing: usize,
    /// Shots in which it could be known.
    pub shots_measured: usize,
    /// Their median; CG minus plate side. Absent where it is counted and not measured.
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

/// A signed number that the shots of a show may share.
struct Quantity {
    name: &'static str,
    check: &'static str,
    unit: &'static str,
    decimals: usize,
    /// Words after the number where it is negative, and where it is positive.
    sides: [&'static str; 2],
    suspect: &'static str,
    /// Value, standard deviation and tolerance.
    read: fn(&Finding) -> Option<[f64; 3]>,
}

const QUANTITIES: [Quantity; 7] = [
    Quantity {
        name: "exposure",
        check: "exposure",
        unit: "stop",
        decimals: 2,
        sides: ["under", "over"],
        suspect: "the grade or exposure of the environment, not the shots",
        read: own_value,
    },
    Quantity {
        name: "key-fill-ratio",
        check: "key-fill-ratio",
        unit: "stop",
        decimals: 2,
        sides: ["too flat", "too contrasty"],
        suspect: "the environment: a key that clipped when it was shot, or a fill that every shot shares",
        read: own_value,
    },
    Quantity {
        name: "colour-warmth",
        check: "colour-balance",
        unit: "mired",
        decimals: 0,
        sides: ["too cool", "too warm"],
        suspect: "the white balance of the environment, not the shots",
        read: warmth,
    },
    Quantity {
        name: "colour-green",
        check: "colour-balance",
        unit: "stop",
        decimals: 2,
        sides: ["too magenta", "too green"],
        suspect: "the colour space or the grade of the environment, not the shots",
        read: greenness,
    },
    Quantity {
        name: "key-azimuth",
        check: "highlight-direction",
        unit: "deg",
        decimals: 1,
        sides: ["turned clockwise (seen from above)", "turned counter-clockwise (seen from above)"],
        suspect: "the heading of the environment",
        read: |finding| of_detail(finding, "azimuth_error_deg", finding.tolerance),
    },
    Quantity {
        name: "key-elevation",
        check: "highlight-direction",
        unit: "deg",
        decimals: 1,
        sides: ["too low in their key", "too high in their key"],
        suspect: "the tilt or the horizon of the environment",
        read: |finding| of_detail(finding, "elevation_error_deg", finding.tolerance),
    },
    Quantity {
        name: "reference-drift",
        check: "reference-drift",
        unit: "stop",
        decimals: 2,
        sides: ["darker in the sphere frame than in the plate", "brighter in the sphere frame than in the plate"],
        suspect: "how sphere frames are exposed or noted on set; the CG is not at fault",
        read: own_value,
    },
];

fn own_value(finding: &Finding) -> Option<[f64; 3]> {
    usable(finding.value?, finding.value_sd.unwrap_or(0.0), finding.tolerance)
}

fn of_detail(finding: &Finding, key: &str, tolerance: f64) -> Option<[f64; 3]> {
    let number = |key: &str| finding.detail.get(key).and_then(Value::as_f64);
    usable(number(key)?, number(&format!("{key}_sd")).unwrap_or(0.0), tolerance)
}

fn warmth(finding: &Finding) -> Option<[f64; 3]> {
    let overall = finding.detail.get("overall")?;
    let number = |key: &str| overall.get(key).and_then(Value::as_f64);
    let tolerance = finding.detail.get("mired_tolerance").and_then(Value::as_f64)?;
    usable(number("mired_error")?, number("mired_error_sd").unwrap_or(0.0), tolerance)
}

/// Green against the mean of red and blue, stops.
fn greenness(finding: &Finding) -> Option<[f64; 3]> {
    let overall = finding.detail.get("overall")?;
    let number = |key: &str| overall.get(key).and_then(Value::as_f64);
    let [red, blue] = [number("red_green_stops")?, number("blue_green_stops")?];
    let [red_sd, blue_sd] = ["red_green_stops_sd", "blue_green_stops_sd"].map(|key| number(key).unwrap_or(0.0));
    usable(-(red + blue) / 2.0, red_sd.hypot(blue_sd) / 2.0, finding.tolerance)
}

fn usable(value: f64, sd: f64, tolerance: f64) -> Option<[f64; 3]> {
    let sound = value.is_finite() && sd.is_finite() && sd >= 0.0 && tolerance.is_finite() && tolerance > 0.0;
    sound.then_some([value, sd, tolerance])
}

/// The numbers of a report that other shots may share. A shot that could not be done has none.
pub(super) fn measures(report: &Report) -> Measures {
    if report.verdict == ShotVerdict::Error {
        return Measures::default();
    }
    let of_quantity = |(index, quantity): (usize, &Quantity)| {
        let findings = report
            .findings
            .iter()
            .filter(|f| f.check == quantity.check && matches!(f.verdict, Verdict::Match | Verdict::Mismatch));
        let read: Vec<[f64; 3]> = findings.filter_map(quantity.read).collect();
        let [value, sd, tolerance] = [0, 1, 2].map(|i| median(read.iter().map(|numbers| numbers[i]).collect()));
        Some(Measure { quantity: index, value: value?, sd: sd?, tolerance: tolerance? })
    };
    Measures(QUANTITIES.iter().enumerate().filter_map(of_quantity).collect())
}

/// Everything that the shots share, in the order of the checks.
pub fn patterns(lines: &[ShotLine]) -> Vec<Pattern> {
    let measured = QUANTITIES.iter().enumerate().filter_map(|(index, quantity)| {
        let measures = lines.iter().flat_map(|line| &line.measures.0).filter(|m| m.quantity == index);
        let shared = Shared::of(&measures.copied().collect::<Vec<_>>())?;
        Some(shared.pattern(quantity))
    });
    measured.chain(doubts(lines)).collect()
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
        let tolerance = median(measures.iter().map(|m| m.tolerance).collect())?;
        let sd = median(measures.iter().map(|m| m.sd).collect())?;
        let half = (WINDOW_TOLERANCES * tolerance).max(2.0 * sd);
        let mut values: Vec<f64> = measures.iter().map(|m| m.value).collect();
        values.sort_by(f64::total_cmp);
        let group = densest(&values, 2.0 * half);
        let centre = median(group.to_vec())?;
        let spread = MAD_TO_SD * median(group.iter().map(|value| (value - centre).abs()).collect())?;
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
fn doubts(lines: &[ShotLine]) -> impl Iterator<Item = Pattern> {
    let mut checks: Vec<&str> = lines.iter().flat_map(|l| &l.checks).map(|c| c.check.as_str()).collect();
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

fn median(mut values: Vec<f64>) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    let middle = values.len() / 2;
    match values.len() {
        0 => None,
        odd if odd % 2 == 1 => Some(values[middle]),
        _ => Some(f64::midpoint(values[middle - 1], values[middle])),
    }
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
            "11 of 14 shots are 0.20 stop under: suspect the grade or exposure of the environment, not the shots"
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
            assert!(crate::check::docs().any(|doc| doc.name == quantity.check), "{}", quantity.name);
        }
    }
}
