//! The cone of rays that touch the sphere ↔ the ellipse it draws in the frame.

use std::f64::consts::TAU;

use nalgebra::{Matrix2, Matrix3, Vector2, Vector3};

use super::{Outline, SphereCone};
use crate::optics::camera::View;

/// Two unit vectors that span the plane across `axis`: the first as close to camera x as possible, the second to
/// camera y. For an axis straight into the scene they are x and y themselves.
pub fn tangents(axis: &Vector3<f64>) -> [Vector3<f64>; 2] {
    let seed = if axis.x.abs() < 0.9 { Vector3::x() } else { Vector3::z() };
    let right = (seed - axis * axis.dot(&seed)).normalize();
    let up = right.cross(axis);
    [right, if axis.z < 0.0 { up } else { -up }]
}

/// The ellipse that a cone draws in the frame; `None` where it reaches the plane through the camera (no ellipse).
///
/// A ray `d` lies on the cone where `(d·axis)² = cos²α d·d`; with `d` linear in pixel coordinates this is a conic,
/// of which centre and axes follow in closed form.
pub fn outline_of_cone(view: &View, cone: &SphereCone) -> Option<Outline> {
    let cos_a = cone.half_angle_rad.cos();
    let quadric = cone.axis * cone.axis.transpose() - Matrix3::identity() * (cos_a * cos_a);
    let (fx, fy) = (view.focal_px, view.focal_px * view.pixel_aspect);
    #[rustfmt::skip]
    let to_ray = Matrix3::new(
        1.0 / fx, 0.0, -view.centre_px[0] / fx,
        0.0, -1.0 / fy, view.centre_px[1] / fy,
        0.0, 0.0, -1.0,
    );
    let conic = to_ray.transpose() * quadric * to_ray;
    let block = conic.fixed_view::<2, 2>(0, 0).into_owned();
    let linear = Vector2::new(conic[(0, 2)], conic[(1, 2)]);
    let centre = -(block.try_inverse()? * linear);
    let constant = conic[(2, 2)] + linear.dot(&centre);
    ellipse_of(centre, block, constant)
}

/// Ellipse from centre `c`, quadratic form `block` and constant: `(x−c)ᵀ block (x−c) + constant = 0`.
fn ellipse_of(centre: Vector2<f64>, block: Matrix2<f64>, constant: f64) -> Option<Outline> {
    let eigen = (block / -constant).symmetric_eigen();
    let (minor, major) = if eigen.eigenvalues[0] > eigen.eigenvalues[1] { (0, 1) } else { (1, 0) };
    let (low, high) = (eigen.eigenvalues[major], eigen.eigenvalues[minor]);
    if !(low > 0.0 && high.is_finite()) {
        return None;
    }
    let direction = eigen.eigenvectors.column(major);
    let mut angle_deg = direction.y.atan2(direction.x).to_degrees();
    if angle_deg > 90.0 {
        angle_deg -= 180.0;
    } else if angle_deg <= -90.0 {
        angle_deg += 180.0;
    }
    Some(Outline {
        centre_x: centre.x,
        centre_y: centre.y,
        semi_a: low.sqrt().recip(),
        semi_b: high.sqrt().recip(),
        angle_deg,
    })
}

/// The cone that best touches the rays through the given outline points; `None` for fewer than three or coplanar rays.
///
/// For unit rays `d` on a cone, `d·w = 1` with `w = axis / cos α`: linear in `w`, so no iteration is needed. Weights
/// are relative.
pub fn cone_through(view: &View, points_px: impl IntoIterator<Item = ([f64; 2], f64)>) -> Option<SphereCone> {
    let mut normal = Matrix3::zeros();
    let mut right_side = Vector3::zeros();
    for (point, weight) in points_px {
        let ray = view.ray(point);
        normal += ray * ray.transpose() * weight;
        right_side += ray * weight;
    }
    let w = normal.try_inverse()? * right_side;
    let length = w.norm();
    (length >= 1.0 && length.is_finite())
        .then(|| SphereCone { axis: w / length, half_angle_rad: (1.0 / length).acos() })
}

/// The cone behind a given outline. Exact for an outline that a sphere can draw; least squares otherwise.
pub fn cone_of_outline(view: &View, outline: &Outline) -> Option<SphereCone> {
    const POINTS: usize = 90;
    cone_through(view, (0..POINTS).map(|i| (outline.point(TAU * i as f64 / POINTS as f64), 1.0)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::image::Size;
    use crate::optics::camera::FovSource;

    /// Closed form for a sphere off axis by g with angular radius a, unit focal length:
    /// K = cos²g − sin²a, semi-major = sin a cos a / K, semi-minor = sin a / √K, centre = sin g cos g / K.
    #[test]
    fn outline_agrees_with_the_closed_form_off_axis() {
        let view = View::from_horizontal_fov(Size { width: 2000, height: 2000 }, 1.0, 90.0, FovSource::Sheet);
        for (g_deg, a_deg) in [(0.0, 5.0), (10.0, 5.0), (20.0, 5.0), (20.0, 10.0), (30.0, 8.0)] {
            let (g, a) = (f64::to_radians(g_deg), f64::to_radians(a_deg));
            let cone = SphereCone { axis: Vector3::new(g.sin(), 0.0, -g.cos()), half_angle_rad: a };
            let outline = outline_of_cone(&view, &cone).unwrap();
            let k = g.cos().powi(2) - a.sin().powi(2);
            approx::assert_relative_eq!(outline.centre_x, 1000.0 + 1000.0 * g.sin() * g.cos() / k, epsilon = 1e-8);
            approx::assert_relative_eq!(outline.semi_a, 1000.0 * a.sin() * a.cos() / k, epsilon = 1e-8);
            approx::assert_relative_eq!(outline.semi_b, 1000.0 * a.sin() / k.sqrt(), epsilon = 1e-8);
            let back = cone_of_outline(&view, &outline).unwrap();
            assert!((back.axis - cone.axis).norm() < 1e-10, "axis {g_deg} {a_deg}");
            approx::assert_relative_eq!(back.half_angle_rad, a, epsilon = 1e-10);
        }
    }

    #[test]
    fn tangents_of_the_view_axis_are_x_and_y() {
        let [right, up] = tangents(&Vector3::new(0.0, 0.0, -1.0));
        assert!((right - Vector3::x()).norm() < 1e-15 && (up - Vector3::y()).norm() < 1e-15);
    }
}
