//! Parts of the sheet's schema that no type can express.

use schemars::{Schema, SchemaGenerator, json_schema};

/// Three reflectances; 1.2 leaves room for a measured value that is a little too high, and no more.
pub(super) fn reflectance_rgb(_: &mut SchemaGenerator) -> Schema {
    json_schema!({
        "type": ["array", "null"],
        "items": { "type": "number", "exclusiveMinimum": 0, "maximum": 1.2 },
        "minItems": 3,
        "maxItems": 3
    })
}

/// Three reflectances, or the name of what the sphere is made of.
pub(super) fn mirror_reflectance(generator: &mut SchemaGenerator) -> Schema {
    let numbers = reflectance_rgb(generator);
    let names: Vec<&str> = crate::optics::material::Material::ALL.iter().map(|m| m.name()).collect();
    json_schema!({ "anyOf": [numbers, { "type": "string", "enum": names }] })
}

/// The word that makes the CG's reflectance cancel.
pub(super) fn same_as_mirror(_: &mut SchemaGenerator) -> Schema {
    json_schema!({ "type": "string", "const": "same-as-mirror" })
}

/// Three numbers of a circle or five of an ellipse.
pub(super) fn outline_px(_: &mut SchemaGenerator) -> Schema {
    json_schema!({ "type": ["array", "null"], "items": { "type": "number" }, "minItems": 3, "maxItems": 5 })
}

/// Three numbers of a circle drawn by hand.
pub(super) fn near_px(_: &mut SchemaGenerator) -> Schema {
    json_schema!({ "type": ["array", "null"], "items": { "type": "number" }, "minItems": 3, "maxItems": 3 })
}

/// A width and a height.
pub(super) fn positive_pair(_: &mut SchemaGenerator) -> Schema {
    json_schema!({
        "type": ["array", "null"],
        "items": { "type": "number", "exclusiveMinimum": 0 },
        "minItems": 2,
        "maxItems": 2
    })
}
