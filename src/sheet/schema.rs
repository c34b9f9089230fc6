//! The sheet's published JSON Schema, made from the Rust types.

use std::sync::LazyLock;

use schemars::generate::SchemaSettings;
use serde_json::{Map, Value, json};

use super::ShotSheet;
use super::tolerances::names_of_checks;
use crate::colour::ColourSpace;
use crate::image::encoding::Encoding;

/// The entries for which a plain string is short for an object with that `frame`.
const PLAIN_FRAME_ENTRIES: [&str; 5] = ["ImageSpec", "EnvironmentSpec", "MirrorSpec", "MatteSpec", "CgSphereSpec"];

/// The entries that give either one `frame` or a `bracket`.
const BRACKET_ENTRIES: [&str; 3] = ["MirrorSpec", "MatteSpec", "EnvironmentSpec"];

/// Entries of any list that states no number of its own. Nobody writes more by hand, and looking for each entry in the
/// whole list again stays quick.
const MOST_ENTRIES: u64 = 1000;

/// The schema by which sheets are loaded, built once: that takes longer than reading a sheet.
pub(super) fn shared() -> &'static Value {
    static SCHEMA: LazyLock<Value> = LazyLock::new(sheet_schema);
    &SCHEMA
}

/// JSON Schema (draft 2020-12) of a shot sheet.
///
/// A sheet that extends another may leave out what the other gives, so only `format` is required here; the loader
/// asks for the rest once everything is merged.
pub fn sheet_schema() -> Value {
    let mut schema = SchemaSettings::draft2020_12().into_generator().into_root_schema_for::<ShotSheet>().to_value();
    if let Some(entries) = schema.get_mut("$defs").and_then(Value::as_object_mut) {
        for name in BRACKET_ENTRIES {
            accept_frame_or_bracket(entries, name);
        }
        for name in PLAIN_FRAME_ENTRIES {
            accept_plain_frame(entries, name);
        }
        add_check_names(entries);
        entries.values_mut().for_each(list_known_names);
    }
    refuse_unknown_keys(&mut schema);
    bound_lists(&mut schema);
    schema
}

fn accept_frame_or_bracket(entries: &mut Map<String, Value>, name: &str) {
    if let Some(entry) = entries.get_mut(name).and_then(Value::as_object_mut) {
        entry.remove("required");
    }
}

fn accept_plain_frame(entries: &mut Map<String, Value>, name: &str) {
    if let Some(entry) = entries.get_mut(name) {
        let object = entry.take();
        *entry =
            json!({ "anyOf": [{ "type": "string", "minLength": 1, "description": "The `frame` alone." }, object] });
    }
}

fn add_check_names(entries: &mut Map<String, Value>) {
    let Some(properties) = entries.get_mut("Tolerances").and_then(|entry| entry.get_mut("properties")) else { return };
    for [key, check] in names_of_checks() {
        let same = properties.get(key).cloned().unwrap_or(Value::Bool(true));
        properties[check] = same;
    }
}

/// Names the encodings and colour spaces at every key that takes one. They are examples, not all that is allowed: other
/// spellings and the files of transforms are taken too.
fn list_known_names(entry: &mut Value) {
    match entry {
        Value::Object(map) => {
            if let Some(properties) = map.get_mut("properties").and_then(Value::as_object_mut) {
                let encodings: Vec<&str> = Encoding::ALL.iter().map(|encoding| encoding.name()).collect();
                for (key, names) in [("encoding", json!(encodings)), ("colour_space", json!(ColourSpace::NAMES))] {
                    if let Some(Value::Object(property)) = properties.get_mut(key) {
                        property.insert("examples".to_owned(), names);
                    }
                }
            }
            map.values_mut().for_each(list_known_names);
        }
        Value::Array(list) => list.iter_mut().for_each(list_known_names),
        _ => {}
    }
}

/// Closes every object that lists its keys.
fn refuse_unknown_keys(schema: &mut Value) {
    match schema {
        Value::Object(map) => {
            if map.get("properties").is_some_and(Value::is_object) {
                map.entry("additionalProperties").or_insert(Value::Bool(false));
            }
            map.values_mut().for_each(refuse_unknown_keys);
        }
        Value::Array(list) => list.iter_mut().for_each(refuse_unknown_keys),
        _ => {}
    }
}

/// Gives every list a largest number of entries.
fn bound_lists(schema: &mut Value) {
    match schema {
        Value::Object(map) => {
            if map.get("items").is_some_and(Value::is_object) {
                map.entry("maxItems").or_insert(Value::from(MOST_ENTRIES));
            }
            map.values_mut().for_each(bound_lists);
        }
        Value::Array(list) => list.iter_mut().for_each(bound_lists),
        _ => {}
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_schema_lists_the_encodings_and_colour_spaces() {
        let schema = sheet_schema();
        let image = schema["$defs"]["ImageSpec"].to_string();
        for name in ["s-log3", "scene-linear", "acescg"] {
            assert!(image.contains(name), "{image}");
        }
    }
}
