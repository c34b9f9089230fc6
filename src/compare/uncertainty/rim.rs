//! Lights right on the rim of a photographed sphere.
//!
//! A lens mixes the last pixels of the sphere with what stands behind it. A small lamp there is squeezed to a fraction
//! of a pixel: of its light only what falls inwards is seen, and how much falls outwards nothing tells.

use crate::compare::pairing::pair_sides;
use crate::compare::sphere_measurement::SphereMeasurement;
use crate::light::lights::Light;
use crate::light::radiance::Source;

/// The photographed light plus what its lights on the rim may have lost, estimated from the CG lights they are paired
/// with. `None` where no light stands there, or none gave less than its partner.
pub(crate) fn restored(mirror: &SphereMeasurement, cg: &SphereMeasurement) -> Option<Vec<Source>> {
    if !mirror.lights.all.iter().any(|light| mirror.is_on_rim(&light.direction)) {
        return None;
    }
    let per_cg = patch_ratio(mirror, cg)?;
    let pairing = pair_sides(mirror, cg);
    let lights = pairing.pairs.iter().map(|(m, c)| (&mirror.lights.all[*m], &cg.lights.all[*c]));
    let lost: Vec<Source> = lights
        .filter(|(ours, _)| mirror.is_on_rim(&ours.direction))
        .filter_map(|(ours, theirs)| lost(ours, theirs, per_cg))
        .collect();
    (!lost.is_empty()).then(|| mirror.sources.iter().copied().chain(lost).collect())
}

/// Brightness of the photograph relative to the CG, from the patch that receives least light from single lamps.
fn patch_ratio(mirror: &SphereMeasurement, cg: &SphereMeasurement) -> Option<f64> {
    let (ours, theirs) = (mirror.extremes?.dark.luminance, cg.extremes?.dark.luminance);
    (ours > 0.0 && theirs > 0.0).then(|| ours / theirs)
}

fn lost(ours: &Light, theirs: &Light, per_cg: f64) -> Option<Source> {
    let part = 1.0 - ours.illuminance.value / (per_cg * theirs.illuminance.value);
    let light = theirs.illuminance_rgb.map(|c| part * per_cg * c);
    let luminance = part * per_cg * theirs.illuminance.value;
    (part > 0.0).then_some(Source { direction: ours.direction, light, luminance, filled: luminance, clipped: 0.0 })
}
