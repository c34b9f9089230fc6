//! The outline where the rim is faint along much of its length: what all places on all lines say together.
//!
//! A line on which the mirror's own reflection runs into the surround has no edge worth choosing, but it still tells
//! where the edge is not. So no edge is chosen: on every line each place is as likely as the rim's model makes it, and
//! the outline is the one under which all lines together are most likely.

use nalgebra::Vector4;

use super::consensus::Consensus;
use super::rays::{Layout, Profile, Ray, profiles};
use super::rim_model::{Rim, RimModel, STEP};
use crate::image::Frame;
use crate::sphere::{SphereCone, outline_of_cone};

/// Reach of the last fit on the frame, px.
pub(super) const LAST_FRAME_REACH_PX: f64 = 2.0;
/// Places of the edge tried between one sample of a line and the next. Each is read anew with the window about it:
/// likelihoods compare only where the edge stands at the same place of the window.
const PLACES_PER_STEP: usize = 4;
/// Fraction of the lines that may show anything but the rim.
const STRAY: f64 = 0.3;
/// The search starts from this many steps to either side in centre and radius …
const GRID_STEPS: i32 = 4;
/// … of this size, px …
const GRID_STEP_PX: f64 = 0.15;
/// … and climbs from as many of these as this.
const MOST_STARTS: usize = 6;
/// First and last step of the climb, px.
const STEPS_PX: [f64; 2] = [0.08, 0.005];
/// Channels of a frame.
const CHANNELS: usize = 3;

/// A move of more than this many standard deviations of the fit leads to another edge.
const FARTHEST_SD: f64 = 3.0;

/// The same fit with its outline moved to where all lines together are most likely; its covariance stays. Where they
/// say nothing, or something far off, the outline stays too.
pub(super) fn weigh_faint(frame: &Frame, fit: Consensus) -> Consensus {
    let best = Reading::across(frame, &fit).and_then(|reading| reading.most_likely_step(fit.blur));
    match best.filter(|step| is_within_doubt(step, &fit)).and_then(|step| fit.aim.stepped(&step)) {
        Some(aim) => Consensus { aim, ..fit },
        None => fit,
    }
}

fn is_within_doubt(step: &Vector4<f64>, fit: &Consensus) -> bool {
    let (move_rad, covariance) = (step.fixed_rows::<3>(0), fit.covariance.fixed_view::<3, 3>(0, 0));
    let square = covariance.try_inverse().map(|inverse| (move_rad.transpose() * inverse * move_rad)[0]);
    square.is_some_and(|square| square <= FARTHEST_SD.powi(2))
}

/// The profiles of all lines, once for each place tried between two samples.
struct Reading {
    sets: Vec<Vec<Profile>>,
    /// Mean change of the angle from the cone's axis per px.
    rad_per_px: f64,
}

impl Reading {
    fn across(frame: &Frame, fit: &Consensus) -> Option<Self> {
        let (view, cone) = (&fit.aim.view, &fit.aim.cone);
        let outline = outline_of_cone(view, cone)?;
        let layout = Layout::for_radius(outline.mean_radius(), LAST_FRAME_REACH_PX);
        let first = profiles(frame, view, cone, layout);
        let rad_per_px = first.iter().map(|p| p.ray().rad_per_px).sum::<f64>() / first.len().max(1) as f64;
        let widened = |i: usize| {
            let wider_px = STEP * i as f64 / PLACES_PER_STEP as f64;
            let wider = SphereCone { half_angle_rad: cone.half_angle_rad + wider_px * rad_per_px, ..cone.clone() };
            profiles(frame, view, &wider, layout)
        };
        let lines = first.len();
        let sets: Vec<Vec<Profile>> = std::iter::once(first).chain((1..PLACES_PER_STEP).map(widened)).collect();
        sets.iter().all(|set| set.len() == lines).then_some(Self { sets, rad_per_px })
    }

    /// The step of (axis along the first tangent, along the second, half-angle, ln focal length) to the best outline.
    fn most_likely_step(&self, blur: f64) -> Option<Vector4<f64>> {
        let models = RimModel::all(Rim::Faint).iter();
        let model = models.min_by(|a, b| (a.blur - blur).abs().total_cmp(&(b.blur - blur).abs()))?;
        let [x, y, radius] = self.lines(model)?.most_likely().map(|px| px * self.rad_per_px);
        Some(Vector4::new(x, y, radius, 0.0))
    }

    fn lines(&self, model: &RimModel) -> Option<Lines> {
        let lines = (0..self.sets[0].len()).filter_map(|i| {
            let at = |set: &Vec<Profile>| set[i].likelihood_ratios(model, CHANNELS, LAST_FRAME_REACH_PX);
            let sets: Vec<Vec<f64>> = self.sets.iter().map(at).collect::<Option<_>>()?;
            let ratios: Vec<f64> = (0..sets[0].len()).flat_map(|k| sets.iter().map(move |set| set[k])).collect();
            Some(Line::new(self.sets[0][i].ray(), self.rad_per_px, &ratios))
        });
        let lines: Vec<Line> = lines.collect();
        (!lines.is_empty()).then_some(Lines(lines))
    }
}

/// One line: how its crossing moves with the outline's centre and radius, and the log-likelihood of each place on it.
struct Line {
    slope: [f64; 3],
    log_likelihoods: Vec<f64>,
}

impl Line {
    fn new(ray: &Ray, rad_per_px: f64, ratios: &[f64]) -> Self {
        let scale = rad_per_px / ray.rad_per_px;
        let mean = (ratios.iter().sum::<f64>() / ratios.len() as f64).max(f64::MIN_POSITIVE);
        let log_likelihoods = ratios.iter().map(|r| (STRAY + (1.0 - STRAY) * r / mean).ln()).collect();
        Self { slope: [ray.phi_rad.cos() * scale, ray.phi_rad.sin() * scale, scale], log_likelihoods }
    }

    /// Log-likelihood of the place where the moved outline crosses.
    fn log_likelihood(&self, moved_px: &[f64; 3]) -> f64 {
        let offset_px: f64 = self.slope.iter().zip(moved_px).map(|(s, m)| s * m).sum();
        let last = self.log_likelihoods.len() - 1;
        let place = ((offset_px + LAST_FRAME_REACH_PX) * PLACES_PER_STEP as f64 / STEP).clamp(0.0, last as f64);
        let (below, share) = (place as usize, place.fract());
        let above = (below + 1).min(last);
        self.log_likelihoods[below] * (1.0 - share) + self.log_likelihoods[above] * share
    }
}

/// All lines across an outline.
struct Lines(Vec<Line>);

impl Lines {
    fn log_likelihood(&self, moved_px: &[f64; 3]) -> f64 {
        self.0.iter().map(|l| l.log_likelihood(moved_px)).sum()
    }

    /// The move of centre and radius, px, under which all lines together are most likely.
    fn most_likely(&self) -> [f64; 3] {
        let mut starts: Vec<([f64; 3], f64)> = grid().map(|start| (start, self.log_likelihood(&start))).collect();
        starts.sort_by(|a, b| b.1.total_cmp(&a.1));
        let climbed = starts.iter().take(MOST_STARTS).map(|start| self.climb(*start));
        climbed.max_by(|a, b| a.1.total_cmp(&b.1)).map_or([0.0; 3], |best| best.0)
    }

    /// Along one parameter at a time, by ever smaller steps.
    fn climb(&self, start: ([f64; 3], f64)) -> ([f64; 3], f64) {
        let mut best = start;
        let [mut step, last] = STEPS_PX;
        while step > last {
            let before = best.1;
            for (axis, sign) in [(0, 1.0), (0, -1.0), (1, 1.0), (1, -1.0), (2, 1.0), (2, -1.0)] {
                let mut next = best.0;
                next[axis] += sign * step;
                let value = self.log_likelihood(&next);
                if value > best.1 {
                    best = (next, value);
                }
            }
            if best.1 <= before {
                step *= 0.5;
            }
        }
        best
    }
}

/// Moves of centre and radius from which the search starts, px.
fn grid() -> impl Iterator<Item = [f64; 3]> {
    let count = 2 * GRID_STEPS + 1;
    let at = |i: i32| f64::from(i - GRID_STEPS) * GRID_STEP_PX;
    (0..count.pow(3)).map(move |i| [at(i % count), at(i / count % count), at(i / count / count)])
}
