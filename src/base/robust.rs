//! Locations that a minority of wrong values cannot move.

/// A value with its weight (any unit; non-negative).
#[derive(Debug, Clone, Copy)]
pub(crate) struct Weighted {
    /// The value.
    pub(crate) value: f64,
    /// Its weight.
    pub(crate) weight: f64,
}

/// What [`consensus`] found.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Consensus {
    /// Where most of the weight agrees.
    pub(crate) centre: f64,
    /// Robust standard deviation of the values that agree.
    pub(crate) spread: f64,
    /// Another place, more than six spreads away, where nearly as much weight agrees.
    pub(crate) rival: Option<f64>,
}

impl Consensus {
    /// Whether a value belongs to those that agree.
    pub(crate) fn holds(&self, value: f64) -> bool {
        (value - self.centre).abs() <= INLIER_SPREADS * self.spread
    }
}

/// Values further away than this many spreads are not averaged: 4.685 gives 95 % efficiency on Gaussian noise for
/// Tukey's biweight (Huber & Ronchetti, Robust Statistics, 2nd ed. 2009).
pub(crate) const TUKEY_SPREADS: f64 = 4.685;

/// Values within this many spreads count as agreeing.
const INLIER_SPREADS: f64 = 3.5;

/// Lower quartile of |z| for a standard normal z: half as many values need to agree as for the median.
const QUARTILE_OF_ABS_NORMAL: f64 = 0.318_639_4;

/// Median of unsorted finite values; 0 for none. The order of the slice changes.
pub(crate) fn median_of(values: &mut [f32]) -> f64 {
    quantile_of(values, 0.5)
}

/// Nearest-rank quantile of unsorted finite values; 0 for none. The order of the slice changes.
pub(crate) fn quantile_of(values: &mut [f32], fraction: f64) -> f64 {
    if values.is_empty() {
        return 0.0;
    }
    let rank = ((values.len() - 1) as f64 * fraction).round() as usize;
    f64::from(*values.select_nth_unstable_by(rank, f32::total_cmp).1)
}

/// Value below which `fraction` of the weight lies; `None` without weight. Sorts.
pub(crate) fn weighted_quantile(values: &mut [Weighted], fraction: f64) -> Option<f64> {
    values.sort_unstable_by(|a, b| a.value.total_cmp(&b.value));
    let target = values.iter().map(|v| v.weight).sum::<f64>() * fraction;
    let mut below = 0.0;
    values
        .iter()
        .find(|v| {
            below += v.weight;
            below >= target && v.weight > 0.0
        })
        .map(|v| v.value)
}

/// The centre on which most of the weight agrees: starts at the densest interval and finishes with Tukey's biweight.
///
/// `finest` is the spread below which differences mean nothing. `None` without weight.
pub(crate) fn consensus(values: &[Weighted], finest: f64) -> Option<Consensus> {
    let mut sorted = sample(values);
    sorted.sort_unstable_by(|a, b| a.value.total_cmp(&b.value));
    let start = densest(&sorted, finest)?;
    let mut centre = start;
    let mut spread = spread_about(&sorted, centre, finest);
    for _ in 0..20 {
        let next = biweight(values, centre, spread);
        let settled = (next - centre).abs() < 1e-4 * finest;
        centre = next;
        spread = spread_about(&sorted, centre, finest);
        if settled {
            break;
        }
    }
    Some(Consensus { centre, spread, rival: rival(&sorted, centre, spread) })
}

/// The usable values, thinned evenly to a number that is quick to sort; the spread does not need more.
fn sample(values: &[Weighted]) -> Vec<Weighted> {
    const ENOUGH: usize = 6000;
    // An odd step does not fall in with the rows of a grid of even width.
    let step = (values.len() / ENOUGH) | 1;
    values.iter().step_by(step).filter(|v| v.weight > 0.0 && v.value.is_finite()).copied().collect()
}

/// Middle of the shortest interval that holds a quarter of the weight (but no shorter than `finest` resolves).
fn densest(sorted: &[Weighted], finest: f64) -> Option<f64> {
    let total = sorted.iter().map(|v| v.weight).sum::<f64>();
    let narrow = shortest(sorted, 0.25 * total)?;
    if narrow.1 - narrow.0 >= finest {
        return Some(0.5 * (narrow.0 + narrow.1));
    }
    // Many equal values (a quantised or noise-free picture): the whole heap counts, not its first quarter.
    let (low, high) = (narrow.0 - finest, narrow.1 + finest);
    let mut heap: Vec<Weighted> = sorted.iter().filter(|v| v.value >= low && v.value <= high).copied().collect();
    weighted_quantile(&mut heap, 0.5)
}

/// The shortest interval of sorted values that holds `share` of weight.
fn shortest(sorted: &[Weighted], share: f64) -> Option<(f64, f64)> {
    let mut best: Option<(f64, f64)> = None;
    let (mut low, mut held) = (0, 0.0);
    for high in sorted {
        held += high.weight;
        while low + 1 < sorted.len() && held - sorted[low].weight >= share {
            held -= sorted[low].weight;
            low += 1;
        }
        let width = high.value - sorted[low].value;
        if held >= share * (1.0 - 1e-9) && best.is_none_or(|(a, b)| width < b - a) {
            best = Some((sorted[low].value, high.value));
        }
    }
    best
}

/// Robust standard deviation about `centre` from the nearest quarter of the weight.
fn spread_about(values: &[Weighted], centre: f64, finest: f64) -> f64 {
    let mut away: Vec<Weighted> =
        values.iter().map(|v| Weighted { value: (v.value - centre).abs(), weight: v.weight }).collect();
    let quartile = weighted_quantile(&mut away, 0.25).unwrap_or(0.0);
    (quartile / QUARTILE_OF_ABS_NORMAL).max(finest)
}

/// One step of Tukey's biweight mean.
fn biweight(values: &[Weighted], centre: f64, spread: f64) -> f64 {
    let reach = TUKEY_SPREADS * spread;
    let (mut sum, mut weight) = (0.0, 0.0);
    for v in values {
        let u = (v.value - centre) / reach;
        // Also false for NaN.
        if u.abs() < 1.0 && v.weight > 0.0 {
            let w = v.weight * (1.0 - u * u).powi(2);
            sum += w * (v.value - centre);
            weight += w;
        }
    }
    if weight > 0.0 { centre + sum / weight } else { centre }
}

/// The densest place outside six spreads, where at least two thirds as much weight agrees as at the centre.
fn rival(sorted: &[Weighted], centre: f64, spread: f64) -> Option<f64> {
    let near = |middle: f64| -> f64 {
        sorted.iter().filter(|v| (v.value - middle).abs() <= 3.0 * spread).map(|v| v.weight).sum()
    };
    let outside: Vec<Weighted> = sorted.iter().filter(|v| (v.value - centre).abs() > 6.0 * spread).copied().collect();
    let place = densest(&outside, spread)?;
    (near(place) >= near(centre) * 2.0 / 3.0).then_some(place)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn even(values: impl IntoIterator<Item = f64>) -> Vec<Weighted> {
        values.into_iter().map(|value| Weighted { value, weight: 1.0 }).collect()
    }

    #[test]
    fn a_third_of_wrong_values_does_not_move_the_centre() {
        let right = (0..200).map(|i| 1.0 + 0.01 * ((i * 37 % 100) as f64 / 50.0 - 1.0));
        let wrong = (0..90).map(|i| 2.0 + 0.02 * f64::from(i));
        let found = consensus(&even(right.chain(wrong)), 1e-4).unwrap();
        assert!((found.centre - 1.0).abs() < 1e-3, "{found:?}");
        assert!(found.rival.is_none() && !found.holds(2.0) && found.holds(1.003));
    }

    #[test]
    fn an_even_split_names_a_rival() {
        let values = (0..100).map(|i| if i % 2 == 0 { 0.0 } else { 0.5 } + 1e-4 * f64::from(i));
        let found = consensus(&even(values), 1e-3).unwrap();
        assert!((found.rival.unwrap() - found.centre).abs() > 0.4, "{found:?}");
    }

    #[test]
    fn equal_values_and_no_values_are_answered() {
        assert!((consensus(&even([0.25; 9]), 1e-3).unwrap().centre - 0.25).abs() < 1e-12);
        assert!(consensus(&[], 1e-3).is_none());
        assert!(consensus(&even([f64::NAN]), 1e-3).is_none());
    }

    #[test]
    fn quantiles_follow_the_weight() {
        let mut values = vec![Weighted { value: 1.0, weight: 1.0 }, Weighted { value: 5.0, weight: 3.0 }];
        assert_eq!(weighted_quantile(&mut values, 0.5), Some(5.0));
        assert_eq!(weighted_quantile(&mut values, 0.2), Some(1.0));
        assert!((median_of(&mut [3.0, 1.0, 2.0]) - 2.0).abs() < 1e-12);
    }
}
