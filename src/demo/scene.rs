//! A world given by its radiance in every direction, in closed form: the truth that demo frames and tests are made from.
//!
//! Everything lies at infinity for the sphere: the radiance depends on direction alone. Values are linear light, BT.709
//! primaries, D65 white. Directions outside this file are camera axes; a [`Scene`] holds its own content in level axes
//! (y against gravity) and a rotation between the two.

use nalgebra::{Rotation3, Vector3};

use super::hall::Hall;
use super::noise::smooth;
use super::open_air::{OpenAir, blend};

/// A light with a sharp edge and uniform radiance.
#[derive(Debug, Clone, PartialEq)]
pub struct DiscLight {
    /// Unit vector towards the light, level axes.
    pub direction: Vector3<f64>,
    /// Angular radius in radians.
    pub angular_radius_rad: f64,
    /// Radiance over the whole disc.
    pub radiance: [f64; 3],
}

impl DiscLight {
    /// A light from its azimuth and elevation (contract's angles), angular radius and radiance.
    pub fn new(azimuth_deg: f64, elevation_deg: f64, angular_radius_deg: f64, radiance: [f64; 3]) -> Self {
        let direction = direction_of(azimuth_deg, elevation_deg);
        Self { direction, angular_radius_rad: angular_radius_deg.to_radians(), radiance }
    }

    /// Solid angle in steradians.
    pub fn solid_angle(&self) -> f64 {
        // 4π sin²(ρ/2) rather than 2π(1 − cos ρ): the difference of near-equal numbers loses small lights.
        4.0 * std::f64::consts::PI * (self.angular_radius_rad / 2.0).sin().powi(2)
    }

    /// Illuminance per channel on a plane that faces the light, nothing else lit: π L sin²ρ.
    pub fn illuminance(&self) -> [f64; 3] {
        let factor = std::f64::consts::PI * self.angular_radius_rad.sin().powi(2);
        self.radiance.map(|l| l * factor)
    }

    fn covers(&self, direction: &Vector3<f64>) -> bool {
        // The chord stays exact for small angles where the cosine rounds to 1.
        (direction - self.direction).norm() <= self.chord()
    }

    /// Straight distance on the unit sphere from its middle to its edge.
    fn chord(&self) -> f64 {
        2.0 * (self.angular_radius_rad / 2.0).sin()
    }
}

/// A soft-edged rectangle or ellipse: a lamp behind a frame of cloth, a window, a dark flag, a person.
#[derive(Debug, Clone, PartialEq)]
pub struct Panel {
    /// Unit vectors towards its middle, to its right and up, level axes.
    middle: Vector3<f64>,
    right: Vector3<f64>,
    up: Vector3<f64>,
    half_size_deg: [f64; 2],
    edge_deg: f64,
    round: bool,
    radiance: [f64; 3],
    /// Cosine of the angle from its middle beyond which it hides nothing.
    cos_reach: f64,
}

impl Panel {
    /// A rectangle from azimuth and elevation of its middle, half width and half height in degrees, width of its soft
    /// edge in degrees, and the radiance with which it hides what is behind.
    pub fn new(
        azimuth_deg: f64,
        elevation_deg: f64,
        half_size_deg: [f64; 2],
        edge_deg: f64,
        radiance: [f64; 3],
    ) -> Self {
        let middle = direction_of(azimuth_deg, elevation_deg);
        let upright = if middle.y.abs() > 0.999 { Vector3::z() } else { Vector3::y() };
        let right = upright.cross(&middle).normalize();
        let reach_deg = half_size_deg[0].hypot(half_size_deg[1]) + edge_deg;
        Self {
            middle,
            right,
            up: middle.cross(&right),
            half_size_deg,
            edge_deg: edge_deg.max(1e-6),
            round: false,
            radiance,
            cos_reach: reach_deg.min(89.0).to_radians().cos(),
        }
    }

    /// The ellipse inside the rectangle.
    #[must_use]
    pub fn rounded(mut self) -> Self {
        self.round = true;
        self
    }

    /// How much of what is behind it hides, 0 to 1.
    fn coverage(&self, direction: &Vector3<f64>) -> f64 {
        let forward = self.middle.dot(direction);
        if forward <= self.cos_reach {
            return 0.0;
        }
        let [half_width, half_height] = self.half_size_deg;
        let across = self.right.dot(direction).atan2(forward).to_degrees().abs();
        let upward = self.up.dot(direction).atan2(forward).to_degrees().abs();
        let edge = |beyond_deg: f64| smooth(0.5 - beyond_deg / self.edge_deg);
        if self.round {
            edge(((across / half_width).hypot(upward / half_height) - 1.0) * half_width.min(half_height))
        } else {
            edge(across - half_width) * edge(upward - half_height)
        }
    }
}

/// What lies behind all panels and lights.
#[derive(Debug, Clone, PartialEq)]
pub enum Backdrop {
    /// One radiance everywhere.
    Plain([f64; 3]),
    /// Sky, sea and the deck of a ferry.
    OpenAir(OpenAir),
    /// The inside of a hall.
    Hall(Hall),
}

/// The whole world around camera and sphere.
#[derive(Debug, Clone, PartialEq)]
pub struct Scene {
    /// What lies behind everything.
    pub backdrop: Backdrop,
    /// Panels, later ones in front.
    pub panels: Vec<Panel>,
    /// Lights in front of all panels.
    pub lights: Vec<DiscLight>,
    /// Rotation from camera axes to the scene's own level axes.
    level_axes: Rotation3<f64>,
    /// Factor per channel on everything.
    gain: [f64; 3],
}

impl Scene {
    /// A scene without panels and lights, seen by a level camera.
    pub fn new(backdrop: Backdrop) -> Self {
        Self { backdrop, panels: Vec::new(), lights: Vec::new(), level_axes: Rotation3::identity(), gain: [1.0; 3] }
    }

    /// The same radiance everywhere.
    pub fn plain(radiance: [f64; 3]) -> Self {
        Self::new(Backdrop::Plain(radiance))
    }

    /// Adds a light.
    #[must_use]
    pub fn with_light(mut self, light: DiscLight) -> Self {
        self.lights.push(light);
        self
    }

    /// Adds a panel in front of the others.
    #[must_use]
    pub fn with_panel(mut self, panel: Panel) -> Self {
        self.panels.push(panel);
        self
    }

    /// The scene as a tilted camera sees it (− = camera looks down).
    #[must_use]
    pub fn for_camera_tilt(mut self, tilt_deg: f64) -> Self {
        self.level_axes *= Rotation3::from_axis_angle(&Vector3::x_axis(), tilt_deg.to_radians());
        self
    }

    /// All content turned about the vertical; + = counter-clockwise seen from above (+azimuth).
    #[must_use]
    pub fn turned(mut self, heading_deg: f64) -> Self {
        self.level_axes = Rotation3::from_axis_angle(&Vector3::y_axis(), -heading_deg.to_radians()) * self.level_axes;
        self
    }

    /// All content tipped about the level axis to frame right; + brings what is in front (−z) up.
    #[must_use]
    pub fn tipped(mut self, degrees: f64) -> Self {
        self.level_axes = Rotation3::from_axis_angle(&Vector3::x_axis(), -degrees.to_radians()) * self.level_axes;
        self
    }

    /// Everything brighter by a factor per channel.
    #[must_use]
    pub fn with_gain(mut self, gain: [f64; 3]) -> Self {
        self.gain = [0, 1, 2].map(|c| self.gain[c] * gain[c]);
        self
    }

    /// Radiance that arrives from a direction (unit vector, camera axes).
    pub fn radiance(&self, direction: &Vector3<f64>) -> [f64; 3] {
        let d = self.level_axes * direction;
        let seen = match self.lights.iter().rev().find(|light| light.covers(&d)) {
            Some(light) => light.radiance,
            None => self
                .panels
                .iter()
                .fold(self.backdrop_radiance(&d), |behind, panel| blend(behind, panel.radiance, panel.coverage(&d))),
        };
        [0, 1, 2].map(|c| seen[c] * self.gain[c])
    }

    /// Unit vector towards a point of the scene's level axes, in camera axes.
    pub fn in_camera_axes(&self, scene_direction: &Vector3<f64>) -> Vector3<f64> {
        self.level_axes.inverse_transform_vector(scene_direction)
    }

    /// Unit vector of camera axes in the scene's level axes.
    pub fn in_level_axes(&self, camera_direction: &Vector3<f64>) -> Vector3<f64> {
        self.level_axes * camera_direction
    }

    /// The lights in camera axes, gain included.
    pub fn lights_in_camera_axes(&self) -> Vec<DiscLight> {
        let seen = |light: &DiscLight| DiscLight {
            direction: self.in_camera_axes(&light.direction),
            angular_radius_rad: light.angular_radius_rad,
            radiance: [0, 1, 2].map(|c| light.radiance[c] * self.gain[c]),
        };
        self.lights.iter().map(seen).collect()
    }

    /// How far a direction (camera axes) is from the nearest edge of a light, and that light's radius, both as chords
    /// of the unit sphere; `None` without lights.
    pub(crate) fn nearest_light_edge(&self, direction: &Vector3<f64>) -> Option<(f64, f64)> {
        let d = self.level_axes * direction;
        let edge = |light: &DiscLight| {
            let radius = light.chord();
            (((light.direction - d).norm() - radius).abs(), radius)
        };
        self.lights.iter().map(edge).min_by(|a, b| a.0.total_cmp(&b.0))
    }

    fn backdrop_radiance(&self, d: &Vector3<f64>) -> [f64; 3] {
        match &self.backdrop {
            Backdrop::Plain(rgb) => *rgb,
            Backdrop::OpenAir(place) => place.radiance(d),
            Backdrop::Hall(place) => place.radiance(d),
        }
    }
}

/// Unit vector of the contract's azimuth and elevation.
pub fn direction_of(azimuth_deg: f64, elevation_deg: f64) -> Vector3<f64> {
    let (sin_a, cos_a) = azimuth_deg.to_radians().sin_cos();
    let (sin_e, cos_e) = elevation_deg.to_radians().sin_cos();
    Vector3::new(cos_e * sin_a, sin_e, cos_e * cos_a)
}

/// Angle between unit vectors in radians, exact for small and for large ones.
pub(crate) fn angle(a: &Vector3<f64>, b: &Vector3<f64>) -> f64 {
    a.cross(b).norm().atan2(a.dot(b))
}

/// Linear BT.709 colour of a black body, scaled to luminance 1.
///
/// Temperatures are limited to 1667–25000 K. Chromaticity by the cubic fit of Kim et al. 2002 (from memory), good to
/// about 0.001 in x and y.
pub fn black_body(kelvin: f64) -> [f64; 3] {
    let (x, y) = planckian_xy(kelvin.clamp(1667.0, 25000.0));
    let xyz = [x / y, 1.0, (1.0 - x - y) / y];
    // XYZ → BT.709 primaries, D65 (IEC 61966-2-1, seven digits, from memory).
    let rows =
        [[3.2404542, -1.5371385, -0.4985314], [-0.9692660, 1.8760108, 0.0415560], [0.0556434, -0.2040259, 1.0572252]];
    rows.map(|row| row.iter().zip(xyz).map(|(m, c)| m * c).sum::<f64>().max(0.0))
}

fn planckian_xy(t: f64) -> (f64, f64) {
    let polynomial = |k: [f64; 4], v: f64| ((k[0] * v + k[1]) * v + k[2]) * v + k[3];
    let x = if t < 4000.0 {
        polynomial([-0.2661239e9, -0.2343589e6, 0.8776956e3, 0.179910], 1.0 / t)
    } else {
        polynomial([-3.0258469e9, 2.1070379e6, 0.2226347e3, 0.240390], 1.0 / t)
    };
    let y = if t < 2222.0 {
        polynomial([-1.1063814, -1.34811020, 2.18555832, -0.20219683], x)
    } else if t < 4000.0 {
        polynomial([-0.9549476, -1.37418593, 2.09137015, -0.16748867], x)
    } else {
        polynomial([3.0817580, -5.87338670, 3.75112997, -0.37001483], x)
    };
    (x, y)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::{PI, TAU};

    /// Sum of radiance × cosine × exact solid angle over a lat-long grid whose pole is the light.
    fn illuminance_by_sum(scene: &Scene, towards: &Vector3<f64>) -> f64 {
        const ROWS: usize = 4000;
        const COLUMNS: usize = 16;
        let right = Vector3::y().cross(towards).normalize();
        let up = towards.cross(&right);
        let mut sum = 0.0;
        for row in 0..ROWS {
            let edge = |r: usize| (PI / 2.0 * r as f64 / ROWS as f64).cos();
            let theta = PI / 2.0 * (row as f64 + 0.5) / ROWS as f64;
            for column in 0..COLUMNS {
                let phi = TAU * (column as f64 + 0.5) / COLUMNS as f64;
                let d = towards * theta.cos() + (right * phi.cos() + up * phi.sin()) * theta.sin();
                sum += scene.radiance(&d)[1] * theta.cos() * (edge(row) - edge(row + 1)) * TAU / COLUMNS as f64;
            }
        }
        sum
    }

    #[test]
    fn a_disc_light_gives_pi_l_sin_squared() {
        for radius_deg in [0.5, 3.0, 12.0] {
            let light = DiscLight::new(-40.0, 30.0, radius_deg, [5.0, 7.0, 9.0]);
            let expected = light.illuminance()[1];
            let scene = Scene::plain([0.0; 3]).with_light(light.clone());
            let sum = illuminance_by_sum(&scene, &light.direction);
            // One row of 0.0225° more or less: twice that over the radius.
            assert!((sum / expected - 1.0).abs() < 0.05 / radius_deg, "{radius_deg}: {sum} {expected}");
        }
    }

    #[test]
    fn turning_adds_to_the_azimuth() {
        let scene = Scene::plain([0.0; 3]).with_light(DiscLight::new(20.0, 10.0, 2.0, [1.0; 3])).turned(14.0);
        let direction = scene.lights_in_camera_axes()[0].direction;
        assert!((direction - direction_of(34.0, 10.0)).norm() < 1e-12);
        assert!(scene.radiance(&direction).iter().all(|l| (l - 1.0).abs() < 1e-12));
    }

    #[test]
    fn a_camera_that_looks_down_sees_the_level_horizon_above_its_axis() {
        let scene = Scene::plain([0.0; 3]).for_camera_tilt(-4.0);
        let horizon = scene.in_camera_axes(&Vector3::new(0.0, 0.0, -1.0));
        assert!((horizon.y.asin().to_degrees() - 4.0).abs() < 1e-9 && horizon.z < 0.0);
    }

    /// Chromaticities of Planck's law by colour-science 0.4.7 (CIE 1931 observer); the fit is good to 0.001.
    #[test]
    fn black_body_colours_lie_on_the_locus() {
        for (kelvin, x, y) in [(2000.0, 0.526678, 0.413297), (3200.0, 0.423360, 0.398952), (5600.0, 0.330198, 0.339079)]
        {
            let (fit_x, fit_y) = planckian_xy(kelvin);
            assert!((fit_x - x).abs() < 0.001 && (fit_y - y).abs() < 0.001, "{kelvin}: {fit_x} {fit_y}");
        }
        assert!((crate::colour::luminance(black_body(3200.0)) - 1.0).abs() < 1e-3);
    }
}
