//! From a rough cone to the sub-pixel outline: coarse planes first, the frame's own pixels last.

use super::consensus::{Aim, Consensus, agree};
use super::plane::Plane;
use super::rays::{Layout, Probed, Sampler, best_model, profiles};
use crate::image::Frame;
use crate::sphere::outline_of_cone;

impl Sampler for Plane {
    fn read(&self, point_px: [f64; 2]) -> Option<[f64; 3]> {
        self.sample(point_px).map(|v| [v, 0.0, 0.0])
    }

    fn channels(&self) -> usize {
        1
    }

    fn scale(&self) -> f64 {
        self.scale
    }
}

impl Sampler for Frame {
    fn read(&self, point_px: [f64; 2]) -> Option<[f64; 3]> {
        let (x, y) = (point_px[0] - 0.5, point_px[1] - 0.5);
        let (column, row) = (x.floor(), y.floor());
        let (fx, fy) = (x - column, y - row);
        let mut sum = [0.0; 3];
        for (dx, dy, weight) in [
            (0, 0, (1.0 - fx) * (1.0 - fy)),
            (1, 0, fx * (1.0 - fy)),
            (0, 1, (1.0 - fx) * fy),
            (1, 1, fx * fy),
        ] {
            let pixel = self.pixel(column as i64 + dx, row as i64 + dy)?;
            sum.iter_mut().zip(pixel).for_each(|(s, v)| *s += weight * f64::from(v));
        }
        sum.iter().all(|s| s.is_finite()).then_some(sum)
    }

    fn channels(&self) -> usize {
        3
    }

    fn scale(&self) -> f64 {
        1.0
    }
}

/// One fit on one sampler around a start; `reach` in samples.
pub(super) fn fit_once(sampler: &impl Sampler, start: &Aim, reach: f64) -> Option<Consensus> {
    let probed = probe(sampler, start, reach)?;
    let scale = sampler.scale();
    agree(start, &probed, reach * scale, 0.02 * scale)
}

fn probe(sampler: &impl Sampler, start: &Aim, reach: f64) -> Option<Vec<Probed>> {
    let outline = outline_of_cone(&start.view, &start.cone)?;
    let layout = Layout::for_radius(outline.mean_radius() / sampler.scale(), reach);
    let lines = profiles(sampler, &start.view, &start.cone, layout);
    let channels = sampler.channels();
    let model = best_model(&lines, channels)?;
    Some(lines.iter().map(|l| l.probe(&model, channels, sampler.scale())).collect())
}

/// Refines on ever finer planes (given fine to coarse), from the coarsest in which the radius spans at most
/// `most_samples`, and last on the frame itself. The fit with the smallest doubt wins.
pub(super) fn refine(frame: &Frame, planes: &[Plane], start: &Aim, most_samples: f64) -> Option<Consensus> {
    let radius_px = outline_of_cone(&start.view, &start.cone)?.mean_radius();
    let mut best: Option<Consensus> = None;
    let mut aim = start.clone();
    for plane in planes.iter().rev().filter(|p| radius_px / p.scale >= most_samples * 0.5) {
        if let Some(fit) = fit_once(plane, &aim, 3.0) {
            aim = fit.aim.clone();
            best = better(best, fit);
        }
    }
    for reach in [3.0, 2.0] {
        if let Some(fit) = fit_once(frame, &aim, reach) {
            aim = fit.aim.clone();
            best = better(best, fit);
        }
    }
    best
}

/// The fit whose half-angle and axis are better known. A later fit, on finer data, wins ties.
fn better(best: Option<Consensus>, next: Consensus) -> Option<Consensus> {
    let doubt = |c: &Consensus| c.covariance.diagonal().iter().take(3).sum::<f64>() / c.support.max(0.05).powi(2);
    match best {
        Some(best) if doubt(&best) < doubt(&next) => Some(best),
        _ => Some(next),
    }
}
