//! The three frames of a shot: plate, mirror, CG sphere.

use super::develop::{Noise, Veil};
use super::render::{Background, MirrorSphere, Picture, RenderOptions, render};
use super::shots::{CgFrame, GOOD_SPHERE, MirrorTake, SIZE, Shot};

/// Where the invented camera's recording ends.
pub(crate) const CAMERA_CLIP_LEVEL: f64 = 180.0;

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

pub(crate) fn sphere(shot: &Shot, reflectance: [f64; 3]) -> MirrorSphere {
    MirrorSphere::at(&shot.view(), shot.sphere_px, shot.sphere_radius_px, reflectance)
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
