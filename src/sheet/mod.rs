//! The shot sheet: what the artist says about a shot, read from `shot.json`.
//!
//! The Rust types here are the single truth. Their JSON Schema is published, and the loader itself walks that schema
//! for unknown keys, wrong types and ranges, so what is published and what is enforced cannot drift apart. Rules that
//! tie several keys together are in `rules`.

mod camera;
mod cg;
mod check_id;
mod extends;
mod ignore;
mod image;
mod length;
mod mirror;
mod not_used;
mod peek;
mod rules;
mod schema;
mod schema_parts;
mod sensor_format;
mod set;
mod settle;
mod shot;
mod structure;
mod text;
mod tolerances;

pub use camera::{CameraSpec, SheetFieldOfView};
pub use cg::{AlphaKind, CgSpec, CgSphereSpec, Reflectance};
pub use check_id::CheckId;
pub use ignore::{IgnoreRegion, IgnoreSpec};
pub use image::{ImageSpec, WhiteBalance};
pub use length::{length_mm, unit_mm};
pub use mirror::{MatteSpec, MirrorReflectance, MirrorSpec};
pub(crate) use mirror::{near_from, outline_from};
pub use peek::{SheetPeek, peek_sheet};
pub(crate) use rules::check_names;
pub use schema::sheet_schema;
pub use sensor_format::{SENSOR_FORMATS, SensorFormat};
pub use set::{EnvironmentSpec, MeasuredSpec, PlaceSpec, WaiverSpec};
pub use shot::{SHEET_FORMAT, ShotSheet};
pub(crate) use tolerances::NAMED_TOLERANCES;
pub use tolerances::{
    AngleTolerance, CleanPlateTolerance, ColourTolerance, PercentTolerance, PixelTolerance, StopsTolerance, Tolerances,
};

use std::path::Path;

use serde_json::Value;

use crate::Result;
use rules::ReadFor;

/// The largest sheet that is read, in bytes. A sheet is written by people; anything larger is another kind of file.
pub const MAX_SHEET_BYTES: u64 = 4 << 20;

/// Reads a shot sheet with everything that it extends.
///
/// # Errors
/// Names the file, the key and the remedy where the sheet cannot be read, is not JSON, holds an unknown key, a value
/// of the wrong type or out of range, lacks a needed key, or extends itself.
pub fn load_sheet(path: &Path) -> Result<ShotSheet> {
    load_for(path, ReadFor::Comparison)
}

/// Reads a shot sheet for what was photographed on set alone: there need be no CG sphere in it yet.
///
/// # Errors
/// As [`load_sheet`], but for the key of the CG spheres.
pub fn load_sheet_of_set(path: &Path) -> Result<ShotSheet> {
    load_for(path, ReadFor::Set)
}

fn load_for(path: &Path, read_for: ReadFor) -> Result<ShotSheet> {
    let merged = extends::read_chain(path)?;
    let base_dir = path.parent().unwrap_or(Path::new(""));
    settle::sheet_from_value(merged, path, base_dir, read_for)
}

/// A sheet from JSON held in memory; `origin` is what errors name, and paths are relative to `base_dir`.
///
/// # Errors
/// As [`load_sheet`], except that `extends` is refused: there is no file that it could be relative to.
pub fn sheet_from_json(value: Value, origin: &Path, base_dir: &Path) -> Result<ShotSheet> {
    let value = extends::without_parent(value, origin)?;
    settle::sheet_from_value(value, origin, base_dir, ReadFor::Comparison)
}
