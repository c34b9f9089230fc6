//! The strength of clipped lights from what they add to a grey sphere.
//!
//! A light that is clipped in the mirror by an unknown amount lights every patch that faces it more than predicted, by
//! that amount times the cosine. One such light is a straight division; several are a small non-negative least-squares
//! problem. Where the grey sphere's reflectance is not known, a common factor on the prediction is one unknown more,
//! which the sides that no clipped light reaches decide.

use nalgebra::{DMatrix, DVector};

use super::point::ShadedPoint;
use crate::base::nnls::nnls;
use crate::base::units::Estimate;
use crate::colour::{WORKING_LUMINANCE, luminance};
use crate::compare::sphere_measurement::SphereMeasurement;
use crate::light::radiance::patch_rgb;

/// Points per independent sample, as in the comparison.
const POINTS_PER_SAMPLE: f64 = 25.0;

/// The sheet's reflectance of a grey sphere and its paint are good to this much, stops (common practice, no source).
const PAINT_SD_STOPS: f64 = 0.07;

/// A clipped light and its recovered strength.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RecoveredLight {
    /// Its place in the mirror's list of lights.
    pub light: usize,
    /// What the clipped picture lacks of its illuminance, per channel, working space.
    pub added_rgb: [f64; 3],
    /// Its whole illuminance per channel.
    pub illuminance_rgb: [f64; 3],
    /// Luminance of that.
    pub illuminance: Estimate,
}

impl RecoveredLight {
    /// Uncertainty of the whole illuminance in stops.
    pub fn stops_sd(&self) -> f64 {
        self.illuminance.sd / self.illuminance.value.max(1e-30) / std::f64::consts::LN_2
    }
}

/// The clipped lights of the mirror with what the grey sphere's points say of their strength; empty where none is
/// clipped or the points say nothing.
pub fn recover(mirror: &SphereMeasurement, points: &[ShadedPoint], reflectance_known: bool) -> Vec<RecoveredLight> {
    let clipped: Vec<usize> = (0..mirror.lights.all.len()).filter(|l| mirror.lights.all[*l].clipped).collect();
    if clipped.is_empty() || points.len() < 10 * (clipped.len() + 1) {
        return Vec::new();
    }
    let predicted: Vec<[f64; 3]> = points.iter().map(|p| patch_rgb(&mirror.sources, &p.normal)).collect();
    let cosines: Vec<Vec<f64>> = points
        .iter()
        .map(|p| clipped.iter().map(|l| mirror.lights.all[*l].direction.dot(&p.normal).max(0.0)).collect())
        .collect();
    let channels = [0, 1, 2].map(|c| {
        let rows = Rows { channel: c, points, predicted: &predicted, cosines: &cosines };
        rows.solve(clipped.len(), reflectance_known)
    });
    clipped.iter().enumerate().map(|(i, light)| recovered(mirror, *light, i, &channels)).collect()
}

/// What was added to each light in one channel, with its standard deviation.
type Added = Vec<Estimate>;

fn recovered(mirror: &SphereMeasurement, light: usize, index: usize, channels: &[Added; 3]) -> RecoveredLight {
    let seen = &mirror.lights.all[light];
    let added_rgb = [0, 1, 2].map(|c| channels[c][index].value);
    let illuminance_rgb = [0, 1, 2].map(|c| seen.illuminance_rgb[c] + added_rgb[c]);
    let sds = (0..3).map(|c| (WORKING_LUMINANCE[c] * channels[c][index].sd).powi(2)).sum::<f64>().sqrt();
    let value = luminance(illuminance_rgb);
    let paint = value * PAINT_SD_STOPS * std::f64::consts::LN_2;
    let illuminance = Estimate::new(value, sds.hypot(paint).hypot(seen.illuminance.sd));
    RecoveredLight { light, added_rgb, illuminance_rgb, illuminance }
}

/// One channel of all points.
struct Rows<'a> {
    channel: usize,
    points: &'a [ShadedPoint],
    predicted: &'a [[f64; 3]],
    cosines: &'a [Vec<f64>],
}

impl Rows<'_> {
    /// Unknowns: what each light lacks; and, where the reflectance is not known, one over the factor on the matte
    /// sphere's light. Rows are divided by the point's light, so that dark and bright sides count alike.
    fn solve(&self, lights: usize, reflectance_known: bool) -> Added {
        let unknowns = lights + usize::from(!reflectance_known);
        let (mut gram, mut right) = (DMatrix::zeros(unknowns, unknowns), DVector::zeros(unknowns));
        for i in 0..self.points.len() {
            let Some((row, value)) = self.row(i, lights, reflectance_known) else { continue };
            gram += &row * row.transpose();
            right += row * value;
        }
        let x = nnls(&gram, &right);
        let sds = self.standard_deviations(&x, &gram, lights, reflectance_known);
        (0..lights).map(|l| Estimate::new(x[l], sds[l])).collect()
    }

    /// Row and right side of a point: Σ added × cosine = seen − predicted, or with an unknown factor
    /// Σ added × cosine − seen × factor = −predicted, turned so that all unknowns are ≥ 0.
    fn row(&self, i: usize, lights: usize, reflectance_known: bool) -> Option<(DVector<f64>, f64)> {
        let (seen, predicted) = (self.points[i].illuminance_rgb[self.channel], self.predicted[i][self.channel]);
        let scale = seen.max(predicted);
        if scale <= 0.0 || !scale.is_finite() {
            return None;
        }
        let mut row = DVector::zeros(lights + usize::from(!reflectance_known));
        for l in 0..lights {
            row[l] = self.cosines[i][l] / scale;
        }
        if reflectance_known {
            return Some((row, (seen - predicted) / scale));
        }
        row[lights] = -seen / scale;
        Some((row, -predicted / scale))
    }

    fn standard_deviations(
        &self,
        x: &DVector<f64>,
        gram: &DMatrix<f64>,
        lights: usize,
        reflectance_known: bool,
    ) -> Vec<f64> {
        let rows = (0..self.points.len()).filter_map(|i| self.row(i, lights, reflectance_known));
        let (square, count) = rows.fold((0.0, 0.0), |(s, n), (row, value)| (s + (row.dot(x) - value).powi(2), n + 1.0));
        let variance: f64 = square / (count - x.len() as f64).max(1.0) * POINTS_PER_SAMPLE;
        match gram.clone().try_inverse() {
            Some(inverse) => (0..lights).map(|l| (variance * inverse[(l, l)].max(0.0)).sqrt()).collect(),
            // Lights that cannot be told apart: each may hold all that both add.
            None => (0..lights).map(|l| x[l].abs().max(x.amax())).collect(),
        }
    }
}

#[cfg(test)]
#[path = "recover_tests.rs"]
mod tests;
