//! Small squares cut from both pictures, compared at a common sub-pixel place.

use nalgebra::{Matrix4, Matrix6, SMatrix, Vector6};

use crate::base::robust::{Weighted, median_of};

/// Side of a patch in pixels.
pub(super) const SIDE: usize = 48;
/// Rim around it: two pixels for cubic interpolation, one for the gradient.
pub(super) const RIM: usize = 3;
/// Side with its rim.
pub(super) const FULL: usize = SIDE + 2 * RIM;
/// Side of the aligned square: the patch and one pixel around, for central differences.
const RING: usize = SIDE + 2;

/// One square of the fixed picture and the square of the moving picture a whole-pixel offset away.
#[derive(Debug, Clone)]
pub(super) struct Patch {
    /// `FULL × FULL` values of the fixed picture; NaN = masked or outside.
    pub(super) fixed: Vec<f32>,
    /// The same of the moving picture at the offset.
    pub(super) moving: Vec<f32>,
    aligned_fixed: Vec<f32>,
    aligned_moving: Vec<f32>,
}

/// Weighted sums over one patch about their means: fixed gradient x, y, moving gradient x, y, fixed value, residual.
#[derive(Debug, Clone)]
pub(super) struct Scatter {
    /// Sum of weights.
    pub(super) weight: f64,
    /// Weighted sums of products of deviations from the patch means.
    pub(super) about_mean: Matrix6<f64>,
}

impl Scatter {
    /// Scatter of (common gradient x, y, fixed value, residual); both pictures' gradients have half a say.
    ///
    /// Central differences are uncorrelated with white noise at their own pixel, so noise in the gradients slows the
    /// iteration but does not pull it.
    pub(super) fn reduced(&self, gain: f64) -> Matrix4<f64> {
        let g = 0.5 * gain;
        #[rustfmt::skip]
        let reduce = SMatrix::<f64, 4, 6>::new(
            g, 0.0, 0.5, 0.0, 0.0, 0.0,
            0.0, g, 0.0, 0.5, 0.0, 0.0,
            0.0, 0.0, 0.0, 0.0, 1.0, 0.0,
            0.0, 0.0, 0.0, 0.0, 0.0, 1.0,
        );
        reduce * self.about_mean * reduce.transpose()
    }
}

impl Patch {
    /// A patch whose values at column `x`, row `y` (from −`RIM`) are given; `None` where under a third is present in
    /// both.
    pub(super) fn cut(fixed: impl Fn(i64, i64) -> f32, moving: impl Fn(i64, i64) -> f32) -> Option<Self> {
        Self::new(square(fixed), square(moving))
    }

    fn new(fixed: Vec<f32>, moving: Vec<f32>) -> Option<Self> {
        let present = fixed.iter().zip(&moving).filter(|(f, m)| (*f + *m).is_finite()).count();
        (3 * present >= FULL * FULL).then(|| Self {
            fixed,
            moving,
            aligned_fixed: vec![f32::NAN; RING * RING],
            aligned_moving: vec![f32::NAN; RING * RING],
        })
    }

    /// Brings both squares half-way: the fixed one is read at `x − shift/2`, the moving one at `x + shift/2`.
    ///
    /// Meeting in the middle gives both the same interpolation blur, so that blur cannot pass for a shift or a gain.
    pub(super) fn align(&mut self, shift: [f64; 2]) {
        let [x, y] = shift.map(|d| 0.5 * d);
        interpolate(&self.fixed, [-x, -y], &mut self.aligned_fixed);
        interpolate(&self.moving, [x, y], &mut self.aligned_moving);
    }

    /// Brings both squares to the places that `places` gives for each pixel: where to read the fixed one, then the
    /// moving one, in pixels from the patch's own first pixel. Out of reach of a square is NaN.
    pub(super) fn align_along(&mut self, places: impl Fn([f64; 2]) -> [[f64; 2]; 2]) {
        read_along(&self.fixed, |pixel| places(pixel)[0], &mut self.aligned_fixed);
        read_along(&self.moving, |pixel| places(pixel)[1], &mut self.aligned_moving);
    }

    /// Median of `moving − gain × fixed`, and the absolute deviations from it weighted by gradient energy, both from
    /// an even sample of the pixels.
    ///
    /// What the shift is read from are the pixels with gradients: on a plain wall with a few edges, the scatter of the
    /// wall would make every edge look like an outlier.
    pub(super) fn residuals(&self, gain: f64) -> (f64, Vec<Weighted>) {
        let inner = |i: &usize| (1..=SIDE).contains(&(i % RING));
        let sampled = || (RING..RING * (RING - 1)).step_by(23).filter(inner);
        let residual = |i: usize| self.aligned_moving[i] - gain as f32 * self.aligned_fixed[i];
        let mut sample: Vec<f32> = sampled().map(residual).filter(|e| e.is_finite()).collect();
        let middle = median_of(&mut sample);
        let weighted = |i: usize| {
            let [fx, fy] = gradient(&self.aligned_fixed, i);
            let [mx, my] = gradient(&self.aligned_moving, i);
            let energy = (fx + mx).powi(2) + (fy + my).powi(2);
            Weighted { value: (f64::from(residual(i)) - middle).abs(), weight: f64::from(energy) }
        };
        let usable = |v: &Weighted| v.value.is_finite() && v.weight.is_finite();
        (middle, sampled().map(weighted).filter(usable).collect())
    }

    /// Weighted sums with Tukey's biweight on the residual about `middle`, zero beyond `reach`.
    pub(super) fn scatter(&self, gain: f64, middle: f64, reach: f64) -> Scatter {
        let mut sums = Sums::default();
        let (gain, middle, per_reach) = (gain as f32, middle as f32, 1.0 / reach as f32);
        for row in 1..=SIDE {
            for i in row * RING + 1..=row * RING + SIDE {
                let [fx, fy] = gradient(&self.aligned_fixed, i);
                let [mx, my] = gradient(&self.aligned_moving, i);
                let f = self.aligned_fixed[i];
                let e = self.aligned_moving[i] - gain * f - middle;
                let u = e * per_reach;
                let everything = fx + fy + mx + my + e;
                if everything.is_finite() && u.abs() < 1.0 {
                    let w = 1.0 - u * u;
                    sums.add(f64::from(w * w), [fx, fy, mx, my, f, e]);
                }
            }
        }
        sums.about_mean()
    }
}

/// `FULL × FULL` values from a function of column and row, both from −`RIM`.
fn square(value: impl Fn(i64, i64) -> f32) -> Vec<f32> {
    let rim = RIM as i64;
    let range = -rim..SIDE as i64 + rim;
    range.clone().flat_map(|y| range.clone().map(move |x| (x, y))).map(|(x, y)| value(x, y)).collect()
}

/// Central differences per pixel.
fn gradient(values: &[f32], i: usize) -> [f32; 2] {
    [0.5 * (values[i + 1] - values[i - 1]), 0.5 * (values[i + RING] - values[i - RING])]
}

/// Reads a `FULL` square at a fractional offset (each component within ±0.5) into a `RING` square by cubic
/// convolution (Keys 1981, IEEE Trans. ASSP 29(6), a = −1/2).
fn interpolate(from: &[f32], offset: [f64; 2], into: &mut [f32]) {
    let (first_x, taps_x) = keys_taps(offset[0]);
    let (first_y, taps_y) = keys_taps(offset[1]);
    let mut across = [0.0f32; FULL * RING];
    for (row, out) in from.chunks_exact(FULL).zip(across.chunks_exact_mut(RING)) {
        combine(out, taps_x, |tap| &row[first_x + tap..]);
    }
    for (y, out) in into.chunks_exact_mut(RING).enumerate() {
        combine(out, taps_y, |tap| &across[(first_y + y + tap) * RING..]);
    }
}

/// Reads a `FULL` square at the places of a smooth map into a `RING` square.
fn read_along(from: &[f32], places: impl Fn([f64; 2]) -> [f64; 2], into: &mut [f32]) {
    let Some(map) = SmallMap::of(&places) else {
        let exact = |i: usize| cubic_at(from, places(pixel_of(i)));
        into.iter_mut().enumerate().for_each(|(i, out)| *out = exact(i));
        return;
    };
    if let Some(offset) = map.plain_offset() {
        return interpolate(from, offset, into);
    }
    for (i, out) in into.iter_mut().enumerate() {
        *out = cubic_at(from, map.at(pixel_of(i)));
    }
}

/// Column and row of a `RING` square's value, from the patch's first pixel.
fn pixel_of(i: usize) -> [f64; 2] {
    [(i % RING) as f64 - 1.0, (i / RING) as f64 - 1.0]
}

/// A map of the plane over one patch: what it does to the corners, and in between evenly.
struct SmallMap {
    first: [f64; 2],
    per_column: [f64; 2],
    per_row: [f64; 2],
    twist: [f64; 2],
}

impl SmallMap {
    /// Places may lie this far from those of the map, px: far below what registration resolves.
    const EVEN_PX: f64 = 5e-4;

    /// `None` where the map is too curved for that.
    fn of(places: &impl Fn([f64; 2]) -> [f64; 2]) -> Option<Self> {
        let (low, high) = (-1.0, SIDE as f64);
        let span = high - low;
        let [a, b, c, d] = [[low, low], [high, low], [low, high], [high, high]].map(places);
        let each = |value: &dyn Fn(usize) -> f64| [value(0), value(1)];
        let map = Self {
            first: a,
            per_column: each(&|axis| (b[axis] - a[axis]) / span),
            per_row: each(&|axis| (c[axis] - a[axis]) / span),
            twist: each(&|axis| (d[axis] - c[axis] - b[axis] + a[axis]) / (span * span)),
        };
        let middle = [0.5 * (low + high); 2];
        let (exact, even) = (places(middle), map.at(middle));
        (0..2).all(|axis| (exact[axis] - even[axis]).abs() < Self::EVEN_PX).then_some(map)
    }

    fn at(&self, [x, y]: [f64; 2]) -> [f64; 2] {
        let (column, row) = (x + 1.0, y + 1.0);
        let along = |axis: usize| {
            self.first[axis] + column * self.per_column[axis] + row * (self.per_row[axis] + column * self.twist[axis])
        };
        [along(0), along(1)]
    }

    /// The common offset of all pixels, where the map is no more than that and within reach of [`interpolate`].
    fn plain_offset(&self) -> Option<[f64; 2]> {
        let side = RING as f64;
        let uneven = [0, 1].map(|axis| {
            let unit = [f64::from(axis == 0), f64::from(axis == 1)];
            side * ((self.per_column[axis] - unit[0]).abs() + (self.per_row[axis] - unit[1]).abs())
                + side * side * self.twist[axis].abs()
        });
        let offset = self.first.map(|f| f + 1.0);
        let plain = uneven.iter().all(|px| *px < Self::EVEN_PX) && offset.iter().all(|o| o.abs() < 1.0);
        plain.then_some(offset)
    }
}

/// One value of a `FULL` square by the same cubic convolution, at a place counted from the patch's first pixel.
fn cubic_at(from: &[f32], place: [f64; 2]) -> f32 {
    // Counted from a pixel before the rim: positive, so that cutting off the fraction rounds down.
    let (x, y) = (place[0] + (RIM + 1) as f64, place[1] + (RIM + 1) as f64);
    let reachable = 2.0..(FULL - 1) as f64;
    if !reachable.contains(&x) || !reachable.contains(&y) {
        return f32::NAN;
    }
    let (column, row) = (x as usize, y as usize);
    let across = keys_weights((x - column as f64) as f32);
    let down = keys_weights((y - row as f64) as f32);
    // Down first, four columns at once: the compiler keeps them in one register.
    let mut columns = [0.0f32; 4];
    let first = (row - 2) * FULL + column - 2;
    for (line, weight) in down.iter().enumerate() {
        let taps = &from[first + line * FULL..][..4];
        (0..4).for_each(|tap| columns[tap] += weight * taps[tap]);
    }
    columns.iter().zip(across).map(|(value, weight)| value * weight).sum()
}

/// `out = Σ tap × source(tap)`, element by element.
fn combine<'a>(out: &mut [f32], taps: [f32; 4], source: impl Fn(usize) -> &'a [f32]) {
    let [a, b, c, d] = [0, 1, 2, 3].map(|tap| &source(tap)[..RING]);
    for i in 0..RING {
        out[i] = taps[0] * a[i] + taps[1] * b[i] + taps[2] * c[i] + taps[3] * d[i];
    }
}

/// Index of the first of four taps for the first output (which lies one pixel before the patch), and the tap weights.
fn keys_taps(offset: f64) -> (usize, [f32; 4]) {
    let base = offset.floor().clamp(-1.0, 0.0);
    let t = (offset - base) as f32;
    let first = RIM as i64 - 1 + base as i64 - 1;
    (first.max(0) as usize, keys_weights(t))
}

/// Weights of the four neighbours at `t` between the second and the third.
fn keys_weights(t: f32) -> [f32; 4] {
    [
        -0.5 * t + t * t - 0.5 * t * t * t,
        1.0 - 2.5 * t * t + 1.5 * t * t * t,
        0.5 * t + 2.0 * t * t - 1.5 * t * t * t,
        -0.5 * t * t + 0.5 * t * t * t,
    ]
}

/// Running weighted sums of six numbers and their products.
#[derive(Default)]
struct Sums {
    weight: f64,
    first: [f64; 6],
    products: [f64; 21],
}

impl Sums {
    fn add(&mut self, weight: f64, values: [f32; 6]) {
        let v = values.map(f64::from);
        self.weight += weight;
        let mut next = 0;
        for i in 0..6 {
            let weighted = weight * v[i];
            self.first[i] += weighted;
            for value in v.iter().take(i + 1) {
                self.products[next] += weighted * value;
                next += 1;
            }
        }
    }

    fn about_mean(&self) -> Scatter {
        let mut raw = Matrix6::zeros();
        let mut next = 0;
        for i in 0..6 {
            for j in 0..=i {
                raw[(i, j)] = self.products[next];
                raw[(j, i)] = self.products[next];
                next += 1;
            }
        }
        let first = Vector6::from(self.first);
        let about_mean =
            if self.weight > 0.0 { raw - first * first.transpose() / self.weight } else { Matrix6::zeros() };
        Scatter { weight: self.weight, about_mean }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reading_along_a_map_is_exact_on_a_quadratic_or_says_nothing() {
        let value = |[x, y]: [f64; 2]| 0.3 * x * x + 0.1 * x * y - 0.2 * y + 1.0;
        let square: Vec<f32> = square(|x, y| value([x as f64, y as f64]) as f32);
        let plain = |[x, y]: [f64; 2]| [x + 0.25, y - 0.4];
        let turned = |[x, y]: [f64; 2]| [x - 0.01 * y + 0.3, y + 0.01 * x + 0.2];
        let curved = |[x, y]: [f64; 2]| [x + 0.0005 * (x - 24.0).powi(2), y];
        let mut out = vec![0.0; RING * RING];
        assert!(SmallMap::of(&curved).is_none() && SmallMap::of(&plain).unwrap().plain_offset().is_some());
        for places in [&plain as &dyn Fn([f64; 2]) -> [f64; 2], &turned, &curved] {
            read_along(&square, places, &mut out);
            for (i, read) in out.iter().enumerate() {
                let place = places(pixel_of(i));
                let reachable = place.iter().all(|p| (-2.0..(SIDE + 1) as f64).contains(p));
                assert_eq!(read.is_finite(), reachable, "{place:?}");
                if reachable {
                    approx::assert_relative_eq!(f64::from(*read), value(place), epsilon = 2e-2, max_relative = 1e-4);
                }
            }
        }
    }

    #[test]
    fn cubic_interpolation_is_exact_on_a_quadratic() {
        let value = |x: f64, y: f64| 0.3 * x * x + 0.1 * x * y - 0.2 * y + 1.0;
        let square: Vec<f32> = square(|x, y| value(x as f64, y as f64) as f32);
        let mut out = vec![0.0; RING * RING];
        for offset in [[0.25, -0.375], [-0.1, 0.0], [0.0, 0.5]] {
            interpolate(&square, offset, &mut out);
            for (x, y) in [(0usize, 0usize), (20, 31), (49, 49)] {
                let expected = value(x as f64 - 1.0 + offset[0], y as f64 - 1.0 + offset[1]);
                approx::assert_relative_eq!(
                    f64::from(out[y * RING + x]),
                    expected,
                    epsilon = 1e-3,
                    max_relative = 1e-5
                );
            }
        }
    }
}
