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

/// Smooth noise in [0, 1] over space with features about one unit wide.
pub(crate) fn value_noise(seed: u64, point: [f64; 3]) -> f64 {
    let cell = point.map(f64::floor);
    let fade = [0, 1, 2].map(|axis| smooth(point[axis] - cell[axis]));
    let corner = |bits: u64| {
        let weight: f64 =
            (0..3).map(|axis| if bits >> axis & 1 == 1 { fade[axis] } else { 1.0 - fade[axis] }).product();
        weight * lattice(seed, [0, 1, 2].map(|axis| cell[axis] as i64 + (bits >> axis & 1) as i64))
    };
    (0..8).map(corner).sum()
}

/// Noise of several sizes, each half as large and half as strong as the one before; in [0, 1].
pub(crate) fn layered_noise(seed: u64, point: [f64; 3], layers: u32) -> f64 {
    let (mut sum, mut total, mut scale) = (0.0, 0.0, 1.0);
    for layer in 0..u64::from(layers) {
        sum += value_noise(seed + layer, point.map(|c| c * scale)) / scale;
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

fn lattice(seed: u64, cell: [i64; 3]) -> f64 {
    let [x, y, z] = cell.map(|c| c as u64);
    let key = x.wrapping_mul(0x8da6_b343) ^ y.wrapping_mul(0xd816_3841_0001) ^ z.wrapping_mul(0xcb1a_b31f_0000_0003);
    (mix(key ^ seed.wrapping_mul(0x51_7cc1_b727_220a_95)) >> 11) as f64 / (1_u64 << 53) as f64
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
            let point = [f64::from(i) * 0.0137 - 9.0, f64::from(i) * 0.0071, 2.5];
            let (here, near) = (value_noise(3, point), value_noise(3, point.map(|c| c + 1e-6)));
            assert!((0.0..=1.0).contains(&here) && (here - near).abs() < 1e-4);
        }
    }
}
