//! A recipe's shot sheet.

use std::path::Path;

use plateproof::Result;
use plateproof::demo::render::MirrorSphere;
use plateproof::sheet::{ShotSheet, sheet_from_json};
use plateproof::sphere::outline_of_cone;
use serde_json::{Value, json};

use super::frames::{CG, PLATE, mirror_name};
use super::random::Random;
use super::recipe::{BELIEVED, Kept, Recipe, Told};

/// How well a hand draws an outline, px; what the program takes for one that is given.
const HAND_SD_PX: f64 = 0.25;

/// Width of the invented sensor, mm.
const SENSOR_WIDTH_MM: f64 = 24.0;

pub(crate) fn sheet(recipe: &Recipe, folder: &Path) -> Result<ShotSheet> {
    sheet_from_json(sheet_json(recipe), Path::new("made-up shot"), folder)
}

/// The sheet as it would be written.
pub(crate) fn sheet_json(recipe: &Recipe) -> Value {
    let mut value = json!({
        "format": "plateproof-shot/1",
        "shot": format!("SF_{}", recipe.seed),
        "mirrors": [mirror(recipe)],
        "cg": { "version": "v001", "spheres": [cg(recipe)] }
    });
    if recipe.fov_told {
        value["camera"] = camera(recipe);
    }
    if recipe.plate_drift_stops.is_some() {
        value["plate"] = json!({ "frame": PLATE, "clip_level": recipe.clip_level });
    }
    if recipe.outline_given {
        value["mirrors"][0]["outline_px"] = json!(drawn_outline(recipe, 1));
        if !recipe.cg_alpha {
            value["cg"]["spheres"][0]["outline_px"] = json!(drawn_outline(recipe, 2));
        }
    }
    value
}

/// The outline as a hand draws it: a quarter of a pixel off each way and in its axes.
fn drawn_outline(recipe: &Recipe, hand: u64) -> Vec<f64> {
    let mut random = Random::new(recipe.seed * 4 + hand);
    let sphere = MirrorSphere::at(&recipe.view(), recipe.centre_px, recipe.radius_px, BELIEVED);
    let Some(o) = outline_of_cone(&recipe.view(), &sphere.cone) else { return Vec::new() };
    let mut off = || HAND_SD_PX * random.normal();
    let (dx, dy, dr) = (off(), off(), off());
    vec![o.centre_x + dx, o.centre_y + dy, o.semi_a + dr, o.semi_b + dr, o.angle_deg]
}

fn mirror(recipe: &Recipe) -> Value {
    let mut mirror = json!({ "name": "m1", "bracket": [mirror_name(recipe)] });
    if matches!(recipe.kept, Kept::HalfFloat) {
        mirror["clip_level"] = json!(recipe.clip_level);
    }
    match recipe.told {
        Told::SameAsMirror => mirror["reflectance"] = json!(BELIEVED),
        Told::Measured { sd_stops } => {
            mirror["reflectance"] = json!(BELIEVED);
            mirror["reflectance_sd_stops"] = json!(sd_stops);
        }
        Told::Unknown => {}
    }
    mirror
}

fn cg(recipe: &Recipe) -> Value {
    let mut cg = json!({ "mirror": "m1", "frame": CG });
    if !matches!(recipe.told, Told::SameAsMirror) {
        cg["reflectance"] = json!(BELIEVED);
    }
    if recipe.cg_alpha {
        cg["alpha"] = json!("premultiplied");
    }
    cg
}

fn camera(recipe: &Recipe) -> Value {
    let size = [recipe.size.width, recipe.size.height];
    let height_mm = SENSOR_WIDTH_MM * size[1] as f64 / size[0] as f64;
    json!({
        "focal_length_mm": SENSOR_WIDTH_MM / (2.0 * (recipe.fov_deg.to_radians() / 2.0).tan()),
        "sensor_mm": [SENSOR_WIDTH_MM, height_mm],
        "sensor_px": size, "used_px": size, "recorded_px": size
    })
}
