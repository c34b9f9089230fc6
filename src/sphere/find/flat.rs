//! The plane in which spheres are searched: the stereographic map of the view, in which the outline of every sphere is
//! an exact circle, wherever it stands in the frame and however anamorphic the pixels are.

use nalgebra::{Matrix3, Vector3};

use crate::optics::camera::View;
use crate::sphere::SphereCone;

/// A circle in the search plane, in units of stored pixel widths at the frame's centre.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Circle {
    /// Centre, x right and y down from the principal point.
    pub x: f64,
    /// See `x`.
    pub y: f64,
    /// Radius.
    pub radius: f64,
}

impl Circle {
    /// Distance of the two centres.
    pub(super) fn distance(&self, other: &Self) -> f64 {
        (self.x - other.x).hypot(self.y - other.y)
    }
}

/// Where a frame position lies in the search plane.
pub(super) fn to_flat(view: &View, point_px: [f64; 2]) -> [f64; 2] {
    let (x, y, q) = normalised(view, point_px);
    let gain = 2.0 * view.focal_px / (1.0 + q);
    [x * gain, y * gain]
}

/// A brightness gradient of the frame (per pixel) as a unit vector of the search plane.
///
/// Gradients are covectors: with `dS = A dp` they map by the inverse transpose of `A`, here in closed form.
pub(super) fn gradient_to_flat(view: &View, point_px: [f64; 2], gradient: [f64; 2]) -> [f64; 2] {
    let (x, y, q) = normalised(view, point_px);
    let (gx, gy) = (gradient[0], gradient[1] * view.pixel_aspect);
    let along = (x * gx + y * gy) / (1.0 + q);
    let (fx, fy) = (gx + x * along, gy + y * along);
    let length = fx.hypot(fy).max(f64::MIN_POSITIVE);
    [fx / length, fy / length]
}

fn normalised(view: &View, point_px: [f64; 2]) -> (f64, f64, f64) {
    let x = (point_px[0] - view.centre_px[0]) / view.focal_px;
    let y = (point_px[1] - view.centre_px[1]) / (view.focal_px * view.pixel_aspect);
    (x, y, (1.0 + x * x + y * y).sqrt())
}

/// The ray behind a position of the search plane.
fn ray_of(view: &View, flat: [f64; 2]) -> Vector3<f64> {
    let (x, y) = (flat[0] / (2.0 * view.focal_px), flat[1] / (2.0 * view.focal_px));
    let square = x * x + y * y;
    Vector3::new(2.0 * x, -2.0 * y, square - 1.0) / (1.0 + square)
}

/// The frame position of a point of the search plane; `None` behind the camera.
pub(super) fn to_frame(view: &View, flat: [f64; 2]) -> Option<[f64; 2]> {
    view.project(&ray_of(view, flat))
}

/// The cone of rays whose outline is the given circle; `None` for a degenerate one.
pub(super) fn cone_of_circle(view: &View, circle: &Circle) -> Option<SphereCone> {
    let half = circle.radius * 0.5;
    let side = circle.radius * 0.75_f64.sqrt();
    let rays = [[circle.radius, 0.0], [-half, side], [-half, -side]]
        .map(|[dx, dy]| ray_of(view, [circle.x + dx, circle.y + dy]));
    let rows = Matrix3::from_rows(&rays.map(|r| r.transpose()));
    let w = rows.try_inverse()? * Vector3::repeat(1.0);
    let length = w.norm();
    (length > 1.0 && length.is_finite()).then(|| SphereCone { axis: w / length, half_angle_rad: (1.0 / length).acos() })
}

/// The circle that a cone draws in the search plane.
pub(super) fn circle_of_cone(view: &View, cone: &SphereCone) -> Circle {
    let forward = -cone.axis.z;
    let gain = 2.0 * view.focal_px / (cone.half_angle_rad.cos() + forward);
    Circle { x: cone.axis.x * gain, y: -cone.axis.y * gain, radius: cone.half_angle_rad.sin() * gain }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::image::Size;
    use crate::optics::camera::FovSource;

    fn wide_anamorphic() -> View {
        View::from_horizontal_fov(Size { width: 2000, height: 1600 }, 2.0, 75.0, FovSource::Sheet)
    }

    #[test]
    fn cones_and_circles_convert_both_ways() {
        let view = wide_anamorphic();
        for axis in [Vector3::new(0.0, 0.0, -1.0), Vector3::new(0.4, -0.3, -0.9).normalize()] {
            let cone = SphereCone { axis, half_angle_rad: 0.12 };
            let back = cone_of_circle(&view, &circle_of_cone(&view, &cone)).unwrap();
            assert!((back.axis - axis).norm() < 1e-12);
            approx::assert_relative_eq!(back.half_angle_rad, 0.12, epsilon = 1e-12);
        }
    }

    #[test]
    fn outline_points_lie_on_the_circle_and_gradients_point_at_its_centre() {
        let view = wide_anamorphic();
        let cone = SphereCone { axis: Vector3::new(0.4, -0.3, -0.9).normalize(), half_angle_rad: 0.12 };
        let circle = circle_of_cone(&view, &cone);
        let outline = crate::sphere::outline_of_cone(&view, &cone).unwrap();
        for i in 0..24 {
            let t = f64::from(i) * 0.26;
            let point = outline.point(t);
            let flat = to_flat(&view, point);
            let out = [flat[0] - circle.x, flat[1] - circle.y];
            approx::assert_relative_eq!(out[0].hypot(out[1]), circle.radius, epsilon = 1e-9);
            let (before, after) = (outline.point(t - 1e-5), outline.point(t + 1e-5));
            let normal = [after[1] - before[1], before[0] - after[0]];
            let mapped = gradient_to_flat(&view, point, normal);
            let cross = (mapped[0] * out[1] - mapped[1] * out[0]) / circle.radius;
            assert!(cross.abs() < 1e-6, "{cross}");
            let back = to_frame(&view, flat).unwrap();
            assert!((back[0] - point[0]).hypot(back[1] - point[1]) < 1e-9);
        }
    }
}
