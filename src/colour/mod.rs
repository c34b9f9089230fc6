//! Colour spaces and colour temperature.
//!
//! One working space throughout: linear light, ITU-R BT.709 primaries, D65 white. It is what an OpenEXR file without
//! `chromaticities` means, so most plates pass through unchanged; wider gamuts keep their values as negatives.

pub mod bradford;
pub mod cct_ohno2013;
mod cie1931;
pub mod difference;
pub mod spaces;
pub mod uncertainty;

use nalgebra::{Matrix3, Vector3};

/// A linear RGB (or XYZ) space.
#[derive(Debug, Clone, PartialEq)]
pub struct ColourSpace {
    /// Name as the sheet writes it (`rec709`, `rec2020`, `p3-d65`, `aces2065-1`, `acescg`, `xyz`), or `chromaticities`
    /// for a space given by its numbers.
    pub name: String,
    /// Linear values of this space → linear working space (BT.709 primaries, D65), Bradford-adapted.
    pub to_working: Matrix3<f64>,
}

impl ColourSpace {
    /// Linear BT.709/D65, the working space itself.
    pub fn rec709() -> Self {
        Self { name: "rec709".to_owned(), to_working: Matrix3::identity() }
    }

    /// A linear value of this space in the working space.
    pub fn to_working(&self, rgb: [f64; 3]) -> [f64; 3] {
        let v = self.to_working * Vector3::from(rgb);
        [v.x, v.y, v.z]
    }
}

/// Luminance row of the working space (BT.709 primaries, D65; normalised primary matrix, SMPTE RP 177).
pub const WORKING_LUMINANCE: [f64; 3] = [0.212_639_005_871_510_3, 0.715_168_678_767_755_9, 0.072_192_315_360_733_7];

/// Luminance Y of a linear working-space value.
pub fn luminance(rgb: [f64; 3]) -> f64 {
    rgb.iter().zip(WORKING_LUMINANCE).map(|(c, w)| c * w).sum()
}
