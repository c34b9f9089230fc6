//! From scene-linear light to the eight bits of a display.
//!
//! Gain, then a soft shoulder, then the sRGB transfer function (IEC 61966-2-1). The shoulder leaves everything up to
//! half of white alone and bends the rest by `0.5 + 0.5 t / (1 + t)`, `t = (x − 0.5) / 0.5`: the slope is continuous,
//! white is never quite reached, and a lamp 4 times as bright as another still looks brighter. It serves the eye only;
//! no number in a report passes through it.

/// Linear light up to which the shoulder changes nothing.
const SHOULDER_START: f32 = 0.5;

/// Mantissa bits dropped from a float to index the table: 256 steps an octave, under a third of a code value each.
const DROPPED_BITS: u32 = 15;

/// Darkest and brightest linear values that the table tells apart; at the ends the code values are 0 and 255.
const LOWEST: f32 = 1.0 / 8192.0;
const HIGHEST: f32 = 1024.0;

/// Maps linear values under one gain to code values by table.
pub(super) struct Display {
    gain: f32,
    first: u32,
    codes: Vec<u8>,
}

impl Display {
    /// A display under `gain`; a gain that is not a positive number counts as 1.
    pub(super) fn new(gain: f64) -> Self {
        let gain = if gain.is_finite() && gain > 0.0 { gain as f32 } else { 1.0 };
        let first = LOWEST.to_bits() >> DROPPED_BITS;
        let last = HIGHEST.to_bits() >> DROPPED_BITS;
        let middle_of_step = |index: u32| f32::from_bits((index << DROPPED_BITS) + (1 << (DROPPED_BITS - 1)));
        Self { gain, first, codes: (first..=last).map(|index| code_value(middle_of_step(index))).collect() }
    }

    /// The gain in words, in stops.
    pub(super) fn gain_words(&self) -> String {
        match self.gain.log2() {
            stops if stops.abs() < 0.05 => "as exposed".to_owned(),
            stops => format!("{stops:+.1} stops"),
        }
    }

    /// The code value of one linear channel. Negative light shows as black.
    pub(super) fn code(&self, linear: f32) -> u8 {
        let light = (linear * self.gain).clamp(0.0, HIGHEST);
        let step = (light.to_bits() >> DROPPED_BITS).saturating_sub(self.first);
        self.codes.get(step as usize).copied().unwrap_or(0)
    }

    /// The code values of one pixel.
    pub(super) fn rgb(&self, linear: [f32; 3]) -> [u8; 3] {
        linear.map(|channel| self.code(channel))
    }
}

/// Shoulder and transfer function of one linear value.
fn code_value(linear: f32) -> u8 {
    (srgb_encoded(shoulder(linear)) * 255.0).round() as u8
}

fn shoulder(linear: f32) -> f32 {
    if linear <= SHOULDER_START {
        return linear;
    }
    let room = 1.0 - SHOULDER_START;
    let beyond = (linear - SHOULDER_START) / room;
    SHOULDER_START + room * beyond / (1.0 + beyond)
}

/// sRGB transfer function, IEC 61966-2-1.
fn srgb_encoded(linear: f32) -> f32 {
    if linear <= 0.003_130_8 { 12.92 * linear } else { 1.055 * linear.powf(1.0 / 2.4) - 0.055 }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn grey_under_the_shoulder_is_plain_srgb() {
        // sRGB of 0.18 is 0.4614 (IEC 61966-2-1): code value 118.
        assert_eq!(Display::new(1.0).code(0.18), 118);
        assert_eq!(Display::new(2.0).code(0.09), 118);
    }

    #[test]
    fn the_table_keeps_within_one_code_value_of_the_formula() {
        let display = Display::new(1.0);
        for step in 0..20_000 {
            let linear = 1e-5 * 1.001_f32.powi(step);
            let (by_table, by_formula) = (display.code(linear), code_value(linear.min(HIGHEST)));
            assert!(by_table.abs_diff(by_formula) <= 1, "{linear}: {by_table} {by_formula}");
        }
    }

    #[test]
    fn brighter_never_looks_darker_and_lamps_stay_apart() {
        let display = Display::new(1.0);
        let codes: Vec<_> = (0..12).map(|stop| display.code(0.01 * 2_f32.powi(stop))).collect();
        assert!(codes.is_sorted());
        assert!(display.code(16.0) > display.code(4.0));
    }

    #[test]
    fn odd_values_do_no_harm() {
        let display = Display::new(f64::NAN);
        assert_eq!(display.code(-1.0), 0);
        assert_eq!(display.code(f32::INFINITY), 255);
        assert_eq!(display.code(0.0), 0);
        assert_eq!(display.code(f32::NAN), 0);
    }
}
