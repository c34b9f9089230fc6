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
    /// The rendered spheres, one for each mirror.
    #[schemars(length(min = 1, max = 32))]
    pub spheres: Vec<CgSphereSpec>,
    /// The CG camera where it differs; keys left out are those of the plate's camera.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub camera: Option<CameraSpec>,
    /// Lens distortion of the render: `"none"`, `"in-comp"` where it is put in later, or what was applied.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub distortion: Option<Value>,
}

/// One rendered sphere. In a sheet, a plain string stands for an object with that `frame`.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default)]
pub struct CgSphereSpec {
    /// Name of the mirror it stands for; absent: the only mirror, or the one in the same place of the list.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mirror: Option<String>,
    /// The picture (`frame`, `layer`, `encoding`, `colour_space`, `clip_level`, … stand directly in the entry).
    #[serde(flatten)]
    pub image: ImageSpec,
    /// Layers that hold one light each.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub light_layers: Vec<String>,
    /// Reflectance that the sphere was rendered with.
    pub reflectance: Reflectance,
    /// What the alpha channel means.
    pub alpha: AlphaKind,
    /// The outline, where the search is not wanted: centre x, centre y, radius; or centre x, centre y, a, b, angle.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(schema_with = "schema_parts::outline_px")]
    pub outline_px: Option<Vec<f64>>,
    /// A circle drawn around it by hand, good to 15 % of its radius, in place of `outline_px`: centre x, centre y, radius.
    /// It is refined on the picture.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(schema_with = "schema_parts::near_px")]
    pub near_px: Option<Vec<f64>>,
}

impl CgSphereSpec {
    /// The outline given in place of the search.
    pub fn outline(&self) -> Option<Outline> {
        outline_from(self.outline_px.as_deref()?)
    }

    /// What is told of its place.
    pub fn told(&self) -> Told {
        Told::of(self.outline(), self.near_px.as_deref().and_then(near_from))
    }
}

/// Reflectance of a rendered sphere.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(untagged)]
pub enum Reflectance {
    /// `"same-as-mirror"`: it cancels from every comparison.
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
    /// Colours are multiplied by alpha already.
    #[default]
    Premultiplied,
    /// Colours are not multiplied by alpha.
    Straight,
    /// Alpha says nothing about the sphere.
    None,
}
