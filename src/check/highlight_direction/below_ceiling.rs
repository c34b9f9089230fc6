//! Lights that are clipped in the photograph while the CG shows less there than the photograph could have recorded.
//!
//! A clipped light is paired with whatever the CG has near it, for example a lamp in front of a bright panel with the
//! panel alone. Its true brightness is unknown, but it reaches at least the clip level. Whether the two lights stand
//! in the same direction is judged elsewhere.

use super::super::exposure::usual_luminance;
use crate::compare::Comparison;
use crate::compare::sphere_measurement::SphereMeasurement;
use crate::compare::uncertainty::{outline, tone_curve};
use crate::compare::visibility::is_cut;
use crate::light::lights::Light;
use crate::light::radiance::Sample;
use crate::sphere::angle_between_rad;

/// The CG's brightest point has to be this far below the clip level, stops: reflectance, blur and noise move single
/// points by part of that (common practice, no source).
const CLEARLY_BELOW_STOPS: f64 = 0.5;

/// The search reaches this many standard deviations of the two lights' directions.
const AROUND_SDS: f64 = 3.0;

/// Fewest clipped cells of a light, so that hot pixels do not count.
const LEAST_CELLS: usize = 4;

/// The CG's brightest point at a clipped light, as a fraction of the photograph's clip level; `None` where the CG
/// reaches that level or nothing can be told. `exposure` is CG minus photograph in stops, with its sd.
pub(super) fn part_of_ceiling(
    pair: &Comparison,
    (light, other): (&Light, &Light),
    cg: &SphereMeasurement,
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
    let unsure =
        |side: &SphereMeasurement, light: &Light| (outline::direction_cov(side, light).trace() / 2.0).max(0.0).sqrt();
    let around = furthest + AROUND_SDS * unsure(mirror, light).hypot(unsure(cg, other));
    let there = pair.rotation.as_ref().map_or(centre, |r| r.back(&centre));
    if is_cut(cg, other, &there) {
        return None;
    }
    let near = within(cg, &there, around).chain(within(cg, &other.direction, other.seen_radius_rad()));
    let brightest = near.max_by(|a, b| a.luminance.total_cmp(&b.luminance))?;
    // A clipped value of the CG is a lower bound too, and one of its cells may be larger than the whole light.
    if brightest.clipped || brightest.extent_rad2.sqrt() > 2.0 * furthest {
        return None;
    }
    let part = f64::from(brightest.luminance) * (-exposure).exp2() / ceiling.max(1e-30);
    // Exposure is measured on the surroundings; a camera's tone curve lies between them and the clip level.
    let above_usual = (ceiling / usual_luminance(mirror).max(1e-30)).log2();
    let uncertainty = sd.hypot(tone_curve::contrast_sd_stops(mirror.trust, above_usual));
    (part > 0.0 && part.log2() < -CLEARLY_BELOW_STOPS - 2.0 * uncertainty).then_some(part)
}

fn within<'a>(
    side: &'a SphereMeasurement,
    centre: &nalgebra::Vector3<f64>,
    reach_rad: f64,
) -> impl Iterator<Item = &'a Sample> {
    let (centre, least) = (*centre, reach_rad.min(std::f64::consts::PI).cos());
    side.image.samples.iter().flatten().filter(move |s| s.direction.dot(&centre) >= least)
}
