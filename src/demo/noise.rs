//! Random numbers that depend only on a seed and a place, never on the order of calls: the same bytes on any number of
//! threads.

/// A well-mixed 64-bit value of a counter (the finaliser of SplitMix64; constants from memory).
pub(crate) fn mix(counter: u64) -> u64 {
    let mut z = counter.wrapping_add(0x9e37_79b9_7f4a_7c15);
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ (z >> 31)
}

/// A nearly Gaussian number of mean 0 and variance 1: four uniform numbers summed, so never beyond 3.5.
pub(crate) fn gaussian(seed: u64, index: u64) -> f64 {
    let bits = mix(seed.wrapping_mul(0x2545_f491_4f6c_dd1d) ^ index);
    let sum: f64 = (0..4).map(|k| ((bits >> (16 * k)) & 0xffff) as f64 / 65535.0).sum();
    (sum - 2.0) * 3.0_f64.sqrt()
}

/// Smooth noise in [0, 1] over a plane with features about one unit wide.
pub(crate) fn value_noise(seed: u64, [x, y]: [f64; 2]) -> f64 {
    let (cell_x, cell_y) = (floor(x), floor(y));
    let (fx, fy) = (smooth(x - cell_x as f64), smooth(y - cell_y as f64));
    let (left, top) = ((cell_x as u64).wrapping_mul(KEY_X), (cell_y as u64).wrapping_mul(KEY_Y));
    let (right, bottom) = (left.wrapping_add(KEY_X), top.wrapping_add(KEY_Y));
    let between = |a: f64, b: f64, t: f64| a + (b - a) * t;
    let row = |y: u64| between(lattice(seed, left, y), lattice(seed, right, y), fx);
    between(row(top), row(bottom), fy)
}

/// Noise of several sizes, each half as large and half as strong as the one before; in [0, 1].
pub(crate) fn layered_noise(seed: u64, [x, y]: [f64; 2], layers: u32) -> f64 {
    let (mut sum, mut total, mut scale) = (0.0, 0.0, 1.0);
    for layer in 0..u64::from(layers) {
        sum += value_noise(seed + layer, [x * scale, y * scale]) / scale;
        total += 1.0 / scale;
        scale *= 2.0;
    }
    sum / total
}

/// 0 below 0, 1 above 1, smooth between.
pub(crate) fn smooth(t: f64) -> f64 {
    let t = t.clamp(0.0, 1.0);
    t * t * (3.0 - 2.0 * t)
}

/// Odd numbers without pattern that keep the cells of the two axes apart.
const KEY_X: u64 = 0x8da6_b343_9e37_79b1;
const KEY_Y: u64 = 0xd816_3841_5bd1_e995;

/// The random value of a lattice point whose coordinates are already multiplied by their keys.
fn lattice(seed: u64, x: u64, y: u64) -> f64 {
    (mix(x.wrapping_add(y) ^ seed) >> 11) as f64 / (1_u64 << 53) as f64
}

/// Without the library call that `f64::floor` is on processors of the baseline.
fn floor(value: f64) -> i64 {
    let truncated = value as i64;
    truncated - i64::from(truncated as f64 > value)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn gaussian_has_mean_zero_and_variance_one() {
        let draws: Vec<f64> = (0..40_000).map(|i| gaussian(7, i)).collect();
        let mean = draws.iter().sum::<f64>() / 40_000.0;
        let variance = draws.iter().map(|d| (d - mean).powi(2)).sum::<f64>() / 40_000.0;
        // Standard errors: 0.005 for the mean, below 0.007 for the variance.
        assert!(mean.abs() < 0.02 && (variance - 1.0).abs() < 0.03, "{mean} {variance}");
    }

    #[test]
    fn value_noise_is_continuous_and_bounded() {
        for i in 0..2000_u32 {
            let point = [f64::from(i) * 0.0137 - 9.0, f64::from(i) * 0.0071];
            let (here, near) = (value_noise(3, point), value_noise(3, point.map(|c| c + 1e-6)));
            assert!((0.0..=1.0).contains(&here) && (here - near).abs() < 1e-4);
        }
    }
}
