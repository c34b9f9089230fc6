//! From the outline's covariance to that of a direction, and to what patches receive.
//!
//! The finder states how well the cone of tangent rays is known (two angles across its axis and its half-angle). How a
//! reflected direction moves with each is taken by differences of the exact mirror geometry, so that the growth towards
//! the rim, 2 / (r √(1 − s²)), comes out by itself.

use nalgebra::{Matrix3, Vector2, Vector3};

use crate::compare::sphere_measurement::SphereMeasurement;
use crate::light::lights::{Light, isotropic_cov};
use crate::light::radiance::Source;
use crate::sphere::{MirrorGeometry, SphereCone, tangents};

/// Covariance (3×3, rad²) of a light's direction from the picture and the outline, the field of view taken as known.
pub fn direction_cov(side: &SphereMeasurement, light: &Light) -> Matrix3<f64> {
    isotropic_cov(&light.direction, light.pull_sd_rad) + direction_cov_beside_pull(side, light)
}

/// The same without the effect of uneven surroundings, which both sides may share.
pub fn direction_cov_beside_pull(side: &SphereMeasurement, light: &Light) -> Matrix3<f64> {
    let picture_sd_rad = (light.picture_sd_rad.powi(2) - light.pull_sd_rad.powi(2)).max(0.0).sqrt();
    let picture = isotropic_cov(&light.direction, picture_sd_rad);
    let Some(jacobian) = light.point_px.and_then(|p| jacobian(side, p)) else { return picture };
    picture + jacobian * side.fit.cone_cov * jacobian.transpose()
}

/// How the direction seen at a point moves with the cone: columns are tangent x, tangent y and half-angle.
fn jacobian(side: &SphereMeasurement, point_px: [f64; 2]) -> Option<Matrix3<f64>> {
    let step = 1e-3 * side.fit.cone.half_angle_rad;
    let [right, up] = tangents(&side.fit.cone.axis);
    let seen = |axis: Vector3<f64>, half_angle_rad: f64| {
        let cone = SphereCone { axis: axis.normalize(), half_angle_rad };
        MirrorGeometry::new(&side.view, &cone).reflect(point_px).map(|r| r.direction)
    };
    let axis = side.fit.cone.axis;
    let alpha = side.fit.cone.half_angle_rad;
    let middle = seen(axis, alpha)?;
    // Towards the rim only one of the two steps may still hit the sphere.
    let slope = |plus: Option<Vector3<f64>>, minus: Option<Vector3<f64>>| match (plus, minus) {
        (Some(p), Some(m)) => Some((p - m) / (2.0 * step)),
        (Some(p), None) => Some((p - middle) / step),
        (None, Some(m)) => Some((middle - m) / step),
        (None, None) => None,
    };
    Some(Matrix3::from_columns(&[
        slope(seen(axis + right * step, alpha), seen(axis - right * step, alpha))?,
        slope(seen(axis + up * step, alpha), seen(axis - up * step, alpha))?,
        slope(seen(axis, alpha + step), seen(axis, alpha - step))?,
    ]))
}

/// One standard deviation of a number of the completed light due to the outline: how far it moves with centre and
/// radius. Zero where there is no such number.
pub fn light_sd(side: &SphereMeasurement, number: impl Fn(&[Source]) -> Option<f64>) -> f64 {
    let Some(here) = number(&side.sources) else { return 0.0 };
    let radius_px = side.fit.outline.mean_radius().max(1.0);
    let sd = |i: usize| side.fit.outline_cov[(i, i)].max(0.0).sqrt() / radius_px;
    let moves = [(Vector2::new(sd(0), 0.0), 0.0), (Vector2::new(0.0, sd(1)), 0.0), (Vector2::zeros(), sd(2))];
    let there = moves.iter().filter_map(|(shift, growth)| number(&seen_through(side, shift, *growth)));
    there.map(|t| (t - here).powi(2)).sum::<f64>().sqrt()
}

/// The light as it would be if the outline were moved by `shift` (in radii) and enlarged by `growth`: a sphere shows
/// a direction where its normal halves the angle between that direction and the camera.
fn seen_through(side: &SphereMeasurement, shift: &Vector2<f64>, growth: f64) -> Vec<Source> {
    let to_camera = side.geometry.towards_camera();
    let [right, up] = tangents(&-to_camera);
    let moved = |source: &Source| {
        let Some(normal) = (source.direction + to_camera).try_normalize(1e-6) else { return *source };
        let place = (Vector2::new(normal.dot(&right), normal.dot(&up)) + shift) * (1.0 + growth);
        let across = place.cap_magnitude(0.999);
        let normal = right * across.x + up * across.y + to_camera * (1.0 - across.norm_squared()).sqrt();
        Source { direction: normal * (2.0 * normal.dot(&to_camera)) - to_camera, ..*source }
    };
    side.sources.iter().map(moved).collect()
}
