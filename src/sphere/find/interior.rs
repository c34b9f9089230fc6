//! What a mirror shows and other round things do not: the whole scene, squeezed along the radius towards the rim.

use std::f64::consts::TAU;

use nalgebra::{SMatrix, SVector};

use super::flat::{Circle, to_frame};
use super::plane::Plane;
use crate::base::statistics::weighted_median;
use crate::optics::camera::View;

/// Radial and angular steps of the polar grid.
const RINGS: usize = 40;
const SPOKES: usize = 96;
/// The grid ends at most this far out, as a fraction of the radius: the rim itself must not count …
const OUTERMOST: f64 = 0.955;
/// … and at least this many blurs of the rim inside it.
const CLEAR_OF_RIM: f64 = 2.5;

/// How the inside of a circle looks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Interior {
    /// Standard deviation of log luminance left after smooth shading is taken out, natural log units.
    pub detail: f64,
    /// The median distance from that shading, whatever covers less than half of the inside: next to nothing on a painted ball or
    /// a lamp, even with a post before it.
    pub typical_detail: f64,
    /// Energy of change along the radius over energy along the circle, in the ring of 0.72 to 0.95 radii.
    pub squeeze: f64,
    /// The same in the ring of 0.2 to 0.8 radii.
    pub inner_squeeze: f64,
    /// Fraction of the radial energy that is the same, in the less even of the two rings, all the way round (painted rings, wheels).
    pub concentric: f64,
}

/// Reads the inside of a circle whose rim is blurred by `blur_px`; `None` where less than half of it lies in the frame.
pub(super) fn interior(plane: &Plane, view: &View, circle: &Circle, blur_px: f64, knee: f32) -> Option<Interior> {
    let rim_px = CLEAR_OF_RIM * blur_px.max(0.7 * plane.scale);
    let outermost = OUTERMOST.min(1.0 - rim_px / circle.radius).max(0.6);
    let grid = PolarGrid::read(plane, view, circle, outermost, knee)?;
    let (squeeze, outer_common) = grid.squeeze(0.75 * outermost, outermost);
    let (inner_squeeze, inner_common) = grid.squeeze(0.2, 0.8);
    let concentric = outer_common.min(inner_common);
    let residuals = grid.shading_residuals();
    let (detail, typical_detail) = (grid.detail(&residuals), grid.typical_detail(&residuals));
    Some(Interior { detail, typical_detail, squeeze, inner_squeeze, concentric })
}

struct PolarGrid {
    outermost: f64,
    values: Vec<Option<f64>>,
}

impl PolarGrid {
    fn ring_radius(&self, ring: usize) -> f64 {
        ring_radius(self.outermost, ring)
    }

    fn read(plane: &Plane, view: &View, circle: &Circle, outermost: f64, knee: f32) -> Option<Self> {
        let knee = f64::from(knee);
        let at = |ring: usize, spoke: usize| {
            let phi = TAU * spoke as f64 / SPOKES as f64;
            let radius = circle.radius * ring_radius(outermost, ring);
            let point = to_frame(view, [circle.x + radius * phi.cos(), circle.y + radius * phi.sin()])?;
            Some((plane.sample(point)?.max(0.0) / knee).ln_1p())
        };
        let values: Vec<Option<f64>> = (0..RINGS * SPOKES).map(|i| at(i / SPOKES, i % SPOKES)).collect();
        let seen = values.iter().flatten().count();
        (2 * seen >= values.len()).then_some(Self { outermost, values })
    }

    fn value(&self, ring: usize, spoke: usize) -> Option<f64> {
        self.values[ring * SPOKES + spoke % SPOKES]
    }

    /// Ratio of radial to tangential energy between two radii (median over sectors: a streak of flare crosses only
    /// some), and the share of the radial energy that is common to all spokes.
    fn squeeze(&self, low: f64, high: f64) -> (f64, f64) {
        const SECTORS: usize = 12;
        let mut energy = [[1e-5_f64; 2]; SECTORS];
        let (mut radial, mut common) = (1e-6, 0.0);
        let radial_step = self.outermost / RINGS as f64;
        for ring in 0..RINGS - 1 {
            let radius = self.ring_radius(ring) + 0.5 * radial_step;
            if radius < low || radius > high {
                continue;
            }
            let tangential_step = TAU * radius / SPOKES as f64;
            let (mut sum, mut count) = (0.0, 0.0_f64);
            for spoke in 0..SPOKES {
                let Some((dr, dt)) = self.differences(ring, spoke) else { continue };
                let (along, across) = (dr / radial_step, dt / tangential_step);
                energy[spoke * SECTORS / SPOKES][0] += along * along;
                energy[spoke * SECTORS / SPOKES][1] += across * across;
                radial += along * along;
                sum += along;
                count += 1.0;
            }
            common += sum * sum / count.max(1.0);
        }
        let mut ratios = energy.map(|[along, across]| along / across);
        ratios.sort_by(f64::total_cmp);
        (0.5 * (ratios[SECTORS / 2 - 1] + ratios[SECTORS / 2]), common / radial)
    }

    /// Central differences in the middle of a cell of the grid, along the radius and along the circle.
    fn differences(&self, ring: usize, spoke: usize) -> Option<(f64, f64)> {
        let (a, b) = (self.value(ring, spoke)?, self.value(ring, spoke + 1)?);
        let (c, d) = (self.value(ring + 1, spoke)?, self.value(ring + 1, spoke + 1)?);
        Some((0.5 * (c + d - a - b), 0.5 * (b + d - a - c)))
    }

    /// What remains of log luminance after smooth shading (second order in the surface normal) is fitted, robustly:
    /// the median over sectors of the residuals' rms, so that something in front of a part does not count.
    fn detail(&self, residuals: &[Option<f64>]) -> f64 {
        const SECTORS: usize = 12;
        let mut sectors = [[0.0_f64; 2]; SECTORS];
        for (i, residual) in residuals.iter().enumerate() {
            let Some(residual) = residual else { continue };
            let (radius, sector) = (self.ring_radius(i / SPOKES), (i % SPOKES) * SECTORS / SPOKES);
            sectors[sector][0] += residual * residual * radius;
            sectors[sector][1] += radius;
        }
        let mut rms = sectors.map(|[energy, weight]| (energy / weight.max(1e-9)).sqrt());
        rms.sort_by(f64::total_cmp);
        0.5 * (rms[SECTORS / 2 - 1] + rms[SECTORS / 2])
    }

    /// The median over the area of the residuals' size.
    fn typical_detail(&self, residuals: &[Option<f64>]) -> f64 {
        let sized =
            |(i, residual): (usize, &Option<f64>)| Some((residual.as_ref()?.abs(), self.ring_radius(i / SPOKES)));
        weighted_median(residuals.iter().enumerate().filter_map(sized).collect()).unwrap_or(0.0)
    }

    /// Residuals of smooth shading, fitted with weights that fall with the residual (towards least absolute values).
    fn shading_residuals(&self) -> Vec<Option<f64>> {
        let terms: Vec<SVector<f64, 9>> = (0..self.values.len())
            .map(|i| shading_terms(self.ring_radius(i / SPOKES), TAU * (i % SPOKES) as f64 / SPOKES as f64))
            .collect();
        let mut residuals: Vec<Option<f64>> = vec![None; self.values.len()];
        for _ in 0..4 {
            let mut normal = SMatrix::<f64, 9, 9>::identity() * 1e-6;
            let mut right_side = SVector::<f64, 9>::zeros();
            for (i, value) in self.values.iter().enumerate() {
                let Some(value) = value else { continue };
                let weight = self.ring_radius(i / SPOKES) / (0.02 + residuals[i].map_or(0.0, f64::abs));
                normal += terms[i] * terms[i].transpose() * weight;
                right_side += terms[i] * (value * weight);
            }
            let Some(inverse) = normal.try_inverse() else { break };
            let shading = inverse * right_side;
            residuals = self.values.iter().zip(&terms).map(|(v, t)| v.map(|v| v - t.dot(&shading))).collect();
        }
        residuals
    }
}

fn ring_radius(outermost: f64, ring: usize) -> f64 {
    outermost * (ring as f64 + 0.5) / RINGS as f64
}

/// The nine second-order harmonics of the normal at a place of the disc.
fn shading_terms(radius: f64, phi: f64) -> SVector<f64, 9> {
    let (x, y) = (radius * phi.cos(), radius * phi.sin());
    let z = (1.0 - radius * radius).max(0.0).sqrt();
    SVector::from([1.0, x, y, z, x * y, x * z, y * z, x * x - y * y, z * z])
}
