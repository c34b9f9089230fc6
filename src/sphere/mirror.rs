//! The mirror sphere's exact perspective geometry: frame points ↔ directions from which light comes.
//!
//! In the plane through the camera, the sphere's centre and the point looked at, let ψ be the angle at the camera
//! between the ray and the centre, α the sphere's angular radius and i the angle of incidence. The law of sines gives
//! sin i = sin ψ / sin α, and the mirrored ray leaves at θ = 2i − ψ from the line sphere → camera. The radius cancels:
//! for light from far away only α matters. θ runs from 0 to 180° − α; the rest is the blind cone behind the sphere.

use nalgebra::{Matrix3, Vector3};

use super::SphereCone;
use crate::optics::camera::View;

/// Geometry of one mirror sphere in one view.
#[derive(Debug, Clone)]
pub struct MirrorGeometry {
    view: View,
    axis: Vector3<f64>,
    sin_alpha: f64,
    alpha_rad: f64,
}

/// What one point of the sphere's picture shows.
#[derive(Debug, Clone, Copy)]
pub struct Reflection {
    /// Unit vector to where the light comes from, camera axes.
    pub direction: Vector3<f64>,
    /// Steradian of directions per px² of frame.
    pub steradian_per_px2: f64,
    /// sin of the angle of incidence: 0 at the middle of the sphere, 1 at its rim.
    pub sin_incidence: f64,
    /// How fast the direction turns, rad² per px²: the squares of its slopes along two axes of the frame, added up. Only
    /// right where pixels are square.
    pub turn_rad2_per_px2: f64,
}

impl MirrorGeometry {
    /// Geometry of the sphere that fills `cone` in `view`.
    pub fn new(view: &View, cone: &SphereCone) -> Self {
        let alpha_rad = cone.half_angle_rad;
        Self { view: view.clone(), axis: cone.axis, sin_alpha: alpha_rad.sin(), alpha_rad }
    }

    /// Unit vector from the sphere to the camera.
    pub fn towards_camera(&self) -> Vector3<f64> {
        -self.axis
    }

    /// Half-angle of the cone of directions that the sphere cannot show, in radians; its axis points away from the
    /// camera.
    pub fn blind_half_angle_rad(&self) -> f64 {
        self.alpha_rad
    }

    /// The view.
    pub fn view(&self) -> &View {
        &self.view
    }

    /// What the point shows, or `None` off the sphere.
    pub fn reflect(&self, point_px: [f64; 2]) -> Option<Reflection> {
        let ray = self.view.ray(point_px);
        let cos_psi = ray.dot(&self.axis);
        let across = ray - self.axis * cos_psi;
        let sin_i = across.norm() / self.sin_alpha;
        if sin_i >= 1.0 || cos_psi <= 0.0 {
            return None;
        }
        let cos_i = ((1.0 - sin_i) * (1.0 + sin_i)).sqrt();
        // θ = 2i − ψ by the addition theorems. sin θ / sin ψ stays finite at the centre, where it tends to dθ/dψ.
        let cos_2i = 1.0 - 2.0 * sin_i * sin_i;
        let ring = 2.0 * cos_i * cos_psi / self.sin_alpha - cos_2i;
        let cos_theta = cos_2i * cos_psi + 2.0 * sin_i * cos_i * sin_i * self.sin_alpha;
        let stretch = 2.0 * cos_psi / (self.sin_alpha * cos_i) - 1.0;
        let ray_steradian_per_px2 = self.ray_steradian_per_px2(&ray);
        Some(Reflection {
            direction: (across * ring - self.axis * cos_theta).normalize(),
            // sin θ / sin ψ · dθ/dψ.
            steradian_per_px2: ring * stretch * ray_steradian_per_px2,
            sin_incidence: sin_i,
            turn_rad2_per_px2: (ring * ring + stretch * stretch) * ray_steradian_per_px2,
        })
    }

    /// Where a direction is seen, or `None` in the blind cone (or when that point lies behind the camera plane).
    pub fn locate(&self, direction: &Vector3<f64>) -> Option<[f64; 2]> {
        let cos_theta = -self.axis.dot(direction);
        let across = direction + self.axis * cos_theta;
        let theta_rad = across.norm().atan2(cos_theta);
        let psi_rad = self.psi_of_theta(theta_rad)?;
        let outward = if across.norm() > 1e-12 { across.normalize() } else { Vector3::zeros() };
        self.view.project(&(self.axis * psi_rad.cos() + outward * psi_rad.sin()))
    }

    /// Solves θ = 2 asin(sin ψ / sin α) − ψ for ψ. With i as the unknown, ψ = asin(sin α sin i) and
    /// θ = 2i − ψ rises with i without a singularity, so Newton's method converges from i = θ/2 + α/2·θ/π.
    fn psi_of_theta(&self, theta_rad: f64) -> Option<f64> {
        let limit = std::f64::consts::PI - self.alpha_rad;
        if theta_rad >= limit {
            return None;
        }
        let mut i_rad = (0.5 * theta_rad * (1.0 + self.alpha_rad / limit)).min(std::f64::consts::FRAC_PI_2);
        for _ in 0..30 {
            let (sin_i, cos_i) = i_rad.sin_cos();
            let sin_psi = self.sin_alpha * sin_i;
            let cos_psi = ((1.0 - sin_psi) * (1.0 + sin_psi)).sqrt();
            let slope = 2.0 - self.sin_alpha * cos_i / cos_psi;
            let step = (2.0 * i_rad - sin_psi.asin() - theta_rad) / slope;
            i_rad -= step;
            // What is left is of the order of the step's square, below any rounding.
            if step.abs() < 1e-9 {
                break;
            }
        }
        Some((self.sin_alpha * i_rad.sin()).asin())
    }

    /// Steradian seen by the camera per px² around a ray: cos³ of its angle to the optical axis over the focal
    /// lengths in px.
    fn ray_steradian_per_px2(&self, ray: &Vector3<f64>) -> f64 {
        let focal = self.view.focal_px;
        (-ray.z).powi(3) / (focal * focal * self.view.pixel_aspect)
    }
}

/// Azimuth and elevation of a unit direction in degrees, as the contract defines them.
///
/// ```
/// use nalgebra::Vector3;
/// assert_eq!(plateproof::sphere::azimuth_elevation_deg(&Vector3::x()), [90.0, 0.0]);
/// ```
pub fn azimuth_elevation_deg(direction: &Vector3<f64>) -> [f64; 2] {
    let azimuth = crate::wrap_deg(direction.x.atan2(direction.z).to_degrees());
    [azimuth, direction.y.clamp(-1.0, 1.0).asin().to_degrees()]
}

/// Standard deviations of azimuth and elevation, radians, from the covariance (3×3, rad²) of a unit direction. That of
/// azimuth grows towards the zenith, where it means little, up to that of any azimuth whatever.
pub fn azimuth_elevation_sd_rad(direction: &Vector3<f64>, cov: &Matrix3<f64>) -> [f64; 2] {
    let any = std::f64::consts::PI / 3.0_f64.sqrt();
    let across = Vector3::y().cross(direction).try_normalize(1e-9).unwrap_or_else(Vector3::x);
    let upward = direction.cross(&across);
    let sd = |along: &Vector3<f64>| (along.transpose() * cov * along)[(0, 0)].max(0.0).sqrt();
    let flat = direction.x.hypot(direction.z);
    [(sd(&across) / flat.max(1e-9)).min(any), sd(&upward)]
}

/// The unit direction of an azimuth and an elevation in degrees.
pub fn direction_of_deg(azimuth_deg: f64, elevation_deg: f64) -> Vector3<f64> {
    let (sin_a, cos_a) = azimuth_deg.to_radians().sin_cos();
    let (sin_e, cos_e) = elevation_deg.to_radians().sin_cos();
    Vector3::new(sin_a * cos_e, sin_e, cos_a * cos_e)
}

/// Angle between two vectors in radians; accurate for nearly equal and nearly opposite ones, unlike the arc cosine.
pub fn angle_between_rad(a: &Vector3<f64>, b: &Vector3<f64>) -> f64 {
    a.cross(b).norm().atan2(a.dot(b))
}

#[cfg(test)]
mod tests {
    use std::f64::consts::PI;

    use super::*;
    use crate::image::Size;
    use crate::optics::camera::FovSource;

    fn geometry(azimuth_deg: f64, elevation_deg: f64, alpha_deg: f64) -> MirrorGeometry {
        let view = View::from_horizontal_fov(Size { width: 1920, height: 1080 }, 1.0, 50.0, FovSource::Sheet);
        let axis = -direction_of_deg(azimuth_deg, elevation_deg);
        MirrorGeometry::new(&view, &SphereCone { axis, half_angle_rad: f64::to_radians(alpha_deg) })
    }

    /// Second route: intersect the ray with a sphere and mirror it by vectors.
    fn reflect_by_vectors(g: &MirrorGeometry, point: [f64; 2]) -> Vector3<f64> {
        let ray = g.view.ray(point);
        let centre = g.axis / g.sin_alpha;
        let along = ray.dot(&centre);
        let t = along - (along * along - centre.norm_squared() + 1.0).sqrt();
        let normal = ray * t - centre;
        ray - normal * (2.0 * ray.dot(&normal))
    }

    #[test]
    fn closed_form_agrees_with_ray_tracing_and_inverts() {
        for (az, el, alpha) in [(0.0, 0.0, 1.0), (12.0, -8.0, 5.0), (-18.0, 6.0, 10.0)] {
            let g = geometry(az, el, alpha);
            let centre = g.view.project(&g.axis).unwrap();
            let radius = g.view.focal_px * g.sin_alpha;
            for (s, t) in [(0.0, 0.0), (0.3, 1.0), (0.7, 2.5), (0.9, 4.0), (0.97, 5.5)] {
                let point = [centre[0] + s * radius * f64::cos(t), centre[1] + s * radius * f64::sin(t)];
                let got = g.reflect(point).unwrap();
                assert!(angle_between_rad(&got.direction, &reflect_by_vectors(&g, point)) < 1e-9, "{az} {s}");
                let back = g.locate(&got.direction).unwrap();
                assert!((back[0] - point[0]).hypot(back[1] - point[1]) < 1e-6, "{az} {s} {back:?} {point:?}");
            }
        }
    }

    #[test]
    fn the_turn_is_the_slope_of_the_direction() {
        let g = geometry(8.0, -5.0, 3.0);
        let centre = g.view.project(&g.axis).unwrap();
        for [dx, dy] in [[0.0, 0.0], [30.0, -20.0], [-50.0, 45.0]] {
            let point = [centre[0] + dx, centre[1] + dy];
            let at = |x: f64, y: f64| g.reflect([point[0] + x, point[1] + y]).unwrap().direction;
            let step = 1e-4;
            let along =
                (at(step, 0.0) - at(-step, 0.0)).norm_squared() + (at(0.0, step) - at(0.0, -step)).norm_squared();
            let slopes = along / (4.0 * step * step);
            let told = g.reflect(point).unwrap().turn_rad2_per_px2;
            // Off the optical axis a pixel is not quite a square of angles.
            assert!((told / slopes - 1.0).abs() < 0.03, "{told} {slopes}");
        }
    }

    /// All directions but the blind cone are seen once: the solid angles add up to 4π − 2π(1 − cos α).
    #[test]
    fn solid_angles_add_up() {
        let g = geometry(10.0, 5.0, 6.0);
        let centre = g.view.project(&g.axis).unwrap();
        let (mut sum, step) = (0.0, 0.25);
        for row in -1200..1200 {
            for column in -1200..1200 {
                let point = [centre[0] + (f64::from(column) + 0.5) * step, centre[1] + (f64::from(row) + 0.5) * step];
                sum += g.reflect(point).map_or(0.0, |r| r.steradian_per_px2) * step * step;
            }
        }
        let seen = 4.0 * PI - 2.0 * PI * (1.0 - g.alpha_rad.cos());
        approx::assert_relative_eq!(sum, seen, max_relative = 2e-3);
    }
}
