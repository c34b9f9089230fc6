//! Linear colour spaces: names, chromaticities and their matrices into the working space.
//!
//! Every matrix is worked out in `f64` from published chromaticities (normalised primary matrix, SMPTE RP 177-1993,
//! then Bradford adaptation to D65); none is copied as a rounded result.
//!
//! Traps: the ACES white (0.32168, 0.33767) is near, but not, the CIE D60 (0.32162, 0.33762); and BT.709 the set of
//! primaries is not BT.709 the transfer curve (see [`crate::image::encoding`]).

use nalgebra::{Matrix3, Vector3};

use super::ColourSpace;
use super::bradford::{self, xyz_of_white};

/// CIE xy of D65 as ITU-R BT.709 rounds it, the white of the working space.
pub const D65_XY: [f64; 2] = [0.3127, 0.3290];

/// CIE xy of the ACES white (SMPTE ST 2065-1).
pub const ACES_WHITE_XY: [f64; 2] = [0.32168, 0.33767];

/// How far a file's chromaticities may be from a published set and still be called by its name.
const SAME_CHROMATICITY: f64 = 1e-3;

/// Red, green, blue and white of CIE XYZ written as if it were an RGB space.
const CIE_XYZ: [[f64; 2]; 4] = [[1.0, 0.0], [0.0, 1.0], [0.0, 0.0], [1.0 / 3.0, 1.0 / 3.0]];

/// The published definition of one named RGB space.
struct Definition {
    name: &'static str,
    aliases: &'static [&'static str],
    red: [f64; 2],
    green: [f64; 2],
    blue: [f64; 2],
    white: [f64; 2],
}

const DEFINITIONS: [Definition; 5] = [
    // ITU-R BT.709-6 (2015), item 1.3.
    Definition {
        name: "rec709",
        aliases: &["bt709", "itu709", "linear", "linear709", "srgb", "linearsrgb", "linrec709", "linsrgb"],
        red: [0.64, 0.33],
        green: [0.30, 0.60],
        blue: [0.15, 0.06],
        white: D65_XY,
    },
    // ITU-R BT.2020-2 (2015), table 3.
    Definition {
        name: "rec2020",
        aliases: &["bt2020", "itu2020", "linrec2020", "rec2100", "bt2100"],
        red: [0.708, 0.292],
        green: [0.170, 0.797],
        blue: [0.131, 0.046],
        white: D65_XY,
    },
    // Primaries of SMPTE RP 431-2 with D65 white (SMPTE EG 432-1).
    Definition {
        name: "p3-d65",
        aliases: &["p3", "displayp3", "dcip3d65", "linp3d65"],
        red: [0.680, 0.320],
        green: [0.265, 0.690],
        blue: [0.150, 0.060],
        white: D65_XY,
    },
    // SMPTE ST 2065-1:2012.
    Definition {
        name: "aces2065-1",
        aliases: &["ap0", "aces", "acesap0", "aces2065", "acesap01", "acesaces20651", "linap0"],
        red: [0.7347, 0.2653],
        green: [0.0, 1.0],
        blue: [0.0001, -0.0770],
        white: ACES_WHITE_XY,
    },
    // Academy S-2014-004.
    Definition {
        name: "acescg",
        aliases: &["ap1", "acesap1", "acescgap1", "acesacescg", "linap1"],
        red: [0.713, 0.293],
        green: [0.165, 0.830],
        blue: [0.128, 0.044],
        white: ACES_WHITE_XY,
    },
];

impl Definition {
    fn is_called(&self, folded: &str) -> bool {
        fold(self.name) == folded || self.aliases.contains(&folded)
    }

    fn is_near(&self, chromaticities: [[f64; 2]; 4]) -> bool {
        is_near(&[self.red, self.green, self.blue, self.white], chromaticities)
    }

    fn space(&self) -> Option<ColourSpace> {
        let to_working = matrix_to_working(self.red, self.green, self.blue, self.white)?;
        Some(ColourSpace { name: self.name.to_owned(), to_working })
    }
}

impl ColourSpace {
    /// Names that a sheet may use.
    pub const NAMES: &'static [&'static str] = &["rec709", "rec2020", "p3-d65", "aces2065-1", "acescg", "xyz"];

    /// The space of that name; case, spaces, dots, hyphens and underscores do not matter, and the usual other names
    /// (`bt709`, `ap0`, `ap1`, …) are known. `xyz` is CIE XYZ relative to a D65 white, not adapted.
    ///
    /// ```
    /// use plateproof::colour::ColourSpace;
    /// assert_eq!(ColourSpace::parse("ACES AP1").unwrap().name, "acescg");
    /// assert_eq!(ColourSpace::parse("tide-chart"), None);
    /// ```
    pub fn parse(name: &str) -> Option<Self> {
        let folded = fold(name);
        if matches!(folded.as_str(), "xyz" | "ciexyz" | "xyzd65" | "ciexyzd65") {
            return Some(Self { name: "xyz".to_owned(), to_working: xyz_to_working()? });
        }
        DEFINITIONS.iter().find(|definition| definition.is_called(&folded))?.space()
    }

    /// The space with these CIE xy primaries and white, as an OpenEXR `chromaticities` attribute gives them.
    ///
    /// Within 0.001 of a published set, that set and its name are used. Red (1, 0), green (0, 1), blue (0, 0) with
    /// white (1/3, 1/3) is CIE XYZ itself: a coordinate system, not a viewing white, so it is `xyz`, not adapted.
    /// `None` where the numbers are not finite or the primaries enclose no area or do not reproduce the white.
    pub fn from_chromaticities(red: [f64; 2], green: [f64; 2], blue: [f64; 2], white: [f64; 2]) -> Option<Self> {
        let given = [red, green, blue, white];
        if let Some(published) = DEFINITIONS.iter().find(|definition| definition.is_near(given)) {
            return published.space();
        }
        if is_near(&CIE_XYZ, given) {
            return Self::parse("xyz");
        }
        let to_working = matrix_to_working(red, green, blue, white)?;
        Some(Self { name: "chromaticities".to_owned(), to_working })
    }

    /// Linear working values → this space; `None` where the matrix cannot be inverted.
    pub fn from_working(&self) -> Option<Matrix3<f64>> {
        self.to_working.try_inverse().filter(is_finite)
    }
}

/// Normalised primary matrix: linear RGB → CIE XYZ with Y = 1 for RGB (1, 1, 1).
///
/// Arguments are CIE 1931 xy. `None` where they are not finite, the white has no luminance, or the primaries lie on
/// one line. Source: SMPTE RP 177-1993, section 3.3.
pub fn rgb_to_xyz(red: [f64; 2], green: [f64; 2], blue: [f64; 2], white: [f64; 2]) -> Option<Matrix3<f64>> {
    // Columns are (x, y, 1 − x − y), not (x/y, 1, z/y): a primary with y = 0, such as X or Z itself, is allowed.
    let primaries = Matrix3::from_columns(&[xyz_column(red), xyz_column(green), xyz_column(blue)]);
    if !is_finite(&primaries) || primaries.determinant().abs() < 1e-9 {
        return None;
    }
    let white_xyz = xyz_of_white(white)?;
    let gains = primaries.try_inverse()? * white_xyz;
    // A zero gain would leave one channel without light and the matrix singular.
    if gains.iter().any(|gain| gain.abs() < 1e-9) {
        return None;
    }
    Some(primaries * Matrix3::from_diagonal(&gains)).filter(is_finite)
}

/// CIE XYZ relative to D65 → the linear working space.
pub fn xyz_to_working() -> Option<Matrix3<f64>> {
    working_to_xyz()?.try_inverse()
}

/// The linear working space → CIE XYZ relative to D65.
pub fn working_to_xyz() -> Option<Matrix3<f64>> {
    let [working, ..] = &DEFINITIONS;
    rgb_to_xyz(working.red, working.green, working.blue, working.white)
}

fn matrix_to_working(red: [f64; 2], green: [f64; 2], blue: [f64; 2], white: [f64; 2]) -> Option<Matrix3<f64>> {
    let to_xyz = rgb_to_xyz(red, green, blue, white)?;
    // Equal whites need no adaptation; skipping it keeps BT.709 an exact identity but for rounding.
    let to_d65 = if white == D65_XY { Matrix3::identity() } else { bradford::adaptation(white, D65_XY) };
    Some(xyz_to_working()? * to_d65 * to_xyz).filter(is_finite)
}

fn is_near(published: &[[f64; 2]; 4], given: [[f64; 2]; 4]) -> bool {
    published.as_flattened().iter().zip(given.as_flattened()).all(|(p, g)| (p - g).abs() <= SAME_CHROMATICITY)
}

fn xyz_column([x, y]: [f64; 2]) -> Vector3<f64> {
    Vector3::new(x, y, 1.0 - x - y)
}

fn is_finite(matrix: &Matrix3<f64>) -> bool {
    matrix.iter().all(|value| value.is_finite())
}

/// Lower case without separators, so that `Rec.709`, `rec_709` and `rec709` are one name.
fn fold(name: &str) -> String {
    name.chars().filter(|c| c.is_alphanumeric()).flat_map(char::to_lowercase).collect()
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn every_name_is_read_back() {
        for name in ColourSpace::NAMES {
            assert_eq!(ColourSpace::parse(name).unwrap().name, *name);
            assert_eq!(ColourSpace::parse(&name.to_uppercase().replace('-', "_")).unwrap().name, *name);
        }
        for (alias, name) in
            [("BT.709", "rec709"), ("ap0", "aces2065-1"), ("aces-ap0", "aces2065-1"), ("AP1", "acescg")]
        {
            assert_eq!(ColourSpace::parse(alias).unwrap().name, name);
        }
        assert_eq!(ColourSpace::parse(""), None);
    }

    #[test]
    fn the_working_space_is_an_identity() {
        let parsed = ColourSpace::parse("rec709").unwrap();
        assert!((parsed.to_working - ColourSpace::rec709().to_working).abs().max() < 1e-15);
    }

    /// A neutral stays neutral through any space: that is what adapting the white means.
    #[test]
    fn white_stays_white() {
        for name in ["rec709", "rec2020", "p3-d65", "aces2065-1", "acescg"] {
            let white = ColourSpace::parse(name).unwrap().to_working([1.0; 3]);
            assert!(white.iter().all(|channel| (channel - 1.0).abs() < 1e-12), "{name}: {white:?}");
        }
    }

    /// A file in XYZ and the same picture in BT.709 must agree: D65 in XYZ is white.
    #[test]
    fn xyz_is_not_adapted() {
        let xyz = ColourSpace::from_chromaticities([1.0, 0.0], [0.0, 1.0], [0.0, 0.0], [0.333_333, 0.333_333]).unwrap();
        assert_eq!(xyz, ColourSpace::parse("xyz").unwrap());
        let white = xyz.to_working([0.3127 / 0.3290, 1.0, 0.3583 / 0.3290]);
        assert!(white.iter().all(|channel| (channel - 1.0).abs() < 1e-12), "{white:?}");
    }

    #[test]
    fn chromaticities_rounded_by_a_file_are_still_recognised() {
        let space = ColourSpace::from_chromaticities([0.6401, 0.3299], [0.3, 0.6], [0.15, 0.06], [0.3127, 0.329]);
        assert_eq!(space.unwrap().name, "rec709");
        let other = ColourSpace::from_chromaticities([0.64, 0.33], [0.29, 0.60], [0.15, 0.06], [0.3127, 0.3291]);
        assert_eq!(other.unwrap().name, "chromaticities");
    }

    #[test]
    fn degenerate_chromaticities_are_refused() {
        let [r, g, b, w] = [[0.64, 0.33], [0.3, 0.6], [0.15, 0.06], D65_XY];
        let midpoint = [0.47, 0.465];
        assert_eq!(ColourSpace::from_chromaticities(r, r, r, w), None);
        assert_eq!(ColourSpace::from_chromaticities(r, g, midpoint, w), None, "on one line");
        assert_eq!(ColourSpace::from_chromaticities(r, g, b, [0.3, 0.0]), None, "a white without luminance");
        assert_eq!(ColourSpace::from_chromaticities(r, g, b, midpoint), None, "a white without blue");
        assert_eq!(ColourSpace::from_chromaticities(r, g, [f64::NAN, 0.06], w), None);
        assert_eq!(ColourSpace::from_chromaticities(r, g, b, [f64::INFINITY, 0.3]), None);
    }

    proptest! {
        #[test]
        fn any_chromaticities_give_a_usable_space_or_none(numbers in prop::array::uniform8(prop::num::f64::ANY)) {
            let [rx, ry, gx, gy, bx, by, wx, wy] = numbers;
            if let Some(space) = ColourSpace::from_chromaticities([rx, ry], [gx, gy], [bx, by], [wx, wy]) {
                prop_assert!(is_finite(&space.to_working));
            }
        }

        #[test]
        fn into_the_working_space_and_back(rgb in prop::array::uniform3(-2.0..20.0_f64), name in prop::sample::select(ColourSpace::NAMES)) {
            let space = ColourSpace::parse(name).unwrap();
            let back = space.from_working().unwrap() * Vector3::from(space.to_working(rgb));
            prop_assert!((back - Vector3::from(rgb)).abs().max() < 1e-10);
        }
    }
}
