//! The rendered side of a shot.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use serde_json::Value;

use super::mirror::{near_from, outline_from};
use super::{CameraSpec, ImageSpec, schema_parts};
use crate::sphere::{Outline, Told};

/// The rendered side of a shot.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default)]
pub struct CgSpec {
    /// Version of the render; it becomes part of the report's file name.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub version: Option<String>,
    /// The rendered spheres, one for each mirror sphere.
    #[schemars(length(min = 1, max = 32))]
    pub spheres: Vec<CgSphereSpec>,
    /// The CG camera, where it differs from the plate's: keys left out are taken from the plate's camera.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub camera: Option<CameraSpec>,
    /// Lens distortion of the render: `"none"`, `"in-comp"` if it is added in the composite, or the distortion that was
    /// applied as an object (`plateproof explain lens-distortion`).
    #[serde(skip_serializing_if = "Option::is_none")]
    pub distortion: Option<Value>,
}

/// One rendered sphere. In a sheet, a plain string is short for an object with that `frame`.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default)]
pub struct CgSphereSpec {
    /// Name of the mirror sphere that it matches. If left out: the only mirror, or the one at the same position in the
    /// list.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mirror: Option<String>,
    /// The picture; its keys (`frame`, `layer`, `encoding`, `colour_space`, `clip_level`, …) are written directly in
    /// the entry.
    #[serde(flatten)]
    pub image: ImageSpec,
    /// Layers of the picture that hold one light each.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub light_layers: Vec<String>,
    /// Linear reflectance (red, green, blue) that the sphere was rendered with, or `same-as-mirror`.
    pub reflectance: Reflectance,
    /// Whether the colours are multiplied by alpha; `none` if alpha has nothing to do with the sphere.
    pub alpha: AlphaKind,
    /// The sphere's outline, instead of searching for it, px: centre x, centre y, radius; or centre x, centre y, the
    /// two semi-axes, and the angle of the first in degrees.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(schema_with = "schema_parts::outline_px")]
    pub outline_px: Option<Vec<f64>>,
    /// A circle drawn around the sphere by hand, accurate to 15 % of its radius, px: centre x, centre y, radius. Used
    /// instead of `outline_px`; the program refines it on the picture.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(schema_with = "schema_parts::near_px")]
    pub near_px: Option<Vec<f64>>,
}

impl CgSphereSpec {
    /// The outline, if one was given instead of searching for it.
    pub fn outline(&self) -> Option<Outline> {
        outline_from(self.outline_px.as_deref()?)
    }

    /// What is given about its position in the frame.
    pub fn told(&self) -> Told {
        Told::of(self.outline(), self.near_px.as_deref().and_then(near_from))
    }
}

/// Reflectance of a rendered sphere.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(untagged)]
pub enum Reflectance {
    /// `"same-as-mirror"`: it cancels out of every comparison.
    #[default]
    #[serde(with = "same_as_mirror")]
    #[schemars(schema_with = "schema_parts::same_as_mirror")]
    SameAsMirror,
    /// Linear red, green and blue in the frame's own colour space.
    Rgb(#[schemars(schema_with = "schema_parts::reflectance_rgb")] [f64; 3]),
}

/// The one word that a reflectance may be.
mod same_as_mirror {
    use serde::de::Error as _;
    use serde::{Deserialize, Deserializer, Serializer};

    pub(super) const WORD: &str = "same-as-mirror";

    pub(super) fn serialize<S: Serializer>(serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(WORD)
    }

    pub(super) fn deserialize<'de, D: Deserializer<'de>>(deserializer: D) -> Result<(), D::Error> {
        let word = String::deserialize(deserializer)?;
        if word == WORD { Ok(()) } else { Err(D::Error::custom("expected \"same-as-mirror\"")) }
    }
}

/// What an alpha channel means for the colours beside it.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum AlphaKind {
    /// Colours are already multiplied by alpha.
    #[default]
    Premultiplied,
    /// Colours are not multiplied by alpha.
    Straight,
    /// Alpha has nothing to do with the sphere.
    None,
}
