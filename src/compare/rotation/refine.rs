//! The last step of the search: the small rotation that is still missing, solved for on the radiance of all channels.
//!
//! Gauss–Newton on the differences of logarithms, every channel with an offset of its own, so that exposure and colour
//! errors do not turn anything. Directions that differ much from the rest (crew, a missing light) count little.

use nalgebra::{Matrix3, UnitQuaternion, Vector3};

use super::field::{CHANNELS, LogField};
use crate::base::statistics::{median, robust_sd};
use crate::light::radiance::{CELLS, COMPARISON_FWHM_DEG, DirectionGrid};

/// Differences up to this many robust deviations count nearly in full.
const ROBUST_REACH: f64 = 2.0;

/// The robust deviation is taken as at least this, stops.
const LEAST_DEVIATION_STOPS: f64 = 0.02;

/// Steps of the iteration at most.
const MOST_STEPS: usize = 25;

/// A step below this ends the iteration, rad (0.003°).
const SMALL_STEP_RAD: f64 = 5e-5;

/// Until a step is below this, rad, every third direction is enough.
const ROUGH_STEP_RAD: f64 = 1e-3;
const ROUGH_STRIDE: usize = 3;

/// Largest single step, rad (3°): slopes hold no farther.
const LARGEST_STEP_RAD: f64 = 0.05;

/// A rotation and how well the pictures determine it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Refined {
    pub(super) rotation: UnitQuaternion<f64>,
    /// Covariance of the rotation vector, rad², camera axes.
    pub(super) cov: Matrix3<f64>,
}

/// Sums of one step.
struct Normal {
    matrix: Matrix3<f64>,
    right: Vector3<f64>,
    deviation: f64,
}

/// One direction of one channel: difference in stops, and how it changes with the rotation vector.
struct Row {
    channel: usize,
    difference: f64,
    change: Vector3<f64>,
    weight: f64,
}

/// Refines a start that is a few degrees off; `None` where the light has no structure that would hold it.
pub(super) fn refine(target: &LogField, source: &LogField, start: UnitQuaternion<f64>) -> Option<Refined> {
    let mut rotation = start;
    let mut stride = ROUGH_STRIDE;
    for _ in 0..MOST_STEPS {
        let step = solve(&normal(&rows(target, source, &rotation, stride))?)?;
        let length = step.norm();
        let kept = if length > LARGEST_STEP_RAD { step * (LARGEST_STEP_RAD / length) } else { step };
        rotation = UnitQuaternion::from_scaled_axis(kept) * rotation;
        if length < SMALL_STEP_RAD && stride == 1 {
            break;
        }
        if length < ROUGH_STEP_RAD {
            stride = 1;
        }
    }
    let last = normal(&rows(target, source, &rotation, 1))?;
    Some(Refined { rotation, cov: covariance(&last)? })
}

/// The rows of every `stride`-th direction.
fn rows(target: &LogField, source: &LogField, rotation: &UnitQuaternion<f64>, stride: usize) -> Vec<Row> {
    let grid = DirectionGrid::shared();
    let (rotation, back) = (rotation.to_rotation_matrix(), rotation.inverse().to_rotation_matrix());
    let mut rows = Vec::with_capacity(CELLS / stride * CHANNELS);
    for (cell, direction) in grid.directions.iter().enumerate().step_by(stride) {
        let from = back * direction;
        let (Some(ours), Some(theirs)) = (&target.local[cell], &source.local[grid.cell(&from)]) else { continue };
        let (value, slopes) = theirs.value_and_slopes(&from);
        let difference = ours.own_value() - value;
        for channel in 0..CHANNELS {
            let change = direction.cross(&(rotation * slopes[channel]));
            rows.push(Row { channel, difference: difference[channel], change, weight: grid.steradian[cell] });
        }
    }
    rows
}

/// Weighs the rows and sums them up, each channel about its own mean.
fn normal(rows: &[Row]) -> Option<Normal> {
    let offsets = [0, 1, 2]
        .map(|channel| median(rows.iter().filter(|r| r.channel == channel).map(|r| r.difference)).unwrap_or(0.0));
    let off = |row: &Row| row.difference - offsets[row.channel];
    let deviation = robust_sd(rows.iter().map(off), 0.0).unwrap_or(0.0).max(LEAST_DEVIATION_STOPS);
    let weight = |row: &Row| row.weight / (1.0 + (off(row) / (ROBUST_REACH * deviation)).powi(2));
    let (mut matrix, mut right) = (Matrix3::zeros(), Vector3::zeros());
    let mut total = 0.0;
    let weights: Vec<f64> = rows.iter().map(weight).collect();
    for channel in 0..CHANNELS {
        let of_channel = || rows.iter().zip(&weights).filter(move |(r, _)| r.channel == channel);
        let sum: f64 = of_channel().map(|(_, w)| w).sum();
        if sum <= 0.0 {
            return None;
        }
        let mean_change = of_channel().map(|(r, w)| r.change * *w).sum::<Vector3<f64>>() / sum;
        let mean_off = of_channel().map(|(r, w)| off(r) * w).sum::<f64>() / sum;
        for (row, w) in of_channel() {
            let change = row.change - mean_change;
            matrix += change * change.transpose() * *w;
            right -= change * ((off(row) - mean_off) * w);
        }
        total += sum;
    }
    // One row counts as one observation.
    let scale = rows.len() as f64 / total;
    deviation.is_finite().then_some(Normal { matrix: matrix * scale, right: right * scale, deviation })
}

fn solve(normal: &Normal) -> Option<Vector3<f64>> {
    let step = normal.matrix.cholesky()?.solve(&normal.right);
    step.iter().all(|v| v.is_finite()).then_some(step)
}

/// Blurred neighbours say the same and so do channels: the independent observations are fewer than the rows.
fn covariance(normal: &Normal) -> Option<Matrix3<f64>> {
    let sigma_rad = COMPARISON_FWHM_DEG.to_radians() / (8.0 * std::f64::consts::LN_2).sqrt();
    let cell = 4.0 * std::f64::consts::PI / CELLS as f64;
    let alike = CHANNELS as f64 * 4.0 * std::f64::consts::PI * sigma_rad * sigma_rad / cell;
    let inverse = normal.matrix.try_inverse()?;
    let cov = inverse * (normal.deviation * normal.deviation * alike);
    cov.iter().all(|v| v.is_finite()).then_some(cov)
}
