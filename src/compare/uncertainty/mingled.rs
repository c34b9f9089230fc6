//! Lights that run into each other or into what shines beside them: where the middle of each may be.

use crate::compare::shown::WEAK_PARTNER;
use crate::compare::side::Side;
use crate::light::lights::Light;
use crate::sphere::angle_between_rad;

/// The middle of a light that holds something besides is pulled by about this part of what it is too large (measured on
/// made-up shots; at most half of it).
const PULL: f64 = 0.42;

/// One sd of the direction from a photographed light to its partner in the CG, rad, for what one of them holds besides.
pub(crate) fn sd_rad((mirror, cg): (&Light, &Light), cg_side: &Side) -> f64 {
    let pull = PULL * size_apart_rad(mirror, cg);
    // What it holds besides lies inside it and pulls by its part of the light; mere blur adds none.
    let bound = if mirror.clipped || cg.clipped {
        f64::INFINITY
    } else {
        added_part(mirror, cg) * mirror.seen_radius_rad().max(cg.seen_radius_rad())
    };
    merged_rad(mirror, cg_side).hypot(pull.min(bound))
}

/// How much larger one is than the other beyond what their sizes are in doubt, rad.
fn size_apart_rad(a: &Light, b: &Light) -> f64 {
    let sd = |light: &Light| light.angular_radius_deg.map_or(0.0, |radius| radius.sd.to_radians());
    let apart = (a.seen_radius_rad() - b.seen_radius_rad()).abs();
    a.unlike_size_rad(b).max(apart - sd(a).hypot(sd(b)))
}

/// By which part the stronger one is stronger, each against all other light of its side, with the doubt of that.
fn added_part(a: &Light, b: &Light) -> f64 {
    let odds = |light: &Light| {
        let share = light.share.value.clamp(1e-3, 1.0 - 1e-3);
        (share / (1.0 - share), light.share.sd / (share * (1.0 - share)))
    };
    let ((ours, our_sd), (theirs, their_sd)) = (odds(a), odds(b));
    let apart = 1.0 - (ours / theirs).min(theirs / ours);
    apart.hypot(our_sd).hypot(their_sd).min(1.0)
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
