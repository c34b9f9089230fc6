//! Lights that run into each other or into what shines beside them: where the middle of each may be.

use crate::lights::Light;
use crate::shown::WEAK_PARTNER;
use crate::side::Side;
use crate::sphere::angle_between_rad;

/// The middle of a light that holds something besides is pulled by up to this part of what it is too large.
const PULL: f64 = 0.5;

/// One sd of the direction from a photographed light to its partner in the CG, rad, for what one of them holds besides.
pub(crate) fn sd_rad((mirror, cg): (&Light, &Light), cg_side: &Side) -> f64 {
    merged_rad(mirror, cg_side).hypot(PULL * mirror.unlike_size_rad(cg))
}

/// A clipped light may be several: where the other side has more than one inside it, how far the farthest of them is from
/// its middle. Else 0.
fn merged_rad(clipped: &Light, other: &Side) -> f64 {
    let strongest = other.lights.key().map_or(0.0, |key| key.illuminance.value);
    let matters = |l: &&Light| l.illuminance.value >= WEAK_PARTNER * strongest;
    let away = |l: &Light| angle_between_rad(&clipped.direction, &l.direction);
    let reach = clipped.seen_radius_rad();
    let inside: Vec<f64> = other.lights.all.iter().filter(matters).map(away).filter(|a| *a < reach).collect();
    if !clipped.clipped || inside.len() < 2 { 0.0 } else { inside.into_iter().fold(0.0, f64::max) }
}
