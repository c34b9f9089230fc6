//! The three frames of a shot: plate, mirror, CG sphere.

use super::develop::{Noise, Veil};
use super::render::{Background, MirrorSphere, Picture, RenderOptions, render};
use super::scene::Backdrop;
use super::shot::{CgFrame, EnvironmentTake, GOOD_SPHERE, MirrorTake, SIZE, Shot};
use crate::base::parallel;
use crate::compare::rotation::level_axes;
use crate::image::Size;
use crate::image::write::NamedLayer;
use crate::light::environment::{Convention, Stance, direction};
use crate::optics::camera::View;
use crate::sphere::{Outline, outline_of_cone};

/// Where the invented camera's recording ends.
pub(crate) const CAMERA_CLIP_LEVEL: f64 = 180.0;

/// The captured environment: twice as wide as high.
const ENVIRONMENT_SIZE: Size = Size { width: 512, height: 256 };

/// Samples across a pixel of it.
const ENVIRONMENT_SAMPLES: usize = 4;

/// The plate: no sphere, the actor in it.
pub(crate) fn plate(shot: &Shot) -> Picture {
    render(&shot.set_with_actor(), &shot.view(), SIZE, None, &camera(shot, 1))
}

/// The mirror frame: sphere on its stand, crew seen in it.
pub(crate) fn mirror(shot: &Shot) -> Picture {
    let exposure = shot.drift_stops.exp2();
    let options =
        RenderOptions { stand: true, gain: [exposure; 3], background_shift_px: [0.6, -0.4], ..camera(shot, 2) };
    let options = match shot.mirror_take {
        MirrorTake::Good => options,
        MirrorTake::Poor => RenderOptions {
            veil: Some(Veil { fraction: 0.22, sigma_px: 16.0 }),
            blur_px: 1.3,
            clip_level: Some(1.0),
            steps_per_stop: None,
            ..options
        },
    };
    render(&shot.set_with_crew(), &shot.view(), SIZE, Some(&sphere(shot, shot.reflectance())), &options)
}

/// The CG sphere, rendered with the reflectance that its artist believed in.
pub(crate) fn cg(shot: &Shot) -> Picture {
    let background = match shot.cg_frame {
        CgFrame::Premultiplied => Background::Transparent,
        CgFrame::OverBackground => Background::Shown,
    };
    let noise = Some(Noise { seed: seed(shot, 3), read: 0.0, shot: 2e-6 });
    let options = RenderOptions { background, noise, ..RenderOptions::default() };
    render(&shot.cg_scene(), &shot.view(), SIZE, Some(&sphere(shot, GOOD_SPHERE)), &options)
}

/// The CG sphere under one light alone, for each light, and under everything else.
pub(crate) fn cg_layers(shot: &Shot) -> Vec<NamedLayer> {
    let scene = shot.cg_scene();
    let options = RenderOptions { background: Background::Transparent, ..RenderOptions::default() };
    let name = |index: usize| shot.light_layers.get(index).copied().unwrap_or("rest").to_owned();
    (0..=scene.lights.len())
        .map(|index| {
            let mut part = scene.clone();
            // A light that is off still hides what is behind it, so that the layers add up to the whole.
            part.lights.iter_mut().enumerate().filter(|(i, _)| *i != index).for_each(|(_, l)| l.radiance = [0.0; 3]);
            if index < scene.lights.len() {
                part.panels.clear();
                part.backdrop = Backdrop::Plain([0.0; 3]);
            }
            let picture = render(&part, &shot.view(), SIZE, Some(&sphere(shot, GOOD_SPHERE)), &options);
            NamedLayer { name: name(index), rgb: picture.rgb }
        })
        .collect()
}

/// The light on set from every direction, as captured.
pub(crate) fn environment(shot: &Shot, take: EnvironmentTake) -> Picture {
    let set = shot.empty_set();
    let stance = Stance { level_axes: level_axes(shot.tilt_deg, 0.0), heading_deg: take.heading_deg };
    let size = [ENVIRONMENT_SIZE.width, ENVIRONMENT_SIZE.height];
    let gain = take.stops.exp2();
    let pixel = |index: usize| {
        let (column, row) = ((index % size[0]) as f64, (index / size[0]) as f64);
        let mut sum = [0.0; 3];
        for point in 0..ENVIRONMENT_SAMPLES * ENVIRONMENT_SAMPLES {
            let place = |i: usize| (i as f64 + 0.5) / ENVIRONMENT_SAMPLES as f64 - 0.5;
            let at = [column + place(point % ENVIRONMENT_SAMPLES), row + place(point / ENVIRONMENT_SAMPLES)];
            let [longitude, latitude] = Convention::OpenExr.longitude_latitude(at, size);
            let radiance = set.radiance(&stance.in_camera_axes(&direction(longitude, latitude)));
            sum = [0, 1, 2].map(|c| sum[c] + radiance[c]);
        }
        let count = (ENVIRONMENT_SAMPLES * ENVIRONMENT_SAMPLES) as f64;
        sum.map(|s| (gain * s / count) as f32)
    };
    let rgb = parallel::map(size[0] * size[1], pixel);
    Picture { size: ENVIRONMENT_SIZE, rgb, alpha: None }
}

pub(crate) fn sphere(shot: &Shot, reflectance: [f64; 3]) -> MirrorSphere {
    MirrorSphere::at(&shot.view(), shot.sphere_px, shot.sphere_radius_px, reflectance)
}

/// The sphere's outline in the frame as a sheet gives it: centre, semi-axes (px), angle (deg).
pub(crate) fn outline_px(shot: &Shot) -> Option<[f64; 5]> {
    told_outline(&shot.view(), &sphere(shot, GOOD_SPHERE))
}

/// The same of any sphere.
pub(crate) fn told_outline(view: &View, sphere: &MirrorSphere) -> Option<[f64; 5]> {
    let Outline { centre_x, centre_y, semi_a, semi_b, angle_deg } = outline_of_cone(view, &sphere.cone)?;
    Some([centre_x, centre_y, semi_a, semi_b, angle_deg].map(|v| (v * 100.0).round() / 100.0))
}

/// A camera as the invented production used it.
pub(crate) fn camera(shot: &Shot, take: u64) -> RenderOptions {
    RenderOptions {
        blur_px: 0.55,
        noise: Some(Noise { seed: seed(shot, take), read: 0.0015, shot: 6e-5 }),
        clip_level: Some(CAMERA_CLIP_LEVEL),
        steps_per_stop: Some(128.0),
        ..RenderOptions::default()
    }
}

/// A seed that differs between shots and between takes.
pub(crate) fn seed(shot: &Shot, take: u64) -> u64 {
    shot.name.bytes().fold(take, |sum, byte| sum.wrapping_mul(257).wrapping_add(u64::from(byte)))
}
