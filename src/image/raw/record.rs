//! What the report tells of a raw still.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// By which gains red and blue of a raw still are brought to green's level.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum RawBalance {
    /// Those that the camera settled on when it took the picture.
    #[default]
    AsShot,
    /// None: daylight (D65) is neutral, whatever the camera was set to.
    Unit,
}

impl RawBalance {
    /// The word of sheet and report.
    pub fn name(self) -> &'static str {
        match self {
            Self::AsShot => "as-shot",
            Self::Unit => "unit",
        }
    }
}

/// How a raw still was read.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RawRecord {
    /// White balance that was used: `as-shot` or `unit`.
    pub white_balance: String,
    /// Gains of red, green and blue, green = 1.
    pub gains: [f64; 3],
    /// Where the camera's colours come from: `two-illuminants`, `one-illuminant` or `none` (taken for BT.709).
    pub camera_matrix: String,
    /// Colour temperature for which the camera matrix was interpolated, kelvin.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub matrix_kelvin: Option<f64>,
    /// Side of the square of photosites that was averaged into one pixel; 1 if there is no mosaic.
    pub photosites_per_pixel: usize,
    /// Photosites that were used: first column, first row, columns, rows.
    pub used_px: [usize; 4],
    /// Mean code of black.
    pub black_code: f64,
    /// Code at which the sensor is full, the lowest of all channels.
    pub white_code: f64,
}
