//! How far a frame is defocused, from the rim of its sphere.
//!
//! The rim is a perfectly sharp edge. Its contrast differs all round, so every line across it is scaled to run from 0
//! to 1, and a blurred step is fitted to the median of the lines.

use std::f64::consts::PI;

use crate::base::statistics::median;
use crate::base::units::Estimate;
use crate::colour::luminance;
use crate::image::{Frame, four_around};
use crate::sphere::Outline;

/// Lines across the rim.
const LINES: usize = 180;

/// Fewest that must show an edge.
const MIN_LINES: usize = 40;

/// Half length of a line, px, and its steps a pixel.
const REACH_PX: f64 = 5.0;
const STEPS_PER_PX: f64 = 4.0;

/// Beyond this distance from the rim a line is taken as level, px; larger blur cannot be measured.
const LEVEL_PX: f64 = 3.5;

/// Least contrast of an edge against the brighter side.
const MIN_CONTRAST: f64 = 0.3;

/// Largest misfit of the blurred step (root mean square of a unit step) at which the rim is usable.
const MAX_MISFIT: f64 = 0.05;

/// Variance of a pixel (1/12) and of interpolation between pixels at an even place (1/6), px².
const SAMPLING_PX2: f64 = 1.0 / 12.0 + 1.0 / 6.0;

/// Uncertainty of the variance, px² and as a fraction: what the sphere mirrors at its rim is not level.
const SD_PX2: f64 = 0.15;
const SD_FRACTION: f64 = 0.25;

/// Largest blur tried, px.
const MAX_SD_PX: f64 = 2.5;

/// Variance of the frame's blur beyond its own pixels, px². `None` where the rim shows no clean edge.
pub(super) fn blur_px2(frame: &Frame, outline: &Outline) -> Option<Estimate> {
    let steps = (2.0 * REACH_PX * STEPS_PER_PX) as usize + 1;
    let place = |i: usize| i as f64 / STEPS_PER_PX - REACH_PX;
    let lines: Vec<Vec<f64>> = (0..LINES).filter_map(|i| line(frame, outline, i, steps, &place)).collect();
    if lines.len() < MIN_LINES {
        return None;
    }
    let edge: Vec<f64> = (0..steps).filter_map(|i| median(lines.iter().map(|l| l[i]))).collect();
    let misfit = |sd: f64, shift: f64| {
        let square = |i: usize| (edge[i] - normal_cdf((place(i) - shift) / sd)).powi(2);
        ((0..steps).map(square).sum::<f64>() / steps as f64).sqrt()
    };
    let tried = (4..=(MAX_SD_PX * 20.0) as usize).flat_map(|sd| (-20..=20).map(move |shift| (sd, shift)));
    let (sd, least) = tried
        .map(|(sd, shift)| (0.05 * sd as f64, misfit(0.05 * sd as f64, 0.1 * f64::from(shift))))
        .min_by(|a, b| a.1.total_cmp(&b.1))?;
    let variance = (sd * sd - SAMPLING_PX2).max(0.0);
    (least < MAX_MISFIT && sd < MAX_SD_PX - 0.1).then(|| Estimate::new(variance, SD_PX2.hypot(SD_FRACTION * variance)))
}

/// One line across the rim, from 0 inside to 1 outside.
fn line(
    frame: &Frame,
    outline: &Outline,
    index: usize,
    steps: usize,
    place: &dyn Fn(usize) -> f64,
) -> Option<Vec<f64>> {
    let turn = 2.0 * PI * index as f64 / LINES as f64;
    let point = outline.point(turn);
    let ahead = outline.point(turn + 1e-4);
    let along = [ahead[0] - point[0], ahead[1] - point[1]];
    let length = along[0].hypot(along[1]).max(1e-12);
    let mut outward = [along[1] / length, -along[0] / length];
    if outward[0] * (point[0] - outline.centre_x) + outward[1] * (point[1] - outline.centre_y) < 0.0 {
        outward = outward.map(|o| -o);
    }
    let at = |i: usize| sampled(frame, [0, 1].map(|axis| point[axis] + outward[axis] * place(i)));
    let values: Vec<f64> = (0..steps).map(at).collect::<Option<_>>()?;
    let level = |inside: bool| {
        let beyond = |i: &usize| if inside { place(*i) < -LEVEL_PX } else { place(*i) > LEVEL_PX };
        let chosen: Vec<f64> = (0..steps).filter(beyond).map(|i| values[i]).collect();
        chosen.iter().sum::<f64>() / chosen.len() as f64
    };
    let (inner, outer) = (level(true), level(false));
    let brighter = inner.max(outer);
    let clear = (outer - inner).abs() > MIN_CONTRAST * brighter;
    (clear && brighter > 0.0).then(|| values.iter().map(|v| (v - inner) / (outer - inner)).collect())
}

/// Luminance between pixel centres; `None` where the frame has no data or is clipped.
fn sampled(frame: &Frame, point: [f64; 2]) -> Option<f64> {
    let mut sum = 0.0;
    for (column, row, weight) in four_around(point) {
        let value = frame.pixel(column, row)?;
        if frame.clip_level.is_some_and(|level| (0..3).any(|c| value[c] >= level[c])) {
            return None;
        }
        sum += weight * luminance(value.map(f64::from));
    }
    sum.is_finite().then_some(sum)
}

/// Φ by its logistic approximation (Bowling et al. 2009, equation 3.1: within 1.4e-4).
fn normal_cdf(z: f64) -> f64 {
    1.0 / (1.0 + (-(0.07056 * z * z * z + 1.5976 * z)).exp())
}
