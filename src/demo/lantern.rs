//! A lamp so near that two places see it in two directions.

use nalgebra::Vector3;

use super::frames::sphere;
use super::scene::{DiscLight, angle};
use super::sheets::SPHERE_DIAMETER_MM;
use super::shot::{GOOD_SPHERE, Shot};

const SPHERE_RADIUS_MM: f64 = SPHERE_DIAMETER_MM / 2.0;

/// How often the place of the reflection is bettered; each time its error shrinks by the sphere's radius over the
/// lamp's distance.
const ROUNDS: usize = 30;

/// A round lamp at its place, camera axes, mm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Lantern {
    place_mm: Vector3<f64>,
    radius_mm: f64,
}

/// Where the middle of a shot's sphere stands, camera axes, mm.
pub(crate) fn sphere_place_mm(shot: &Shot) -> Vector3<f64> {
    let cone = sphere(shot, GOOD_SPHERE).cone;
    cone.axis * (SPHERE_RADIUS_MM / cone.half_angle_rad.sin())
}

/// The point of a sphere that mirrors light from a direction into the camera.
fn mirror_point_mm(centre_mm: &Vector3<f64>, direction: &Vector3<f64>) -> Vector3<f64> {
    centre_mm + (direction - centre_mm.normalize()).normalize() * SPHERE_RADIUS_MM
}

impl Lantern {
    /// The lamp that a sphere shows as `light` (camera axes), so far from where it is mirrored.
    pub(crate) fn seen_as(light: &DiscLight, centre_mm: &Vector3<f64>, distance_mm: f64) -> Self {
        Self {
            place_mm: mirror_point_mm(centre_mm, &light.direction) + light.direction * distance_mm,
            radius_mm: distance_mm * light.angular_radius_rad.sin(),
        }
    }

    /// Direction (camera axes) and angular radius in which a sphere elsewhere shows it.
    pub(crate) fn seen_from(&self, centre_mm: &Vector3<f64>) -> (Vector3<f64>, f64) {
        let mut line = self.place_mm - centre_mm;
        for _ in 0..ROUNDS {
            line = self.place_mm - mirror_point_mm(centre_mm, &line.normalize());
        }
        (line.normalize(), (self.radius_mm / line.norm()).asin())
    }

    /// Angle between the lines to it from where a sphere mirrors it and from that point moved by `offset_mm`, degrees.
    pub(crate) fn parallax_deg(&self, centre_mm: &Vector3<f64>, offset_mm: &Vector3<f64>) -> f64 {
        let (direction, _) = self.seen_from(centre_mm);
        let line = self.place_mm - mirror_point_mm(centre_mm, &direction);
        angle(&line, &(line - offset_mm)).to_degrees()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The law of reflection: at the point found, the normal halves the angle between lamp and camera.
    #[test]
    fn the_lamp_is_mirrored_where_the_normal_halves_the_angle() {
        let lantern = Lantern { place_mm: Vector3::new(-900.0, 700.0, -1000.0), radius_mm: 130.0 };
        let centre = Vector3::new(300.0, 20.0, -2400.0);
        let (direction, _) = lantern.seen_from(&centre);
        let point = mirror_point_mm(&centre, &direction);
        let normal = (point - centre).normalize();
        assert!(((lantern.place_mm - point).normalize() - direction).norm() < 1e-9);
        // The camera is taken to be far against the sphere's radius, as the check takes it.
        assert!((angle(&normal, &direction) - angle(&normal, &-centre.normalize())).abs() < 1e-9);
    }

    #[test]
    fn a_lamp_put_where_it_is_seen_is_seen_there() {
        let light = DiscLight::new(-44.0, 32.0, 5.0, [1.0; 3]);
        let centre = Vector3::new(-60.0, -20.0, -1950.0);
        let (direction, radius) = Lantern::seen_as(&light, &centre, 1500.0).seen_from(&centre);
        assert!((direction - light.direction).norm() < 1e-9 && (radius - light.angular_radius_rad).abs() < 1e-9);
    }
}
