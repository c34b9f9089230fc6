//! The smooth displacement that lays one picture over the other: what outlines, a small turn and parallax leave.

use nalgebra::{SMatrix, SVector};

use super::pictures::Pictures;
use super::warp::Bump;
use crate::register::robust::TUKEY_SPREADS;
use crate::sphere_faults::support::median;

/// Terms of the displacement along one axis: a parabola over the disc.
const TERMS: usize = 6;
/// Steps of the iteration.
const STEPS: usize = 8;
/// No cell moves farther than this part of the radius.
const FARTHEST: f64 = 0.08;
/// The two pictures show the same from this correlation on.
const LEAST_CORRELATION: f64 = 0.85;
/// Least part of the disc that both show without lights.
const LEAST_JUDGED: f64 = 0.4;

/// The CG's picture laid over the photographed one.
pub(super) struct Aligned {
    /// Displacement of each cell, cells.
    pub(super) shift: Vec<[f32; 2]>,
    /// Photographed less CG; NaN where not judged.
    pub(super) residual: Vec<f32>,
    /// Scatter of it (1 sd, by the median).
    pub(super) sd: f32,
}

impl Aligned {
    fn of(pictures: &Pictures, shift: Vec<[f32; 2]>) -> Self {
        let residual = residual(pictures, &shift);
        let mut known: Vec<f32> = residual.iter().filter(|r| r.is_finite()).map(|r| r.abs()).collect();
        let sd = 1.4826 * median(&mut known);
        Self { shift, residual, sd }
    }

    /// With a dent laid over too.
    pub(super) fn add(&mut self, pictures: &Pictures, bump: &Bump) {
        let side = pictures.side;
        for (i, shift) in self.shift.iter_mut().enumerate() {
            if let Some([x, y]) = bump.shift_at(pictures.on_disc(i % side, i / side)) {
                shift[0] += x as f32;
                shift[1] += y as f32;
            }
        }
        self.residual = residual(pictures, &self.shift);
    }
}

fn residual(pictures: &Pictures, shift: &[[f32; 2]]) -> Vec<f32> {
    let side = pictures.side;
    let value = |i: usize| {
        if !pictures.judged[i] {
            return f32::NAN;
        }
        let there = [(i % side) as f32 + shift[i][0], (i / side) as f32 + shift[i][1]];
        pictures.mirror.values[i] - pictures.cg.between(there)
    };
    (0..side * side).map(value).collect()
}

fn terms([x, y]: [f64; 2]) -> SVector<f64, TERMS> {
    SVector::from([1.0, x, y, x * x, x * y, y * y])
}

/// Lays the pictures over each other. `None` where they do not show the same.
pub(super) fn align(pictures: &Pictures) -> Option<Aligned> {
    let side = pictures.side;
    let on_disc: Vec<SVector<f64, TERMS>> =
        (0..side * side).map(|i| terms(pictures.on_disc(i % side, i / side))).collect();
    let mut moved = [SVector::<f64, TERMS>::zeros(); 2];
    let shift_of = |moved: &[SVector<f64, TERMS>; 2]| -> Vec<[f32; 2]> {
        on_disc.iter().map(|t| [0, 1].map(|axis| moved[axis].dot(t) as f32)).collect()
    };
    let mut aligned = Aligned::of(pictures, shift_of(&moved));
    for _ in 0..STEPS {
        let step = step(pictures, &aligned, &on_disc)?;
        moved[0] += step.fixed_rows::<TERMS>(0);
        moved[1] += step.fixed_rows::<TERMS>(TERMS);
        aligned = Aligned::of(pictures, shift_of(&moved));
        if step.amax() < 0.01 {
            break;
        }
    }
    let farthest = aligned.shift.iter().zip(&aligned.residual).filter(|(_, r)| r.is_finite());
    let farthest = farthest.map(|(s, _)| s[0].hypot(s[1])).fold(0.0_f32, f32::max);
    let near = f64::from(farthest) <= FARTHEST * pictures.radius;
    (near && shows_the_same(pictures, &aligned)).then_some(aligned)
}

/// One robust Gauss-Newton step.
fn step(
    pictures: &Pictures,
    aligned: &Aligned,
    on_disc: &[SVector<f64, TERMS>],
) -> Option<SVector<f64, { 2 * TERMS }>> {
    let side = pictures.side;
    let cut = TUKEY_SPREADS as f32 * aligned.sd.max(1e-4);
    let mut normal = SMatrix::<f64, { 2 * TERMS }, { 2 * TERMS }>::zeros();
    let mut right = SVector::<f64, { 2 * TERMS }>::zeros();
    for row in (0..side).step_by(2) {
        for column in ((row / 2 % 2)..side).step_by(2) {
            let i = row * side + column;
            let r = aligned.residual[i];
            if r.is_nan() || r.abs() >= cut {
                continue;
            }
            let there = [column as f32 + aligned.shift[i][0], row as f32 + aligned.shift[i][1]];
            let slope = |dx: f32, dy: f32| {
                let ahead = pictures.cg.between([there[0] + dx, there[1] + dy]);
                f64::from(0.5 * (ahead - pictures.cg.between([there[0] - dx, there[1] - dy])))
            };
            let (gx, gy) = (slope(1.0, 0.0), slope(0.0, 1.0));
            if !(gx + gy).is_finite() {
                continue;
            }
            let u = f64::from(r / cut);
            let weight = (1.0 - u * u).powi(2);
            let t = &on_disc[i];
            let mut full = SVector::<f64, { 2 * TERMS }>::zeros();
            full.fixed_rows_mut::<TERMS>(0).copy_from(&(t * gx));
            full.fixed_rows_mut::<TERMS>(TERMS).copy_from(&(t * gy));
            normal.ger(weight, &full, &full, 1.0);
            right += full * (weight * f64::from(r));
        }
    }
    let ridge = 1e-6 * normal.trace() / (2 * TERMS) as f64;
    (normal + SMatrix::identity() * ridge).cholesky().map(|c| c.solve(&right))
}

fn shows_the_same(pictures: &Pictures, aligned: &Aligned) -> bool {
    let (mut count, mut mm, mut cc, mut mc) = (0_u32, 0.0, 0.0, 0.0);
    for (r, m) in aligned.residual.iter().zip(&pictures.mirror.values).filter(|(r, _)| r.is_finite()) {
        let (m, c) = (f64::from(*m), f64::from(*m - *r));
        count += 1;
        mm += m * m;
        cc += c * c;
        mc += m * c;
    }
    let disc = std::f64::consts::PI * pictures.radius.powi(2);
    f64::from(count) >= LEAST_JUDGED * disc && mc >= LEAST_CORRELATION * (mm * cc).sqrt() && mm > 0.0
}
