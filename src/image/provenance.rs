//! What is told of a file that was read.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{MovieRecord, RawRecord};

/// One file that was read.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct InputRecord {
    /// What the file is used as: `plate`, `mirror`, `cg`, …
    pub role: String,
    /// The path as the sheet gives it.
    pub file: String,
    /// Display window width, px.
    pub width: usize,
    /// Display window height, px.
    pub height: usize,
    /// Encoding that was used.
    pub encoding: String,
    /// Where the encoding is known from: `sheet`, `option`, `file` or `default`.
    pub encoding_from: String,
    /// Colour space that was used.
    pub colour_space: String,
    /// Where the colour space is known from: `sheet`, `option`, `chromaticities`, `profile` or `default`.
    pub colour_space_from: String,
    /// Layer or part that was read, if the file has several.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub layer: Option<String>,
    /// Fraction of the file's pixel blocks that were decoded.
    pub decoded_fraction: f64,
    /// Number of pixels that contained NaN or Inf and were left out.
    #[serde(default)]
    pub masked_pixels: u64,
    /// BLAKE3 hash of the file's content.
    pub blake3: String,
    /// For a movie: which frame was used, and how its code values were read.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub movie: Option<MovieRecord>,
    /// For a raw still of a camera: how it was developed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub raw: Option<RawRecord>,
}

impl InputRecord {
    /// Both were read from the same file, and from the same frame of it where it is a movie.
    pub fn is_same_picture(&self, other: &Self) -> bool {
        !self.blake3.is_empty() && self.content() == other.content()
    }

    /// By what the picture is known again, whatever its file is called.
    pub fn content(&self) -> String {
        match &self.movie {
            Some(movie) => format!("{} frame {}", self.blake3, movie.frame_number),
            None => self.blake3.clone(),
        }
    }
}
