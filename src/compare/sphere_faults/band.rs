//! The part of the sphere's surface that a seam spoils.

use nalgebra::Vector3;

use crate::sphere::{MirrorGeometry, Outline};

/// Normals further than this from the circle's plane are far from any seam, rad.
const FAR_RAD: f64 = 0.4;

/// A band along a great circle of the sphere.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Band {
    /// Unit normal of the circle's plane, camera axes.
    pub plane: Vector3<f64>,
    /// Half of its width in the frame, px.
    pub half_width_px: f64,
}

impl Band {
    /// The place where the sphere mirrors `direction` belongs to the band.
    pub fn covers(&self, geometry: &MirrorGeometry, direction: &Vector3<f64>) -> bool {
        geometry.locate(direction).is_some_and(|point| self.covers_point(geometry, point))
    }

    /// The surface at a frame point belongs to the band; false off the sphere.
    pub fn covers_point(&self, geometry: &MirrorGeometry, point_px: [f64; 2]) -> bool {
        let Some(off) = self.off_circle_rad(geometry, point_px).filter(|off| off.abs() < FAR_RAD) else { return false };
        let slope = |dx: f64, dy: f64| {
            // At the rim only one of the two sides is on the sphere.
            let beside = |step: f64| {
                let there = self.off_circle_rad(geometry, [point_px[0] + step * dx, point_px[1] + step * dy])?;
                Some((there - off) / step)
            };
            beside(0.5).or_else(|| beside(-0.5)).unwrap_or(0.0)
        };
        let rad_per_px = slope(1.0, 0.0).hypot(slope(0.0, 1.0));
        off.abs() <= self.half_width_px * rad_per_px
    }

    /// Its part of the sphere's picture.
    pub fn share(&self, geometry: &MirrorGeometry, outline: &Outline) -> f64 {
        outline.share(|point| self.covers_point(geometry, point))
    }

    /// Angle of the surface normal at a point to the circle's plane; `None` off the sphere.
    fn off_circle_rad(&self, geometry: &MirrorGeometry, point_px: [f64; 2]) -> Option<f64> {
        let direction = geometry.reflect(point_px)?.direction;
        let normal = (direction - geometry.view().ray(point_px)).try_normalize(1e-9)?;
        Some(normal.dot(&self.plane).clamp(-1.0, 1.0).asin())
    }
}
