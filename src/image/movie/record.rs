//! What the report tells of a frame that came out of a movie.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::Field;

/// One frame of a movie: which it is, and how its codes were read. Codes of ITU-T H.273 stand under the names that FFmpeg gives them.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct MovieRecord {
    /// Counted from 1 in the order shown.
    pub frame_number: u32,
    /// Frames of the movie.
    pub frames: u32,
    /// Its label, where the movie has such.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub timecode: Option<String>,
    /// When it is shown, in seconds of the movie's clock.
    pub time_s: f64,
    /// How the stream is coded.
    pub codec: String,
    /// How its samples are stored, as FFmpeg calls it.
    pub pixel_format: String,
    /// `limited` or `full`.
    pub code_range: String,
    /// Who said so: `sheet`, `file` or `default`.
    pub code_range_from: String,
    /// Matrix by which luma was made, where there is luma.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub matrix: Option<String>,
    /// Who said so.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub matrix_from: Option<String>,
    /// Where the colour differences lie, where there are fewer of them than of luma.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub chroma_siting: Option<String>,
    /// Who said so.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub chroma_siting_from: Option<String>,
    /// Colour primaries as the stream states them.
    pub primaries: String,
    /// Transfer characteristics as the stream states them.
    pub transfer: String,
    /// Matrix coefficients as the stream states them.
    pub matrix_coefficients: String,
    /// What was taken of interlaced frames.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub field: Option<Field>,
}
