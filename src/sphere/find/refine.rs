//! From a rough cone to the sub-pixel outline: coarse planes first, the frame's own pixels last.

use super::consensus::{Aim, Consensus, FRAME_FLOOR_PX, FULL_SUPPORT, agree};
use super::faint::{LAST_FRAME_REACH_PX, weigh_faint};
use super::plane::Plane;
use super::rays::{Layout, Probed, Sampler, best_model, profiles};
use super::rim_chance::Chances;
use super::rim_model::Rim;
use crate::base::parallel;
use crate::image::{Frame, four_around};
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

    fn rim(&self) -> Rim {
        Rim::Soft
    }
}

impl Sampler for Frame {
    fn read(&self, point_px: [f64; 2]) -> Option<[f64; 3]> {
        let mut sum = [0.0; 3];
        for (column, row, weight) in four_around(point_px) {
            let pixel = self.pixel(column, row)?;
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

    fn rim(&self) -> Rim {
        Rim::Crisp
    }
}

/// One fit on one sampler around a start; `reach` in samples.
pub(super) fn fit_once(sampler: &impl Sampler, start: &Aim, reach: f64) -> Option<Consensus> {
    let scale = sampler.scale();
    let (probed, blur) = probe(sampler, start, reach)?;
    let fit = agree(start, &probed, reach * scale, FRAME_FLOOR_PX * scale)?;
    Some(Consensus { blur: blur * scale, samples_px: scale, ..fit })
}

/// The same, each edge weighed by the learned chance that the rim crosses the ray there.
fn fit_weighed(sampler: &impl Sampler, start: &Aim, reach: f64, chances: &Chances) -> Option<Consensus> {
    let scale = sampler.scale();
    let (mut probed, blur) = probe(sampler, start, reach)?;
    for Probed { ray, hypotheses, .. } in &mut probed {
        for h in hypotheses.iter_mut() {
            let [x, y] = ray.point;
            let point = [x + h.offset_px * ray.outward[0], y + h.offset_px * ray.outward[1]];
            h.gain *= chances.by_the_highest(&start.view, point);
        }
        hypotheses.retain(|h| h.gain > 1.0);
    }
    let fit = agree(start, &probed, reach * scale, FRAME_FLOOR_PX * scale)?;
    Some(Consensus { blur: blur * scale, samples_px: scale, is_weighed: true, ..fit })
}

/// Reach of such a fit, as a part of the radius, and at least so many samples.
const WEIGHED_REACH: f64 = 0.06;
const WEIGHED_REACH_SAMPLES: f64 = 2.0;
/// Its plane is the coarsest in which the radius spans so many samples.
const WEIGHED_SAMPLES: f64 = 48.0;

/// Fits about a circle whose rays have learned chances: on the frame and, where the sphere is large, on a plane with less noise.
pub(super) fn weighed_fits(frame: &Frame, planes: &[Plane], start: &Aim, chances: &Chances) -> Vec<Consensus> {
    let Some(outline) = outline_of_cone(&start.view, &start.cone) else { return Vec::new() };
    let radius_px = outline.mean_radius();
    let reach = |scale: f64| (WEIGHED_REACH * radius_px / scale).max(WEIGHED_REACH_SAMPLES);
    let coarse = planes.iter().rev().find(|p| radius_px / p.scale >= WEIGHED_SAMPLES).and_then(|plane| {
        let shown = Shown { source: plane, encoded: frame.eight_bit, rim: plane.rim() };
        fit_weighed(&shown, start, reach(plane.scale), chances)
    });
    coarse.into_iter().chain(fit_weighed(frame, start, reach(1.0), chances)).collect()
}

fn probe(sampler: &impl Sampler, start: &Aim, reach: f64) -> Option<(Vec<Probed>, f64)> {
    let outline = outline_of_cone(&start.view, &start.cone)?;
    let layout = Layout::for_radius(outline.mean_radius() / sampler.scale(), reach);
    let lines = profiles(sampler, &start.view, &start.cone, layout);
    let channels = sampler.channels();
    let model = best_model(&lines, channels, sampler.rim())?;
    Some((parallel::map_each(&lines, |l| l.probe(model, channels, sampler.scale())), model.blur))
}

/// Edges blurred by more samples than this are located on the next coarser plane instead: the window must hold the
/// whole transition.
const BLUR_LIMIT: f64 = 0.9;
/// The same for the frame itself, where the next coarser plane would mix in more of the squeezed reflections.
const FRAME_BLUR_LIMIT: f64 = 1.3;

/// Refines on ever finer planes (given fine to coarse), from the coarsest in which the radius spans at least
/// `least_samples`, and last on the frame itself.
pub(super) fn refine(frame: &Frame, planes: &[Plane], start: &Aim, least_samples: f64) -> Option<Consensus> {
    let radius_px = outline_of_cone(&start.view, &start.cone)?.mean_radius();
    let mut best: Option<Consensus> = None;
    let mut aim = start.clone();
    for plane in planes.iter().rev().filter(|p| radius_px / p.scale >= least_samples) {
        let Some(fit) = fit_on_plane(frame, plane, &aim) else { continue };
        if best.as_ref().is_some_and(|b| fit.blur > BLUR_LIMIT * plane.scale || worse(&fit, b)) {
            return best;
        }
        aim = fit.aim.clone();
        best = Some(fit);
    }
    match fit_once(frame, &aim, FIRST_FRAME_REACH) {
        Some(fit) if best.as_ref().is_none_or(|b| fit.blur <= FRAME_BLUR_LIMIT && !worse(&fit, b)) => Some(fit),
        _ => best,
    }
}

/// Repeats a fit that ended on the frame itself close around its outline; one that ended on a coarser plane stays, and so does one whose
/// edges were weighed.
pub(super) fn polish(frame: &Frame, fit: Consensus) -> Consensus {
    if fit.samples_px > 1.0 || fit.is_weighed {
        return fit;
    }
    let last = closer(frame, fit);
    if last.support >= FULL_SUPPORT {
        return closer(&Shown { source: frame, encoded: false, rim: Rim::Placed }, last);
    }
    if last.edge_sd_px <= MOST_FAINT_SCATTER_PX { weigh_faint(frame, last) } else { last }
}

/// The fit repeated close around its outline, where that bears it out.
fn closer(sampler: &impl Sampler, fit: Consensus) -> Consensus {
    match fit_once(sampler, &fit.aim, LAST_FRAME_REACH_PX) {
        Some(last) if last.blur <= FRAME_BLUR_LIMIT && !worse(&last, &fit) => last,
        _ => fit,
    }
}

/// Edges of a faint rim scatter by at most this (1 sd, px): where they scatter more, the outline may lie beyond the
/// twofold of it that the lines are searched together.
const MOST_FAINT_SCATTER_PX: f64 = 0.3;

/// Reach of the first fit on the frame, px: past the reflections that run along the rim inside it.
const FIRST_FRAME_REACH: f64 = 5.0;

/// Noise has drowned the rim on the finer plane: much less speaks for it. Or other edges stand there: less speaks for it,
/// though it has more lines, and it lies elsewhere.
fn worse(finer: &Consensus, coarser: &Consensus) -> bool {
    let drowned = finer.evidence < 0.6 * coarser.evidence || finer.support < 0.6 * coarser.support;
    drowned || (finer.evidence < 0.9 * coarser.evidence && is_elsewhere(finer, coarser))
}

/// A place on a plane is good to this part of its samples.
const GOOD_TO_SAMPLES: f64 = 0.25;

/// Further apart, centres and radii together, than the coarser one's edges scatter and its samples are good to.
fn is_elsewhere(finer: &Consensus, coarser: &Consensus) -> bool {
    let [a, b] = [finer, coarser].map(|c| outline_of_cone(&c.aim.view, &c.aim.cone));
    a.zip(b).is_none_or(|(a, b)| {
        let centres = (a.centre_x - b.centre_x).hypot(a.centre_y - b.centre_y);
        centres + (a.mean_radius() - b.mean_radius()).abs()
            > coarser.edge_sd_px.max(GOOD_TO_SAMPLES * coarser.samples_px)
    })
}

/// One quick fit on the plane in which the radius spans about `samples`; on the frame itself where it is small.
pub(super) fn quick_fit(frame: &Frame, planes: &[Plane], start: &Aim, samples: f64) -> Option<Consensus> {
    let radius_px = outline_of_cone(&start.view, &start.cone)?.mean_radius();
    match planes.iter().rev().find(|p| radius_px / p.scale >= samples) {
        Some(plane) => fit_on_plane(frame, plane, start),
        None => fit_once(frame, start, 3.0),
    }
}

fn fit_on_plane(frame: &Frame, plane: &Plane, start: &Aim) -> Option<Consensus> {
    fit_once(&Shown { source: plane, encoded: frame.eight_bit, rim: plane.rim() }, start, 3.0)
}

/// The sRGB code, 0 to 1, of a linear value (IEC 61966-2-1).
fn srgb_code(linear: f64) -> f64 {
    if linear <= 0.003_130_8 { 12.92 * linear.max(0.0) } else { 1.055 * linear.powf(1.0 / 2.4) - 0.055 }
}

/// A sampler read as recorded: files of eight bits went through a camera's unknown tone curve, under which noise and
/// code steps are even in code values, so on planes (where blur is wide) their edges are located in code values. And as its
/// rim is expected, which may be known better than the sampler alone tells.
pub(super) struct Shown<'a, S: Sampler> {
    pub source: &'a S,
    pub encoded: bool,
    pub rim: Rim,
}

impl<S: Sampler> Sampler for Shown<'_, S> {
    fn read(&self, point_px: [f64; 2]) -> Option<[f64; 3]> {
        let value = self.source.read(point_px)?;
        Some(if self.encoded { value.map(srgb_code) } else { value })
    }

    fn channels(&self) -> usize {
        self.source.channels()
    }

    fn scale(&self) -> f64 {
        self.source.scale()
    }

    fn rim(&self) -> Rim {
        self.rim
    }
}
