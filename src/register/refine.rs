//! Sub-pixel shift by least squares on the gradients of many patches (Lucas & Kanade 1981), robustly weighted.
//!
//! Each patch has its own brightness offset, so on logarithms neither exposure nor uneven light matters; one common
//! gain absorbs a difference in contrast.

use crate::base::parallel;
use crate::base::statistics::SD_PER_MEDIAN_DEVIATION;
use nalgebra::{Matrix2, Matrix3, Matrix4, Vector2, Vector3};

use super::patch::{Patch, Scatter};
use crate::base::robust::{TUKEY_SPREADS, Weighted, weighted_quantile};

/// Steps of the iteration; it mostly settles in three to five.
const MOST_STEPS: usize = 15;
/// A step below this many pixels ends the iteration.
const SETTLED_PX: f64 = 5e-4;
/// A result this far from its start has left the valley it started in.
const LOST_PX: f64 = 4.0;
/// What cubic interpolation and pixel sampling leave on real detail, px (the tests stay well below).
const METHOD_SD_PX: f64 = 0.008;

/// A refined shift in pixels of the patches: `moving(x + d) ≈ fixed(x)`.
#[derive(Debug, Clone)]
pub(super) struct Refined {
    /// The shift (x right, y down).
    pub(super) shift_px: [f64; 2],
    /// Its covariance, px², from the scatter between patches.
    pub(super) cov_px2: Matrix2<f64>,
    /// Robust standard deviation of `moving − gain × fixed`, unit of the values.
    pub(super) residual: f64,
    /// Root mean square gradient that both pictures share along the direction that has least, per pixel.
    pub(super) texture: f64,
    /// Share of the gradient energy along that direction that both pictures have in common: 1 without noise, about 0
    /// where there is nothing but noise.
    pub(super) agreement: f64,
    /// The same along the direction that has most.
    pub(super) agreement_best: f64,
}

/// Refines `start`; `cut` gives the patches for a whole-pixel offset. `None` where it runs away or nothing overlaps.
pub(super) fn refine(cut: &dyn Fn([i64; 2]) -> Vec<Patch>, start: [f64; 2]) -> Option<Refined> {
    let mut shift = Vector2::from(start);
    let mut gain = 1.0;
    let mut offset = start.map(|d| d.round() as i64);
    let mut patches = cut(offset);
    for _ in 0..MOST_STEPS {
        if (0..2).any(|axis| (shift[axis] - offset[axis] as f64).abs() > 0.75) {
            offset = [shift.x.round() as i64, shift.y.round() as i64];
            patches = cut(offset);
        }
        let step = Comparison::of(&mut patches, fraction(shift, offset), gain)?.step()?;
        shift += Vector2::new(step.x, step.y).map(|d| d.clamp(-1.0, 1.0));
        gain = (gain + step.z).clamp(0.2, 5.0);
        if (shift - Vector2::from(start)).norm() > LOST_PX {
            return None;
        }
        if step.x.hypot(step.y) < SETTLED_PX {
            break;
        }
    }
    Comparison::of(&mut patches, fraction(shift, offset), gain)?.result(shift)
}

fn fraction(shift: Vector2<f64>, offset: [i64; 2]) -> [f64; 2] {
    // Half of it must stay within the reach of the interpolation.
    [0, 1].map(|axis| (shift[axis] - offset[axis] as f64).clamp(-1.0, 1.0))
}

/// All patches compared at one shift and gain.
struct Comparison {
    gain: f64,
    residual_sd: f64,
    scatters: Vec<Scatter>,
}

impl Comparison {
    fn of(patches: &mut [Patch], fraction: [f64; 2], gain: f64) -> Option<Self> {
        let found: Vec<(f64, Vec<Weighted>)> = parallel::map_each_mut(patches, |patch| {
            patch.align(fraction);
            patch.residuals(gain)
        });
        let mut away: Vec<Weighted> = found.iter().flat_map(|(_, deviations)| deviations.iter().copied()).collect();
        if away.len() < 50 {
            return None;
        }
        let largest = away.iter().map(|v| v.value).fold(0.0, f64::max);
        let median = weighted_quantile(&mut away, 0.5).unwrap_or(0.0);
        let residual_sd = (SD_PER_MEDIAN_DEVIATION * median).max(1e-4 * largest).max(1e-12);
        let middles = found.iter().map(|(middle, _)| *middle);
        let jobs: Vec<(&Patch, f64)> = patches.iter().zip(middles).collect();
        let reach = TUKEY_SPREADS * residual_sd;
        let scatters = parallel::map_each(&jobs, |(patch, middle)| patch.scatter(gain, *middle, reach));
        Some(Self { gain, residual_sd, scatters })
    }

    /// Change of (shift x, shift y, gain) that least squares asks for: `residual = −J·δ + fixed·Δgain`.
    fn step(&self) -> Option<Vector3<f64>> {
        let sum: Matrix4<f64> = self.scatters.iter().map(|s| s.reduced(self.gain)).sum();
        let signs = Matrix3::from_diagonal(&Vector3::new(-1.0, -1.0, 1.0));
        let normal = signs * sum.fixed_view::<3, 3>(0, 0) * signs;
        let right = signs * sum.fixed_view::<3, 1>(0, 3);
        let ridge = 1e-9 * normal.trace();
        let step = (normal + Matrix3::identity() * ridge).cholesky()?.solve(&right);
        step.iter().all(|v| v.is_finite()).then_some(step)
    }

    fn result(&self, shift: Vector2<f64>) -> Option<Refined> {
        let shared = self.shared_gradients();
        let own: Matrix2<f64> = self.scatters.iter().map(|s| self.gradient_block(s)).sum();
        let eigen = shared.symmetric_eigen();
        let (weak, strong) = if eigen.eigenvalues[0] <= eigen.eigenvalues[1] { (0, 1) } else { (1, 0) };
        let agreement = |axis: usize| {
            let direction = eigen.eigenvectors.column(axis).into_owned();
            let energy = direction.dot(&(own * direction));
            if energy > 0.0 { eigen.eigenvalues[axis] / energy } else { 0.0 }
        };
        let weight: f64 = self.scatters.iter().map(|s| s.weight).sum();
        Some(Refined {
            shift_px: [shift.x, shift.y],
            cov_px2: self.covariance(&shared)?,
            residual: self.residual_sd,
            texture: (eigen.eigenvalues[weak].max(0.0) / weight.max(1.0)).sqrt(),
            agreement: agreement(weak),
            agreement_best: agreement(strong),
        })
    }

    /// Sum of products of the fixed with the moving gradient: the noise of the two does not correlate and drops out.
    fn shared_gradients(&self) -> Matrix2<f64> {
        let cross: Matrix2<f64> =
            self.scatters.iter().map(|s| s.about_mean.fixed_view::<2, 2>(0, 2).into_owned()).sum();
        (cross + cross.transpose()) * (0.5 * self.gain)
    }

    fn gradient_block(&self, scatter: &Scatter) -> Matrix2<f64> {
        scatter.reduced(self.gain).fixed_view::<2, 2>(0, 0).into_owned()
    }

    /// Sandwich covariance with patches as clusters: whatever is correlated inside a patch is counted once.
    fn covariance(&self, shared: &Matrix2<f64>) -> Option<Matrix2<f64>> {
        let mut meat = Matrix2::zeros();
        let mut used = 0usize;
        for scatter in self.scatters.iter().filter(|s| s.weight > 0.0) {
            let score = scatter.reduced(self.gain).fixed_view::<2, 1>(0, 3).into_owned();
            meat += score * score.transpose();
            used += 1;
        }
        let small_sample = used as f64 / (used as f64 - 2.0).max(0.5);
        let inverse = shared.try_inverse()?;
        let cov = inverse * meat * inverse * small_sample + Matrix2::identity() * METHOD_SD_PX.powi(2);
        cov.iter().all(|v| v.is_finite()).then_some(cov)
    }
}
