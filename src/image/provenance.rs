//! What is told of a file that was read.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// One file that was read.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct InputRecord {
    /// `plate`, `mirror`, `cg`, …
    pub role: String,
    /// The path as the sheet gives it.
    pub file: String,
    /// Display window width, px.
    pub width: usize,
    /// Display window height, px.
    pub height: usize,
    /// Encoding used.
    pub encoding: String,
    /// Where that belief came from: `sheet`, `option`, `file`, `default`.
    pub encoding_from: String,
    /// Colour space used.
    pub colour_space: String,
    /// Where that belief came from: `sheet`, `option`, `chromaticities`, `profile`, `default`.
    pub colour_space_from: String,
    /// Layer or part read, where the file has several.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub layer: Option<String>,
    /// Fraction of the file's pixel blocks that were decoded.
    pub decoded_fraction: f64,
    /// Pixels that held NaN or Inf and were masked.
    #[serde(default)]
    pub masked_pixels: u64,
    /// Content hash.
    pub blake3: String,
}
