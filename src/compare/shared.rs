//! The directions that both spheres of a pair show, and how bright the two are in them.

use nalgebra::Vector3;

use super::rotation::Rotation;
use super::sphere_measurement::SphereMeasurement;
use super::uncertainty::hidden::Hidden;
use super::uncertainty::{jackknife, scatter};
use crate::base::statistics::weighted_median;
use crate::base::units::Stops;
use crate::light::radiance::{COMPARISON_FWHM_DEG, DirectionGrid, Smoothed};

/// Directions this close to a light's edge are left out, degrees: the blur reaches that far.
const LIGHT_MARGIN_DEG: f64 = COMPARISON_FWHM_DEG;

/// Where a rotation is undone, its remaining error widens that margin by this much.
const ROTATED_MARGIN_DEG: f64 = 3.0;

/// A direction counts when its blurred luminance is this many noise deviations above zero.
const MIN_SIGNAL_TO_NOISE: f64 = 5.0;

/// Both sides in one direction after blurring.
#[derive(Debug, Clone, Copy)]
pub(crate) struct SharedDirection {
    pub(crate) mirror: Smoothed,
    pub(crate) cg: Smoothed,
    pub(crate) steradian: f64,
    /// Where the photograph has it.
    pub(crate) direction: Vector3<f64>,
    /// The part of the sky in which it lies.
    pub(crate) patch: usize,
}

/// Median of log2(CG/mirror) over shared directions, with how far it hangs on single parts of the sky: what makes the two differ
/// (a veil, dust, something in the way) is alike over many directions, so that these are no independent witnesses.
pub(crate) fn median_stops(shared: &[SharedDirection]) -> Option<(f64, f64)> {
    let ratio = |s: &SharedDirection| {
        Stops::from_ratio(s.cg.luminance, s.mirror.luminance).map(|r| (r.0, s.steradian, s.patch))
    };
    let ratios: Vec<(f64, f64, usize)> = shared.iter().filter_map(ratio).collect();
    let without = |patch: usize| weighted_median(ratios.iter().filter(|r| r.2 != patch).map(|r| (r.0, r.1)).collect());
    Some((without(scatter::PATCHES)?, jackknife::sd(scatter::PATCHES, without)))
}

/// Directions that both saw, unclipped and above noise, lights left out, both blurred alike. With a rotation, the CG
/// is looked up where that rotation brings it from.
pub(crate) fn shared_directions(
    mirror: &SphereMeasurement,
    cg: &SphereMeasurement,
    rotation: Option<&Rotation>,
) -> Vec<SharedDirection> {
    let grid = DirectionGrid::shared();
    let ours = mirror.image.map.compared();
    let theirs = cg.image.map.compared();
    let extra = if rotation.is_some() { ROTATED_MARGIN_DEG } else { 0.0 };
    let margin = (LIGHT_MARGIN_DEG + extra).to_radians();
    let hidden = Hidden::find(mirror, cg, rotation);
    let mut shared = Vec::new();
    for (cell, direction) in grid.directions.iter().enumerate() {
        let source = rotation.map_or(*direction, |r| r.back(direction));
        let other = if rotation.is_some() { grid.cell(&source) } else { cell };
        let (Some(a), Some(b)) = (ours[cell], theirs[other]) else { continue };
        let sharp = mirror.is_inside_rim(direction) && cg.is_inside_rim(&source);
        let usable = sharp
            && !hidden.leaves_out(cell)
            && a.clipped < 0.01
            && b.clipped < 0.01
            && above_noise(mirror, &a)
            && above_noise(cg, &b);
        if usable && !mirror.lights.covers(direction, margin) && !cg.lights.covers(&source, margin) {
            shared.push(SharedDirection {
                mirror: a,
                cg: b,
                steradian: grid.steradian[cell],
                direction: *direction,
                patch: scatter::patch_of(direction),
            });
        }
    }
    shared
}

fn above_noise(side: &SphereMeasurement, value: &Smoothed) -> bool {
    // The blur averages many cells; ten is a safe count even for the smallest spheres.
    value.luminance > MIN_SIGNAL_TO_NOISE * side.image.noise_sd / 10.0_f64.sqrt() && value.luminance > 0.0
}
