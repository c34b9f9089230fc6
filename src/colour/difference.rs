//! How different two colours look: CIE L*a*b* and CIEDE2000.

use nalgebra::Vector3;
use palette::Lab;
use palette::color_difference::Ciede2000 as _;
use palette::white_point::D65;

use super::bradford::xyz_of_white;
use super::luminance;
use super::spaces::{D65_XY, working_to_xyz};

/// CIEDE2000 colour difference of two CIE L*a*b* colours.
///
/// Source: ISO/CIE 11664-6:2014, as the `palette` crate computes it; checked on the 34 pairs of Sharma, Wu, Dalal 2005.
/// Trap: where two hues are exactly opposite, the last bit of an arc tangent decides which way round the mean hue
/// lies, and the result may jump (pair 14 there: 4.8045 or 4.7461).
pub fn ciede2000(lab1: [f64; 3], lab2: [f64; 3]) -> f64 {
    let [first, second] = [lab1, lab2].map(|[l, a, b]| Lab::<D65, f64>::new(l, a, b));
    first.difference(second)
}

/// CIE L*a*b* of `xyz` against the white `white_xyz` (CIE 015:2018, 8.2.1), both in one scale.
pub fn lab_from_xyz(xyz: [f64; 3], white_xyz: [f64; 3]) -> [f64; 3] {
    let [fx, fy, fz] = [0, 1, 2].map(|axis| lab_response(xyz[axis] / white_xyz[axis]));
    [116.0 * fy - 16.0, 500.0 * (fx - fy), 200.0 * (fy - fz)]
}

/// CIE L*a*b* of a linear working-space colour against D65 with Y = 1; `None` where a channel is not finite.
pub fn lab_from_working_rgb(rgb: [f64; 3]) -> Option<[f64; 3]> {
    let xyz = working_to_xyz()? * Vector3::from(rgb);
    let white = xyz_of_white(D65_XY)?;
    let lab = lab_from_xyz(xyz.into(), white.into());
    lab.iter().all(|value| value.is_finite()).then_some(lab)
}

/// CIEDE2000 between two grey patches of reflectance `y`, one under each light colour (linear working space).
///
/// Both lights are brought to the same luminance first, so only their colour counts; the eye stays adapted to D65.
/// `None` where a light's luminance is not positive or a number is not finite.
pub fn grey_patch_difference(rgb_a: [f64; 3], rgb_b: [f64; 3], y: f64) -> Option<f64> {
    let lab_a = lab_from_working_rgb(at_luminance(rgb_a, y)?)?;
    let lab_b = lab_from_working_rgb(at_luminance(rgb_b, y)?)?;
    let difference = ciede2000(lab_a, lab_b);
    difference.is_finite().then_some(difference)
}

fn at_luminance(rgb: [f64; 3], y: f64) -> Option<[f64; 3]> {
    let present = luminance(rgb);
    (present > 0.0).then(|| rgb.map(|channel| channel * y / present))
}

/// Cube root with the straight piece near black.
fn lab_response(ratio: f64) -> f64 {
    const EDGE: f64 = 6.0 / 29.0;
    if ratio > EDGE.powi(3) { ratio.cbrt() } else { ratio / (3.0 * EDGE * EDGE) + 4.0 / 29.0 }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn white_has_a_lightness_of_100_and_no_colour() {
        let [l, a, b] = lab_from_working_rgb([1.0; 3]).unwrap();
        assert!((l - 100.0).abs() < 1e-9 && a.abs() < 1e-9 && b.abs() < 1e-9);
    }

    /// CIE 015:2018: Y = 0.18 is L* = 49.4961 (116 · 0.18^(1/3) − 16).
    #[test]
    fn mid_grey_has_the_lightness_of_the_formula() {
        let [l, ..] = lab_from_working_rgb([0.18; 3]).unwrap();
        assert!((l - (116.0 * 0.18_f64.cbrt() - 16.0)).abs() < 1e-9);
    }

    #[test]
    fn lights_without_luminance_have_no_difference() {
        assert_eq!(grey_patch_difference([0.0; 3], [1.0; 3], 0.18), None);
        assert_eq!(grey_patch_difference([1.0; 3], [-1.0, -1.0, 0.0], 0.18), None);
        assert_eq!(grey_patch_difference([1.0; 3], [f64::NAN, 1.0, 1.0], 0.18), None);
        assert_eq!(grey_patch_difference([1.0; 3], [f64::INFINITY, 1.0, 1.0], 0.18), None);
    }

    proptest! {
        #[test]
        fn only_the_lights_colour_counts(rgb in prop::array::uniform3(0.1..4.0_f64), stops in -6.0..6.0_f64) {
            let brighter = rgb.map(|channel| channel * stops.exp2());
            prop_assert!(grey_patch_difference(rgb, brighter, 0.18).unwrap() < 1e-6);
        }

        #[test]
        fn a_difference_is_the_same_both_ways(a in prop::array::uniform3(0.1..4.0_f64), b in prop::array::uniform3(0.1..4.0_f64)) {
            let (ab, ba) = (grey_patch_difference(a, b, 0.18).unwrap(), grey_patch_difference(b, a, 0.18).unwrap());
            prop_assert!((ab - ba).abs() < 1e-9 && ab >= 0.0);
        }
    }
}
