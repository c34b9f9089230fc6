//! What a matte patch at the sphere's place receives.

use std::f64::consts::LN_2;

use nalgebra::Vector3;

use super::blind_cone;
use crate::compare::sphere_measurement::SphereMeasurement;
use crate::light::radiance::patch_light;

/// Unevenness of the grid of directions over a patch (measured on clean renders), stops.
const GRID_SD_STOPS: f64 = 0.02;

/// One sd in stops of the illuminance of the patch with this normal: directions filled in, what every light
/// sends, the grid.
pub fn illuminance_sd_stops(side: &SphereMeasurement, normal: &Vector3<f64>) -> f64 {
    let patch = patch_light(&side.sources, normal);
    let lights = side.lights.all.iter().map(|l| l.flux_sd * l.direction.dot(normal).max(0.0));
    let lit = lights.map(|sd| (sd / patch.luminance.max(1e-30) / LN_2).powi(2)).sum::<f64>();
    let filled = blind_cone::patch_sd_stops(&patch);
    (lit + filled * filled + GRID_SD_STOPS * GRID_SD_STOPS).sqrt()
}
