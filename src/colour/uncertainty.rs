//! From the uncertainty of channels to that of everything that is said about a colour.
//!
//! Each number is a smooth function of the three channels, so its standard deviation follows from how it moves when one
//! channel moves by its own (first order, channels independent).

use crate::colour::cct_ohno2013::{CctDuv, cct_duv_from_working_rgb};
use crate::colour::difference::grey_patch_difference;

/// Channels are moved by this to see how a number follows, stops: small against any curvature, large against rounding.
const STEP_STOPS: f64 = 0.01;

/// Standard deviations of colour temperature (kelvin), its reciprocal (mired) and Duv.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TemperatureUncertainty {
    /// Kelvin.
    pub kelvin: f64,
    /// Mired.
    pub mired: f64,
    /// CIE 1960 distance.
    pub duv: f64,
}

/// How colour temperature and Duv of `rgb` (working space) move with its channels' sd in stops. `None` where the colour
/// has no temperature.
pub fn temperature_uncertainty(rgb: [f64; 3], channel_sd_stops: [f64; 3]) -> Option<TemperatureUncertainty> {
    let mut sum = TemperatureUncertainty { kelvin: 0.0, mired: 0.0, duv: 0.0 };
    for channel in 0..3 {
        let at = |stops: f64| cct_duv_from_working_rgb(moved(rgb, channel, stops));
        let (up, down) = (at(STEP_STOPS)?, at(-STEP_STOPS)?);
        let scale = channel_sd_stops[channel] / (2.0 * STEP_STOPS);
        let mired = |c: &CctDuv| 1e6 / c.cct.0.max(1.0);
        sum.kelvin = sum.kelvin.hypot((up.cct.0 - down.cct.0) * scale);
        sum.mired = sum.mired.hypot((mired(&up) - mired(&down)) * scale);
        sum.duv = sum.duv.hypot((up.duv - down.duv) * scale);
    }
    Some(sum)
}

/// Standard deviation of the CIEDE2000 difference of a grey patch under two lights. Near zero the difference has no
/// slope, so it is taken over a whole standard deviation up and down.
pub fn difference_sd(a: [f64; 3], b: [f64; 3], grey: f64, channel_sd_stops: [f64; 3]) -> Option<f64> {
    let here = grey_patch_difference(a, b, grey)?;
    let mut variance = 0.0;
    for channel in 0..3 {
        for sign in [-1.0, 1.0] {
            let there = grey_patch_difference(moved(a, channel, sign * channel_sd_stops[channel]), b, grey)?;
            variance += 0.5 * (there - here).powi(2);
        }
    }
    Some(variance.sqrt())
}

fn moved(mut rgb: [f64; 3], channel: usize, stops: f64) -> [f64; 3] {
    rgb[channel] *= stops.exp2();
    rgb
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Second route: the spread over many channels drawn by a Gaussian, here the eight corners at one sd, which have
    /// the same variance.
    #[test]
    fn temperature_follows_its_channels() {
        let (rgb, sd) = ([1.6, 1.0, 0.45], [0.02, 0.01, 0.03]);
        let corners = (0..8).map(|bits| {
            let moved = [0, 1, 2].map(|c| rgb[c] * f64::exp2(if bits >> c & 1 == 1 { sd[c] } else { -sd[c] }));
            cct_duv_from_working_rgb(moved).unwrap()
        });
        let list: Vec<CctDuv> = corners.collect();
        let spread = |f: &dyn Fn(&CctDuv) -> f64| {
            let mean = list.iter().map(f).sum::<f64>() / 8.0;
            (list.iter().map(|c| (f(c) - mean).powi(2)).sum::<f64>() / 8.0).sqrt()
        };
        let uncertainty = temperature_uncertainty(rgb, sd).unwrap();
        approx::assert_relative_eq!(uncertainty.kelvin, spread(&|c| c.cct.0), max_relative = 0.02);
        approx::assert_relative_eq!(uncertainty.mired, spread(&|c| 1e6 / c.cct.0), max_relative = 0.02);
        approx::assert_relative_eq!(uncertainty.duv, spread(&|c| c.duv), max_relative = 0.02);
    }

    #[test]
    fn a_common_factor_moves_no_colour() {
        let rgb = [1.2, 1.0, 0.7];
        let [a, b] = [rgb, rgb.map(|c| c * 2.0)].map(|c| cct_duv_from_working_rgb(c).unwrap());
        approx::assert_relative_eq!(a.cct.0, b.cct.0, max_relative = 1e-9);
        assert!(difference_sd(rgb, rgb, 0.18, [0.0; 3]).unwrap() < 1e-9);
        assert!(difference_sd(rgb, rgb, 0.18, [0.05; 3]).unwrap() > 0.1);
    }
}
