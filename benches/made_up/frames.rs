//! A recipe's frames on disk.

use std::path::Path;

use plateproof::Result;
use plateproof::demo::render::{Background, MirrorSphere, Picture, RenderOptions, render};
use plateproof::demo::scene::Scene;
use plateproof::demo::{Noise, develop};
use plateproof::image::write::{ExrAttributes, write_exr, write_jpeg};
use plateproof::image::{DataWindow, Size};

use super::hide::hide;
use super::recipe::{BELIEVED, Kept, Recipe};

/// Names of plate, CG and mirror frame.
pub(crate) const PLATE: &str = "plate.exr";
pub(crate) const CG: &str = "cg.exr";

pub(crate) fn mirror_name(recipe: &Recipe) -> &'static str {
    if matches!(recipe.kept, Kept::Jpeg { .. }) { "mirror.jpg" } else { "mirror.exr" }
}

/// Renders and writes everything.
pub(crate) fn write(recipe: &Recipe, folder: &Path) -> Result<()> {
    let mirror = mirror(recipe);
    let path = folder.join(mirror_name(recipe));
    match recipe.kept {
        Kept::HalfFloat => write_half(&path, &mirror)?,
        Kept::Jpeg { quality, .. } => write_jpeg(&path, mirror.size, &tone_curve(recipe, &mirror), quality)?,
    }
    if recipe.plate_drift_stops.is_some() {
        write_half(&folder.join(PLATE), &plate(recipe))?;
    }
    write_half(&folder.join(CG), &cg(recipe))
}

/// Whether any pixel of the mirror frame that was written stands at the ceiling; a JPEG is taken to.
pub(crate) fn reaches_ceiling(recipe: &Recipe, folder: &Path) -> bool {
    let path = folder.join(mirror_name(recipe));
    let Ok(picture) = exr::prelude::read_first_flat_layer_from_file(path) else { return true };
    // Half floats round by up to 0.05 %.
    let ceiling = 0.999 * recipe.clip_level as f32;
    picture.layer_data.channel_data.list.iter().any(|c| c.sample_data.values_as_f32().any(|v| v >= ceiling))
}

/// The CG's surroundings as it was rendered, turn included.
pub(crate) fn cg_scene(recipe: &Recipe) -> Scene {
    let e = &recipe.errors;
    recipe.rig.cg_unturned(e, recipe.tilt_deg).turned(e.heading_deg).tipped(e.tip_deg)
}

/// The recording, from light to stored values.
fn camera(recipe: &Recipe, take: u64) -> RenderOptions {
    RenderOptions {
        blur_px: recipe.blur_px,
        noise: Some(Noise { seed: recipe.seed * 8 + take, read: recipe.read_noise, shot: recipe.shot_noise }),
        clip_level: Some(recipe.clip_level),
        ..RenderOptions::default()
    }
}

fn plate(recipe: &Recipe) -> Picture {
    let set = recipe.rig.set(false, recipe.tilt_deg);
    render(&set, &recipe.view(), recipe.size, None, &camera(recipe, 1))
}

fn mirror(recipe: &Recipe) -> Picture {
    let gain = recipe.plate_drift_stops.unwrap_or(0.0).exp2();
    let light = RenderOptions {
        stand: recipe.stand,
        gain: [gain; 3],
        background_shift_px: [0.4, -0.3],
        ..RenderOptions::default()
    };
    let sphere = MirrorSphere::at(&recipe.view(), recipe.centre_px, recipe.radius_px, recipe.reflectance);
    let set = recipe.rig.set(recipe.crew, recipe.tilt_deg);
    let mut picture = render(&set, &recipe.view(), recipe.size, Some(&sphere), &light);
    if let Some((fraction, from_deg)) = recipe.hidden {
        hide(&mut picture, recipe.centre_px, recipe.radius_px, fraction, from_deg);
    }
    picture.rgb = develop(picture.rgb, recipe.size, &camera(recipe, 2));
    picture
}

fn cg(recipe: &Recipe) -> Picture {
    let background = if recipe.cg_alpha { Background::Transparent } else { Background::Shown };
    let noise = Some(Noise { seed: recipe.seed * 8 + 3, read: 0.0, shot: 2e-6 });
    let options = RenderOptions { background, noise, ..RenderOptions::default() };
    let sphere = MirrorSphere::at(&recipe.view(), recipe.centre_px, recipe.radius_px, BELIEVED);
    render(&cg_scene(recipe), &recipe.view(), recipe.size, Some(&sphere), &options)
}

fn write_half(path: &Path, picture: &Picture) -> Result<()> {
    let Size { width, height } = picture.size;
    let data = DataWindow { x: 0, y: 0, width, height };
    write_exr(path, picture.size, data, &picture.rgb, picture.alpha.as_deref(), &ExrAttributes::default())
}

/// A camera's development: gain, contrast about mid grey, white balance, a soft shoulder, the sRGB curve (IEC
/// 61966-2-1), 8 bits.
fn tone_curve(recipe: &Recipe, picture: &Picture) -> Vec<[u8; 3]> {
    let Kept::Jpeg { gain_stops, contrast, red_stops, blue_stops, .. } = recipe.kept else { return Vec::new() };
    let gains = [gain_stops + red_stops, gain_stops, gain_stops + blue_stops].map(f64::exp2);
    let code = |value: f32, gain: f64| {
        let scene = f64::from(value).max(0.0) * gain;
        let toned = 0.18 * (scene / 0.18).powf(contrast);
        // Straight up to 0.7, then bent to reach 1 at about three times that.
        let bent = if toned < 0.7 { toned } else { 1.0 - 0.3 * (-(toned - 0.7) / 0.3).exp() };
        let display = if bent <= 0.003_130_8 { 12.92 * bent } else { 1.055 * bent.powf(1.0 / 2.4) - 0.055 };
        (display * 255.0).round().clamp(0.0, 255.0) as u8
    };
    picture.rgb.iter().map(|p| [0, 1, 2].map(|c| code(p[c], gains[c]))).collect()
}
