//! A narrow crowd of values near the top of a channel.
//!
//! The bright end of light thins out: a highlight has about as many pixels in the topmost hundredth of its values as in the
//! next one. Where many times as many stand together and hardly any above, something holds them there.

/// Half of the width of a crowd of equal values, relative: half floats are no finer than this.
const EXACT_HALF_WIDTH: f64 = 0.00025;
/// Half of the widths that are tried for values which were equal before grain, resampling or compression.
const LOOSE_HALF_WIDTHS: [f64; 4] = [0.005, 0.01, 0.02, 0.03];

/// Pixels of a crowd of equal values, and of a loose one.
const LEAST_EXACT: usize = 6;
const LEAST_LOOSE: usize = 16;

/// Overshoot reaches no further above what it surrounds than this factor: brighter light stands above an even panel, and no
/// ceiling lies there.
const LARGEST_OVERSHOOT: f64 = 1.7;

/// Values this close to equal ones are near them, relative.
const NEAR: f32 = 0.03;

/// Equal values are at least this part of those near them.
const LEAST_PART_OF_NEAR: f64 = 0.25;

/// A crowd has this many times the pixels of an equally wide step below it (independently rendered frames, cut off or whole,
/// as they are and with grain, cubic and Lanczos resampling: whole ones reach 2.9).
const LEAST_TIMES: f64 = 3.0;

/// Sharpening and resampling overshoot along edges; more than this part of the crowd above it, and it is no top.
const LARGEST_PART_ABOVE: f64 = 0.6;

/// Where values crowd.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Spike {
    /// The lowest value that belongs to it.
    pub(crate) low: f32,
    /// The highest.
    pub(crate) high: f32,
    /// How many there are.
    pub(crate) count: usize,
    /// They are equal but for rounding.
    pub(crate) exact: bool,
}

/// A channel's values, falling; what is not above zero or not finite is left out.
pub(crate) fn falling(mut values: Vec<f32>) -> Vec<f32> {
    values.retain(|v| v.is_finite() && *v > 0.0);
    values.sort_unstable_by(|a, b| b.total_cmp(a));
    values
}

/// Where the top of a channel crowds. Of an `in_codes` picture the values stand in steps of their own, and only loose crowds say
/// something.
pub(crate) fn find(values: &[f32], in_codes: bool) -> Option<Spike> {
    let logs: Vec<f64> = values.iter().map(|v| f64::from(*v).ln()).collect();
    let at = |half_width: f64, least: usize| {
        let (start, end, score) = densest(&logs, half_width, least)?;
        let spike =
            Spike { low: values[end - 1], high: values[start], count: end - start, exact: least == LEAST_EXACT };
        (score >= LEAST_TIMES).then_some((spike, score))
    };
    let exact =
        if in_codes { None } else { at(EXACT_HALF_WIDTH, LEAST_EXACT).filter(|(s, _)| stands_alone(values, s)) };
    let widths = if in_codes { &LOOSE_HALF_WIDTHS[3..] } else { &LOOSE_HALF_WIDTHS[..] };
    let loose = || widths.iter().filter_map(|w| at(*w, LEAST_LOOSE)).max_by(|a, b| a.1.total_cmp(&b.1));
    exact.or_else(loose).map(|found| found.0)
}

/// Equal values that something holds, although many stand above them. Where the colours of a mosaic are filled in after clipping, the values
/// between the photosites overshoot by a quarter and more, and half of a lamp may stand above the level at which it was cut off. So only
/// what is near says whether they crowd, and somebody else has to say that they are no even light (see `photograph`).
pub(crate) fn held(values: &[f32]) -> Option<Spike> {
    let top = *values.first()?;
    let from_top = values.iter().take_while(|v| f64::from(**v) >= f64::from(top) / LARGEST_OVERSHOOT).count();
    let mut best: Option<Spike> = None;
    let mut end = 0;
    for start in 0..from_top {
        let least = values[start] * (1.0 - 2.0 * EXACT_HALF_WIDTH as f32);
        while end < values.len() && values[end] >= least {
            end += 1;
        }
        let spike = Spike { low: values[end - 1], high: values[start], count: end - start, exact: true };
        let is_most = best.is_none_or(|b| spike.count > b.count);
        if spike.count >= LEAST_EXACT && is_most && part_of_near(values, &spike) >= LEAST_PART_OF_NEAR {
            best = Some(spike);
        }
    }
    best
}

/// Where the top of computed values crowds.
pub(crate) fn crowd(values: Vec<f32>) -> Option<Spike> {
    find(&falling(values), false)
}

/// Most of what is near is equal. Half floats keep three digits, so that a handful of a noisy lamp's pixels may be equal by
/// chance; the rest of the lamp then stands around them.
fn stands_alone(falling: &[f32], spike: &Spike) -> bool {
    let least = if spike.count < LEAST_LOOSE { 0.5 } else { LEAST_PART_OF_NEAR };
    part_of_near(falling, spike) >= least
}

/// The equal values' part of all that are near.
fn part_of_near(falling: &[f32], spike: &Spike) -> f64 {
    let from = falling.partition_point(|v| *v > spike.high * (1.0 + NEAR));
    let to = falling.partition_point(|v| *v >= spike.low * (1.0 - NEAR));
    spike.count as f64 / (to - from).max(1) as f64
}

/// First and one past the last of the values (their logarithms, falling) that crowd most within twice `half_width`, and how
/// many times as many they are as those in a step below.
fn densest(logs: &[f64], half_width: f64, least: usize) -> Option<(usize, usize, f64)> {
    let (mut end, mut below_end) = (0, 0);
    let mut best: Option<(usize, usize, f64)> = None;
    for (start, top) in logs.iter().enumerate() {
        if logs[0] - top > LARGEST_OVERSHOOT.ln() {
            break;
        }
        while end < logs.len() && logs[end] >= top - 2.0 * half_width {
            end += 1;
        }
        below_end = below_end.max(end);
        while below_end < logs.len() && logs[below_end] >= top - 4.0 * half_width {
            below_end += 1;
        }
        let (count, below) = ((end - start) as f64, (below_end - end) as f64);
        if end - start < least || start as f64 > LARGEST_PART_ABOVE * count {
            continue;
        }
        // Two more keep a handful of pixels from standing out by chance.
        let score = count / (below + 2.0 + 0.5 * start as f64);
        if best.is_none_or(|b| score > b.2) {
            best = Some((start, end, score));
        }
    }
    best
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Values of a highlight that falls off as a Gaussian does: even in their logarithm.
    fn highlight(peak: f32) -> Vec<f32> {
        (0..4000_u16).map(|i| peak * (-f32::from(i) / 800.0).exp()).collect()
    }

    #[test]
    fn a_highlight_does_not_crowd_and_a_cut_one_does() {
        assert_eq!(find(&falling(highlight(9.0)), false), None);
        let cut = |level: f32| highlight(9.0).into_iter().map(move |v| v.min(level)).collect::<Vec<f32>>();
        let spike = find(&falling(cut(3.1348)), false).unwrap();
        assert!(spike.exact && (spike.high - 3.1348).abs() < 1e-6 && spike.low > 3.13, "{spike:?}");
        // Grain of one per cent.
        let grain = |i: usize| 1.0 + 0.01 * (((i * 7919) % 1000) as f32 / 289.0 - 1.73);
        let grained: Vec<f32> = cut(3.0).iter().enumerate().map(|(i, v)| v * grain(i)).collect();
        let spike = find(&falling(grained), false).unwrap();
        assert!(!spike.exact && (spike.low..=spike.high).contains(&3.0), "{spike:?}");
    }

    #[test]
    fn equal_values_within_a_noisy_lamp_are_chance() {
        let mut values = highlight(3.0);
        values.extend((0..80_u8).map(|i| 60.0 + 0.05 * f32::from(i)));
        values.extend([62.5; 9]);
        assert_eq!(find(&falling(values), false).filter(|s| s.exact), None);
    }

    #[test]
    fn an_even_panel_below_a_lamp_is_no_top() {
        let mut values = highlight(1.0);
        values.extend([1.8; 900]);
        assert!(find(&falling(values.clone()), false).is_some());
        values.extend([540.0, 539.0, 538.0]);
        assert_eq!(find(&falling(values), false), None);
    }

    #[test]
    fn overshoot_does_not_hide_a_cut_off_light() {
        let mut values: Vec<f32> = highlight(9.0).into_iter().map(|v| v.min(2.0)).collect();
        values.extend((0..100_u8).map(|i| 2.0 + f32::from(i) * 0.004));
        let spike = find(&falling(values), false).unwrap();
        assert!(spike.exact && (spike.high - 2.0).abs() < 0.003, "{spike:?}");
    }

    #[test]
    fn codes_of_eight_bits_are_no_crowd_each() {
        let stored: Vec<f32> = highlight(0.9).into_iter().map(|v| (v * 255.0).round() / 255.0).collect();
        assert_eq!(find(&falling(stored), true), None);
    }
}
