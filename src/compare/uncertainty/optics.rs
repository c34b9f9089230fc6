//! An unknown field of view.
//!
//! Every quantity is measured again at both ends of the range of lenses in use (18 to 75° horizontally). The reach is
//! taken as that of a uniform distribution: one standard deviation is the reach over √3.

use nalgebra::{Matrix3, Vector3};

use crate::compare::sphere_measurement::SphereMeasurement;
use crate::light::lights::Light;
use crate::optics::camera::UNKNOWN_FOV_RANGE_DEG;

/// One standard deviation of an even distribution from the middle out to the farthest of `ends`.
pub fn even_sd(middle: f64, ends: impl Iterator<Item = f64>) -> f64 {
    ends.map(|end| (end - middle).abs()).fold(0.0, f64::max) / 3.0_f64.sqrt()
}

/// Covariance (3×3, rad²) of a light's direction from not knowing the field of view; zero where it is known.
pub fn direction_cov(side: &SphereMeasurement, light: &Light) -> Matrix3<f64> {
    let Some(point) = light.point_px.filter(|_| side.view.is_assumed()) else { return Matrix3::zeros() };
    UNKNOWN_FOV_RANGE_DEG
        .into_iter()
        .filter_map(|fov| side.direction_under_fov(point, fov))
        .map(|d| (d - light.direction) * (d - light.direction).transpose() / 3.0)
        .max_by(|a, b| a.trace().total_cmp(&b.trace()))
        .unwrap_or_else(Matrix3::zeros)
}

/// How the difference of two directions (CG minus mirror) moves with the field of view, one sd as a vector; together
/// where neither side knows it.
pub fn difference_move(mirror: (&SphereMeasurement, &Light), cg: (&SphereMeasurement, &Light)) -> Vector3<f64> {
    let moved = |(side, light): (&SphereMeasurement, &Light), fov: f64| {
        let other = light.point_px.filter(|_| side.view.is_assumed()).and_then(|p| side.direction_under_fov(p, fov));
        other.map_or_else(Vector3::zeros, |d| d - light.direction)
    };
    UNKNOWN_FOV_RANGE_DEG
        .into_iter()
        .map(|fov| (moved(cg, fov) - moved(mirror, fov)) / 3.0_f64.sqrt())
        .max_by(|a, b| a.norm().total_cmp(&b.norm()))
        .unwrap_or_else(Vector3::zeros)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// An even distribution over ±1 has the variance 1/3.
    #[test]
    fn an_even_distribution_has_a_third_of_its_reach_squared() {
        let steps = (0..2001).map(|i| f64::from(i) / 1000.0 - 1.0);
        let variance = steps.map(|x| x * x).sum::<f64>() / 2001.0;
        approx::assert_relative_eq!(even_sd(0.0, [-1.0, 1.0].into_iter()), variance.sqrt(), max_relative = 1e-3);
    }
}
