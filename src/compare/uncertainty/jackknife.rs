//! How sure a number is that many directions make, from what it would be without each part of the sky in turn.

/// Standard deviation of a number by leaving out one of `blocks` blocks at a time (the delete-a-block jackknife; Tukey 1958, from
/// memory). `of_rest` gives the number without the block; blocks without which it cannot be had take no part.
pub fn sd(blocks: usize, of_rest: impl Fn(usize) -> Option<f64>) -> f64 {
    let values: Vec<f64> = (0..blocks).filter_map(of_rest).filter(|v| v.is_finite()).collect();
    if values.len() < 2 {
        return 0.0;
    }
    let count = values.len() as f64;
    let mean = values.iter().sum::<f64>() / count;
    ((count - 1.0) / count * values.iter().map(|v| (v - mean).powi(2)).sum::<f64>()).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Closed form: of a mean it is the standard error of the mean.
    #[test]
    fn of_a_mean_it_is_the_standard_error() {
        let values = [1.0, 4.0, 2.5, 7.0, 3.0, 0.5];
        let total: f64 = values.iter().sum();
        let found = sd(values.len(), |i| Some((total - values[i]) / 5.0));
        let mean = total / 6.0;
        let variance = values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / 5.0;
        approx::assert_relative_eq!(found, (variance / 6.0).sqrt(), max_relative = 1e-12);
    }
}
