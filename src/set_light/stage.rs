//! How the light stands in the world: camera axes, level axes, and the axes of the written stage.

use nalgebra::{Matrix3, Vector3};

use crate::compare::rotation::level_axes;
use crate::sheet::CameraSpec;

/// What is known of how the camera stood.
#[derive(Debug, Clone, PartialEq)]
pub struct Stage {
    /// Columns: level right, up and towards the camera, in camera axes.
    level_axes: Matrix3<f64>,
    /// The sheet tells the camera's tilt.
    pub is_level: bool,
    /// Compass bearing in which the camera looks, degrees clockwise from north, where the sheet tells it.
    pub heading_deg: Option<f64>,
}

impl Stage {
    /// By the sheet's camera.
    pub fn of(camera: Option<&CameraSpec>) -> Self {
        let tilt_roll = camera.and_then(CameraSpec::tilt_roll_deg);
        Self {
            level_axes: tilt_roll.map_or_else(Matrix3::identity, |[tilt, roll]| level_axes(tilt, roll)),
            is_level: tilt_roll.is_some(),
            heading_deg: camera.and_then(|camera| camera.heading_deg),
        }
    }

    /// A direction of the map's axes in those of the camera.
    pub fn in_camera_axes(&self, own: &Vector3<f64>) -> Vector3<f64> {
        self.level_axes * own
    }

    /// A direction of camera axes in those of the map.
    pub fn in_map_axes(&self, direction: &Vector3<f64>) -> Vector3<f64> {
        self.level_axes.transpose() * direction
    }

    /// Turn about +y from the map's axes to those of the stage, degrees, right-handed. On the stage −z is north and
    /// +x east; without a heading the camera looks along −z.
    ///
    /// ```
    /// use plateproof::{set_light::Stage, sheet::CameraSpec};
    /// let east = CameraSpec { heading_deg: Some(90.0), ..CameraSpec::default() };
    /// assert_eq!(Stage::of(Some(&east)).turn_deg(), -90.0);
    /// ```
    pub fn turn_deg(&self) -> f64 {
        self.heading_deg.map_or(0.0, |heading| crate::wrap_deg(-heading))
    }

    /// What the axes are, one sentence.
    pub fn words(&self) -> String {
        let up = if self.is_level {
            "level axes: y is the world's up by the camera's tilt_deg"
        } else {
            "camera axes: the camera's tilt is not known, so y is up in the frame (give camera.tilt_deg for a level \
             horizon)"
        };
        let heading = match self.heading_deg {
            Some(heading) => {
                format!(
                    "the stage turns it by the camera's heading of {heading:.1} deg, so that -z is north and +x east"
                )
            }
            None => {
                "the camera looks along -z on the stage (give camera.heading_deg to turn it to the compass)".to_owned()
            }
        };
        format!("{up}; the picture's middle (+z) looks back at the camera, +x is frame right; {heading}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A camera that looks down by 30 degrees has the zenith 60 degrees above the way back to itself.
    #[test]
    fn a_tilted_camera_is_made_level() {
        let camera = CameraSpec { tilt_deg: Some(-30.0), ..CameraSpec::default() };
        let stage = Stage::of(Some(&camera));
        let zenith = stage.in_camera_axes(&Vector3::y());
        let (sin, cos) = 30_f64.to_radians().sin_cos();
        assert!((zenith - Vector3::new(0.0, cos, sin)).norm() < 1e-12, "{zenith:?}");
        assert!((stage.in_map_axes(&zenith) - Vector3::y()).norm() < 1e-12);
    }
}
