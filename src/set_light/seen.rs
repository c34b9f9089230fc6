//! What photographed spheres show in a direction.

use nalgebra::Vector3;

use crate::compare::sphere_measurement::SphereMeasurement;

/// One direction as a sphere shows it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Seen {
    /// Radiance, working space.
    pub(super) rgb: [f64; 3],
    /// Some channel was at the recording's ceiling.
    pub(super) clipped: bool,
}

/// A direction (camera axes) on a sphere's picture: between its cells where all four are there, else in the nearest.
/// `None` in the blind cone, at the rim, and where the picture is masked.
pub(super) fn on(side: &SphereMeasurement, direction: &Vector3<f64>) -> Option<Seen> {
    let point = side.geometry.locate(direction)?;
    let image = &side.image;
    let cell = |axis: usize| {
        let place = (point[axis] - image.origin_px[axis] as f64) / image.block_px as f64;
        (place >= 0.0).then_some(place as usize)
    };
    let nearest = image.sample(cell(0)?, cell(1)?)?;
    let rgb = image.radiance_at(point).unwrap_or_else(|| nearest.rgb.map(f64::from));
    rgb.iter().all(|value| value.is_finite()).then_some(Seen { rgb, clipped: nearest.clipped })
}

/// The same on one of several other spheres, of which only what is well inside the rim and below the ceiling counts.
pub(super) fn on_another(others: &[&SphereMeasurement], direction: &Vector3<f64>) -> Option<[f64; 3]> {
    let inside = others.iter().filter(|other| other.is_inside_rim(direction));
    inside.filter_map(|other| on(other, direction)).find(|seen| !seen.clipped).map(|seen| seen.rgb)
}
