//! What is told of a file that was read.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::MovieRecord;

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
    /// Which frame of a movie it is, and how its codes were read.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub movie: Option<MovieRecord>,
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
