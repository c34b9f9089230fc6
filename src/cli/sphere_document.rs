//! What `plateproof sphere --format json` prints.

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::{Deserialize, Serialize};
use serde_json::Value;

use crate::findings::{ErrorNote, InputRecord, SphereReport};
use crate::report::json::schema_of;
use crate::shot::SphereOutcome;

/// The format mark.
pub(super) const SPHERE_FORMAT: &str = "plateproof-sphere/1";

/// What one frame's sphere says.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub(super) struct SphereDocument {
    /// Always `plateproof-sphere/1`.
    #[schemars(extend("const" = SPHERE_FORMAT))]
    pub(super) format: String,
    /// The sphere; absent where none was measured.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(super) sphere: Option<SphereReport>,
    /// Where several spheres fit equally well, all their outlines: centre x, centre y, a, b (px), angle (deg).
    pub(super) candidates: Vec<[f64; 5]>,
    /// The file read.
    pub(super) inputs: Vec<InputRecord>,
    /// Things the reader should know.
    pub(super) warnings: Vec<String>,
    /// Why the frame could not be measured, else null.
    #[schemars(schema_with = "error_or_null")]
    pub(super) error: Option<ErrorNote>,
}

impl From<SphereOutcome> for SphereDocument {
    fn from(outcome: SphereOutcome) -> Self {
        Self {
            format: SPHERE_FORMAT.to_owned(),
            sphere: outcome.sphere,
            candidates: outcome.candidates,
            inputs: outcome.inputs,
            warnings: outcome.warnings,
            error: outcome.error,
        }
    }
}

fn error_or_null(generator: &mut SchemaGenerator) -> Schema {
    let note = generator.subschema_for::<ErrorNote>();
    json_schema!({ "oneOf": [note, { "type": "null" }] })
}

/// JSON Schema (draft 2020-12) of the document.
pub(super) fn sphere_schema() -> Value {
    let mut schema = schema_of::<SphereDocument>();
    schema.insert("title".to_owned(), format!("What one frame's sphere says, {SPHERE_FORMAT}").into());
    schema.to_value()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::json::to_json_of;

    #[test]
    fn documents_validate_with_and_without_an_error() {
        let validator = jsonschema::draft202012::new(&sphere_schema()).unwrap();
        let mut note = ErrorNote::from(&crate::Error::new(crate::ErrorKind::NoSphere, "s.exr", "none", "say where"));
        note.candidates.push("--near 10,20,5".to_owned());
        for error in [None, Some(note)] {
            let document = SphereDocument {
                format: SPHERE_FORMAT.to_owned(),
                sphere: None,
                candidates: vec![[1.0, 2.0, 3.0, 3.0, 0.0]],
                inputs: Vec::new(),
                warnings: Vec::new(),
                error,
            };
            let value: Value = serde_json::from_str(&to_json_of(&document)).unwrap();
            assert!(validator.is_valid(&value), "{value}");
            let mut without = value.clone();
            without.as_object_mut().unwrap().remove("error");
            assert!(!validator.is_valid(&without), "`error` is promised");
        }
    }
}
