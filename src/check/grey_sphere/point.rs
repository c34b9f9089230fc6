//! What one point of a matte sphere says.

use nalgebra::Vector3;

/// One point of a matte sphere.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ShadedPoint {
    /// Unit normal, camera axes.
    pub normal: Vector3<f64>,
    /// Illuminance that its pixel stands for: π × radiance over reflectance, working space.
    pub illuminance_rgb: [f64; 3],
}
