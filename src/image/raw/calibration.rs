//! From a camera's own red, green and blue to the working space.
//!
//! A colour matrix takes CIE XYZ to camera values, measured under one or two illuminants; between two it is interpolated
//! by the inverse of the colour temperature (DNG specification 1.7.1, chapter 6, "Mapping Camera Color Space to CIE XYZ
//! Space"). The white of the picture follows from its neutral by iteration, as told there.

use nalgebra::{Matrix3, Vector3};

use crate::colour::ColourSpace;
use crate::colour::bradford::adaptation;
use crate::colour::cct_ohno2013::{cct_duv_from_uv1960, uv1960_from_xyz};
use crate::colour::spaces::{D65_XY, xyz_to_working};

/// CIE xy of D50, where the search for the white begins (ISO 3664, rounded).
const D50_XY: [f64; 2] = [0.3457, 0.3585];

/// Colour temperature of D65, K (ISO/CIE 11664-2).
const D65_K: f64 = 6504.0;

/// Turns of the search for the white, and the change of xy at which it ends (the same as in the specification's
/// reference code, from memory).
const TURNS: usize = 30;
const SETTLED: f64 = 1e-7;

/// A colour matrix and the colour temperature of its illuminant, where that has one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Calibration {
    pub(super) kelvin: Option<f64>,
    /// Values of cameras of its kind → those of this very camera.
    pub(super) own: Matrix3<f64>,
    /// CIE XYZ → values of cameras of its kind.
    pub(super) matrix: Matrix3<f64>,
}

/// Colour temperature of the illuminant of a code of EXIF's `LightSource`, K (DNG specification 1.7.1, `CalibrationIlluminant1`;
/// temperatures common practice, no source).
pub(super) fn kelvin_of(light_source: u16) -> Option<f64> {
    match light_source {
        3 | 17 => Some(2850.0),
        24 => Some(3200.0),
        14 | 2 => Some(4150.0),
        13 | 23 => Some(5000.0),
        18 => Some(4874.0),
        1 | 4 | 9 | 20 => Some(5500.0),
        12 => Some(6400.0),
        10 | 21 => Some(6500.0),
        19 => Some(6774.0),
        11 | 22 => Some(7500.0),
        _ => None,
    }
}

/// The camera's values as a colour space, and the colour temperature for which its matrix holds, K.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct CameraSpace {
    pub(super) space: ColourSpace,
    pub(super) kelvin: f64,
}

/// Values without any gain: daylight of D65 is neutral in the working space. `None` where the matrices cannot be inverted.
pub(super) fn without_balance(calibrations: &[Calibration]) -> Option<CameraSpace> {
    let matrix = at(calibrations, D65_K)?;
    let inverse = matrix.try_inverse()?;
    let white = matrix * xyz_of(D65_XY);
    let to_working = xyz_to_working()? * inverse * white.y;
    named(to_working, D65_K)
}

/// Values after gains by which `neutral`, the camera's values of the picture's white (green = 1), became grey: that white is
/// neutral in the working space, by Bradford's adaptation. `None` where no white gives these values.
pub(super) fn balanced(calibrations: &[Calibration], neutral: [f64; 3]) -> Option<CameraSpace> {
    let (white_xy, kelvin) = white_of(calibrations, neutral)?;
    let inverse = at(calibrations, kelvin)?.try_inverse()?;
    let ungained = Matrix3::from_diagonal(&Vector3::from(neutral));
    let luminance = (inverse * Vector3::from(neutral)).y;
    let to_working = xyz_to_working()? * adaptation(white_xy, D65_XY) * inverse * ungained / luminance;
    named(to_working, kelvin)
}

fn named(to_working: Matrix3<f64>, kelvin: f64) -> Option<CameraSpace> {
    let usable = to_working.iter().all(|v| v.is_finite()) && to_working.determinant().abs() > 1e-9;
    usable.then(|| CameraSpace { space: ColourSpace { name: "camera".to_owned(), to_working }, kelvin })
}

fn xyz_of([x, y]: [f64; 2]) -> Vector3<f64> {
    Vector3::new(x / y, 1.0, (1.0 - x - y) / y)
}

/// Chromaticity and colour temperature of the light under which something grey has these camera values.
fn white_of(calibrations: &[Calibration], neutral: [f64; 3]) -> Option<([f64; 2], f64)> {
    let mut xy = D50_XY;
    for _ in 0..TURNS {
        let inverse = at(calibrations, kelvin_at(xy))?.try_inverse()?;
        let xyz = inverse * Vector3::from(neutral);
        let sum = xyz.sum();
        let next = [xyz.x / sum, xyz.y / sum];
        if !(next.iter().all(|v| v.is_finite() && *v > 0.0) && next[0] + next[1] < 1.0) {
            return None;
        }
        let change = (next[0] - xy[0]).abs() + (next[1] - xy[1]).abs();
        xy = next;
        if change < SETTLED {
            break;
        }
    }
    Some((xy, kelvin_at(xy)))
}

/// Lights too far from a black body for a temperature count as daylight.
fn kelvin_at(xy: [f64; 2]) -> f64 {
    let xyz = xyz_of(xy);
    let [u, v] = uv1960_from_xyz([xyz.x, xyz.y, xyz.z]);
    cct_duv_from_uv1960(u, v).map_or(D65_K, |found| found.cct.0)
}

/// CIE XYZ → camera at a colour temperature, between the two calibrations that are furthest apart.
fn at(calibrations: &[Calibration], kelvin: f64) -> Option<Matrix3<f64>> {
    let known = || calibrations.iter().filter_map(|c| Some((c.kelvin?, c)));
    let warm = known().min_by(|a, b| a.0.total_cmp(&b.0));
    let cold = known().max_by(|a, b| a.0.total_cmp(&b.0));
    let (Some((warm_k, warm)), Some((cold_k, cold))) = (warm, cold) else {
        return calibrations.first().map(|c| c.own * c.matrix);
    };
    if cold_k - warm_k < 1.0 {
        return Some(cold.own * cold.matrix);
    }
    let share_of_warm = ((1.0 / kelvin - 1.0 / cold_k) / (1.0 / warm_k - 1.0 / cold_k)).clamp(0.0, 1.0);
    let between = |warm: Matrix3<f64>, cold: Matrix3<f64>| warm * share_of_warm + cold * (1.0 - share_of_warm);
    Some(between(warm.own, cold.own) * between(warm.matrix, cold.matrix))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Invented cameras whose matrices are near those of real ones.
    fn camera() -> [Calibration; 2] {
        let warm = Matrix3::new(0.95, -0.35, -0.05, -0.40, 1.20, 0.22, -0.05, 0.15, 0.62);
        let cold = Matrix3::new(0.80, -0.25, -0.08, -0.42, 1.22, 0.22, -0.07, 0.18, 0.58);
        let own = Matrix3::identity();
        [
            Calibration { kelvin: kelvin_of(17), own, matrix: warm },
            Calibration { kelvin: kelvin_of(21), own, matrix: cold },
        ]
    }

    /// Closed form: the values of a grey under a light of known temperature, put in, give that temperature and grey.
    #[test]
    fn a_grey_under_any_light_is_found_again() {
        for kelvin in [2850.0, 3500.0, 5000.0, 6500.0, 9000.0] {
            let light = crate::colour::cct_ohno2013::planckian_xyz(crate::Kelvin(kelvin)).unwrap();
            let values = at(&camera(), kelvin).unwrap() * Vector3::from(light);
            let neutral = [values.x / values.y, 1.0, values.z / values.y];
            let found = balanced(&camera(), neutral).unwrap();
            assert!((found.kelvin / kelvin - 1.0).abs() < 1e-3, "{} K for {kelvin} K", found.kelvin);
            let white = found.space.to_working([1.0; 3]);
            assert!(white.iter().all(|c| (c - 1.0).abs() < 1e-3), "{white:?}");
        }
    }

    /// The white of a camera's neutral and its matrix there, by colour-hdri (`golden/raw`), which takes the temperature by Robertson's
    /// method of 1968: the two methods agree within 0.2 % there.
    #[test]
    fn whites_and_matrices_are_those_of_an_independent_library() {
        let text = include_str!("../../../golden/raw/expected.json");
        let expected: serde_json::Value = serde_json::from_str(text).unwrap();
        let numbers = |value: &serde_json::Value| serde_json::from_value::<Vec<f64>>(value.clone()).unwrap();
        let cases = expected["matrices"].as_array().unwrap();
        assert!(cases.len() >= 8);
        for case in cases {
            let gains = Matrix3::from_diagonal(&Vector3::from_vec(numbers(&case["gains"])));
            let [mut warm, mut cold] = camera();
            warm.own = gains;
            cold.own = gains * Matrix3::from_row_slice(&numbers(&case["own"]));
            let neutral = numbers(&case["neutral"]);
            let (xy, kelvin) = white_of(&[warm, cold], [neutral[0], neutral[1], neutral[2]]).unwrap();
            let matrix = at(&[warm, cold], kelvin).unwrap();
            let want = numbers(&case["xy"]);
            assert!((xy[0] - want[0]).abs() + (xy[1] - want[1]).abs() < 2e-4, "{xy:?} {want:?}");
            let want = Matrix3::from_row_slice(&numbers(&case["matrix"]));
            assert!((matrix - want).amax() < 1e-3, "{matrix} {want}");
        }
    }

    #[test]
    fn daylight_is_grey_without_any_gain_and_its_green_keeps_its_level() {
        let found = without_balance(&camera()).unwrap();
        let values = camera()[1].matrix * xyz_of(D65_XY);
        let light = found.space.to_working([values.x / values.y, 1.0, values.z / values.y]);
        assert!(light.iter().all(|c| (c - 1.0).abs() < 1e-3), "{light:?}");
    }

    /// DNG specification: linear in the inverse of the temperature, the nearer matrix outside.
    #[test]
    fn matrices_are_interpolated_by_inverse_temperature() {
        let [warm, cold] = camera();
        let middle = 2.0 / (1.0 / 2850.0 + 1.0 / 6500.0);
        assert!((at(&camera(), middle).unwrap() - (warm.matrix + cold.matrix) / 2.0).amax() < 1e-12);
        assert_eq!(at(&camera(), 2000.0), Some(warm.matrix));
        assert_eq!(at(&camera(), 20_000.0), Some(cold.matrix));
        assert_eq!(at(&[], 5000.0), None);
        assert_eq!(balanced(&camera(), [-1.0, 1.0, 1.0]), None);
    }
}
