//! Lights at which the photograph is cut off while the CG shows less there than the photograph could have recorded.
//!
//! A clipped light pairs with whatever the CG has near its place: a lamp before a bright panel with the panel alone. How
//! bright it is nobody knows, but it is at least at the ceiling. The CG's own light may stand elsewhere than the photograph's;
//! that is another matter.

use super::super::exposure::usual_luminance;
use crate::compare::Comparison;
use crate::compare::shown::is_cut;
use crate::compare::side::Side;
use crate::compare::uncertainty::{outline, tone_curve};
use crate::light::lights::Light;
use crate::light::radiance::Sample;
use crate::sphere::angle_between_rad;

/// The CG's brightest point there lies this far below the ceiling, stops, before anything is said: reflectance, blur and
/// noise move single points by some of it (common practice, no source).
const CLEARLY_BELOW_STOPS: f64 = 0.5;

/// Of what the directions of the two lights are unsure by, so many standard deviations are looked at around.
const AROUND_SDS: f64 = 3.0;

/// Clipped cells of a light, at least, so that a hot pixel counts for nothing.
const LEAST_CELLS: usize = 4;

/// What the CG's brightest point at a clipped light is of the photograph's ceiling there; `None` where the CG reaches it, or
/// where that cannot be told. `exposure` is the CG's against the photograph's, stops, with its sd.
pub(super) fn part_of_ceiling(
    pair: &Comparison,
    (light, other): (&Light, &Light),
    cg: &Side,
    (exposure, sd): (f64, f64),
) -> Option<f64> {
    let mirror = &pair.mirror;
    let reach = light.seen_radius_rad();
    let clipped: Vec<&Sample> = within(mirror, &light.direction, reach).filter(|s| s.clipped).collect();
    if clipped.len() < LEAST_CELLS {
        return None;
    }
    let ceiling = clipped.iter().map(|s| f64::from(s.luminance)).sum::<f64>() / clipped.len() as f64;
    let centre = clipped.iter().map(|s| s.direction).sum::<nalgebra::Vector3<f64>>().try_normalize(1e-9)?;
    let furthest = clipped.iter().map(|s| angle_between_rad(&s.direction, &centre)).fold(0.0, f64::max);
    let unsure = |side: &Side, light: &Light| (outline::direction_cov(side, light).trace() / 2.0).max(0.0).sqrt();
    let around = furthest + AROUND_SDS * unsure(mirror, light).hypot(unsure(cg, other));
    let there = pair.rotation.as_ref().map_or(centre, |r| r.back(&centre));
    if is_cut(cg, other, &there) {
        return None;
    }
    let near = within(cg, &there, around).chain(within(cg, &other.direction, other.seen_radius_rad()));
    let brightest = near.max_by(|a, b| a.luminance.total_cmp(&b.luminance))?;
    // A cut-off value of the CG's is a lower bound too, and one of its cells may hold more than the whole light.
    if brightest.clipped || brightest.extent_rad2.sqrt() > 2.0 * furthest {
        return None;
    }
    let part = f64::from(brightest.luminance) * (-exposure).exp2() / ceiling.max(1e-30);
    // Exposure is measured on what both show of the surroundings; a camera's curve lies between these and the ceiling.
    let above_usual = (ceiling / usual_luminance(mirror).max(1e-30)).log2();
    let doubt = sd.hypot(tone_curve::contrast_sd_stops(mirror.trust, above_usual));
    (part > 0.0 && part.log2() < -CLEARLY_BELOW_STOPS - 2.0 * doubt).then_some(part)
}

fn within<'a>(side: &'a Side, centre: &nalgebra::Vector3<f64>, reach_rad: f64) -> impl Iterator<Item = &'a Sample> {
    let (centre, least) = (*centre, reach_rad.min(std::f64::consts::PI).cos());
    side.image.samples.iter().flatten().filter(move |s| s.direction.dot(&centre) >= least)
}
