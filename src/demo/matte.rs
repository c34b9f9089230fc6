//! A grey sphere in the frame: every point as bright as the light on its normal makes it.

use std::f64::consts::PI;

use nalgebra::Vector3;

use super::develop::develop;
use super::frames::{camera, told_outline};
use super::render::{MirrorSphere, Picture, RenderOptions, render, stand_radiance};
use super::scene::Scene;
use super::shot::{SIZE, Shot};
use super::truth::{illuminance, sources};
use crate::base::parallel;
use crate::optics::camera::View;
use crate::sphere::outline_of_cone;

/// The grey of the invented production's grey sphere, linear.
pub(crate) const GREY: [f64; 3] = [0.18; 3];

/// It is smaller than the mirror sphere by this factor.
const SIZE_RATIO: f64 = 0.7;

/// Samples across a pixel in which its outline falls.
const EDGE_SAMPLES: usize = 8;

/// Its outline in the frame as a sheet gives it: centre, semi-axes (px), angle (deg).
pub(crate) fn outline_px(shot: &Shot) -> Option<[f64; 5]> {
    let view = shot.view();
    told_outline(&view, &ball(shot, &view))
}

fn ball(shot: &Shot, view: &View) -> MirrorSphere {
    MirrorSphere::at(view, shot.sphere_px, SIZE_RATIO * shot.sphere_radius_px, GREY)
}

/// The frame of the grey sphere, held up where the mirror sphere was, in the light of `scene`.
pub(crate) fn matte(shot: &Shot, scene: &Scene) -> Picture {
    let view = shot.view();
    let ball = ball(shot, &view);
    let outline = outline_of_cone(&view, &ball.cone);
    let lights = sources(scene);
    let mut picture = render(scene, &view, SIZE, None, &RenderOptions::default());
    parallel::each(&mut picture.rgb, |index, pixel| {
        let corner = [(index % SIZE.width) as f64, (index / SIZE.width) as f64];
        let stand = outline.as_ref().and_then(|outline| stand_radiance(outline, corner.map(|c| c + 0.5)));
        let (rgb, coverage) = match (stand, seen_normal(&view, &ball, corner)) {
            (Some(rgb), _) => (rgb, 1.0),
            (None, Some((normal, coverage))) => {
                let lit = illuminance(&lights, &normal);
                ([0, 1, 2].map(|c| GREY[c] / PI * lit[c]), coverage)
            }
            (None, None) => return,
        };
        *pixel = [0, 1, 2].map(|c| (f64::from(pixel[c]) * (1.0 - coverage) + rgb[c] * coverage) as f32);
    });
    picture.rgb = develop(picture.rgb, SIZE, &camera(shot, 6));
    picture
}

/// The sphere's normal in a pixel, and the part of the pixel that it fills.
fn seen_normal(view: &View, ball: &MirrorSphere, corner: [f64; 2]) -> Option<(Vector3<f64>, f64)> {
    // The normal halves the angle between the mirrored ray and the way back to the camera.
    let normal = |[x, y]: [f64; 2]| {
        let ray = view.ray([corner[0] + x, corner[1] + y]);
        Some((ball.reflect(&ray)? - ray).normalize())
    };
    let at_corners = [[0.0, 0.0], [1.0, 0.0], [0.0, 1.0], [1.0, 1.0]].map(normal);
    match at_corners.iter().flatten().count() {
        0 => None,
        4 => Some((normal([0.5, 0.5])?, 1.0)),
        _ => {
            let place = |i: usize| (i as f64 + 0.5) / EDGE_SAMPLES as f64;
            let all = EDGE_SAMPLES * EDGE_SAMPLES;
            let hits: Vec<_> =
                (0..all).filter_map(|i| normal([place(i % EDGE_SAMPLES), place(i / EDGE_SAMPLES)])).collect();
            let mean = hits.iter().sum::<Vector3<f64>>().try_normalize(1e-9)?;
            Some((mean, hits.len() as f64 / all as f64))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::demo::scene::DiscLight;
    use crate::demo::shots::shots;

    /// An even surround of radiance L gives πL on every patch, a disc of illuminance E adds E cos θ (closed form).
    #[test]
    fn its_points_have_their_closed_form() {
        let shot = shots().remove(0);
        let lamp = DiscLight::new(30.0, 20.0, 3.0, [100.0; 3]);
        let scene = Scene::plain([0.4; 3]).with_light(lamp.clone());
        let picture = matte(&shot, &scene);
        let view = shot.view();
        let small = ball(&shot, &view);
        for offset in [[0.0, 0.0], [20.0, -15.0], [-25.0, 10.0]] {
            // Means over 9 x 9 pixels: the noise of one is 3 %.
            let (mut seen, mut expected) = (0.0, 0.0);
            for i in 0..81 {
                let at = [offset[0] + f64::from(i % 9), offset[1] + f64::from(i / 9)];
                let [x, y] = [0, 1].map(|axis| (shot.sphere_px[axis] + at[axis]).floor());
                let (normal, coverage) = seen_normal(&view, &small, [x, y]).unwrap();
                assert!((coverage - 1.0).abs() < 1e-12);
                let lit = PI * 0.4 + lamp.illuminance()[1] * lamp.direction.dot(&normal).max(0.0);
                expected += GREY[1] / PI * lit;
                seen += f64::from(picture.rgb[y as usize * SIZE.width + x as usize][1]);
            }
            // A ninth of that noise, and the sum over a grid of directions.
            assert!((seen / expected - 1.0).abs() < 0.015, "{seen} {expected}");
        }
    }
}
