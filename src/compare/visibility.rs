//! Visibility: what one sphere shows where the other has a light.
//!
//! Two spheres rarely list the same lights: a soft glow beside a lamp counts as a light only where the lamp is
//! missing. Before a light is called missing, extra or the partner of another, the other sphere's picture is examined
//! in that direction.

use std::f64::consts::PI;

use nalgebra::Vector3;

use crate::base::statistics::weighted_median;
use crate::compare::sphere_measurement::SphereMeasurement;
use crate::light::lights::Light;
use crate::light::radiance::{DirectionGrid, Sample};

/// A light with less than this fraction of another's illuminance, two stops, is no partner of it.
pub(crate) const WEAK_PARTNER: f64 = 0.25;

/// The surroundings of a light are examined out to about this angle from its edge.
const RING_RAD: f64 = 0.12;

/// Where more than this fraction of the directions in and around a light is unseen, a sphere says nothing about it.
const UNSEEN_PART: f64 = 0.2;

/// The directions around a light reach this far from its edge, rad.
const AROUND_RAD: f64 = 0.08;

/// The side's sphere does not show enough of the directions in and around a light at `direction`: they lie behind it,
/// on or beyond its rim, outside the frame or are masked.
pub(crate) fn is_cut(side: &SphereMeasurement, light: &Light, direction: &Vector3<f64>) -> bool {
    let grid = DirectionGrid::shared();
    let reach = (light.reach_rad + AROUND_RAD).min(PI).cos();
    let near = (0..grid.directions.len()).filter(|i| grid.directions[*i].dot(direction) >= reach);
    let (all, seen) = near.fold((0.0, 0.0), |(all, seen), i| {
        (all + grid.steradian[i], seen + side.image.map.cells()[i].steradian.min(grid.steradian[i]))
    });
    side.is_on_rim(direction) || all - seen > UNSEEN_PART * all
}

/// Whether the side shows something at `direction` with at least [`WEAK_PARTNER`] of the other side's light, each
/// above its surroundings: too soft or weak to be a light, but not missing. Its strength is judged by other checks.
/// What `beside` covers is left out.
pub(crate) fn shows(
    side: &SphereMeasurement,
    (other, light): (&SphereMeasurement, &Light),
    direction: &Vector3<f64>,
    beside: Option<&Light>,
) -> bool {
    // A light is measured above its own background, and what lies beyond its edge may be brighter. So the other
    // side's own picture is measured against the same surroundings.
    let own = excess(other, light, &light.direction, None).filter(|flux| *flux > 0.0);
    let least = own.map_or(light.illuminance.value, |flux| flux.min(light.illuminance.value));
    // Where it is clipped it may be of any strength.
    excess(side, light, direction, beside).is_none_or(|flux| flux >= WEAK_PARTNER * least)
}

/// Light at `direction`, out to the light's reach, above its surroundings; `None` where part of it is clipped.
fn excess(side: &SphereMeasurement, light: &Light, direction: &Vector3<f64>, beside: Option<&Light>) -> Option<f64> {
    let samples = || side.image.samples.iter().flatten();
    let reach = light.reach_rad + two_cells(samples(), direction);
    let (inner, outer) = (reach.min(PI).cos(), (1.5 * reach + RING_RAD).min(PI).cos());
    let left_out = beside.map(|l| (l.direction, (l.reach_rad + two_cells(samples(), &l.direction)).min(PI).cos()));
    let (mut flux, mut steradian, mut ring) = (0.0, 0.0, Vec::new());
    for sample in samples().filter(|s| left_out.is_none_or(|(axis, cosine)| s.direction.dot(&axis) < cosine)) {
        let cosine = sample.direction.dot(direction);
        if cosine >= inner {
            if sample.clipped {
                return None;
            }
            flux += f64::from(sample.luminance) * sample.steradian;
            steradian += sample.steradian;
        } else if cosine > outer {
            ring.push((f64::from(sample.luminance), sample.steradian));
        }
    }
    Some(flux - weighted_median(ring).unwrap_or(0.0) * steradian)
}

/// Two cells of the picture at a direction, rad: blur spreads a light about this far.
fn two_cells<'a>(samples: impl Iterator<Item = &'a Sample>, direction: &Vector3<f64>) -> f64 {
    let nearest = samples.max_by(|a, b| a.direction.dot(direction).total_cmp(&b.direction.dot(direction)));
    nearest.map_or(0.0, |s| 2.0 * (s.extent_rad2 / 2.0).sqrt())
}
