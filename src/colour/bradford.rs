//! Chromatic adaptation by the linearised Bradford transform.
//!
//! Source: Lam 1985 (thesis, University of Bradford); the linear form as in ICC.1:2010, annex E. Matrix from memory,
//! checked against `golden/reference_values.json`.

use nalgebra::{Matrix3, Vector3};

/// CIE XYZ → sharpened cone responses.
fn cone_response() -> Matrix3<f64> {
    Matrix3::new(0.8951, 0.2664, -0.1614, -0.7502, 1.7135, 0.0367, 0.0389, -0.0685, 1.0296)
}

/// Matrix that takes CIE XYZ seen under a white `from_xy` to the corresponding XYZ under `to_xy` (CIE 1931 xy).
///
/// `identity` where a white is not usable (not finite, no luminance, or a cone response that is not positive): then
/// there is nothing to adapt to.
///
/// ```
/// use plateproof::colour::{bradford::adaptation, spaces::{ACES_WHITE_XY, D65_XY}};
/// let white = adaptation(ACES_WHITE_XY, D65_XY) * nalgebra::Vector3::new(0.32168 / 0.33767, 1.0, 0.34065 / 0.33767);
/// assert!((white.x - 0.3127 / 0.3290).abs() < 1e-12);
/// ```
pub fn adaptation(from_xy: [f64; 2], to_xy: [f64; 2]) -> Matrix3<f64> {
    adaptation_between(from_xy, to_xy).unwrap_or_else(Matrix3::identity)
}

fn adaptation_between(from_xy: [f64; 2], to_xy: [f64; 2]) -> Option<Matrix3<f64>> {
    let cones = cone_response();
    let from = cones * xyz_of_white(from_xy)?;
    let to = cones * xyz_of_white(to_xy)?;
    if from.iter().chain(to.iter()).any(|response| *response <= 0.0) {
        return None;
    }
    let gains: Vector3<f64> = to.component_div(&from);
    Some(cones.try_inverse()? * Matrix3::from_diagonal(&gains) * cones)
}

/// XYZ of a white point scaled to Y = 1; `None` where y is not positive or a number is not finite.
pub(super) fn xyz_of_white(xy: [f64; 2]) -> Option<Vector3<f64>> {
    let [x, y] = xy;
    let usable = x.is_finite() && y.is_finite() && y > 1e-6;
    usable.then(|| Vector3::new(x / y, 1.0, (1.0 - x - y) / y))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::colour::spaces::{ACES_WHITE_XY, D65_XY};

    #[test]
    fn there_and_back_is_an_identity() {
        let there_and_back = adaptation(D65_XY, ACES_WHITE_XY) * adaptation(ACES_WHITE_XY, D65_XY);
        assert!((there_and_back - Matrix3::identity()).abs().max() < 1e-12);
    }

    /// The ACES white is not the CIE's D60, near as they are.
    #[test]
    fn the_aces_white_is_not_d60() {
        let difference = adaptation(ACES_WHITE_XY, D65_XY) - adaptation([0.321_617, 0.337_620], D65_XY);
        assert!(difference.abs().max() > 5e-5);
    }

    #[test]
    fn unusable_whites_adapt_nothing() {
        for white in [[0.3, 0.0], [f64::NAN, 0.3], [0.3, f64::INFINITY], [0.9, 0.05]] {
            assert_eq!(adaptation(white, D65_XY), Matrix3::identity(), "{white:?}");
        }
    }
}
