//! One shot: a mirror sphere in surroundings, with what makes finding it hard.

use nalgebra::Vector3;
use plateproof::image::{Frame, Size};
use plateproof::optics::camera::View;
use plateproof::sphere::{Outline, SphereCone, outline_of_cone};
use rayon::prelude::*;

use super::environment::{Environment, fraction};
use super::load::frame_of;
use super::random::Random;

/// What is drawn in one place.
pub(crate) enum Thing {
    /// A mirror sphere with reflectance per channel; `fresnel` raises it towards 1 at the rim (Schlick 1994).
    Mirror { cone: SphereCone, reflectance: [f64; 3], fresnel: bool },
    /// A matte ball under one lamp and an even surround.
    Matte { cone: SphereCone, albedo: f64, towards_light: Vector3<f64>, ambient: f64 },
    /// A flat disc across the view: plate, lamp, wheel.
    Disc { cone: SphereCone, face: Face },
    /// A quadrilateral of one colour: stand or occluder. Corners in px.
    Card { corners: [[f64; 2]; 4], colour: [f64; 3] },
}

/// What a flat disc shows.
pub(crate) enum Face {
    Plain([f64; 3]),
    Rings { inner: [f64; 3], outer: [f64; 3], count: f64 },
    Spokes { light: [f64; 3], dark: [f64; 3], count: f64 },
}

/// An additive streak or glow, px.
pub(crate) struct Flare {
    pub(crate) centre: [f64; 2],
    pub(crate) angle_rad: f64,
    pub(crate) length_px: f64,
    pub(crate) width_px: f64,
    pub(crate) peak: f64,
}

/// How the picture was recorded.
#[derive(Clone, Copy)]
pub(crate) struct Recording {
    pub(crate) blur_px: f64,
    /// Noise sd at white, falling with the square root of the level.
    pub(crate) noise: f64,
    pub(crate) read_noise: f64,
    /// Factor on all light.
    pub(crate) exposure: f64,
    /// 8-bit sRGB with clipping at 1, else linear float.
    pub(crate) eight_bit: bool,
}

pub(crate) struct Scene {
    pub(crate) size: Size,
    pub(crate) view: View,
    pub(crate) environment: Environment,
    /// Front to back.
    pub(crate) things: Vec<Thing>,
    pub(crate) flares: Vec<Flare>,
    pub(crate) recording: Recording,
}

/// The cone of a sphere whose outline is centred about `centre_px` with about `radius_px` rows of half-height.
pub(crate) fn cone_at(view: &View, centre_px: [f64; 2], radius_px: f64) -> SphereCone {
    let axis = view.ray(centre_px);
    let half_angle_rad = (radius_px / view.focal_px * axis.z.abs()).asin();
    SphereCone { axis, half_angle_rad }
}

impl Scene {
    /// The first mirror's true outline.
    pub(crate) fn truth(&self) -> Option<Outline> {
        self.things.iter().find_map(|t| match t {
            Thing::Mirror { cone, .. } => outline_of_cone(&self.view, cone),
            _ => None,
        })
    }

    /// Sets the exposure so that a tenth of the background lies above `level`.
    pub(crate) fn expose(&mut self, level: f64) {
        let (w, h) = (self.size.width as f64, self.size.height as f64);
        let mut seen: Vec<f64> = (0..600)
            .map(|i| self.view.ray([w * (f64::from(i % 30) + 0.5) / 30.0, h * (f64::from(i / 30) + 0.5) / 20.0]))
            .map(|ray| self.environment.radiance(&ray)[1])
            .collect();
        seen.sort_by(f64::total_cmp);
        self.recording.exposure = level / seen[540].max(1e-6);
    }

    pub(crate) fn render(&self, name: &str, seed: u64) -> Frame {
        let (width, height) = (self.size.width, self.size.height);
        let clear: Vec<[f32; 3]> =
            (0..width * height).into_par_iter().map(|i| self.pixel(i % width, i / width)).collect();
        let blurred = blur(clear, width, height, self.recording.blur_px);
        let mut random = Random::new(seed);
        let recorded = blurred.into_iter().map(|p| self.recording.record(p, &mut random)).collect();
        frame_of(name, self.size, self.view.pixel_aspect, recorded, None, self.recording.eight_bit)
    }

    fn pixel(&self, column: usize, row: usize) -> [f32; 3] {
        let corners = [[0.0, 0.0], [1.0, 0.0], [0.0, 1.0], [1.0, 1.0]];
        let owners = corners.map(|[dx, dy]| self.owner([column as f64 + dx, row as f64 + dy]).0);
        let edge = owners.iter().any(|o| *o != owners[0]) || self.near_rim([column as f64 + 0.5, row as f64 + 0.5]);
        let side = if edge { 8 } else { 2 };
        let mut sum = [0.0; 3];
        for sub in 0..side * side {
            let x = column as f64 + (f64::from(sub % side) + 0.5) / f64::from(side);
            let y = row as f64 + (f64::from(sub / side) + 0.5) / f64::from(side);
            let value = self.point([x, y]);
            (0..3).for_each(|k| sum[k] += value[k]);
        }
        sum.map(|s| (s / f64::from(side * side)) as f32)
    }

    fn near_rim(&self, point: [f64; 2]) -> bool {
        let ray = self.view.ray(point);
        self.things.iter().any(|t| match t {
            Thing::Mirror { cone, .. } => {
                let angle = ray.cross(&cone.axis).norm().atan2(ray.dot(&cone.axis));
                (angle - cone.half_angle_rad).abs() * self.view.focal_px < 4.0
            }
            _ => false,
        })
    }

    /// Which thing is seen at a point, and the ray.
    fn owner(&self, point: [f64; 2]) -> (usize, Vector3<f64>) {
        let ray = self.view.ray(point);
        let index = self.things.iter().position(|t| t.covers(point, &ray)).unwrap_or(usize::MAX);
        (index, ray)
    }

    fn point(&self, point: [f64; 2]) -> [f64; 3] {
        let (index, ray) = self.owner(point);
        let mut value = match self.things.get(index) {
            None => self.environment.radiance(&ray),
            Some(thing) => thing.shade(&ray, &self.environment),
        };
        for flare in &self.flares {
            let glow = flare.at(point);
            (0..3).for_each(|k| value[k] += glow);
        }
        value
    }
}

impl Flare {
    fn at(&self, p: [f64; 2]) -> f64 {
        let (dx, dy) = (p[0] - self.centre[0], p[1] - self.centre[1]);
        let (s, c) = self.angle_rad.sin_cos();
        let (u, v) = ((dx * c + dy * s) / self.length_px, (dy * c - dx * s) / self.width_px);
        self.peak * (-0.5 * (u.abs() + v * v)).exp()
    }
}

impl Thing {
    fn covers(&self, point: [f64; 2], ray: &Vector3<f64>) -> bool {
        match self {
            Self::Mirror { cone, .. } | Self::Matte { cone, .. } | Self::Disc { cone, .. } => {
                ray.dot(&cone.axis) > cone.half_angle_rad.cos()
            }
            Self::Card { corners, .. } => (0..4).all(|i| {
                let (a, b) = (corners[i], corners[(i + 1) % 4]);
                (b[0] - a[0]) * (point[1] - a[1]) - (b[1] - a[1]) * (point[0] - a[0]) >= 0.0
            }),
        }
    }

    fn shade(&self, ray: &Vector3<f64>, environment: &Environment) -> [f64; 3] {
        match self {
            Self::Mirror { cone, reflectance, fresnel } => {
                let normal = surface_normal(cone, ray);
                let cosine = -ray.dot(&normal);
                let out = ray + normal * (2.0 * cosine);
                let seen = environment.radiance(&out.normalize());
                let rise = if *fresnel { (1.0 - cosine.clamp(0.0, 1.0)).powi(5) } else { 0.0 };
                [0, 1, 2].map(|k| seen[k] * (reflectance[k] + (1.0 - reflectance[k]) * rise))
            }
            Self::Matte { cone, albedo, towards_light, ambient } => {
                let normal = surface_normal(cone, ray);
                let level = albedo * (ambient + normal.dot(towards_light).max(0.0));
                [level; 3]
            }
            Self::Disc { cone, face } => {
                let (r, phi) = polar(cone, ray);
                match face {
                    Face::Plain(colour) => *colour,
                    Face::Rings { inner, outer, count } => {
                        if fraction(r * count) < 0.5 {
                            *inner
                        } else {
                            *outer
                        }
                    }
                    Face::Spokes { light, dark, count } => {
                        if fraction(phi * count / std::f64::consts::TAU) < 0.5 {
                            *light
                        } else {
                            *dark
                        }
                    }
                }
            }
            Self::Card { colour, .. } => *colour,
        }
    }
}

/// Normal where a ray meets the unit sphere behind the cone.
fn surface_normal(cone: &SphereCone, ray: &Vector3<f64>) -> Vector3<f64> {
    let distance = 1.0 / cone.half_angle_rad.sin();
    let centre = cone.axis * distance;
    let along = ray.dot(&centre);
    let inside = (along * along - distance * distance + 1.0).max(0.0).sqrt();
    (ray * (along - inside) - centre).normalize()
}

fn polar(cone: &SphereCone, ray: &Vector3<f64>) -> (f64, f64) {
    let across = ray / ray.dot(&cone.axis) - cone.axis;
    (across.norm() / cone.half_angle_rad.tan(), across.y.atan2(across.x) + std::f64::consts::PI)
}

fn blur(image: Vec<[f32; 3]>, width: usize, height: usize, sd: f64) -> Vec<[f32; 3]> {
    if sd <= 0.0 {
        return image;
    }
    let reach = (4.0 * sd).ceil() as i64;
    let weights: Vec<f32> = (-reach..=reach).map(|i| (-0.5 * (i as f64 / sd).powi(2)).exp() as f32).collect();
    let total: f32 = weights.iter().sum();
    let pass = |source: &[[f32; 3]], dx: i64, dy: i64| -> Vec<[f32; 3]> {
        (0..width * height)
            .into_par_iter()
            .map(|i| {
                let (x, y) = ((i % width) as i64, (i / width) as i64);
                let mut sum = [0.0; 3];
                for (k, w) in weights.iter().enumerate() {
                    let o = k as i64 - reach;
                    let cx = (x + o * dx).clamp(0, width as i64 - 1) as usize;
                    let cy = (y + o * dy).clamp(0, height as i64 - 1) as usize;
                    let p = source[cy * width + cx];
                    (0..3).for_each(|c| sum[c] += w * p[c]);
                }
                sum.map(|s| s / total)
            })
            .collect()
    };
    let across = pass(&image, 1, 0);
    pass(&across, 0, 1)
}

impl Recording {
    fn record(self, pixel: [f32; 3], random: &mut Random) -> [f32; 3] {
        pixel.map(|v| {
            let v = f64::from(v) * self.exposure;
            let sd = self.noise * v.max(0.0).sqrt() + self.read_noise;
            let noisy = if sd > 0.0 { v + sd * random.normal() } else { v };
            (if self.eight_bit { through_eight_bits(noisy) } else { noisy }) as f32
        })
    }
}

/// Encoded as 8-bit sRGB (IEC 61966-2-1) and decoded again.
fn through_eight_bits(linear: f64) -> f64 {
    let v = linear.clamp(0.0, 1.0);
    let code = if v <= 0.003_130_8 { 12.92 * v } else { 1.055 * v.powf(1.0 / 2.4) - 0.055 };
    let code = (code * 255.0).round() / 255.0;
    if code <= 0.04045 { code / 12.92 } else { ((code + 0.055) / 1.055).powf(2.4) }
}
