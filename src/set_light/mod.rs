//! The light of the set as a start for lighting: what the photographed spheres saw, as a lat-long picture and as
//! lights.
//!
//! # Frame of reference and units
//! The picture is in level axes: y is the world's up where the sheet tells the camera's tilt, else the camera's; the
//! picture's middle looks back at the camera (+z), and +x, frame right, lies to the left of it at a quarter of the
//! width, as OpenEXR's `envmap` attribute says. Values are radiance in the plate's scene-linear units (1.0 is what the
//! plate records as 1.0), linear light with BT.709 primaries and D65 white.

mod emitter;
mod fill;
mod grid;
mod map;
mod record;
mod seen;
mod stage;
mod usda;
mod words;
mod write;

pub use emitter::{Emitter, Shape};
pub use grid::{COLUMNS, MapGrid, ROWS};
pub use map::{Kind, SetMap};
pub use record::{LightRecord, Parts, SET_LIGHT_FORMAT, SetLightDocument, SetLightRecord, set_light_schema};
pub use stage::Stage;
pub use words::render_text;
pub use write::write_set_light;

use crate::Result;
use crate::findings::ToolNote;
use crate::sheet::ShotSheet;
use crate::shot::measure_set;

/// The light of one mirror, ready to be written.
#[derive(Debug, Clone)]
pub struct SetLight {
    /// Name of the mirror sphere.
    pub mirror: String,
    /// Radiance by direction.
    pub map: SetMap,
    /// The lights that were taken out of the map's `dome`.
    pub emitters: Vec<Emitter>,
    /// How it stands in the world.
    pub stage: Stage,
}

/// What a shot's spheres say of the light on set.
#[derive(Debug, Clone)]
pub struct SetLightOutcome {
    /// One entry per mirror that could be measured, in the sheet's order.
    pub lights: Vec<SetLight>,
    /// What is said of all of them.
    pub document: SetLightDocument,
}

/// Where the written picture differs from what was measured.
fn said_of(light: &SetLight) -> Vec<String> {
    let said = [light.map.over_half_float(), light.map.below_zero()];
    said.into_iter().flatten().map(|said| format!("mirror {}: {said}", light.mirror)).collect()
}

/// Measures the light of the set by every mirror sphere of a shot.
///
/// # Errors
/// Where the plate or a mirror's frame cannot be opened. A sphere that cannot be found or told from others is an error
/// in the document, and the others are measured.
pub fn set_light(sheet: &ShotSheet) -> Result<SetLightOutcome> {
    let set = measure_set(sheet)?;
    let stage = Stage::of(sheet.camera.as_ref());
    let mut lights = Vec::new();
    let mut records = Vec::new();
    let mut warnings = set.warnings;
    for (place, mirror) in set.mirrors.iter().enumerate() {
        let others = set.mirrors.iter().enumerate().filter(|(other, _)| *other != place).map(|(_, m)| &m.side);
        let (map, emitters) = map::draw(mirror, &others.collect::<Vec<_>>(), &stage);
        let light = SetLight { mirror: mirror.side.name.clone(), map, emitters, stage: stage.clone() };
        records.push(record::of(mirror, &light));
        warnings.extend(said_of(&light));
        lights.push(light);
    }
    let several = sheet.mirrors.len() > 1;
    for record in &mut records {
        record.name_files(&sheet.shot, several);
    }
    let document = SetLightDocument {
        format: SET_LIGHT_FORMAT.to_owned(),
        tool: ToolNote::current(),
        shot: sheet.shot.clone(),
        frame_of_reference: stage.words(),
        mirrors: records,
        inputs: set.inputs,
        assumptions: set.assumptions,
        warnings,
        error: set.failed.into_iter().next().map(|(_, error)| (&error).into()),
    };
    Ok(SetLightOutcome { lights, document })
}
