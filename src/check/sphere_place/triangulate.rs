//! How far away a light is that two spheres show in two directions.
//!
//! Both sight lines and the line between their feet lie in one plane when both see the same light. In that plane the
//! law of sines gives the distance. The reciprocal distance is what is computed and carried: it is nearly linear in
//! the angles, so its standard deviation means the same for near lights, and zero is an ordinary value for far ones.

use nalgebra::Vector3;

use crate::base::units::Estimate;
use crate::sphere::angle_between_rad;

/// A light as one sphere shows it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Sight {
    /// Where on the sphere it is reflected, mm, camera axes.
    pub(super) foot_mm: Vector3<f64>,
    /// Unit vector to the light.
    pub(super) direction: Vector3<f64>,
    /// Of each of that direction's two tangent components, rad.
    pub(super) sd_rad: f64,
}

/// What two sight lines say.
#[derive(Debug, Clone, Copy)]
pub(super) struct Crossing {
    /// One over the distance from the first foot, 1/mm. Zero or a little below: further than can be told.
    pub(super) per_mm: Estimate,
    /// By how many of its standard deviations the two lines miss each other.
    pub(super) miss_sds: f64,
}

/// Crosses two sight lines whose feet are `foot_sd_mm` sure against each other, each way. `None` where the feet
/// coincide or both lines run along the line between them.
pub(super) fn cross(a: &Sight, b: &Sight, foot_sd_mm: f64) -> Option<Crossing> {
    let between = b.foot_mm - a.foot_mm;
    let baseline_mm = between.norm();
    let along = between.try_normalize(1e-6)?;
    let (angle_a, angle_b) = (angle_between_rad(&along, &a.direction), angle_between_rad(&along, &b.direction));
    let (sin_a, sin_b) = (angle_a.sin(), angle_b.sin());
    if sin_a < 1e-3 || sin_b < 1e-3 {
        return None;
    }
    let parallax = angle_b - angle_a;
    let per_mm = parallax.sin() / (baseline_mm * sin_b);
    let by_a = -parallax.cos() / (baseline_mm * sin_b);
    let by_b = sin_a / (baseline_mm * sin_b * sin_b);
    // The feet are unsure along their line, which scales the result, and across it, which turns both angles alike.
    let length = per_mm * foot_sd_mm / baseline_mm;
    let turned = (by_a + by_b) * foot_sd_mm / baseline_mm;
    let sd = (by_a * a.sd_rad).hypot(by_b * b.sd_rad).hypot(length).hypot(turned);
    let across = |direction: &Vector3<f64>| direction - along * along.dot(direction);
    let dihedral = angle_between_rad(&across(&a.direction), &across(&b.direction));
    // The dihedral angle moves by an error out of the plane divided by the sine.
    let dihedral_sd = (a.sd_rad / sin_a).hypot(b.sd_rad / sin_b).hypot(foot_sd_mm / baseline_mm * parallax.sin());
    Some(Crossing { per_mm: Estimate::new(per_mm, sd), miss_sds: dihedral / dihedral_sd.max(1e-12) })
}

#[cfg(test)]
mod tests {
    use approx::assert_relative_eq;

    use super::*;
    use crate::register::test_scene::Random;

    fn sight(foot: [f64; 3], light: [f64; 3], sd_rad: f64) -> Sight {
        let foot_mm = Vector3::from(foot);
        Sight { foot_mm, direction: (Vector3::from(light) - foot_mm).normalize(), sd_rad }
    }

    #[test]
    fn known_places_come_back() {
        // A 3-4-5 triangle, and lights all around.
        for light in [[0.0, 2000.0, -3000.0], [4000.0, 0.0, -3000.0], [-700.0, 1500.0, -900.0], [300.0, 9000.0, 4000.0]]
        {
            let (a, b) = (sight([0.0, 0.0, -3000.0], light, 0.002), sight([800.0, 50.0, -2800.0], light, 0.002));
            let crossing = cross(&a, &b, 0.0).unwrap();
            let distance = (Vector3::from(light) - a.foot_mm).norm();
            assert_relative_eq!(1.0 / crossing.per_mm.value, distance, max_relative = 1e-9);
            assert!(crossing.miss_sds < 1e-6);
        }
    }

    #[test]
    fn a_light_at_infinity_has_reciprocal_distance_zero() {
        let far = |foot: [f64; 3]| Sight { foot_mm: foot.into(), direction: Vector3::y(), sd_rad: 0.001 };
        let crossing = cross(&far([0.0; 3]), &far([1000.0, 0.0, 0.0]), 0.0).unwrap();
        assert_relative_eq!(crossing.per_mm.value, 0.0);
        // Baseline 1 m, both lines straight across: sd = 0.001 √2 / 1000 mm.
        assert_relative_eq!(crossing.per_mm.sd, 2.0_f64.sqrt() * 1e-6, max_relative = 1e-9);
    }

    #[test]
    fn lines_to_two_lights_miss() {
        let a = sight([0.0, 0.0, 0.0], [0.0, 2000.0, 500.0], 0.003);
        let b = sight([1000.0, 0.0, 0.0], [0.0, 2000.0, -500.0], 0.003);
        assert!(cross(&a, &b, 0.0).unwrap().miss_sds > 50.0);
        let same = sight([0.0, 0.0, 0.0], [1.0, 0.0, 0.0], 0.003);
        assert!(cross(&same, &same, 0.0).is_none());
    }

    /// The stated sd against the scatter of a thousand noisy pairs.
    #[test]
    fn the_standard_deviation_is_that_of_noisy_directions() {
        let mut random = Random::new(7);
        let light = [-1200.0, 1800.0, -2000.0];
        let (a, b) = (sight([0.0, 0.0, -3000.0], light, 0.004), sight([900.0, 100.0, -3300.0], light, 0.002));
        let stated = cross(&a, &b, 5.0).unwrap().per_mm;
        let mut noisy = |sight: &Sight, foot_sd: f64| {
            let mut shake = |sd: f64| Vector3::from_fn(|_, _| sd * random.normal());
            let direction = (sight.direction + shake(sight.sd_rad)).normalize();
            Sight { foot_mm: sight.foot_mm + shake(foot_sd), direction, ..*sight }
        };
        let errors: Vec<f64> = (0..2000)
            .map(|_| cross(&noisy(&a, 0.0), &noisy(&b, 5.0), 5.0).unwrap().per_mm.value - stated.value)
            .collect();
        let scatter = (errors.iter().map(|e| e * e).sum::<f64>() / errors.len() as f64).sqrt();
        assert_relative_eq!(scatter, stated.sd, max_relative = 0.1);
    }
}
