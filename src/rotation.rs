//! The one rotation that best maps the CG sphere's light on the photographed sphere's.
//!
//! Both sides are blurred and taken as logarithms of luminance, so that a bright light does not decide alone; the
//! correlation over all directions is searched over the whole rotation group, then refined.

use nalgebra::{Rotation3, UnitQuaternion, Vector3};
use rayon::prelude::*;

use crate::radiance::{COMPARISON_FWHM_DEG, DirectionGrid};
use crate::side::Side;
use crate::units::Estimate;

/// Smallest correlation at which a rotation counts as explaining the difference.
const MIN_CORRELATION: f64 = 0.9;

/// With this correlation no rotation worth undoing is left, and the search is spared.
const ALREADY_ALIKE: f64 = 0.985;

/// Rotations smaller than this are not undone: they are within the error of the search.
const MIN_ANGLE_DEG: f64 = 1.0;

/// A rotation must raise the correlation over no rotation by this fraction of what is missing to 1.
const MIN_GAIN: f64 = 0.5;

/// A well-determined rotation, CG → mirror.
#[derive(Debug, Clone)]
pub struct Rotation {
    /// Takes a direction of the CG's light to where the photograph has it.
    pub cg_to_mirror: Rotation3<f64>,
    /// Its angle.
    pub angle_deg: Estimate,
    /// Correlation of the logarithms after it is applied.
    pub correlation: f64,
    /// Correlation without it.
    pub correlation_before: f64,
}

impl Rotation {
    /// Where the light that the photograph has at `direction` lies in the CG.
    pub fn back(&self, direction: &Vector3<f64>) -> Vector3<f64> {
        self.cg_to_mirror.inverse() * direction
    }
}

/// Values by direction, `NaN` where unknown.
struct Field {
    values: Vec<f64>,
}

impl Field {
    fn of(side: &Side) -> Self {
        let smoothed = side.image.map.smoothed(COMPARISON_FWHM_DEG);
        let mut seen: Vec<f64> = smoothed.iter().flatten().map(|s| s.luminance).filter(|l| *l > 0.0).collect();
        let middle = seen.len() / 2;
        let floor = if seen.is_empty() { 1.0 } else { *seen.select_nth_unstable_by(middle, f64::total_cmp).1 * 0.05 };
        Self {
            values: smoothed.iter().map(|s| s.map_or(f64::NAN, |s| (s.luminance.max(0.0) + floor).log2())).collect(),
        }
    }
}

/// Finds the rotation; `None` where it is not well determined, does not explain the difference, or is negligible.
pub fn find_rotation(mirror: &Side, cg: &Side) -> Option<Rotation> {
    let (target, source) = (Field::of(mirror), Field::of(cg));
    let identity = UnitQuaternion::identity();
    let before = correlation(&target, &source, &identity, 1)?;
    if before > ALREADY_ALIKE {
        return None;
    }
    let (best, score) = search(&target, &source)?;
    let angle_deg = best.angle().to_degrees();
    let explains = score >= MIN_CORRELATION && score - before > MIN_GAIN * (1.0 - before);
    (explains && angle_deg >= MIN_ANGLE_DEG).then(|| Rotation {
        cg_to_mirror: best.to_rotation_matrix(),
        angle_deg: Estimate::new(angle_deg, 0.3),
        correlation: score,
        correlation_before: before,
    })
}

/// Correlation of the two fields over directions both know, every `stride`-th direction.
fn correlation(target: &Field, source: &Field, rotation: &UnitQuaternion<f64>, stride: usize) -> Option<f64> {
    let grid = DirectionGrid::shared();
    let back = rotation.inverse();
    let (mut n, mut sx, mut sy, mut sxx, mut syy, mut sxy) = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0);
    for cell in (0..target.values.len()).step_by(stride) {
        let x = target.values[cell];
        if x.is_nan() {
            continue;
        }
        let y = source.values[grid.cell(&(back * grid.directions[cell]))];
        if y.is_nan() {
            continue;
        }
        n += 1.0;
        sx += x;
        sy += y;
        sxx += x * x;
        syy += y * y;
        sxy += x * y;
    }
    let (vx, vy) = (sxx - sx * sx / n, syy - sy * sy / n);
    (n > 50.0 && vx > 1e-9 && vy > 1e-9).then(|| (sxy - sx * sy / n) / (vx * vy).sqrt())
}

/// A grid over the rotation group about 15° apart, then a descent from the best few.
fn search(target: &Field, source: &Field) -> Option<(UnitQuaternion<f64>, f64)> {
    let starts = rotation_grid();
    let mut scored: Vec<(f64, usize)> =
        starts.par_iter().enumerate().filter_map(|(i, r)| correlation(target, source, r, 13).map(|c| (c, i))).collect();
    scored.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
    let refined: Vec<(UnitQuaternion<f64>, f64)> =
        scored.par_iter().take(8).filter_map(|(_, i)| refine(target, source, starts[*i])).collect();
    refined.into_iter().max_by(|a, b| a.1.total_cmp(&b.1))
}

/// Compass search in the three small rotations, 8° down to 0.1°.
fn refine(target: &Field, source: &Field, start: UnitQuaternion<f64>) -> Option<(UnitQuaternion<f64>, f64)> {
    let mut best = (start, correlation(target, source, &start, 2)?);
    let mut step_rad = 8.0_f64.to_radians();
    while step_rad > 0.1_f64.to_radians() {
        let stride = if step_rad > 0.02 { 2 } else { 1 };
        let axes = [Vector3::x(), -Vector3::x(), Vector3::y(), -Vector3::y(), Vector3::z(), -Vector3::z()];
        let mut moved = false;
        for axis in axes {
            let candidate = UnitQuaternion::from_scaled_axis(axis * step_rad) * best.0;
            let Some(score) = correlation(target, source, &candidate, stride) else { continue };
            if score > best.1 + 1e-9 {
                best = (candidate, score);
                moved = true;
                break;
            }
        }
        if !moved {
            step_rad *= 0.5;
            best.1 = correlation(target, source, &best.0, if step_rad > 0.02 { 2 } else { 1 })?;
        }
    }
    Some(best)
}

/// Rotations spread over the whole group: turns about the vertical × tilts of that vertical.
fn rotation_grid() -> Vec<UnitQuaternion<f64>> {
    let mut all = vec![UnitQuaternion::identity()];
    let step = 15.0_f64;
    for tilt in 0..=12 {
        let tilt_deg = f64::from(tilt) * step;
        let count = (360.0 / step * tilt_deg.to_radians().sin()).round().max(1.0) as usize;
        for i in 0..count {
            let way = 2.0 * std::f64::consts::PI * i as f64 / count as f64;
            let axis = nalgebra::Unit::new_normalize(Vector3::new(way.cos(), 0.0, way.sin()));
            let lean = UnitQuaternion::from_axis_angle(&axis, tilt_deg.to_radians());
            for turn in 0..24 {
                all.push(
                    lean * UnitQuaternion::from_axis_angle(&Vector3::y_axis(), (f64::from(turn) * step).to_radians()),
                );
            }
        }
    }
    all
}
