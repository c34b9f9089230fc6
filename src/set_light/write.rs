//! The files of a shot's light.

use std::path::{Path, PathBuf};

use super::grid::{COLUMNS, ROWS};
use super::record::SetLightRecord;
use super::{SetLight, SetLightOutcome, usda};
use crate::Result;
use crate::image::write::{ExrAttributes, exr_bytes};
use crate::image::{DataWindow, Size};
use crate::report::json::to_json_of;
use crate::report::report_stem;
use crate::report::write::write_marked;

/// Writes the maps, the stages and the record of a shot into `dir`, which is made where missing; the record last.
///
/// Each file is complete and on disk under a temporary name before it takes its final one, and none is written over a
/// file that is not ours.
///
/// # Errors
/// `Parameter` where a file of that name is not ours or `dir` is a file; `Io` where writing fails.
pub fn write_set_light(dir: &Path, outcome: &SetLightOutcome) -> Result<Vec<PathBuf>> {
    let mut files = Vec::new();
    for (light, record) in outcome.lights.iter().zip(&outcome.document.mirrors) {
        files.extend(files_of(dir, light, record, &outcome.document.shot)?);
    }
    let json = format!("{}.set-light.json", report_stem(&outcome.document.shot, None));
    files.push((json, to_json_of(&outcome.document).into_bytes()));
    write_marked(dir, &files)
}

fn files_of(dir: &Path, light: &SetLight, record: &SetLightRecord, shot: &str) -> Result<Vec<(String, Vec<u8>)>> {
    let alpha = light.map.alpha();
    let what = |of: &str| format!("{of} by mirror {} of shot {shot}. {}", light.mirror, light.stage.words());
    let full = picture(&dir.join(&record.map_file), &light.map.full, &alpha, what("Radiance by direction"))?;
    let dome = picture(
        &dir.join(&record.dome_file),
        &light.map.dome,
        &alpha,
        what("Radiance by direction without the lights"),
    )?;
    let stage = usda::layer(light, shot, &record.dome_file).into_bytes();
    Ok(vec![(record.map_file.clone(), full), (record.dome_file.clone(), dome), (record.stage_file.clone(), stage)])
}

/// Half float with the `envmap` attribute; a value of alpha 0 was not measured, and its colours are there all the same.
fn picture(path: &Path, rgb: &[[f32; 3]], alpha: &[f32], comments: String) -> Result<Vec<u8>> {
    let size = Size { width: COLUMNS, height: ROWS };
    let data = DataWindow { x: 0, y: 0, width: COLUMNS, height: ROWS };
    let attributes = ExrAttributes {
        lat_long: true,
        software: Some(format!("plateproof {}", env!("CARGO_PKG_VERSION"))),
        comments: Some(comments),
        ..ExrAttributes::default()
    };
    exr_bytes(path, size, data, rgb, Some(alpha), &attributes)
}
