//! What the report tells of a frame that came out of a movie.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::Field;

/// One frame of a movie: which it is, and how its codes were read. Codes of ITU-T H.273 stand under the names that FFmpeg gives them.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct MovieRecord {
    /// Frame number, counted from 1 in display order.
    pub frame_number: u32,
    /// Number of frames of the movie.
    pub frames: u32,
    /// Timecode of the frame, if the movie has timecode.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub timecode: Option<String>,
    /// When the frame is shown, seconds of the movie's clock.
    pub time_s: f64,
    /// Codec of the video stream.
    pub codec: String,
    /// Pixel format of the video stream, as FFmpeg names it.
    pub pixel_format: String,
    /// `limited` or `full`.
    pub code_range: String,
    /// Where the code range is known from: `sheet`, `file` or `default`.
    pub code_range_from: String,
    /// Matrix that luma was encoded with, if there is luma.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub matrix: Option<String>,
    /// Where the matrix is known from, likewise.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub matrix_from: Option<String>,
    /// Position of the chroma samples relative to luma, if chroma is subsampled.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub chroma_siting: Option<String>,
    /// Where the chroma siting is known from, likewise.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub chroma_siting_from: Option<String>,
    /// Colour primaries as the stream states them.
    pub primaries: String,
    /// Transfer characteristics as the stream states them.
    pub transfer: String,
    /// Matrix coefficients as the stream states them.
    pub matrix_coefficients: String,
    /// Which field of interlaced frames was used.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub field: Option<Field>,
}
