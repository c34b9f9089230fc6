//! How far a number hangs on single parts of the surroundings.

use nalgebra::Vector3;

use super::jackknife;
use super::scatter::{PATCHES, patch_of};
use crate::compare::Comparison;
use crate::compare::sphere_measurement::SphereMeasurement;
use crate::light::radiance::{COMPARISON_FWHM_DEG, Source};

/// What both sides' surroundings give, patch by patch of the photograph's sky: `(photographed, CG)`, each weighted by direction. Lights and
/// what lies within a blur of one are in the remainder, since how strong a light is has an uncertainty of its own.
struct Parts<const N: usize> {
    all: [[f64; N]; 2],
    patches: Vec<[[f64; N]; 2]>,
}

/// What a direction counts in each of `N` sums.
pub(crate) type Weights<'a, const N: usize> = &'a dyn Fn(&Vector3<f64>) -> [f64; N];

/// One sd of a number from how far it depends on single patches of the surroundings, each left out on both sides in turn. The number is made
/// from `N` sums of luminance over directions on each side, `weights` being those of a direction on each.
pub(crate) fn sd<const N: usize>(
    pair: &Comparison,
    cg: &SphereMeasurement,
    weights: [Weights<'_, N>; 2],
    number: impl Fn([[f64; N]; 2]) -> Option<f64>,
) -> f64 {
    let rotation = pair.rotation.as_ref();
    let mirror = &pair.mirror;
    let margin = COMPARISON_FWHM_DEG.to_radians();
    let mut parts = Parts { all: [[0.0; N]; 2], patches: vec![[[0.0; N]; 2]; PATCHES] };
    for (side, of) in [mirror, cg].into_iter().enumerate() {
        let lit = |source: &&Source| source.luminance > 0.0;
        for source in of.sources.iter().filter(lit) {
            // Where the photograph has it, and where the CG has it.
            let (here, there) = match rotation {
                None => (source.direction, source.direction),
                Some(r) if side == 0 => (source.direction, r.back(&source.direction)),
                Some(r) => (r.cg_to_mirror * source.direction, source.direction),
            };
            let is_light = mirror.lights.covers(&here, margin) || cg.lights.covers(&there, margin);
            let patch = &mut parts.patches[patch_of(&here)][side];
            for (n, weight) in weights[side](&source.direction).into_iter().enumerate() {
                let light = source.luminance * weight;
                parts.all[side][n] += light;
                patch[n] += if is_light { 0.0 } else { light };
            }
        }
    }
    let without = |i: usize| {
        let rest = |side: usize| std::array::from_fn(|n| parts.all[side][n] - parts.patches[i][side][n]);
        number([rest(0), rest(1)])
    };
    jackknife::sd(PATCHES, without)
}
