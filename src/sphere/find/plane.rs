//! Luminance planes of a frame: half resolution and coarser, plus full-resolution patches cut out on demand.

use nalgebra::Vector3;

use crate::base::parallel;
use crate::colour::WORKING_LUMINANCE;
use crate::image::Frame;

/// Linear luminance on a regular grid. Masked samples are NaN.
#[derive(Debug, Clone)]
pub(super) struct Plane {
    /// Columns.
    pub width: usize,
    /// Rows.
    pub height: usize,
    /// Frame position of the plane's outer top-left corner, px.
    pub origin: [f64; 2],
    /// Frame pixels per plane sample.
    pub scale: f64,
    /// Samples, row by row.
    pub values: Vec<f32>,
}

impl Plane {
    /// The plane at half this resolution: means of 2 × 2 samples, masked ones left out.
    fn halved(&self) -> Self {
        let (width, height) = (self.width / 2, self.height / 2);
        let mut values = vec![0.0; width * height];
        parallel::each_row(&mut values, width, |row, out| {
            let top = &self.values[2 * row * self.width..][..self.width];
            let bottom = &self.values[(2 * row + 1) * self.width..][..self.width];
            for (column, value) in out.iter_mut().enumerate() {
                let c = 2 * column;
                *value = mean_of_present([top[c], top[c + 1], bottom[c], bottom[c + 1]]);
            }
        });
        Self { width, height, origin: self.origin, scale: self.scale * 2.0, values }
    }

    /// Bilinear sample at a frame position; `None` outside the grid of sample centres or where a sample is masked.
    pub(super) fn sample(&self, point_px: [f64; 2]) -> Option<f64> {
        let x = (point_px[0] - self.origin[0]) / self.scale - 0.5;
        let y = (point_px[1] - self.origin[1]) / self.scale - 0.5;
        let inside = x >= 0.0 && y >= 0.0 && x < (self.width as f64 - 1.0) && y < (self.height as f64 - 1.0);
        if !inside {
            return None;
        }
        let (column, row) = (x as usize, y as usize);
        let (fx, fy) = ((x - column as f64) as f32, (y - row as f64) as f32);
        let i = row * self.width + column;
        let (a, b) = (self.values[i], self.values[i + 1]);
        let (c, d) = (self.values[i + self.width], self.values[i + self.width + 1]);
        let value = (a * (1.0 - fx) + b * fx) * (1.0 - fy) + (c * (1.0 - fx) + d * fx) * fy;
        value.is_finite().then_some(f64::from(value))
    }
}

/// Mean of the finite values; NaN without any.
fn mean_of_present(values: [f32; 4]) -> f32 {
    let sum: f32 = values.iter().sum();
    if sum.is_finite() {
        return sum * 0.25;
    }
    let (total, count) = values.iter().filter(|v| v.is_finite()).fold((0.0_f32, 0.0_f32), |(t, n), v| (t + v, n + 1.0));
    if count > 0.0 { total / count } else { f32::NAN }
}

/// Weights that turn the frame's own linear RGB into luminance.
pub(super) fn luminance_weights(frame: &Frame) -> [f32; 3] {
    let row = frame.space.to_working.transpose() * Vector3::from(WORKING_LUMINANCE);
    [row.x as f32, row.y as f32, row.z as f32]
}

fn weighted(weights: [f32; 3], rgb: [f32; 3]) -> f32 {
    weights[0] * rgb[0] + weights[1] * rgb[1] + weights[2] * rgb[2]
}

/// The frame at half resolution, then halved again until the short side falls below `smallest` samples.
pub(super) fn pyramid(frame: &Frame, smallest: usize) -> Vec<Plane> {
    let mut levels = vec![half_resolution(frame)];
    while let Some(last) = levels.last()
        && last.width.min(last.height) >= 2 * smallest
    {
        levels.push(last.halved());
    }
    levels
}

fn half_resolution(frame: &Frame) -> Plane {
    let weights = luminance_weights(frame);
    let stride = frame.data.width;
    let (width, height) = (stride / 2, frame.data.height / 2);
    let mut values = vec![0.0; width * height];
    parallel::each_row(&mut values, width, |row, out| {
        let top = &frame.rgb[2 * row * stride..][..stride];
        let bottom = &frame.rgb[(2 * row + 1) * stride..][..stride];
        for (column, value) in out.iter_mut().enumerate() {
            let c = 2 * column;
            *value = mean_of_present([top[c], top[c + 1], bottom[c], bottom[c + 1]].map(|p| weighted(weights, p)));
        }
    });
    let origin = [frame.data.x as f64, frame.data.y as f64];
    Plane { width, height, origin, scale: 2.0, values }
}

/// Full-resolution luminance of the part of the frame within `reach_px` of `centre_px`.
pub(super) fn patch(frame: &Frame, centre_px: [f64; 2], reach_px: [f64; 2]) -> Plane {
    let span = |axis: usize, first: i64, count: usize| {
        let low = (centre_px[axis] - reach_px[axis]).floor() as i64;
        let high = (centre_px[axis] + reach_px[axis]).ceil() as i64;
        (low.clamp(first, first + count as i64), high.clamp(first, first + count as i64))
    };
    let (x0, x1) = span(0, frame.data.x, frame.data.width);
    let (y0, y1) = span(1, frame.data.y, frame.data.height);
    let weights = luminance_weights(frame);
    let mut values = Vec::with_capacity(((x1 - x0) * (y1 - y0)) as usize);
    for y in y0..y1 {
        let row = (y - frame.data.y) as usize * frame.data.width;
        let first = row + (x0 - frame.data.x) as usize;
        values.extend(frame.rgb[first..first + (x1 - x0) as usize].iter().map(|p| weighted(weights, *p)));
    }
    Plane { width: (x1 - x0) as usize, height: (y1 - y0) as usize, origin: [x0 as f64, y0 as f64], scale: 1.0, values }
}

/// The luminance at which tone compression turns from linear to logarithmic: dark enough to keep the shadows, above
/// the code steps of 8-bit files.
pub(super) fn tone_knee(plane: &Plane, eight_bit: bool) -> f32 {
    let stride = (plane.values.len() / 20_000).max(1);
    let mut sample: Vec<f32> =
        plane.values.iter().step_by(stride).copied().filter(|v| v.is_finite() && *v > 0.0).collect();
    if sample.is_empty() {
        return 1.0;
    }
    sample.sort_by(f32::total_cmp);
    let quantile = |q: f64| sample[((sample.len() - 1) as f64 * q) as usize];
    let floor = if eight_bit { EIGHT_BIT_KNEE } else { 0.0 };
    quantile(0.2).max(quantile(0.9) * 1e-3).max(floor).max(f32::MIN_POSITIVE)
}

/// Two code steps of an 8-bit sRGB file in its linear toe (IEC 61966-2-1: 1/255/12.92 each).
const EIGHT_BIT_KNEE: f32 = 2.0 / 255.0 / 12.92;

/// Tone-compressed copy of a plane: equal ratios become equal steps above `knee`.
pub(super) fn toned(plane: &Plane, knee: f32) -> Vec<f32> {
    let gain = 1.0 / knee;
    parallel::map_each(&plane.values, |v| if v.is_finite() { (v.max(0.0) * gain).ln_1p() } else { f32::NAN })
}
