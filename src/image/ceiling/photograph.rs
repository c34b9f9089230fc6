//! The level at which a photograph that states none is cut off.
//!
//! In a photograph neighbouring pixels differ by noise at least, but for those that were cut off. What was done to the picture
//! afterwards (grain, resampling, compression) leaves a plateau with some slack, which an evenly lit panel has too: then the
//! level is only suspected.

use super::DISPLAY_WHITE;
use super::spike::{self, Spike};
use crate::base::parallel;
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

/// So many pixels at the level of one channel tell by another one, which goes on varying by this part (central four fifths).
const LEAST_VARYING: usize = 8;
const VARIES: f32 = 0.01;

/// Levels of the channels that differ by less are one: a panel is hardly ever as neutral. Loose ones are known less well.
const ONE_LEVEL: f32 = 0.002;
const ONE_LOOSE_LEVEL: f32 = 0.01;

/// Noise of at least this part of the level tells that equal values are no chance; computed pictures have less.
const LEAST_NOISE: f64 = 0.003;

/// Noise of two steps of half floats: so many equal values are no rounding.
const MORE_THAN_ROUNDING: f64 = 0.001;

/// Where much overshoots, so many channels have to stand at one value, one of them in so many pixels (common practice, no source).
const LEAST_HELD_CHANNELS: usize = 2;
const LEAST_HELD: usize = 32;

/// More pixels than this are not looked at one by one.
const MOST_PIXELS: usize = 400_000;

/// The level at which the pixels of `frame` for which `part` holds (column and row in the display window) are cut off; `None` where
/// they show no sign of it.
pub(crate) fn ceiling(frame: &Frame, part: impl Fn(i64, i64) -> bool + Sync) -> Option<Ceiling> {
    let (pixels, step) = sampled(frame, part);
    // Values of 8 bits stand in steps; so do log frames of 10 bits near their top.
    let in_codes = frame.integer_bits.is_some_and(|bits| bits <= 10);
    let channels: [Vec<f32>; 3] = std::array::from_fn(|c| spike::falling(pixels.iter().map(|rgb| rgb[c]).collect()));
    let spikes = channels.each_ref().map(|values| spike::find(values, in_codes));
    if !in_codes && let Some(found) = held(frame, &pixels, &channels, step) {
        return Some(found);
    }
    let most = |exact: bool| spikes.iter().flatten().filter(|s| s.exact || !exact).map(|s| s.count).max();
    most(false)?;
    let found =
        |level: [f32; 3], certain: bool| Some(Ceiling { level, pixels: step * most(certain).unwrap_or(0), certain });
    let exact = spikes.map(|s| s.filter(|s| s.exact).map_or(f32::INFINITY, |s| s.low));
    if at_white(&spikes) || goes_on(&pixels, &exact) {
        return found(exact, true);
    }
    // Even light is of one brightness in every channel; what was cut off is of one level in all of them.
    let level = spikes.map(|s| s.map_or(f32::INFINITY, |s| s.low));
    let all_exact = exact.iter().all(|l| l.is_finite());
    let within = if all_exact { ONE_LEVEL } else { ONE_LOOSE_LEVEL };
    is_neutral(&spikes, within).then(|| found(level, all_exact && is_noisy(frame, &spikes, LEAST_NOISE)))?
}

/// In spite of noise most channels stand at one value in many pixels, while another goes on varying there: no even light does so, however
/// much overshoots.
fn held(frame: &Frame, pixels: &[[f32; 3]], channels: &[Vec<f32>; 3], step: usize) -> Option<Ceiling> {
    let spikes = channels.each_ref().map(|values| spike::held(values));
    let counts = spikes.iter().flatten().map(|s| s.count);
    if counts.clone().count() < LEAST_HELD_CHANNELS || counts.clone().max() < Some(LEAST_HELD) {
        return None;
    }
    let level = spikes.map(|s| s.map_or(f32::INFINITY, |s| s.low));
    let pixels_there = step * counts.max().unwrap_or(0);
    (is_noisy(frame, &spikes, MORE_THAN_ROUNDING) && goes_on(pixels, &level)).then_some(Ceiling {
        level,
        pixels: pixels_there,
        certain: true,
    })
}

/// Those pixels, of very many every so many-th, and how many one stands for. The step is odd: widths of frames are even, and it
/// must not walk down columns.
fn sampled(frame: &Frame, part: impl Fn(i64, i64) -> bool + Sync) -> (Vec<[f32; 3]>, usize) {
    let (width, data) = (frame.data.width.max(1), &frame.data);
    let (part, rows): (_, Vec<&[[f32; 3]]>) = (&part, frame.rgb.chunks(width).collect());
    let inside = |row: usize| {
        let columns = 0..rows[row].len();
        columns.filter(move |column| part(data.x + *column as i64, data.y + row as i64))
    };
    let counts = parallel::map(rows.len(), |row| inside(row).count());
    let step = (counts.iter().sum::<usize>() / MOST_PIXELS) | 1;
    // How many of a row come before the first that is taken.
    let passed = |before: &mut usize, count: &usize| {
        let first = before.next_multiple_of(step) - *before;
        *before += count;
        Some(first)
    };
    let firsts: Vec<usize> = counts.iter().scan(0, passed).collect();
    let taken = parallel::flat_map(rows.len(), |row| {
        let places = (firsts[row] < counts[row]).then(|| inside(row).skip(firsts[row]).step_by(step));
        places
            .into_iter()
            .flatten()
            .map(|column| rows[row][column])
            .filter(|rgb| rgb[0].is_finite())
            .collect::<Vec<_>>()
    });
    (taken, step)
}

/// Clipping takes the channels one after the other: at the level of one another goes on varying. On an even panel all stand still.
fn goes_on(pixels: &[[f32; 3]], level: &[f32; 3]) -> bool {
    let varies = |c: usize, d: usize| {
        let there = pixels.iter().filter(|rgb| rgb[c] >= level[c] && rgb[d] < level[d]);
        let mut others: Vec<f32> = there.map(|rgb| rgb[d]).collect();
        others.sort_unstable_by(f32::total_cmp);
        let at = |part: usize| others[(others.len() - 1) * part / 10];
        others.len() >= LEAST_VARYING && at(9) - at(1) > VARIES * at(5)
    };
    (0..3).any(|c| level[c].is_finite() && (0..3).any(|d| d != c && varies(c, d)))
}

fn at_white(spikes: &[Option<Spike>; 3]) -> bool {
    spikes.iter().flatten().any(|s| s.low <= DISPLAY_WHITE && s.high >= DISPLAY_WHITE && s.exact)
}

/// All channels end at one level.
fn is_neutral(spikes: &[Option<Spike>; 3], within: f32) -> bool {
    let [Some(r), Some(g), Some(b)] = spikes else { return false };
    let middle = |s: &Spike| 0.5 * (s.low + s.high);
    [r, b].iter().all(|s| (middle(s) / middle(g) - 1.0).abs() < within)
}

fn is_noisy(frame: &Frame, spikes: &[Option<Spike>; 3], least: f64) -> bool {
    let noise = NoiseModel::of(frame);
    spikes
        .iter()
        .enumerate()
        .filter_map(|(c, spike)| Some((c, f64::from(spike.as_ref()?.low))))
        .all(|(c, level)| noise.variance(c, level).sqrt() > least * level)
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

    /// Against one pixel after the other.
    #[test]
    fn of_many_pixels_every_so_many_th_is_taken() {
        let size = Size { width: 1201, height: 1403 };
        let value = |i: usize| if i % 97 == 5 { f32::NAN } else { i as f32 };
        let frame = Frame::computed("test", size, (0..size.width * size.height).map(|i| [value(i); 3]).collect());
        let parts: [fn(i64, i64) -> bool; 3] = [|_, _| true, |x, y| (x * x + 3 * y) % 7 > 2, |x, y| y == 900 && x > 7];
        for part in parts {
            let inside = |i: &usize| part((i % size.width) as i64, (i / size.width) as i64);
            let all: Vec<usize> = (0..frame.rgb.len()).filter(inside).collect();
            let (taken, step) = sampled(&frame, part);
            let expected = all.iter().step_by((all.len() / MOST_PIXELS) | 1).map(|i| frame.rgb[*i]);
            let expected: Vec<[f32; 3]> = expected.filter(|rgb| rgb[0].is_finite()).collect();
            assert_eq!((taken, step), (expected, (all.len() / MOST_PIXELS) | 1));
        }
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

    /// Two even lamps of different colours: each channel is highest in one of them, and all stand still there.
    #[test]
    fn even_lamps_are_no_ceiling() {
        let mut frame = picture([0.01; 3], 0.02, |v| v);
        for (centre, lamp) in [([30.0, 40.0], [82.5, 61.875, 40.0]), ([70.0, 50.0], [30.0, 50.0, 58.375])] {
            for (i, pixel) in frame.rgb.iter_mut().enumerate() {
                let (x, y) = ((i % SIDE) as f32 - centre[0], (i / SIDE) as f32 - centre[1]);
                let coverage = (8.0 - x.hypot(y) + 0.5).clamp(0.0, 1.0);
                *pixel = [0, 1, 2].map(|c| pixel[c] * (1.0 - coverage) + lamp[c] * coverage);
            }
        }
        assert_eq!(found(&frame), None);
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

    /// A lamp cut off at 8 before white balance, an independent render through a camera with a mosaic (`golden/outside_light/pink_lamp`): what
    /// was filled in between the photosites stands a quarter above the level.
    #[test]
    fn a_lamp_whose_filled_in_colours_overshoot_is_seen_to_be_cut_off() {
        let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("golden/outside_light/pink_lamp");
        let path = folder.join("sphere.exr");
        let limits = crate::image::limits::Limits::default();
        let frame = crate::image::open::open(&crate::image::open::OpenRequest::of(&path, "mirror", &limits)).unwrap();
        let truth: serde_json::Value =
            serde_json::from_slice(&std::fs::read(folder.join("truth.json")).unwrap()).unwrap();
        let cut = found(&frame).unwrap();
        for c in 0..3 {
            let level = truth["clip"].as_f64().unwrap() * truth["white_balance"][c].as_f64().unwrap();
            assert!((f64::from(cut.level[c]) / level - 1.0).abs() < 0.002, "{cut:?}");
        }
        assert!(cut.certain);
    }
}
