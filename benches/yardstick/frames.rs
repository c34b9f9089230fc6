//! The frames of the whole-program benches: a quay with a mirror sphere, its plate, and a CG sphere turned by 9 degrees.

use std::fs;
use std::path::{Path, PathBuf};

use nalgebra::Vector3;
use plateproof::demo::render::{Background, MirrorSphere, Picture, RenderOptions, render};
use plateproof::demo::scene::{Backdrop, DiscLight, Panel, Scene, black_body, direction_of};
use plateproof::demo::{Noise, OpenAir};
use plateproof::image::write::{ExrAttributes, write_exr};
use plateproof::image::{DataWindow, Size};
use plateproof::optics::camera::{FovSource, View};

use super::process::Outcome;

const FOV_DEG: f64 = 42.0;
/// Centre and radius of the sphere as fractions of the frame's width.
const SPHERE_CENTRE: [f64; 2] = [0.564, 0.2905];
const SPHERE_RADIUS: f64 = 0.0732;
const REFLECTANCE: [f64; 3] = [0.62, 0.60, 0.56];
/// What the frames are called.
pub(crate) const FRAMES: [&str; 3] = ["plate.exr", "mirror.exr", "cg.exr"];

/// The frames in a folder.
pub(crate) fn files_in(folder: &Path) -> Vec<PathBuf> {
    FRAMES.map(|name| folder.join(name)).into()
}

/// Plate, mirror frame and CG sphere with their sheet; left as they are where they exist.
pub(crate) fn make_frames(folder: &Path, size: Size) -> Outcome<()> {
    if FRAMES.iter().all(|name| folder.join(name).exists()) {
        return Ok(());
    }
    let view = View::from_horizontal_fov(size, 1.0, FOV_DEG, FovSource::Sheet);
    let width = size.width as f64;
    let sphere = MirrorSphere::at(&view, SPHERE_CENTRE.map(|c| c * width), SPHERE_RADIUS * width, REFLECTANCE);
    let camera = |seed: u64| RenderOptions {
        samples: 2,
        blur_px: 0.55,
        noise: Some(Noise { seed, read: 0.0015, shot: 6e-5 }),
        ..RenderOptions::default()
    };
    let on_set = quay();
    let plate = render(&on_set, &view, size, None, &camera(1));
    write(&folder.join(FRAMES[0]), size, &plate)?;
    let mirror = RenderOptions { stand: true, background_shift_px: [0.6, -0.4], ..camera(2) };
    write(&folder.join(FRAMES[1]), size, &render(&on_set, &view, size, Some(&sphere), &mirror))?;
    let cg = RenderOptions {
        background: Background::Transparent,
        noise: Some(Noise { seed: 3, read: 0.0, shot: 2e-6 }),
        ..camera(3)
    };
    write(&folder.join(FRAMES[2]), size, &render(&on_set.turned(9.0), &view, size, Some(&sphere), &cg))?;
    fs::write(folder.join("shot.json"), sheet("SF_0990", size))?;
    Ok(())
}

fn write(path: &Path, size: Size, picture: &Picture) -> plateproof::Result<()> {
    let data = DataWindow { x: 0, y: 0, width: size.width, height: size.height };
    write_exr(path, size, data, &picture.rgb, picture.alpha.as_deref(), &ExrAttributes::default())
}

/// The sheet of a shot with these frames beside it.
pub(crate) fn sheet(shot: &str, size: Size) -> String {
    let [width, height] = [size.width, size.height];
    let sensor_mm = 24.0;
    let focal_length_mm = sensor_mm / (2.0 * (FOV_DEG.to_radians() / 2.0).tan());
    format!(
        r#"{{
  "format": "plateproof-shot/1",
  "shot": "{shot}",
  "plate": "plate.exr",
  "mirrors": [ {{ "name": "m1", "bracket": ["mirror.exr"], "reflectance": [0.62, 0.60, 0.56] }} ],
  "cg": {{ "version": "v001", "spheres": [ {{ "mirror": "m1", "frame": "cg.exr" }} ] }},
  "camera": {{ "focal_length_mm": {focal_length_mm}, "sensor_mm": [{sensor_mm}, {}],
               "sensor_px": [{width}, {height}], "used_px": [{width}, {height}], "recorded_px": [{width}, {height}] }}
}}
"#,
        sensor_mm * height as f64 / width as f64
    )
}

/// A quay under an overcast sky with two lamps and a cloth: texture everywhere, as on a real set.
fn quay() -> Scene {
    let light = |azimuth: f64, elevation: f64, radius: f64, kelvin: f64, luminance: f64| {
        DiscLight::new(azimuth, elevation, radius, black_body(kelvin).map(|c| c * luminance))
    };
    Scene::new(Backdrop::OpenAir(OpenAir {
        zenith: [0.30, 0.36, 0.46],
        horizon: [0.42, 0.40, 0.38],
        glow: [0.20, 0.15, 0.10],
        glow_towards: glow(),
        cloud: [0.32, 0.31, 0.33],
        sea: [0.05, 0.07, 0.08],
        deck: [0.16, 0.13, 0.10],
        blocks: Vec::new(),
        seed: 990,
    }))
    .with_panel(Panel::new(150.0, 20.0, [14.0, 9.0], 2.0, [0.9, 0.9, 0.95]))
    .with_light(light(-48.0, 34.0, 5.0, 4300.0, 60.0))
    .with_light(light(70.0, 25.0, 3.0, 3200.0, 40.0))
}

fn glow() -> Vector3<f64> {
    direction_of(200.0, 2.0)
}
