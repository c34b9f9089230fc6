//! What the brightness across the rim of a mirror sphere looks like, and how an edge is located with it.
//!
//! Outside: a level with a slope. Inside, at depth t below the rim, a mirror shows the directions `∝ √(t/r)` away from
//! what lies right behind it, so the brightness starts from its own level and moves with √t. All of it is blurred by a
//! Gaussian. Levels and slopes enter linearly; for each place of the edge they follow from one precomputed projection.

use nalgebra::{Matrix4, SMatrix, SVector};

/// Distance of samples along a ray, in samples of the plane.
pub(super) const STEP: f64 = 0.5;
/// Samples on either side of the window's centre.
pub(super) const HALF_WINDOW: usize = 7;
/// Samples in a window.
pub(super) const WINDOW: usize = 2 * HALF_WINDOW + 1;
/// The edge is moved by up to this many shifts either way within a window.
const SHIFTS: i32 = 8;
/// One shift, in samples of the plane.
const SHIFT: f64 = 0.125;

type Design = SMatrix<f64, WINDOW, 4>;
type Window = SVector<f64, WINDOW>;

/// Penalties on the squares of level, outside slope, inside step and √depth term: just enough to keep a window of
/// pure noise from being explained by large terms that cancel.
const RIDGE: [f64; 4] = [1e-9, 2e-4, 1e-6, 1e-3];

/// The linear subspaces that a window must lie in, one for each place of the edge.
#[derive(Debug)]
pub(super) struct RimModel {
    /// Blur (1 sd) in samples of the plane.
    pub blur: f64,
    /// Orthonormal-in-effect projectors: residual sum of squares = yᵀy − (Bᵀy)ᵀ M (Bᵀy).
    places: Vec<Place>,
    plain: Place,
}

#[derive(Debug)]
struct Place {
    basis: Design,
    weights: Window,
    inverse: Matrix4<f64>,
}

impl Place {
    fn new(mut basis: Design, ridge: [f64; 4], weights: Window) -> Option<Self> {
        for mut column in basis.column_iter_mut() {
            column.component_mul_assign(&weights);
        }
        let normal = basis.transpose() * basis + Matrix4::from_diagonal(&ridge.into());
        normal.try_inverse().map(|inverse| Self { basis, weights, inverse })
    }

    /// Penalised, weighted residual sum of squares of a window.
    fn misfit(&self, window: &Window) -> f64 {
        let weighted = window.component_mul(&self.weights);
        let projected = self.basis.tr_mul(&weighted);
        (weighted.norm_squared() - projected.dot(&(self.inverse * projected))).max(0.0)
    }
}

/// An edge located in a window.
#[derive(Debug, Clone, Copy)]
pub(super) struct Located {
    /// Place relative to the window's centre, samples of the plane.
    pub offset: f64,
    /// Its standard deviation from the window's own misfit.
    pub sd: f64,
    /// Misfit without an edge over misfit with it.
    pub gain: f64,
}

impl RimModel {
    /// The model for one blur.
    pub(super) fn new(blur: f64) -> Option<Self> {
        let weights = window_weights(blur);
        let places = (-SHIFTS..=SHIFTS)
            .map(|shift| Place::new(edge_basis(f64::from(shift) * SHIFT, blur), RIDGE, weights))
            .collect::<Option<Vec<_>>>()?;
        let plain = Place::new(plain_basis(), [1e-9; 4], weights)?;
        Some(Self { blur, places, plain })
    }

    /// Misfit with the edge at the window's centre, and without an edge.
    pub(super) fn centred(&self, windows: &[Window]) -> (f64, f64) {
        let sum = |place: &Place| windows.iter().map(|w| place.misfit(w)).sum::<f64>();
        (sum(&self.places[SHIFTS as usize]), sum(&self.plain))
    }

    /// The best place within the window; `None` where it is not inside the range of shifts.
    pub(super) fn locate(&self, windows: &[Window]) -> Option<Located> {
        let misfits: Vec<f64> =
            self.places.iter().map(|p| windows.iter().map(|w| p.misfit(w)).sum::<f64>()).collect();
        let best = (0..misfits.len()).min_by(|a, b| misfits[*a].total_cmp(&misfits[*b]))?;
        if best == 0 || best + 1 == misfits.len() {
            return None;
        }
        let (before, at, after) = (misfits[best - 1], misfits[best], misfits[best + 1]);
        let curvature = before + after - 2.0 * at;
        if curvature <= 0.0 {
            return None;
        }
        let offset = (best as f64 - f64::from(SHIFTS) + 0.5 * (before - after) / curvature) * SHIFT;
        // The samples lie half a plane sample apart: half of them are independent.
        let freedom = (windows.len() * (WINDOW / 2 - 4)) as f64;
        let energy: f64 = windows.iter().map(nalgebra::Matrix::norm_squared).sum();
        let variance = (at + 1e-10 * energy) / freedom;
        let sd = (2.0 * 2.0 * variance / curvature).sqrt() * SHIFT;
        let plain = self.centred(windows).1;
        Some(Located { offset, sd, gain: plain / (at + 1e-10 * energy).max(f64::MIN_POSITIVE) })
    }
}

/// Square roots of the samples' weights. Inside, a mirror squeezes scenery against the rim, so only what lies close to
/// the edge belongs to it; outside, the surround is not squeezed and may be used further out.
fn window_weights(blur: f64) -> Window {
    let taper = |distance: f64, full: f64, fall: f64| (-0.5 * ((distance - full).max(0.0) / fall).powi(2)).exp();
    Window::from_fn(|row, _| {
        let outward = (row as f64 - HALF_WINDOW as f64) * STEP;
        let weight = if outward < 0.0 { taper(-outward, INSIDE * blur, INSIDE_FALL) } else { taper(outward, 2.5, 1.0) };
        weight.sqrt()
    })
}

/// Inside, samples count fully down to this many blurs, and fall off beyond over this many samples.
const INSIDE: f64 = 1.0;
const INSIDE_FALL: f64 = 0.8;

/// Columns: level, outside slope, inside step, inside √depth; the edge stands at `place`.
fn edge_basis(place: f64, blur: f64) -> Design {
    Design::from_fn(|row, column| {
        let outward = (row as f64 - HALF_WINDOW as f64) * STEP - place;
        match column {
            0 => 1.0,
            1 => blurred(outward, blur, |t| t.max(0.0)),
            2 => blurred(outward, blur, |t| if t < 0.0 { 1.0 } else { 0.0 }),
            _ => blurred(outward, blur, |t| (-t).max(0.0).sqrt()),
        }
    })
}

/// Cubic polynomials: what smooth shading looks like without an edge.
fn plain_basis() -> Design {
    Design::from_fn(|row, column| ((row as f64 - HALF_WINDOW as f64) / HALF_WINDOW as f64).powi(column as i32))
}

/// A profile blurred by a Gaussian, by fine midpoint summation over ±4 sd.
fn blurred(at: f64, sd: f64, profile: impl Fn(f64) -> f64) -> f64 {
    const PIECES: i32 = 160;
    let (mut total, mut weights) = (0.0, 0.0);
    for piece in 0..PIECES {
        let z = (f64::from(piece) + 0.5) / f64::from(PIECES) * 8.0 - 4.0;
        let weight = (-0.5 * z * z).exp();
        total += weight * profile(at + z * sd);
        weights += weight;
    }
    total / weights
}

#[cfg(test)]
mod tests {
    use super::*;

    fn window(profile: impl Fn(f64) -> f64) -> Window {
        Window::from_fn(|row, _| profile((row as f64 - HALF_WINDOW as f64) * STEP))
    }

    #[test]
    fn a_blurred_step_is_located_where_it_stands() {
        let model = RimModel::new(0.7).unwrap();
        for place in [-0.63, -0.2, 0.0, 0.31, 0.7] {
            let step = window(|t| 0.2 + 0.6 * blurred(t - place, 0.7, |u| if u < 0.0 { 1.0 } else { 0.0 }));
            let found = model.locate(&[step]).unwrap();
            assert!((found.offset - place).abs() < 0.01, "{place}: {found:?}");
            assert!(found.gain > 100.0);
        }
    }

    #[test]
    fn a_slope_has_no_edge() {
        let model = RimModel::new(0.7).unwrap();
        let slope = window(|t| 1.0 + 0.3 * t);
        assert!(model.locate(&[slope]).is_none_or(|f| f.gain < 2.0));
    }
}
