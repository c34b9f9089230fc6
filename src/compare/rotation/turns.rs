//! A rotation as the turns that an artist dials in: heading, tilt and roll about the world's level axes.

use nalgebra::{Matrix3, Rotation3, Vector3};

/// Turns applied in this order, each about a fixed axis of the level world: heading about up, tilt about the level axis
/// to frame right, roll about the level axis towards the camera. All right-handed, degrees.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Turns {
    /// About up; + = counter-clockwise seen from above.
    pub heading_deg: f64,
    /// About the level axis to frame right; + = what is in front of the camera goes up.
    pub tilt_deg: f64,
    /// About the level axis towards the camera; + = counter-clockwise as the camera sees it.
    pub roll_deg: f64,
}

/// The level world's axes (right, up, towards the camera) in camera axes, as columns. `tilt_deg` + = the camera looks
/// up; `roll_deg` + = the camera is turned counter-clockwise as its operator sees it.
///
/// ```
/// let level = plateproof::compare::rotation::level_axes(-90.0, 0.0);
/// assert!((level.column(1) - nalgebra::Vector3::z()).norm() < 1e-12, "looking straight down, up is towards the camera");
/// ```
pub fn level_axes(tilt_deg: f64, roll_deg: f64) -> Matrix3<f64> {
    let roll = Rotation3::from_axis_angle(&Vector3::z_axis(), -roll_deg.to_radians());
    let tilt = Rotation3::from_axis_angle(&Vector3::x_axis(), -tilt_deg.to_radians());
    (roll * tilt).into_inner()
}

impl Turns {
    /// The turns of a rotation in camera axes.
    pub fn of(rotation: &Rotation3<f64>, level: &Matrix3<f64>) -> Self {
        let c = level.transpose() * rotation.matrix() * level;
        // C = Rz(roll) Rx(tilt) Ry(heading): its bottom row and middle column hold the three.
        Self {
            heading_deg: (-c[(2, 0)]).atan2(c[(2, 2)]).to_degrees(),
            tilt_deg: c[(2, 1)].clamp(-1.0, 1.0).asin().to_degrees(),
            roll_deg: (-c[(0, 1)]).atan2(c[(1, 1)]).to_degrees(),
        }
    }

    /// The rotation in camera axes.
    pub fn rotation(&self, level: &Matrix3<f64>) -> Rotation3<f64> {
        let about = |axis, degrees: f64| Rotation3::from_axis_angle(&axis, degrees.to_radians());
        let world = about(Vector3::z_axis(), self.roll_deg)
            * about(Vector3::x_axis(), self.tilt_deg)
            * about(Vector3::y_axis(), self.heading_deg);
        Rotation3::from_matrix_unchecked(level * world.matrix() * level.transpose())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn turns_come_back_under_any_camera() {
        for [heading_deg, tilt_deg, roll_deg] in [[14.2, 0.0, 0.0], [-170.0, 12.0, -33.0], [60.0, -80.0, 5.0]] {
            let turns = Turns { heading_deg, tilt_deg, roll_deg };
            for (tilt, roll) in [(0.0, 0.0), (-4.0, 0.0), (30.0, -12.0)] {
                let level = level_axes(tilt, roll);
                let back = Turns::of(&turns.rotation(&level), &level);
                let off = [back.heading_deg - heading_deg, back.tilt_deg - tilt_deg, back.roll_deg - roll_deg];
                assert!(off.iter().all(|o| o.abs() < 1e-9), "{turns:?} came back as {back:?}");
            }
        }
    }

    /// The demo's scenes turn by another formula; both must mean the same.
    #[test]
    fn heading_is_about_the_world_and_not_the_camera() {
        use crate::demo::scene::{DiscLight, Scene};
        let scene = Scene::plain([0.0; 3]).with_light(DiscLight::new(20.0, 30.0, 2.0, [1.0; 3]));
        let seen = |scene: &Scene| scene.lights_in_camera_axes()[0].direction;
        // Turned in the world first, then seen by a camera that looks down.
        let before = seen(&scene.clone().for_camera_tilt(-25.0));
        let after = seen(&scene.turned(40.0).for_camera_tilt(-25.0));
        let turn = Turns { heading_deg: 40.0, tilt_deg: 0.0, roll_deg: 0.0 };
        assert!((turn.rotation(&level_axes(-25.0, 0.0)) * before - after).norm() < 1e-12);
    }
}
