//! A small square picture with unknown cells (NaN).

/// Values row by row.
#[derive(Debug, Clone)]
pub(super) struct Grid {
    pub(super) side: usize,
    pub(super) values: Vec<f32>,
}

impl Grid {
    /// Bilinear; NaN beside the picture or next to an unknown cell.
    #[inline]
    pub(super) fn between(&self, [x, y]: [f32; 2]) -> f32 {
        if !(x >= 0.0 && y >= 0.0) {
            return f32::NAN;
        }
        let (column, row) = (x as usize, y as usize);
        if column + 1 >= self.side || row + 1 >= self.side {
            return f32::NAN;
        }
        let (fx, fy) = (x - column as f32, y - row as f32);
        let first = row * self.side + column;
        let (top, bottom) = (&self.values[first..first + 2], &self.values[first + self.side..first + self.side + 2]);
        let upper = top[0] + (top[1] - top[0]) * fx;
        let lower = bottom[0] + (bottom[1] - bottom[0]) * fx;
        upper + (lower - upper) * fy
    }

    /// The mean of the known cells within a square of 2 `reach` + 1, twice over: near to a Gaussian. Unknown cells stay
    /// unknown.
    pub(super) fn blurred(&self, reach: usize) -> Self {
        let known: Vec<f32> = self.values.iter().map(|v| f32::from(u8::from(v.is_finite()))).collect();
        let filled: Vec<f32> = self.values.iter().map(|v| if v.is_finite() { *v } else { 0.0 }).collect();
        let twice = |values: &[f32]| self.boxed(&self.boxed(values, reach), reach);
        let (sum, weight) = (twice(&filled), twice(&known));
        let mean = |i: usize| if self.values[i].is_finite() { sum[i] / weight[i] } else { f32::NAN };
        Self { side: self.side, values: (0..self.values.len()).map(mean).collect() }
    }

    /// Sums over squares.
    fn boxed(&self, values: &[f32], reach: usize) -> Vec<f32> {
        let side = self.side;
        let mut across = vec![0.0; values.len()];
        for (out, line) in across.chunks_mut(side).zip(values.chunks(side)) {
            running(reach, side, |i| line[i], |i, sum| out[i] = sum);
        }
        let mut both = vec![0.0; values.len()];
        for column in 0..side {
            running(reach, side, |i| across[i * side + column], |i, sum| both[i * side + column] = sum);
        }
        both
    }
}

/// Sums of the values up to `reach` to either side.
fn running(reach: usize, count: usize, value: impl Fn(usize) -> f32, mut put: impl FnMut(usize, f32)) {
    let mut sum: f64 = (0..reach.min(count)).map(|i| f64::from(value(i))).sum();
    for i in 0..count {
        if i + reach < count {
            sum += f64::from(value(i + reach));
        }
        put(i, sum as f32);
        if i >= reach {
            sum -= f64::from(value(i - reach));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_blur_keeps_the_mean_and_passes_by_the_unknown() {
        let mut grid = Grid { side: 9, values: vec![2.0; 81] };
        grid.values[40] = f32::NAN;
        let blurred = grid.blurred(2);
        assert!(blurred.values[40].is_nan());
        assert!(blurred.values.iter().enumerate().all(|(i, v)| i == 40 || (v - 2.0).abs() < 1e-6));
    }
}
