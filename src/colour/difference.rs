//! How different two colours look: CIE L*a*b* and CIEDE2000.

use nalgebra::Vector3;
use palette::Lab;
use palette::color_difference::Ciede2000 as _;
use palette::white_point::D65;

use super::luminance;
use super::spaces::{D65_XY, working_to_xyz, xyz_of_white};

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
