//! The level at which a photograph that states none is cut off.
//!
//! In a photograph neighbouring pixels differ by noise at least, but for those that were cut off. What was done to the picture
//! afterwards (grain, resampling, compression) leaves a plateau with some slack, which an evenly lit panel has too: then the
//! level is only suspected.

use super::spike::{self, Spike};
use crate::image::Frame;
use crate::image::noise::NoiseModel;

/// Where a photograph seems to be cut off.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Ceiling {
    /// The level per channel, infinite where a channel shows none.
    pub(crate) level: [f32; 3],
    /// Pixels that stand there.
    pub(crate) pixels: usize,
    /// Whether nothing else explains it. An even panel explains a plateau with slack, and one of a computed picture.
    pub(crate) certain: bool,
}

/// Pixels with one channel at its level and another clearly below its own: light reaches levels of its own in all at once.
const LEAST_MIXED: usize = 8;
const LEAST_ALONE: usize = 24;
const MIXED_PART: f64 = 0.01;
const CLEARLY_BELOW: f32 = 0.98;

/// Levels of the channels that differ by less are one: a panel is hardly ever as neutral.
const ONE_LEVEL: f32 = 0.002;

/// Noise of at least this part of the level tells that equal values are no chance; computed pictures have less.
const LEAST_NOISE: f64 = 0.003;

/// Display white, where pictures made for a display end.
const DISPLAY_WHITE: f32 = 1.0;

/// More pixels than this are not looked at one by one.
const MOST_PIXELS: usize = 400_000;

/// The level at which the pixels of `frame` for which `part` holds (column and row in the display window) are cut off; `None` where
/// they show no sign of it.
pub(crate) fn ceiling(frame: &Frame, part: impl Fn(i64, i64) -> bool) -> Option<Ceiling> {
    let pixels = sampled(frame, part);
    // Values of 8 bits stand in steps; so do log frames of 10 bits near their top.
    let in_codes = frame.integer_bits.is_some_and(|bits| bits <= 10);
    let spikes: [Option<Spike>; 3] =
        std::array::from_fn(|c| spike::find(pixels.iter().map(|rgb| rgb[c]).collect(), in_codes));
    let count = spikes.iter().flatten().map(|s| s.count).max()?;
    let level = spikes.map(|s| s.map_or(f32::INFINITY, |s| s.low));
    let certain = spikes.iter().flatten().all(|s| s.exact)
        && (one_by_one(&pixels, &level) || at_white(&spikes) || (is_neutral(&spikes) && is_noisy(frame, &spikes)));
    Some(Ceiling { level, pixels: count, certain })
}

fn sampled(frame: &Frame, part: impl Fn(i64, i64) -> bool) -> Vec<[f32; 3]> {
    let (width, data) = (frame.data.width.max(1), &frame.data);
    let inside = |i: &usize| part(data.x + (i % width) as i64, data.y + (i / width) as i64);
    let all: Vec<usize> = (0..frame.rgb.len()).filter(inside).collect();
    let step = all.len() / MOST_PIXELS + 1;
    all.into_iter().step_by(step).map(|i| frame.rgb[i]).filter(|rgb| rgb[0].is_finite()).collect()
}

/// Clipping takes the channels one after the other. One channel alone tells it by an area of pixels, not by a handful.
fn one_by_one(pixels: &[[f32; 3]], level: &[f32; 3]) -> bool {
    let alone = level.iter().filter(|l| l.is_finite()).count() == 1;
    let (mut there, mut mixed) = (0, 0);
    for rgb in pixels {
        let at = [0, 1, 2].map(|c| rgb[c] >= level[c]);
        let below = |c: usize| level[c].is_infinite() || rgb[c] < CLEARLY_BELOW * level[c];
        if at.contains(&true) {
            there += 1;
            mixed += usize::from((0..3).any(below));
        }
    }
    let least = if alone { LEAST_ALONE } else { LEAST_MIXED };
    mixed >= least.max((MIXED_PART * f64::from(there)) as usize)
}

fn at_white(spikes: &[Option<Spike>; 3]) -> bool {
    spikes.iter().flatten().any(|s| s.low <= DISPLAY_WHITE && s.high >= DISPLAY_WHITE && s.exact)
}

/// All channels end at one level.
fn is_neutral(spikes: &[Option<Spike>; 3]) -> bool {
    let [Some(r), Some(g), Some(b)] = spikes else { return false };
    [r, b].iter().all(|s| (s.high / g.high - 1.0).abs() < ONE_LEVEL)
}

fn is_noisy(frame: &Frame, spikes: &[Option<Spike>; 3]) -> bool {
    let noise = NoiseModel::of(frame);
    spikes.iter().enumerate().all(|(c, spike)| {
        let level = spike.map_or(0.0, |s| f64::from(s.low));
        noise.variance(c, level).sqrt() > LEAST_NOISE * level
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::image::Size;

    const SIDE: usize = 96;

    /// A soft light of a colour on a grey ground, with shot noise where asked for, and what is done to each value.
    fn picture(colour: [f32; 3], noise: f32, done: impl Fn(f32) -> f32) -> Frame {
        let mut state = 1_u32;
        let mut random = || {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (state >> 8) as f32 / 16_777_216.0 - 0.5
        };
        let pixel = |i: usize| {
            let (x, y) = ((i % SIDE) as f32 - 47.3, (i / SIDE) as f32 - 46.8);
            let light = 8.0 * (-(x * x + y * y) / 160.0).exp();
            colour.map(|c| {
                let value: f32 = 0.1 + light * c;
                done(value + noise * value.sqrt() * random())
            })
        };
        Frame::computed("test", Size { width: SIDE, height: SIDE }, (0..SIDE * SIDE).map(pixel).collect())
    }

    fn found(frame: &Frame) -> Option<Ceiling> {
        ceiling(frame, |_, _| true)
    }

    #[test]
    fn a_neutral_light_that_is_cut_off_is_seen_to_be() {
        for colour in [[1.0, 1.0, 1.0], [1.0, 0.8, 0.6]] {
            let cut = found(&picture(colour, 0.03, |v| v.min(3.1348))).unwrap();
            assert!(cut.certain, "{cut:?}");
            assert!(cut.level.iter().all(|l| (l - 3.1348).abs() < 0.004), "{cut:?}");
            assert_eq!(found(&picture(colour, 0.03, |v| v)), None);
        }
    }

    /// What a render shows of an even white panel is the same picture as what is cut off.
    #[test]
    fn without_noise_a_neutral_plateau_is_suspected_only() {
        let suspected = found(&picture([1.0; 3], 0.0, |v| v.min(3.1348))).unwrap();
        assert!(!suspected.certain);
    }

    #[test]
    fn gains_after_clipping_leave_a_level_in_each_channel() {
        let mut frame = picture([1.0, 0.9, 0.95], 0.03, |v| v.min(2.0));
        frame.rgb.iter_mut().for_each(|p| *p = [p[0] * 1.98, p[1], p[2] * 1.82]);
        let cut = found(&frame).unwrap();
        assert!(cut.certain, "{cut:?}");
        for (level, expected) in cut.level.iter().zip([3.96, 2.0, 3.64]) {
            assert!((level / expected - 1.0).abs() < 0.002, "{cut:?}");
        }
    }
}
