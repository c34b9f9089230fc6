//! Points on edges, to a fraction of a pixel: the maximum of the gradient along the axis nearest to it (Devernay 1995).

use crate::base::parallel;
use crate::colour::WORKING_LUMINANCE;
use crate::image::Frame;

/// A picture longer than this is halved first, px: edges lose nothing, time is saved.
const LONGEST_SIDE: usize = 2600;
/// Exponent that brings linear light near to equal visibility (common practice, no source).
const VISIBILITY: f32 = 1.0 / 2.2;
/// Binomial weights of sixth order: a Gaussian of standard deviation 1.2 px.
const SMOOTHING: [f32; 7] = [1.0 / 64.0, 6.0 / 64.0, 15.0 / 64.0, 20.0 / 64.0, 15.0 / 64.0, 6.0 / 64.0, 1.0 / 64.0];
/// An edge stands this many times above the noise of the gradient.
const ABOVE_NOISE: f32 = 5.0;
/// An edge has at least this share of the gradient of the strongest edges.
const OF_STRONGEST: f32 = 0.06;

/// A smoothed picture of one value per pixel; NaN where pixels are missing.
pub(super) struct Picture {
    pub(super) width: usize,
    pub(super) height: usize,
    values: Vec<f32>,
    /// Pixels of the frame per pixel here.
    pub(super) scale: f64,
}

/// A point on an edge.
#[derive(Debug, Clone, Copy)]
pub(super) struct Edgel {
    /// Pixels of the picture, centre of the first at (0.5, 0.5).
    pub(super) place: [f64; 2],
    /// Unit vector across the edge, towards the bright side.
    pub(super) across: [f64; 2],
    pub(super) strength: f32,
}

/// All edge points, at most one per pixel.
pub(super) struct Edgels {
    pub(super) width: usize,
    pub(super) height: usize,
    pub(super) list: Vec<Edgel>,
    /// Index into the list plus one; 0 where there is none.
    pub(super) at: Vec<u32>,
}

impl Picture {
    pub(super) fn of(frame: &Frame) -> Self {
        let row = nalgebra::RowVector3::from(WORKING_LUMINANCE) * frame.space.to_working;
        let row = [row[0] as f32, row[1] as f32, row[2] as f32];
        let value = |x: usize, y: usize| {
            let rgb = frame.pixel(x as i64, y as i64);
            rgb.map_or(f32::NAN, |rgb| (0..3).map(|c| rgb[c] * row[c]).sum::<f32>().max(0.0).powf(VISIBILITY))
        };
        let (width, height) = (frame.size.width, frame.size.height);
        let step = width.max(height).div_ceil(LONGEST_SIDE).max(1);
        let (w, h) = (width / step, height / step);
        let block = |i: usize| {
            let (x, y) = ((i % w.max(1)) * step, (i / w.max(1)) * step);
            let sum: f32 = (0..step * step).map(|j| value(x + j % step, y + j / step)).sum();
            sum / (step * step) as f32
        };
        let values = parallel::map(w * h, block);
        Self { width: w, height: h, values, scale: step as f64 }.smoothed()
    }

    fn smoothed(self) -> Self {
        let across = self.filtered(1);
        let both = Self { values: across, ..self }.filtered(self.width);
        Self { values: both, ..self }
    }

    /// Filters along one axis; `stride` is the distance of neighbours. Borders become NaN.
    fn filtered(&self, stride: usize) -> Vec<f32> {
        let (w, h) = (self.width, self.height);
        let inside = |i: usize| {
            let position = if stride == 1 { i % w } else { i / w };
            position >= 3 && position + 3 < if stride == 1 { w } else { h }
        };
        let at = |i: usize| {
            if !inside(i) {
                return f32::NAN;
            }
            let start = i - 3 * stride;
            SMOOTHING.iter().enumerate().map(|(tap, weight)| weight * self.values[start + tap * stride]).sum()
        };
        parallel::map(w * h, at)
    }

    fn gradient(&self, x: usize, y: usize) -> [f32; 2] {
        let i = y * self.width + x;
        [
            0.5 * (self.values[i + 1] - self.values[i - 1]),
            0.5 * (self.values[i + self.width] - self.values[i - self.width]),
        ]
    }

    fn strength(&self, x: usize, y: usize) -> f32 {
        let [gx, gy] = self.gradient(x, y);
        gx.hypot(gy)
    }

    /// Strength below which a gradient is noise or of no account.
    fn threshold(&self) -> f32 {
        let step = ((self.width * self.height) / 40_000).max(1) | 1;
        let inside = |i: &usize| {
            let (x, y) = (i % self.width, i / self.width);
            x > 0 && y > 0 && x + 1 < self.width && y + 1 < self.height
        };
        let sampled = (0..self.width * self.height).step_by(step).filter(inside);
        let mut found: Vec<f32> =
            sampled.map(|i| self.strength(i % self.width, i / self.width)).filter(|s| s.is_finite()).collect();
        if found.len() < 100 {
            return f32::INFINITY;
        }
        found.sort_unstable_by(f32::total_cmp);
        let at = |share: f64| found[((found.len() - 1) as f64 * share) as usize];
        // Most of a picture is plain: the lower quartile of its gradients is noise (Rayleigh: 0.759 sd).
        let noise = at(0.25) / 0.759;
        (ABOVE_NOISE * noise).max(OF_STRONGEST * at(0.99)).max(1e-6)
    }
}

/// Finds the edge points.
pub(super) fn find(picture: &Picture) -> Edgels {
    let (width, height) = (picture.width, picture.height);
    let mut edgels = Edgels { width, height, list: Vec::new(), at: vec![0; width * height] };
    if width < 16 || height < 16 {
        return edgels;
    }
    let threshold = picture.threshold();
    let of_row = |row: usize| (2..width - 2).filter_map(move |x| edgel(picture, x, row + 2, threshold));
    edgels.list = parallel::flat_map(height - 4, of_row);
    for (i, edgel) in edgels.list.iter().enumerate() {
        let [x, y] = edgel.place.map(|c| c as usize);
        edgels.at[y.min(height - 1) * width + x.min(width - 1)] = i as u32 + 1;
    }
    edgels
}

/// The edge point of a pixel whose gradient is the largest along the axis nearest to it.
fn edgel(picture: &Picture, x: usize, y: usize, threshold: f32) -> Option<Edgel> {
    let [gx, gy] = picture.gradient(x, y);
    let here = gx.hypot(gy);
    if here.is_nan() || here <= threshold {
        return None;
    }
    let sideways = gx.abs() >= gy.abs();
    let (before, after) = if sideways {
        (picture.strength(x - 1, y), picture.strength(x + 1, y))
    } else {
        (picture.strength(x, y - 1), picture.strength(x, y + 1))
    };
    let is_ridge = here > before && here >= after;
    if !is_ridge {
        return None;
    }
    let bend = before - 2.0 * here + after;
    let offset = f64::from(if bend < 0.0 { 0.5 * (before - after) / bend } else { 0.0 }).clamp(-0.5, 0.5);
    let mut place = [x as f64 + 0.5, y as f64 + 0.5];
    place[usize::from(!sideways)] += offset;
    let across = [f64::from(gx / here), f64::from(gy / here)];
    Some(Edgel { place, across, strength: here })
}
