//! Statistics of plain numbers.

/// Standard deviation of a normal distribution over its median absolute deviation (Rousseeuw & Croux 1993, from
/// memory).
pub(crate) const SD_PER_MEDIAN_DEVIATION: f64 = 1.4826;

/// Median of finite numbers in any order, of an even number of them the upper of the middle two; `None` of nothing.
pub(crate) fn median(values: impl IntoIterator<Item = f64>) -> Option<f64> {
    let mut values: Vec<f64> = values.into_iter().collect();
    let middle = values.len() / 2;
    (!values.is_empty()).then(|| *values.select_nth_unstable_by(middle, f64::total_cmp).1)
}

/// Median of a few numbers: of an even number of them the mean of the middle two. `None` of nothing.
pub(crate) fn median_of_few(values: impl IntoIterator<Item = f64>) -> Option<f64> {
    let mut values: Vec<f64> = values.into_iter().collect();
    values.sort_by(f64::total_cmp);
    let middle = values.len() / 2;
    match values.len() {
        0 => None,
        odd if odd % 2 == 1 => Some(values[middle]),
        _ => Some(f64::midpoint(values[middle - 1], values[middle])),
    }
}

/// Robust standard deviation of numbers about `middle`: from the median of their distances. `None` of nothing.
pub(crate) fn robust_sd(values: impl IntoIterator<Item = f64>, middle: f64) -> Option<f64> {
    median(values.into_iter().map(|value| (value - middle).abs())).map(|size| SD_PER_MEDIAN_DEVIATION * size)
}

/// The same of weighted numbers.
pub(crate) fn weighted_robust_sd(values: &[(f64, f64)], middle: f64) -> Option<f64> {
    let sizes = values.iter().map(|(value, weight)| ((value - middle).abs(), *weight)).collect();
    weighted_median(sizes).map(|size| SD_PER_MEDIAN_DEVIATION * size)
}

/// Value at which half of the weight lies on either side; `None` of nothing, or where a weight is not a number.
pub fn weighted_median(mut values: Vec<(f64, f64)>) -> Option<f64> {
    let half = values.iter().map(|v| v.1).sum::<f64>() * 0.5;
    if !half.is_finite() {
        return None;
    }
    let (mut rest, mut below) = (values.as_mut_slice(), 0.0);
    // Halves of a list that stay unsorted in themselves, until it is short.
    while rest.len() > SHORT {
        let middle = rest.len() / 2;
        rest.select_nth_unstable_by(middle, |a, b| a.0.total_cmp(&b.0));
        let lower: f64 = rest[..middle].iter().map(|v| v.1).sum();
        if below + lower >= half {
            rest = &mut rest[..middle];
        } else {
            below += lower;
            rest = &mut rest[middle..];
        }
    }
    rest.sort_by(|a, b| a.0.total_cmp(&b.0));
    let found = rest.iter().find(|(_, weight)| {
        below += weight;
        below >= half
    });
    // Sums of the same weights in another order may differ in the last digit.
    found.or(rest.last()).map(|v| v.0)
}

/// A list of this length is sorted.
const SHORT: usize = 32;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_wrong_number_moves_neither_median_nor_scatter_far() {
        let plain = [3.0, 1.0, 2.0, 5.0, 4.0];
        assert_eq!((median(plain), median([2.0, 1.0]), median([])), (Some(3.0), Some(2.0), None));
        assert_eq!((median_of_few([2.0, 1.0]), median_of_few([])), (Some(1.5), None));
        // The middle distance from 3 is 1.
        assert_eq!(robust_sd(plain, 3.0), Some(1.4826));
        assert_eq!(robust_sd([3.0, 1.0, 2.0, 500.0, 4.0], 3.0), Some(1.4826));
        assert_eq!(weighted_robust_sd(&plain.map(|value| (value, 1.0)), 3.0), Some(1.4826));
    }

    /// Against the definition, on a sorted list.
    #[test]
    fn half_of_the_weight_lies_on_either_side() {
        assert_eq!(weighted_median(Vec::new()), None);
        assert_eq!(weighted_median(vec![(1.0, 2.0), (3.0, f64::NAN)]), None);
        for count in [1, 2, 31, 32, 33, 64, 100, 4096_u32] {
            let hashed = |i: u32, by: u32| f64::from(i.wrapping_mul(by).wrapping_add(12345) >> 20);
            let values: Vec<(f64, f64)> = (0..count).map(|i| (hashed(i, 2_654_435_761), hashed(i, 40_503))).collect();
            let mut sorted = values.clone();
            sorted.sort_by(|a, b| a.0.total_cmp(&b.0));
            let half = values.iter().map(|v| v.1).sum::<f64>() / 2.0;
            let mut sum = 0.0;
            let plain = sorted.iter().find(|(_, weight)| {
                sum += weight;
                sum >= half
            });
            assert_eq!(weighted_median(values), plain.map(|v| v.0), "{count} values");
        }
    }
}
