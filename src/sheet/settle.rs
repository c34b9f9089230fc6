//! From merged JSON to a sheet that is complete: defaults of names and brackets filled in, every rule held.

use std::path::Path;

use serde_json::Value;

use super::rules::ReadFor;
use super::structure::{self, Required};
use super::{ImageSpec, MirrorSpec, ShotSheet, rules, schema};
use crate::{Error, ErrorKind, Result};

/// A complete sheet from JSON in which shorthand is written out already.
pub(super) fn sheet_from_value(
    mut value: Value,
    origin: &Path,
    base_dir: &Path,
    read_for: ReadFor,
) -> Result<ShotSheet> {
    remove_nulls(&mut value);
    structure::check(&value, schema::shared(), Required::Now).map_err(|misfit| misfit.into_error(origin))?;
    let mut sheet: ShotSheet = serde_json::from_value(value).map_err(|error| {
        Error::new(ErrorKind::Parameter, origin, error.to_string(), "check the sheet against its JSON Schema")
    })?;
    sheet.base_dir = base_dir.to_path_buf();
    rules::needed_keys(&sheet, read_for).map_err(|misfit| misfit.into_error(origin))?;
    rules::settle_lengths(&mut sheet).map_err(|misfit| misfit.into_error(origin))?;
    settle(&mut sheet);
    rules::check(&sheet).map_err(|misfit| misfit.into_error(origin))?;
    Ok(sheet)
}

impl ShotSheet {
    /// Holds the sheet against every rule again, after options have changed it; `origin` is what errors name.
    ///
    /// # Errors
    /// As [`super::load_sheet`].
    pub fn checked_again(self, origin: &Path) -> Result<Self> {
        let value = serde_json::to_value(&self)
            .map_err(|error| Error::new(ErrorKind::Parameter, origin, error.to_string(), "check the options"))?;
        structure::check(&value, schema::shared(), Required::Now).map_err(|misfit| misfit.into_error(origin))?;
        rules::check(&self).map_err(|misfit| misfit.into_error(origin))?;
        Ok(self)
    }
}

/// `null` means the same as leaving the key out; `notes` are carried as they are.
fn remove_nulls(value: &mut Value) {
    match value {
        Value::Object(map) => {
            map.retain(|_, child| !child.is_null());
            map.iter_mut().filter(|(key, _)| *key != "notes").for_each(|(_, child)| remove_nulls(child));
        }
        Value::Array(list) => list.iter_mut().for_each(remove_nulls),
        _ => {}
    }
}

fn settle(sheet: &mut ShotSheet) {
    for (i, mirror) in sheet.mirrors.iter_mut().enumerate() {
        name_by_place(&mut mirror.name, "m", i);
        mirror.settle_bracket();
    }
    for (i, matte) in sheet.grey_spheres.iter_mut().enumerate() {
        name_by_place(&mut matte.name, "g", i);
        settle_bracket(&mut matte.bracket, &matte.whole);
    }
    if let Some(environment) = &mut sheet.environment {
        environment.bracket.iter_mut().for_each(|exposure| inherit(exposure, &environment.image));
    }
    pair_spheres_with_mirrors(sheet);
}

fn name_by_place(name: &mut String, letter: &str, place: usize) {
    if name.is_empty() {
        *name = format!("{letter}{}", place + 1);
    }
}

impl MirrorSpec {
    /// Writes a single `frame` as a bracket of one and hands the entry's own keys to each exposure.
    pub(crate) fn settle_bracket(&mut self) {
        settle_bracket(&mut self.bracket, &self.whole);
    }
}

fn settle_bracket(bracket: &mut Vec<ImageSpec>, whole: &ImageSpec) {
    if bracket.is_empty() && !whole.frame.is_empty() {
        bracket.push(whole.clone());
    }
    for exposure in bracket {
        inherit(exposure, whole);
    }
}

fn inherit(exposure: &mut ImageSpec, whole: &ImageSpec) {
    exposure.encoding = exposure.encoding.take().or_else(|| whole.encoding.clone());
    exposure.colour_space = exposure.colour_space.take().or_else(|| whole.colour_space.clone());
    exposure.layer = exposure.layer.take().or_else(|| whole.layer.clone());
    exposure.clip_level = exposure.clip_level.or(whole.clip_level);
    exposure.white_balance = exposure.white_balance.or(whole.white_balance);
    if exposure.timecode.is_none() && exposure.frame_number.is_none() {
        exposure.timecode.clone_from(&whole.timecode);
    }
    if exposure.timecode.is_none() {
        exposure.frame_number = exposure.frame_number.or(whole.frame_number);
        exposure.frame_range = exposure.frame_range.or(whole.frame_range);
    }
    exposure.field = exposure.field.or(whole.field);
    exposure.code_range = exposure.code_range.or(whole.code_range);
    exposure.matrix = exposure.matrix.or(whole.matrix);
}

fn pair_spheres_with_mirrors(sheet: &mut ShotSheet) {
    let names: Vec<String> = sheet.mirrors.iter().map(|mirror| mirror.name.clone()).collect();
    for (i, sphere) in sheet.cg.spheres.iter_mut().enumerate() {
        if sphere.mirror.is_none() {
            sphere.mirror = if names.len() == 1 { names.first() } else { names.get(i) }.cloned();
        }
    }
}
