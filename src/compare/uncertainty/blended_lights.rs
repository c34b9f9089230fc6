//! Blended lights: lights that merge with each other or with something bright beside them, so that their centres are
//! uncertain.

use crate::compare::sphere_measurement::SphereMeasurement;
use crate::compare::visibility::WEAK_PARTNER;
use crate::light::lights::Light;
use crate::sphere::angle_between_rad;

/// The centre of a blended light is shifted by about this fraction of its excess radius (measured on made-up shots;
/// at most half of it).
const PULL: f64 = 0.42;

/// One sd of the angle between a photographed light and its CG partner because one of them is blended with another
/// light, rad.
pub(crate) fn sd_rad((mirror, cg): (&Light, &Light), cg_side: &SphereMeasurement) -> f64 {
    let pull = PULL * size_apart_rad(mirror, cg);
    // The second light lies inside the blend and shifts the centre by its share of the light; blur alone adds no
    // light.
    let bound = if mirror.clipped || cg.clipped {
        f64::INFINITY
    } else {
        added_part(mirror, cg) * mirror.seen_radius_rad().max(cg.seen_radius_rad())
    };
    merged_rad(mirror, cg_side).hypot(pull.min(bound))
}

/// Difference of the two radii beyond their uncertainty, rad.
fn size_apart_rad(a: &Light, b: &Light) -> f64 {
    let sd = |light: &Light| light.angular_radius_deg.map_or(0.0, |radius| radius.sd.to_radians());
    let apart = (a.seen_radius_rad() - b.seen_radius_rad()).abs();
    a.unlike_size_rad(b).max(apart - sd(a).hypot(sd(b)))
}

/// Fraction by which the stronger one is stronger, each relative to all other light of its side, with the uncertainty
/// of that.
fn added_part(a: &Light, b: &Light) -> f64 {
    let odds = |light: &Light| {
        let share = light.share.value.clamp(1e-3, 1.0 - 1e-3);
        (share / (1.0 - share), light.share.sd / (share * (1.0 - share)))
    };
    let ((ours, our_sd), (theirs, their_sd)) = (odds(a), odds(b));
    let apart = 1.0 - (ours / theirs).min(theirs / ours);
    apart.hypot(our_sd).hypot(their_sd).min(1.0)
}

/// A clipped light may be several in one. Where the other side has more than one light inside it: distance of the
/// farthest of them from its centre. Else 0.
fn merged_rad(clipped: &Light, other: &SphereMeasurement) -> f64 {
    let strongest = other.lights.key().map_or(0.0, |key| key.illuminance.value);
    let matters = |l: &&Light| l.illuminance.value >= WEAK_PARTNER * strongest;
    let away = |l: &Light| angle_between_rad(&clipped.direction, &l.direction);
    let reach = clipped.seen_radius_rad();
    let inside: Vec<f64> = other.lights.all.iter().filter(matters).map(away).filter(|a| *a < reach).collect();
    if !clipped.clipped || inside.len() < 2 { 0.0 } else { inside.into_iter().fold(0.0, f64::max) }
}
