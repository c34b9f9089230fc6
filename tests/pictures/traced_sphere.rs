//! Pictures of a mirror sphere whose surface has faults, traced ray by ray: rays meet the unit sphere, a fault says how the
//! surface turns and dims them there, and they go on into a made-up world.

#![allow(clippy::unwrap_used, reason = "a test stops where its input is not what it should be")]

use nalgebra::Vector3;
use plateproof::image::{Frame, Size};
use plateproof::optics::camera::{FovSource, View};
use plateproof::sphere::find::given_sphere;
use plateproof::sphere::{MirrorGeometry, SphereCone, SphereFit, outline_of_cone};
use rayon::prelude::*;

use crate::sphere_scene::random::Random;
use crate::sphere_scene::scene::cone_at;

/// Radiance from a direction.
pub(crate) type World<'a> = &'a (dyn Fn(&Vector3<f64>) -> [f64; 3] + Sync);

/// The normal by which the surface mirrors where a true sphere has this one, and the factor on what it mirrors.
pub(crate) type Surface<'a> = &'a (dyn Fn(Vector3<f64>) -> (Vector3<f64>, f64) + Sync);

pub(crate) struct Picture<'a> {
    pub(crate) radius_px: f64,
    /// Rays a pixel side.
    pub(crate) rays: usize,
    /// Noise sd at the median brightness, as a part of it.
    pub(crate) noise: f64,
    pub(crate) seed: u64,
    pub(crate) world: World<'a>,
    pub(crate) surface: Surface<'a>,
}

/// A picture with the sphere as it truly stands.
pub(crate) struct Taken {
    pub(crate) frame: Frame,
    pub(crate) view: View,
    pub(crate) cone: SphereCone,
    pub(crate) fit: SphereFit,
}

impl Taken {
    pub(crate) fn geometry(&self) -> MirrorGeometry {
        MirrorGeometry::new(&self.view, &self.cone)
    }
}

impl Picture<'_> {
    pub(crate) fn take(&self) -> Taken {
        let side = (self.radius_px * 2.4).ceil() as usize + 16;
        let size = Size { width: side + 40, height: side };
        let view = View::from_horizontal_fov(size, 1.0, 14.0, FovSource::Sheet);
        let cone = cone_at(&view, [side as f64 * 0.5 + 7.3, side as f64 * 0.5 + 1.6], self.radius_px);
        let value = |i: usize| self.pixel(&view, &cone, [(i % size.width) as f64, (i / size.width) as f64]);
        let clear: Vec<[f64; 3]> = (0..size.width * size.height).into_par_iter().map(value).collect();
        let mut levels: Vec<f64> = clear.iter().map(|p| p[1]).collect();
        levels.sort_by(f64::total_cmp);
        let median = levels[levels.len() / 2];
        let mut random = Random::new(self.seed);
        let mut noisy = |v: f64| {
            let sd = self.noise * ((median * v.max(0.0)).sqrt() + 0.1 * median);
            (v + sd * random.normal()) as f32
        };
        let rgb = clear.iter().map(|p| p.map(&mut noisy)).collect();
        let frame = Frame::computed("made", size, rgb);
        let outline = outline_of_cone(&view, &cone).unwrap();
        let fit = given_sphere(&frame, &view, &outline, 0.05).unwrap();
        Taken { frame, view, cone, fit }
    }

    fn pixel(&self, view: &View, cone: &SphereCone, corner: [f64; 2]) -> [f64; 3] {
        let mut sum = [0.0; 3];
        for ray in 0..self.rays * self.rays {
            let at = |i: usize| (i as f64 + 0.5) / self.rays as f64;
            let seen = self.point(view, cone, [corner[0] + at(ray % self.rays), corner[1] + at(ray / self.rays)]);
            (0..3).for_each(|k| sum[k] += seen[k] / (self.rays * self.rays) as f64);
        }
        sum
    }

    fn point(&self, view: &View, cone: &SphereCone, point: [f64; 2]) -> [f64; 3] {
        let ray = view.ray(point);
        if ray.dot(&cone.axis) < cone.half_angle_rad.cos() {
            return [0.2; 3];
        }
        let distance = 1.0 / cone.half_angle_rad.sin();
        let centre = cone.axis * distance;
        let along = ray.dot(&centre);
        let true_normal = ray * (along - (along * along - distance * distance + 1.0).max(0.0).sqrt()) - centre;
        let (normal, factor) = (self.surface)(true_normal);
        let out = ray - normal * (2.0 * ray.dot(&normal));
        (self.world)(&out.normalize()).map(|v| v * factor)
    }
}
