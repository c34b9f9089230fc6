//! Directions that no pixel shows: behind the sphere, cut off by the frame, or hidden by what stands before it.

use std::f64::consts::{LN_2, PI};

use super::scatter::weighted_median;
use crate::colour::luminance;
use crate::radiance::{DirectionGrid, MapCell, PatchLight};
use crate::rotation::Rotation;
use crate::side::Side;

/// Directions filled in from their neighbours may be off by this factor, stops (real surroundings vary by more than a
/// factor of two from one side of a gap to the other; common practice, no source).
pub const FILL_SD_STOPS: f64 = 0.7;

/// What filled-in directions add to a patch's illuminance, one sd in stops.
pub fn patch_sd_stops(patch: &PatchLight) -> f64 {
    FILL_SD_STOPS * (patch.filled / patch.luminance.max(1e-30)).clamp(0.0, 1.0)
}

/// Rim half of the sphere's picture: directions more than this far from the line to the camera, as a cosine. What stands
/// before a sphere hides it from its rim inwards.
const RIM_HALF_COSINE: f64 = 0.0;

/// What hides a sphere is taken to be darker than what the CG shows there by this factor.
const DARK_FACTOR: f64 = 0.25;

/// Fraction of all directions in which the photographed sphere is much darker than the CG's on the rim half of its
/// picture: something may stand before it, or something dark stood there that the CG lacks. Which of the two the
/// picture does not tell.
pub fn hidden_fraction(mirror: &Side, cg: &Side, rotation: Option<&Rotation>) -> f64 {
    let grid = DirectionGrid::shared();
    let to_camera = mirror.geometry.towards_camera();
    let level = |cell: &MapCell| luminance(cell.light) / cell.steradian;
    let mut pairs = Vec::new();
    for (cell, direction) in grid.directions.iter().enumerate() {
        let other = rotation.map_or(cell, |r| grid.cell(&r.back(direction)));
        let (a, b) = (&mirror.image.map.cells[cell], &cg.image.map.cells[other]);
        if a.steradian > 0.0 && b.steradian > 0.0 && level(b) > 0.0 {
            pairs.push((level(a) / level(b), direction.dot(&to_camera), grid.steradian[cell]));
        }
    }
    let usual = weighted_median(pairs.iter().map(|p| (p.0, p.2)).collect()).unwrap_or(1.0);
    let dark = pairs.iter().filter(|p| p.1 < RIM_HALF_COSINE && p.0 < DARK_FACTOR * usual);
    dark.map(|p| p.2).sum::<f64>() / (4.0 * PI)
}

/// What hidden directions do to the contrast of patches, stops. A patch that faces the hidden side sees about twice that
/// fraction of its own half of the directions.
pub fn hidden_sd_stops(hidden_fraction: f64) -> f64 {
    2.0 * hidden_fraction / LN_2
}

/// Surroundings differ in colour from one side to another by about this much, stops (sky against ground, lamps against
/// sky; common practice, no source).
const SIDES_DIFFER_STOPS: f64 = 0.3;

/// What hidden directions do to a channel of the mean light, stops.
pub fn hidden_channel_sd_stops(hidden_fraction: f64) -> f64 {
    SIDES_DIFFER_STOPS * hidden_fraction
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_patch_lit_by_guesses_alone_is_uncertain_by_their_factor() {
        let patch = PatchLight { luminance: 2.0, filled: 2.0, clipped: 0.0 };
        approx::assert_relative_eq!(patch_sd_stops(&patch), FILL_SD_STOPS);
        approx::assert_relative_eq!(patch_sd_stops(&PatchLight { filled: 0.0, ..patch }), 0.0);
    }
}
