//! A recipe's shot sheet.

use std::path::Path;

use plateproof::Result;
use plateproof::sheet::{ShotSheet, sheet_from_json};
use serde_json::{Value, json};

use super::frames::{CG, PLATE, mirror_name};
use super::recipe::{BELIEVED, Kept, Recipe, Told};

/// Width of the invented sensor, mm.
const SENSOR_WIDTH_MM: f64 = 24.0;

pub(crate) fn sheet(recipe: &Recipe, folder: &Path) -> Result<ShotSheet> {
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
    sheet_from_json(value, Path::new("made-up shot"), folder)
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
