//! Reading a sheet and everything that it extends.

use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};

use serde_json::{Map, Value};

use super::structure::{self, Misfit, Required};
use super::tolerances::names_of_checks;
use super::{MAX_SHEET_BYTES, SHEET_FORMAT, schema, text};
use crate::image::clf::ClfTransform;
use crate::{Error, ErrorKind, Result};

/// How many sheets may extend one another, and how many bytes they may have together. What a show says of all its shots is short.
const MAX_CHAIN: usize = 16;
const MAX_CHAIN_BYTES: u64 = 2 * MAX_SHEET_BYTES;

/// The keys of which an entry holds one or the other.
const ALTERNATIVES: &[[&str; 2]] =
    &[["frame", "bracket"], ["diameter_mm", "diameter"], ["distance_mm", "distance"], ["sensor_mm", "sensor_format"]];

/// Reads `path` and what it extends, merged, with every `frame` relative to the folder of `path`.
pub(super) fn read_chain(path: &Path) -> Result<Value> {
    read_merged(path, schema::shared(), &mut Chain::default())
}

/// The sheets read so far.
#[derive(Default)]
struct Chain {
    files: Vec<PathBuf>,
    bytes: u64,
}

fn read_merged(path: &Path, schema: &Value, chain: &mut Chain) -> Result<Value> {
    if chain.files.len() >= MAX_CHAIN {
        let cause = format!("more than {MAX_CHAIN} sheets extend one another");
        return Err(Error::new(ErrorKind::Limit, path, cause, "combine some of them"));
    }
    let bytes = read_limited(path)?;
    chain.bytes += bytes.len() as u64;
    if chain.bytes > MAX_CHAIN_BYTES {
        let cause = format!("this sheet and those that extend it have more than {} MiB in all", MAX_CHAIN_BYTES >> 20);
        return Err(Error::new(
            ErrorKind::Limit,
            path,
            cause,
            "take out what the shots do not need, such as long `notes`",
        ));
    }
    let mut sheet = one_sheet(text::parse(&bytes, path)?, path, schema)?;
    drop(bytes);
    let Some(parent_name) = take_extends(&mut sheet) else { return Ok(sheet) };
    chain.enter(path)?;
    let parent_name = Path::new(&parent_name);
    let folder = path.parent().unwrap_or(Path::new(""));
    let mut parent = read_merged(&folder.join(parent_name), schema, chain)?;
    relocate(&mut parent, parent_name.parent().unwrap_or(Path::new("")));
    merge(&mut parent, sheet);
    Ok(parent)
}

impl Chain {
    /// Notes a sheet that extends another; refuses one that was noted already.
    fn enter(&mut self, path: &Path) -> Result<()> {
        let real = path.canonicalize().map_err(|error| Error::io(path, &error))?;
        if self.files.contains(&real) {
            return Err(parameter(path, "the sheet extends itself", "remove one `extends` from the loop"));
        }
        self.files.push(real);
        Ok(())
    }
}

/// The value without `extends`, which a sheet that is no file cannot have.
pub(super) fn without_parent(value: Value, origin: &Path) -> Result<Value> {
    let mut sheet = one_sheet(value, origin, schema::shared())?;
    match take_extends(&mut sheet) {
        None => Ok(sheet),
        Some(_) => Err(parameter(origin, "`extends` has no file to be relative to", "merge the two sheets")),
    }
}

fn take_extends(sheet: &mut Value) -> Option<String> {
    match sheet.as_object_mut()?.shift_remove("extends")? {
        Value::String(name) => Some(name),
        _ => None,
    }
}

/// Checks one sheet by itself and writes out its shorthand.
fn one_sheet(mut value: Value, origin: &Path, schema: &Value) -> Result<Value> {
    check_format(&value, origin)?;
    structure::check(&value, schema, Required::Later).map_err(|misfit| misfit.into_error(origin))?;
    structure::expand_plain_frames(&mut value, schema);
    settle_tolerance_names(&mut value).map_err(|misfit| misfit.into_error(origin))?;
    Ok(value)
}

fn check_format(value: &Value, origin: &Path) -> Result<()> {
    match value.get("format") {
        None => Ok(()),
        Some(Value::String(format)) if format == SHEET_FORMAT => Ok(()),
        Some(other) => {
            let cause = format!("`format` is {}, not \"{SHEET_FORMAT}\"", crate::printable_text(&other.to_string()));
            Err(Error::new(ErrorKind::Unsupported, origin, cause, format!("write \"{SHEET_FORMAT}\"")))
        }
    }
}

/// Renames tolerances given under the name of their check to the key of the type.
fn settle_tolerance_names(sheet: &mut Value) -> Result<(), Misfit> {
    let Some(Value::Object(tolerances)) = sheet.get_mut("tolerances") else { return Ok(()) };
    for [key, check] in names_of_checks() {
        let Some(given) = tolerances.shift_remove(check) else { continue };
        if tolerances.insert(key.to_owned(), given).is_some() {
            let cause = format!("`tolerances.{key}` and `tolerances.{check}` are the same tolerance");
            return Err(Misfit { cause, remedy: "give one of the two".to_owned() });
        }
    }
    Ok(())
}

/// The bytes of a file that is no larger than a sheet may be.
pub(crate) fn read_limited(path: &Path) -> Result<Vec<u8>> {
    let io_error = |error: std::io::Error| Error::io(path, &error);
    // A pipe would block for ever, so only regular files are opened.
    if !path.metadata().map_err(io_error)?.is_file() {
        return Err(parameter(path, "not a file", "give a shot sheet, a JSON file"));
    }
    let mut bytes = Vec::new();
    File::open(path).map_err(io_error)?.take(MAX_SHEET_BYTES + 1).read_to_end(&mut bytes).map_err(io_error)?;
    if bytes.len() as u64 > MAX_SHEET_BYTES {
        let cause = format!("larger than {} MiB", MAX_SHEET_BYTES >> 20);
        return Err(Error::new(ErrorKind::Limit, path, cause, "a shot sheet is small; check the path"));
    }
    Ok(bytes)
}

/// Makes every file that a sheet in `folder` names, as a `frame` or as the transform of an `encoding`, relative to the
/// folder above.
fn relocate(value: &mut Value, folder: &Path) {
    match value {
        Value::Object(map) => {
            for (key, child) in map.iter_mut().filter(|(key, _)| *key != "notes") {
                match child {
                    Value::String(file) if key == "frame" || (key == "encoding" && ClfTransform::is_name(file)) => {
                        *file = folder.join(&*file).to_string_lossy().into();
                    }
                    _ => relocate(child, folder),
                }
            }
        }
        Value::Array(list) => list.iter_mut().for_each(|item| relocate(item, folder)),
        _ => {}
    }
}

/// Lays `child` over `parent`: objects key by key, named entries of lists by their name, anything else replaces.
/// `null` takes the parent's value away.
fn merge(parent: &mut Value, child: Value) {
    match (parent, child) {
        (Value::Object(parent), Value::Object(child)) => merge_objects(parent, child),
        (Value::Array(parent), Value::Array(child)) => merge_lists(parent, child),
        (parent, child) => *parent = child,
    }
}

fn merge_objects(parent: &mut Map<String, Value>, child: Map<String, Value>) {
    for pair in ALTERNATIVES {
        if pair.iter().any(|key| child.contains_key(*key)) {
            pair.iter().filter(|key| !child.contains_key(**key)).for_each(|key| drop(parent.shift_remove(*key)));
        }
    }
    for (key, value) in child {
        match parent.get_mut(&key) {
            Some(ours) => merge(ours, value),
            None => drop(parent.insert(key, value)),
        }
    }
}

/// The child's list says which entries there are; each takes over what it leaves out from the parent's entry of the
/// same name.
fn merge_lists(parent: &mut Vec<Value>, child: Vec<Value>) {
    let mut inherited = std::mem::take(parent);
    for entry in child {
        let same = |ours: &Value| entry_name(ours).is_some() && entry_name(ours) == entry_name(&entry);
        parent.push(match inherited.iter().position(same) {
            Some(place) => {
                let mut ours = inherited.swap_remove(place);
                merge(&mut ours, entry);
                ours
            }
            None => entry,
        });
    }
}

/// What an entry of a list is called: its `name`, or the mirror that a rendered sphere matches.
fn entry_name(entry: &Value) -> Option<&str> {
    entry.get("name").or_else(|| entry.get("mirror"))?.as_str()
}

fn parameter(path: &Path, cause: &str, remedy: &str) -> Error {
    Error::new(ErrorKind::Parameter, path, cause, remedy)
}

impl Misfit {
    /// The same as an error about a sheet.
    pub(super) fn into_error(self, sheet: &Path) -> Error {
        Error::new(ErrorKind::Parameter, sheet, self.cause, self.remedy)
    }
}
