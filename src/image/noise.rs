//! How much the pixels of one frame scatter: read noise plus shot noise, estimated from the frame itself.

use crate::base::statistics::SD_PER_MEDIAN_DEVIATION;
use crate::image::Frame;

/// Variance of a linear pixel value as read noise plus a part that grows with the light (Poisson statistics of
/// photons): `read² + shot × value`, per channel, in the frame's own scale.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NoiseModel {
    /// Variance in the dark, per channel, value².
    pub read_variance: [f64; 3],
    /// Growth of the variance per unit of value, per channel.
    pub shot: [f64; 3],
}

/// Level (mean of 3 × 3) and size of the second difference (divided by its noise gain of 6) at one place.
#[derive(Clone, Copy)]
struct Sample {
    level: f32,
    scatter: f32,
}

/// A noise below this share of the value is not believed: computed pictures have none, quantised ones hide it.
const LEAST_RELATIVE_SD: f64 = 1e-3;
/// The same for 8-bit pictures: about a third of a code step in the mid-tones.
const LEAST_RELATIVE_SD_EIGHT_BIT: f64 = 3e-3;
/// Rows looked at.
const ROWS: usize = 30;
/// Samples taken from each row at most, about.
const SAMPLES_PER_ROW: usize = 500;
/// Groups of equal number by level.
const GROUPS: usize = 12;

impl NoiseModel {
    /// Estimates the noise of a frame from second differences (Immerkær 1996), by the median in groups of equal
    /// brightness. Texture raises the estimate, correlated noise lowers it: good for weights, not for proof.
    pub fn of(frame: &Frame) -> Self {
        let mut model = Self { read_variance: [0.0; 3], shot: [0.0; 3] };
        let relative = if frame.eight_bit { LEAST_RELATIVE_SD_EIGHT_BIT } else { LEAST_RELATIVE_SD };
        for channel in 0..3 {
            let mut samples = samples(frame, channel);
            let (read_variance, shot) = fit(&mut samples, relative);
            model.read_variance[channel] = read_variance;
            model.shot[channel] = shot;
        }
        model
    }

    /// Variance of a value of one channel (0 = red), never zero.
    pub fn variance(&self, channel: usize, value: f64) -> f64 {
        (self.read_variance[channel] + self.shot[channel] * value.max(0.0)).max(f64::MIN_POSITIVE)
    }
}

fn samples(frame: &Frame, channel: usize) -> Vec<Sample> {
    let (width, height) = (frame.data.width, frame.data.height);
    if width < 3 || height < 3 || frame.rgb.len() < width.saturating_mul(height) {
        return Vec::new();
    }
    let clip = frame.clip_level.map_or(f32::INFINITY, |level| 0.9 * level[channel]);
    let step = ((height - 2) / ROWS).max(1);
    let rows = (1..height - 1).step_by(step);
    let stride = (width / SAMPLES_PER_ROW).max(1);
    rows.flat_map(|y| (1..width - 1).step_by(stride).map(move |x| y * width + x))
        .filter_map(|i| sample_at(frame, channel, i, width, clip))
        .collect()
}

/// `None` where a neighbour is masked or clipped.
fn sample_at(frame: &Frame, channel: usize, i: usize, width: usize, clip: f32) -> Option<Sample> {
    let mut level = 0.0;
    let mut difference = 0.0;
    for (row, row_tap) in [(i - width, 1.0), (i, -2.0), (i + width, 1.0)] {
        for (at, tap) in [(row - 1, 1.0), (row, -2.0), (row + 1, 1.0)] {
            let value = frame.rgb[at][channel];
            if value >= clip {
                return None;
            }
            level += value;
            difference += row_tap * tap * value;
        }
    }
    let found = Sample { level: level / 9.0, scatter: difference.abs() / 6.0 };
    (found.level + found.scatter).is_finite().then_some(found)
}

/// Read variance and shot growth from (level, variance) of groups: the darkest group gives the first, the median
/// slope from there the second. Medians keep a group that is all texture from deciding.
fn fit(samples: &mut [Sample], least_relative_sd: f64) -> (f64, f64) {
    samples.sort_unstable_by(|a, b| a.level.total_cmp(&b.level));
    let size = samples.len().div_ceil(GROUPS).max(1);
    let groups: Vec<[f64; 2]> = samples.chunks_mut(size).map(group).collect();
    let typical = groups.get(groups.len() / 2).map_or(0.0, |g| g[0].abs());
    let least = (least_relative_sd * typical).powi(2);
    let Some(&[dark, dark_variance]) = groups.first() else { return (f64::MIN_POSITIVE, 0.0) };
    let mut slopes: Vec<f64> = groups[1..]
        .iter()
        .filter(|g| g[0] - dark > 0.05 * typical)
        .map(|g| (g[1] - dark_variance) / (g[0] - dark))
        .collect();
    slopes.sort_unstable_by(f64::total_cmp);
    let slope = slopes.get(slopes.len() / 2).copied().unwrap_or(0.0);
    // Not below the least relative scatter at the typical level, half of it growing with the light.
    let shot = slope.max(if typical > 0.0 { 0.5 * least / typical } else { 0.0 });
    let read = (dark_variance - shot * dark.max(0.0)).max(0.1 * dark_variance);
    (read.max(0.5 * least).max(f64::MIN_POSITIVE), shot)
}

/// Median level and noise variance of one group.
fn group(samples: &mut [Sample]) -> [f64; 2] {
    let level = f64::from(samples[samples.len() / 2].level);
    let middle = samples.len() / 2;
    let scatter = samples.select_nth_unstable_by(middle, |a, b| a.scatter.total_cmp(&b.scatter)).1.scatter;
    [level, (SD_PER_MEDIAN_DEVIATION * f64::from(scatter)).powi(2)]
}
