//! A grid of single values with holes, and the few filters that registration needs.

/// A picture of one value per pixel, row by row; NaN marks a masked pixel, and every filter spreads NaN rather than
/// guess.
#[derive(Debug, Clone)]
pub struct Plane {
    width: usize,
    height: usize,
    values: Vec<f32>,
}

impl Plane {
    /// A plane of `width` × `height`; `None` where that is not the number of values.
    pub fn new(width: usize, height: usize, values: Vec<f32>) -> Option<Self> {
        (width.checked_mul(height)? == values.len()).then_some(Self { width, height, values })
    }

    /// A plane whose value at column `x`, row `y` is `value(x, y)`.
    pub fn from_fn(width: usize, height: usize, value: impl Fn(usize, usize) -> f32) -> Self {
        let values = (0..width * height).map(|i| value(i % width, i / width)).collect();
        Self { width, height, values }
    }

    /// Columns.
    pub fn width(&self) -> usize {
        self.width
    }

    /// Rows.
    pub fn height(&self) -> usize {
        self.height
    }

    /// The values, row by row.
    pub fn values(&self) -> &[f32] {
        &self.values
    }

    /// The value at a column and row; NaN outside.
    pub fn at(&self, x: i64, y: i64) -> f32 {
        let inside = x >= 0 && y >= 0 && (x as usize) < self.width && (y as usize) < self.height;
        if inside { self.values[y as usize * self.width + x as usize] } else { f32::NAN }
    }

    /// Half the size; each value is the mean of those of its 2 × 2 that are present, where at least two are.
    pub(super) fn halved(&self) -> Self {
        Self::from_fn(self.width / 2, self.height / 2, |x, y| {
            let (left, top) = (2 * x as i64, 2 * y as i64);
            let four = [(0, 0), (1, 0), (0, 1), (1, 1)].map(|(i, j)| self.at(left + i, top + j));
            let present = four.iter().filter(|v| v.is_finite());
            let count = present.clone().count();
            if count >= 2 { present.sum::<f32>() / count as f32 } else { f32::NAN }
        })
    }

    /// Blurred by the binomial weights 1-2-1 in both directions: what lies near the sampling limit aliases, and
    /// aliased detail does not move with the picture.
    pub(super) fn smoothed(&self) -> Self {
        self.smoothed_along(1).smoothed_along(self.width)
    }

    /// 1-2-1 along one axis; `stride` is the distance of neighbours in `values`.
    fn smoothed_along(&self, stride: usize) -> Self {
        let mut values = vec![f32::NAN; self.values.len()];
        let last = self.values.len().saturating_sub(stride);
        for (i, value) in values.iter_mut().enumerate().take(last).skip(stride) {
            *value = 0.25 * (self.values[i - stride] + self.values[i + stride]) + 0.5 * self.values[i];
        }
        if stride == 1 {
            for row in values.chunks_mut(self.width.max(1)) {
                row[0] = f32::NAN;
                let end = row.len() - 1;
                row[end] = f32::NAN;
            }
        }
        Self { width: self.width, height: self.height, values }
    }

    /// Each value less the mean of what is present in the square of `2 radius + 1` around it.
    pub(super) fn high_passed(&self, radius: usize) -> Self {
        let sums = SummedArea::of(self);
        Self::from_fn(self.width, self.height, |x, y| {
            let value = self.values[y * self.width + x];
            value - sums.mean(x, y, radius) as f32
        })
    }

    /// Noise per value from the second difference in both directions (Immerkær 1996, Computer Vision and Image
    /// Understanding 64(2)), which straight edges and ramps leave at zero; median instead of mean. Fine texture reads
    /// as noise. `None` without enough neighbours.
    pub(super) fn noise_sd(&self) -> Option<f64> {
        let mut found = Vec::new();
        let mut y = 1;
        while y + 1 < self.height {
            for x in 1..self.width.saturating_sub(1) {
                found.push(self.second_difference(x as i64, y as i64).abs());
            }
            y += 2;
        }
        found.retain(|v| v.is_finite());
        (found.len() >= 50).then(|| crate::base::robust::median_of(&mut found) / (0.6745 * 6.0))
    }

    fn second_difference(&self, x: i64, y: i64) -> f32 {
        let row = |j: i64| self.at(x - 1, j) - 2.0 * self.at(x, j) + self.at(x + 1, j);
        row(y - 1) - 2.0 * row(y) + row(y + 1)
    }

    /// Root mean square of what is present.
    pub(super) fn rms(&self) -> f64 {
        let present = self.values.iter().filter(|v| v.is_finite());
        let (sum, count) = present.fold((0.0, 0usize), |(s, n), v| (s + f64::from(*v).powi(2), n + 1));
        if count == 0 { 0.0 } else { (sum / count as f64).sqrt() }
    }
}

/// Running sums over all rectangles from the corner: the mean of any square in four look-ups.
struct SummedArea {
    stride: usize,
    height: usize,
    sum: Vec<f64>,
    count: Vec<u32>,
}

impl SummedArea {
    fn of(plane: &Plane) -> Self {
        let stride = plane.width + 1;
        let mut sum = vec![0.0; stride * (plane.height + 1)];
        let mut count = vec![0u32; sum.len()];
        for y in 0..plane.height {
            let (mut row_sum, mut row_count) = (0.0, 0);
            for x in 0..plane.width {
                let value = plane.values[y * plane.width + x];
                if value.is_finite() {
                    row_sum += f64::from(value);
                    row_count += 1;
                }
                let (above, here) = (y * stride + x + 1, (y + 1) * stride + x + 1);
                sum[here] = sum[above] + row_sum;
                count[here] = count[above] + row_count;
            }
        }
        Self { stride, height: plane.height + 1, sum, count }
    }

    fn mean(&self, x: usize, y: usize, radius: usize) -> f64 {
        let (x0, y0) = (x.saturating_sub(radius), y.saturating_sub(radius));
        let (x1, y1) = ((x + radius + 1).min(self.stride - 1), (y + radius + 1).min(self.height - 1));
        let corners = [y1 * self.stride + x1, y0 * self.stride + x1, y1 * self.stride + x0, y0 * self.stride + x0];
        let [a, b, c, d] = corners.map(|i| self.sum[i]);
        let [na, nb, nc, nd] = corners.map(|i| i64::from(self.count[i]));
        (a - b - c + d) / (na - nb - nc + nd).max(1) as f64
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_plane_needs_as_many_values_as_pixels() {
        assert!(Plane::new(3, 2, vec![0.0; 6]).is_some());
        assert!(Plane::new(3, 2, vec![0.0; 5]).is_none());
        assert!(Plane::new(usize::MAX, 2, vec![]).is_none());
    }

    #[test]
    fn holes_spread_in_smoothing_and_are_bridged_in_halving() {
        let plane = Plane::from_fn(8, 8, |x, y| if (x, y) == (3, 3) { f32::NAN } else { 2.0 });
        let smooth = plane.smoothed();
        assert!(smooth.at(2, 2).is_nan() && smooth.at(4, 4).is_nan() && smooth.at(0, 3).is_nan());
        assert!((smooth.at(6, 6) - 2.0).abs() < 1e-6);
        assert!((plane.halved().at(1, 1) - 2.0).abs() < 1e-6);
    }

    #[test]
    fn high_pass_removes_a_constant_and_keeps_fine_detail() {
        let plane = Plane::from_fn(40, 40, |x, _| 5.0 + if x % 2 == 0 { 1.0 } else { -1.0 });
        let high = plane.high_passed(6);
        assert!((high.at(20, 20) - 1.0).abs() < 0.1);
    }

    #[test]
    fn noise_ignores_a_ramp() {
        let ramp = Plane::from_fn(40, 40, |x, y| 0.1 * x as f32 + 0.2 * y as f32);
        assert!(ramp.noise_sd().unwrap() < 1e-5);
    }
}
