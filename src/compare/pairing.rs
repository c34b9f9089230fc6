//! Pairs the lights of two spheres one to one such that the sum of the angles is smallest.

use nalgebra::Vector3;
use pathfinding::kuhn_munkres::kuhn_munkres_min;
use pathfinding::matrix::Matrix;

use crate::compare::rotation::Rotation;
use crate::compare::sphere_measurement::SphereMeasurement;
use crate::compare::visibility::shows;
use crate::light::lights::{Light, Lights};
use crate::sphere::angle_between_rad;

/// Lights farther apart than this are not the same light.
pub const MAX_PAIR_DEG: f64 = 30.0;

/// Lights nearer than this are the same light, however different they look.
const SURELY_ONE_DEG: f64 = 6.0;

/// Lights of one strength: illuminances within this many stops of each other.
const ONE_STRENGTH_STOPS: f64 = 1.5;

/// Cost of leaving a light alone, in units of 10⁻⁶ degree.
const ALONE: i64 = 30_000_000;

/// Which light is which.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Pairing {
    /// Index of the mirror's light, index of the CG's light; in the order of the mirror's lights.
    pub pairs: Vec<(usize, usize)>,
    /// The mirror's lights without a partner.
    pub only_mirror: Vec<usize>,
    /// The CG's lights without a partner.
    pub only_cg: Vec<usize>,
    /// Those of both that are one light, carried further than [`MAX_PAIR_DEG`] by a turn of the whole.
    pub carried: Vec<(usize, usize)>,
}

/// The lights of two spheres, paired where they may be the same. Two different lights in different directions are no
/// pair if either sphere shows something in the direction of the other's light.
pub(crate) fn pair_sides(mirror: &SphereMeasurement, cg: &SphereMeasurement) -> Pairing {
    pair_turned(mirror, cg, None)
}

/// The same where the whole of the CG's light is seen to be turned: lights are paired as they lie once that is undone, or each
/// would be given to whichever it was turned to. Those that the turn carries beyond [`MAX_PAIR_DEG`] count as unpaired all the same.
pub(crate) fn pair_turned(mirror: &SphereMeasurement, cg: &SphereMeasurement, rotation: Option<&Rotation>) -> Pairing {
    let here = |d: &Vector3<f64>| rotation.map_or(*d, |r| r.cg_to_mirror * d);
    let there = |d: &Vector3<f64>| rotation.map_or(*d, |r| r.back(d));
    let mut pairing = pair_by_angle(&mirror.lights, &cg.lights, |ours, theirs| {
        angle_between_rad(&ours.direction, &here(&theirs.direction)).to_degrees()
    });
    let by_chance = |(m, c): &(usize, usize)| {
        let (ours, theirs) = (&mirror.lights.all[*m], &cg.lights.all[*c]);
        let (our_place, their_place) = (there(&ours.direction), here(&theirs.direction));
        are_unlike(ours, theirs, &their_place)
            && (shows(mirror, (cg, theirs), &their_place, Some(ours))
                || shows(cg, (mirror, ours), &our_place, Some(theirs)))
    };
    let (mut alone, paired): (Vec<_>, Vec<_>) = pairing.pairs.into_iter().partition(by_chance);
    let near = |(m, c): &(usize, usize)| {
        let apart = angle_between_rad(&mirror.lights.all[*m].direction, &cg.lights.all[*c].direction);
        apart.to_degrees() <= MAX_PAIR_DEG
    };
    (pairing.pairs, pairing.carried) = paired.into_iter().partition(near);
    alone.extend(&pairing.carried);
    pairing.only_mirror.extend(alone.iter().map(|p: &(usize, usize)| p.0));
    pairing.only_cg.extend(alone.iter().map(|p| p.1));
    pairing.only_mirror.sort_unstable();
    pairing.only_cg.sort_unstable();
    pairing
}

/// The two are apart, the second one at `place`, and differ in size or strength.
fn are_unlike(a: &Light, b: &Light, place: &Vector3<f64>) -> bool {
    let stops = (a.illuminance.value / b.illuminance.value.max(1e-30)).log2().abs();
    let apart = angle_between_rad(&a.direction, place).to_degrees() > SURELY_ONE_DEG;
    apart && (a.unlike_size_rad(b) > 0.0 || stops > ONE_STRENGTH_STOPS)
}

/// Optimal assignment (Kuhn 1955, Munkres 1957). Every light may also stay alone at the price of a 30° error, so that
/// one missing light does not push all others onto wrong partners.
pub fn pair_lights(mirror: &Lights, cg: &Lights) -> Pairing {
    pair_by_angle(mirror, cg, |ours, theirs| angle_between_rad(&ours.direction, &theirs.direction).to_degrees())
}

fn pair_by_angle(mirror: &Lights, cg: &Lights, apart_deg: impl Fn(&Light, &Light) -> f64) -> Pairing {
    let (rows, columns) = (mirror.all.len(), cg.all.len());
    if rows == 0 || columns == 0 {
        return Pairing { only_mirror: (0..rows).collect(), only_cg: (0..columns).collect(), ..Pairing::default() };
    }
    // Square with room for every light to stay alone: [pairs, alone; alone, free].
    let side = rows + columns;
    let weights = Matrix::from_fn(side, side, |(r, c)| match (r < rows, c < columns) {
        (true, true) => {
            let angle = apart_deg(&mirror.all[r], &cg.all[c]);
            if angle > MAX_PAIR_DEG { 4 * ALONE } else { (angle * 1e6) as i64 }
        }
        (false, false) => 0,
        _ => ALONE / 2,
    });
    let (_, partner) = kuhn_munkres_min(&weights);
    let pairs: Vec<(usize, usize)> =
        partner.iter().enumerate().take(rows).filter(|(_, c)| **c < columns).map(|(r, c)| (r, *c)).collect();
    Pairing {
        only_mirror: (0..rows).filter(|r| pairs.iter().all(|p| p.0 != *r)).collect(),
        only_cg: (0..columns).filter(|c| pairs.iter().all(|p| p.1 != *c)).collect(),
        pairs,
        carried: Vec::new(),
    }
}
