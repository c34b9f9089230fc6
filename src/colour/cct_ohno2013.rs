//! Correlated colour temperature and Duv.
//!
//! Source: Y. Ohno, "Practical Use and Calculation of CCT and Duv", LEUKOS 10(1), 2014 (published online 2013),
//! 47–55: a table of the Planckian locus in CIE 1960 (u, v), a triangle between the neighbours of the nearest entry
//! close to the locus, a parabola through the three distances farther from it. The paper states ≤ 1 K for 1000 to
//! 20 000 K within |Duv| ≤ 0.03; `tests/reference_values.rs` measures it.
//!
//! McCamy's cubic (1992) is not used: it is off by up to 9 K at 4000 K, 63 K at 9300 K and 1000 K at 15 000 K.

use std::sync::OnceLock;

use nalgebra::Vector3;

use super::cie1931;
use super::spaces::working_to_xyz;
use crate::Kelvin;

/// Coldest and hottest temperature for which the method is stated.
const RANGE_K: [f64; 2] = [1000.0, 20_000.0];

/// Beyond this distance from the locus a colour temperature means nothing (CIE 015:2018, 9.4: 0.05).
const LARGEST_DUV: f64 = 0.05;

/// Below this distance the triangle is the better of the two solutions (Ohno 2013).
const TRIANGLE_DUV: f64 = 0.002;

/// Ratio between neighbouring temperatures of the table; Ohno's 1 % and less.
const TABLE_RATIO: f64 = 1.0025;

/// Second radiation constant in m·K: exact by the SI of 2019 (older tables: 1.4388e-2).
const C2_M_K: f64 = 1.438776877e-2;

/// Correlated colour temperature with the signed distance from the Planckian locus.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CctDuv {
    /// Temperature of the nearest Planckian radiator.
    pub cct: Kelvin,
    /// Distance in CIE 1960 (u, v): + above the locus (greenish), − below (pinkish), as ANSI C78.377 signs it.
    pub duv: f64,
}

/// A radiator of the table.
#[derive(Debug, Clone, Copy)]
struct Radiator {
    kelvin: f64,
    uv: [f64; 2],
}

impl Radiator {
    fn at(kelvin: f64) -> Self {
        Self { kelvin, uv: planckian_uv(kelvin) }
    }

    fn distance(&self, uv: [f64; 2]) -> f64 {
        (self.uv[0] - uv[0]).hypot(self.uv[1] - uv[1])
    }
}

/// Temperature and Duv of a CIE 1960 (u, v); `None` outside 1000 to 20 000 K, farther than 0.05 from the locus, or
/// not finite.
///
/// ```
/// use plateproof::colour::cct_ohno2013::cct_duv_from_uv1960;
/// let lamp = cct_duv_from_uv1960(0.1978, 0.3122).unwrap(); // worked point of the method's common test
/// assert!((lamp.cct.0 - 6507.4).abs() < 0.5 && (lamp.duv - 0.003223).abs() < 1e-6);
/// ```
pub fn cct_duv_from_uv1960(u: f64, v: f64) -> Option<CctDuv> {
    if !(u.is_finite() && v.is_finite()) {
        return None;
    }
    let [below, nearest, above] = neighbours([u, v])?;
    let triangle = triangle_solution(&below, &above, [u, v]);
    let found = if triangle.duv.abs() < TRIANGLE_DUV {
        triangle
    } else {
        parabola_solution([&below, &nearest, &above], [u, v], triangle.duv)
    };
    let in_range = (RANGE_K[0]..=RANGE_K[1]).contains(&found.cct.0);
    (in_range && found.duv.abs() <= LARGEST_DUV).then_some(found)
}

/// Temperature and Duv of a linear working-space colour (any brightness), as it is balanced in the file.
///
/// `None` where its luminance is not positive, where it is not a light's colour at all (a negative tristimulus value),
/// and where [`cct_duv_from_uv1960`] has no answer.
pub fn cct_duv_from_working_rgb(rgb: [f64; 3]) -> Option<CctDuv> {
    let xyz = working_to_xyz()? * Vector3::from(rgb);
    if !(xyz.x > 0.0 && xyz.y > 0.0 && xyz.z >= 0.0) {
        return None;
    }
    let [u, v] = uv1960_from_xyz([xyz.x, xyz.y, xyz.z]);
    cct_duv_from_uv1960(u, v)
}

/// CIE XYZ (Y = 1) of a Planckian radiator; `None` where the temperature is not positive, or so cold or so hot that
/// the sums are not finite.
pub fn planckian_xyz(temperature: Kelvin) -> Option<[f64; 3]> {
    let [x, y, z] = planckian_sums(temperature.0);
    let relative = [x / y, 1.0, z / y];
    (temperature.0 > 0.0 && relative.iter().all(|value| value.is_finite())).then_some(relative)
}

/// CIE 1960 (u, v) of a tristimulus value.
pub fn uv1960_from_xyz([x, y, z]: [f64; 3]) -> [f64; 2] {
    let sum = x + 15.0 * y + 3.0 * z;
    [4.0 * x / sum, 6.0 * y / sum]
}

fn planckian_uv(kelvin: f64) -> [f64; 2] {
    uv1960_from_xyz(planckian_sums(kelvin))
}

/// Unnormalised XYZ, with the spectrum scaled by its value at 560 nm so that cold radiators do not underflow.
fn planckian_sums(kelvin: f64) -> [f64; 3] {
    let radiance = |nm: f64| (nm / 560.0).powi(-5) / (C2_M_K / (nm * 1e-9 * kelvin)).exp_m1();
    let reference = radiance(560.0);
    let mut sums = [0.0; 3];
    for (nm, cmf) in cie1931::by_nanometre() {
        let power = radiance(*nm) / reference;
        for (sum, response) in sums.iter_mut().zip(cmf) {
            *sum += power * response;
        }
    }
    sums
}

/// The locus, from a little below to a little above the stated range so that its ends have neighbours.
fn locus() -> &'static [Radiator] {
    static LOCUS: OnceLock<Vec<Radiator>> = OnceLock::new();
    LOCUS.get_or_init(|| {
        let (coldest, hottest) = (RANGE_K[0] / TABLE_RATIO.powi(2), RANGE_K[1] * TABLE_RATIO.powi(2));
        let hotter = |kelvin: &f64| Some(kelvin * TABLE_RATIO);
        let temperatures = std::iter::successors(Some(coldest), hotter).take_while(|kelvin| *kelvin <= hottest);
        temperatures.map(Radiator::at).collect()
    })
}

/// The nearest entry between its two neighbours; `None` where the nearest is an end of the table.
fn neighbours(uv: [f64; 2]) -> Option<[Radiator; 3]> {
    let by_distance = |a: &&[Radiator], b: &&[Radiator]| a[1].distance(uv).total_cmp(&b[1].distance(uv));
    let triple = locus().windows(3).min_by(by_distance)?;
    <[Radiator; 3]>::try_from(triple).ok()
}

/// Foot of the perpendicular on the chord between the neighbours.
fn triangle_solution(below: &Radiator, above: &Radiator, uv: [f64; 2]) -> CctDuv {
    let chord = above.distance(below.uv);
    let (to_below, to_above) = (below.distance(uv), above.distance(uv));
    let along = (to_below.powi(2) - to_above.powi(2) + chord.powi(2)) / (2.0 * chord);
    let fraction = along / chord;
    let height = (to_below.powi(2) - along.powi(2)).max(0.0).sqrt();
    let foot_v = below.uv[1] + (above.uv[1] - below.uv[1]) * fraction;
    let kelvin = below.kelvin + (above.kelvin - below.kelvin) * fraction;
    CctDuv { cct: Kelvin(kelvin), duv: height.copysign(uv[1] - foot_v) }
}

/// Lowest point of the parabola through the three distances; `side` gives the sign.
fn parabola_solution(radiators: [&Radiator; 3], uv: [f64; 2], side: f64) -> CctDuv {
    // Temperatures are taken relative to the middle one: in plain kelvin the coefficients cancel badly.
    let origin = radiators[1].kelvin;
    let [t0, t1, t2] = radiators.map(|radiator| radiator.kelvin - origin);
    let [d0, d1, d2] = radiators.map(|radiator| radiator.distance(uv));
    let first_slope = (d1 - d0) / (t1 - t0);
    let curvature = ((d2 - d1) / (t2 - t1) - first_slope) / (t2 - t0);
    // Newton's form: d(t) = d1 + slope · t + curvature · t², with t1 = 0.
    let slope = first_slope - curvature * t0;
    let lowest = -slope / (2.0 * curvature);
    let distance = d1 + slope * lowest + curvature * lowest * lowest;
    CctDuv { cct: Kelvin(origin + lowest), duv: distance.copysign(side) }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::colour::spaces::xyz_to_working;

    /// A radiator's chromaticity moved off the locus along its normal.
    fn uv_at(kelvin: f64, duv: f64) -> [f64; 2] {
        let [u, v] = planckian_uv(kelvin);
        let [hotter_u, hotter_v] = planckian_uv(kelvin * 1.0001);
        let (du, dv) = (hotter_u - u, hotter_v - v);
        let length = du.hypot(dv);
        // The locus runs towards smaller u as it gets hotter; its normal with positive v is "above".
        [u + duv * dv / length, v - duv * du / length]
    }

    proptest! {
        /// Ohno 2013 states 1 K within 1000 to 20 000 K and |Duv| up to 0.03.
        #[test]
        fn a_light_near_the_locus_gives_its_temperature_and_duv(mired in 50.5..990.0_f64, duv in -0.03..0.03_f64) {
            let kelvin = 1e6 / mired;
            let [u, v] = uv_at(kelvin, duv);
            let found = cct_duv_from_uv1960(u, v).unwrap();
            prop_assert!((found.cct.0 - kelvin).abs() < 1.0, "{} for {kelvin} K, Duv {duv}", found.cct.0);
            prop_assert!((found.duv - duv).abs() < 1e-5, "{} for {kelvin} K, Duv {duv}", found.duv);
        }

        #[test]
        fn any_three_numbers_give_an_answer_in_range_or_none(rgb in prop::array::uniform3(prop::num::f64::ANY)) {
            if let Some(found) = cct_duv_from_working_rgb(rgb) {
                prop_assert!((1000.0..=20_000.0).contains(&found.cct.0));
                prop_assert!(found.duv.abs() <= LARGEST_DUV);
            }
        }

        #[test]
        fn brightness_does_not_change_the_colour(kelvin in 1500.0..15_000.0_f64, stops in -20.0..20.0_f64) {
            let rgb: [f64; 3] = (xyz_to_working().unwrap() * Vector3::from(planckian_xyz(Kelvin(kelvin)).unwrap())).into();
            let found = cct_duv_from_working_rgb(rgb.map(|channel| channel * stops.exp2())).unwrap();
            prop_assert!((found.cct.0 - kelvin).abs() < 1.0);
        }
    }

    /// CIE 015:2018: no colour temperature beyond 0.05 from the locus; the primaries of BT.709 are such colours.
    #[test]
    fn colours_that_are_no_white_have_no_temperature() {
        for rgb in [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0], [0.0; 3], [-1.0; 3], [f64::NAN, 1.0, 1.0]] {
            assert_eq!(cct_duv_from_working_rgb(rgb), None, "{rgb:?}");
        }
    }

    #[test]
    fn temperatures_outside_the_stated_range_are_refused() {
        for kelvin in [700.0, 990.0, 20_100.0, 40_000.0] {
            let [u, v] = planckian_uv(kelvin);
            assert_eq!(cct_duv_from_uv1960(u, v), None, "{kelvin} K");
        }
    }

    #[test]
    fn impossible_radiators_have_no_colour() {
        for kelvin in [0.0, -3200.0, 1.0, f64::NAN, f64::INFINITY] {
            assert_eq!(planckian_xyz(Kelvin(kelvin)), None, "{kelvin} K");
        }
    }

    #[test]
    fn the_working_white_is_d65() {
        let white = cct_duv_from_working_rgb([1.0; 3]).unwrap();
        // Exact nearest radiator: 6504.24 K, Duv +0.003207 (golden/reference_values.json).
        assert!((white.cct.0 - 6504.24).abs() < 0.5 && (white.duv - 0.003207).abs() < 1e-5);
    }
}
