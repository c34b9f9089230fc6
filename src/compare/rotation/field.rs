//! The light of one sphere as logarithms by direction, with its slope, so that small rotations can be solved for.

use nalgebra::{SMatrix, SVector, Vector3};

use crate::base::parallel;
use crate::base::statistics::median;
use crate::compare::sphere_measurement::SphereMeasurement;
use crate::light::radiance::{DirectionGrid, Smoothed};
use crate::sphere::tangents;

/// What is added to every value, as a fraction of the median: dark directions say little, and noise rules there.
const FLOOR_FRACTION: f64 = 0.05;

/// Neighbours within this angle make a cell's slope, degrees.
const SLOPE_REACH_DEG: f64 = 6.0;

/// Colour channels.
pub(super) const CHANNELS: usize = 3;

/// Logarithms (base 2) by direction of the shared grid.
pub(super) struct LogField {
    /// Of luminance; NaN where unknown.
    pub(super) luminance: Vec<f64>,
    /// The same averaged over 13° around, for the first, coarse look.
    pub(super) coarse: Vec<f64>,
    /// Of each channel with its slope; `None` where unknown.
    pub(super) local: Vec<Option<Local>>,
}

/// One direction: value per channel, and its slope (a tangent vector, per rad) and curvature in a local frame.
pub(super) struct Local {
    frame: [Vector3<f64>; 2],
    at: Vector3<f64>,
    /// Value, two slopes, three curvatures per channel.
    terms: SMatrix<f64, 6, CHANNELS>,
}

impl Local {
    /// Values at this cell's own direction.
    pub(super) fn own_value(&self) -> SVector<f64, CHANNELS> {
        self.terms.row(0).transpose()
    }

    /// Values at a direction near this cell's, and the slope of each channel there.
    pub(super) fn value_and_slopes(
        &self,
        direction: &Vector3<f64>,
    ) -> (SVector<f64, CHANNELS>, [Vector3<f64>; CHANNELS]) {
        let offset = direction - self.at;
        let (u, v) = (offset.dot(&self.frame[0]), offset.dot(&self.frame[1]));
        let slope = |channel: usize| {
            let t = self.terms.column(channel);
            self.frame[0] * (t[1] + 2.0 * t[3] * u + t[4] * v) + self.frame[1] * (t[2] + t[4] * u + 2.0 * t[5] * v)
        };
        let value = self.terms.transpose() * SVector::from([1.0, u, v, u * u, u * v, v * v]);
        (value, [0, 1, 2].map(slope))
    }
}

impl LogField {
    pub(super) fn of(side: &SphereMeasurement) -> Self {
        let smoothed = side.image.map.compared();
        let floor = floor(smoothed);
        let luminance: Vec<f64> =
            smoothed.iter().map(|s| s.map_or(f64::NAN, |s| (s.luminance.max(0.0) + floor).log2())).collect();
        let channels: Vec<Option<SVector<f64, CHANNELS>>> = smoothed
            .iter()
            .map(|s| s.map(|s| SVector::from(s.rgb.map(|value| (value.max(0.0) + floor).log2()))))
            .collect();
        let coarse = parallel::map(luminance.len(), |cell| mean_around(&luminance, cell));
        let local = parallel::map(luminance.len(), |cell| local(&channels, cell));
        Self { luminance, coarse, local }
    }
}

fn floor(smoothed: &[Option<Smoothed>]) -> f64 {
    let seen = smoothed.iter().flatten().map(|s| s.luminance).filter(|l| *l > 0.0);
    median(seen).map_or(1.0, |usual| usual * FLOOR_FRACTION)
}

fn mean_around(values: &[f64], cell: usize) -> f64 {
    if values[cell].is_nan() {
        return f64::NAN;
    }
    let around = DirectionGrid::shared().neighbours(cell).iter().map(|(other, _)| values[usize::from(*other)]);
    let (sum, count) = around.filter(|v| !v.is_nan()).fold((0.0, 0.0), |(s, n), v| (s + v, n + 1.0));
    sum / f64::max(count, 1.0)
}

/// A parabola through a cell and its neighbours, by least squares.
fn local(channels: &[Option<SVector<f64, CHANNELS>>], cell: usize) -> Option<Local> {
    channels[cell]?;
    let grid = DirectionGrid::shared();
    let at = grid.directions[cell];
    let frame = tangents(&at);
    let mut normal = SMatrix::<f64, 6, 6>::zeros();
    let mut right = SMatrix::<f64, 6, CHANNELS>::zeros();
    for (other, angle) in grid.neighbours(cell) {
        let Some(value) = channels[usize::from(*other)] else { continue };
        if f64::from(*angle) > SLOPE_REACH_DEG.to_radians() {
            continue;
        }
        let offset = grid.directions[usize::from(*other)] - at;
        let (u, v) = (offset.dot(&frame[0]), offset.dot(&frame[1]));
        let terms = SVector::<f64, 6>::from([1.0, u, v, u * u, u * v, v * v]);
        normal += terms * terms.transpose();
        right += terms * value.transpose();
    }
    let terms = normal.cholesky()?.solve(&right);
    terms.iter().all(|t| t.is_finite()).then_some(Local { frame, at, terms })
}
