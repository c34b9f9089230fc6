//! The response curve of a camera whose files are not linear, recovered from a bracket of them.
//!
//! Debevec & Malik, Recovering High Dynamic Range Radiance Maps from Photographs, SIGGRAPH 1997, with these
//! departures: the light of every sample is eliminated in closed form, so that tens of thousands of samples cost no
//! more than a few; smoothness is asked of the departure from the file's nominal curve instead of the curve itself,
//! which leaves its dark end unbent; samples that do not fit (people who moved, edges) lose their weight; the stops may
//! be freed, which tells wrong ones.

use nalgebra::{DMatrix, DVector};

use super::BracketFrame;
use crate::Stops;
use crate::base::parallel;
use crate::base::statistics::{SD_PER_MEDIAN_DEVIATION, median};
use crate::image::Frame;
use crate::image::encoding::Encoding;

/// Codes of an 8-bit file.
const CODES: usize = 256;
/// From this code on a sample counts as clipped: in-camera development bends and rings below 255 (common practice, no
/// source).
pub(super) const CLIP_CODE: usize = 250;
/// Below this code a sample says nothing: a step is a third of a stop and compression eats it.
const DARKEST_CODE: usize = 4;
/// Code that stands for 18 % grey: standard output sensitivity of ISO 12232:2019 (from memory).
const GREY_CODE: usize = 118;
const GREY: f64 = 0.18;
/// Samples taken, about.
const SAMPLES: usize = 30_000;
/// Samples that have to be usable in two exposures or more.
const LEAST_SAMPLES: usize = 400;
/// A sample's neighbours may differ by this many codes: edges move, ring and lose their colour in compression. In the
/// dark a code is a large part of the light, and less is allowed.
const FLAT_CODES: u8 = 8;
const FLAT_CODE_FRACTION: u8 = 8;
/// Weight of the smoothness against the data. Exposures at equal steps leave any ripple of that period in the curve
/// undecided, so it has to be firm: with a sixth of this, environments photographed at 3-stop steps rippled by up to 0.1
/// stop (`tests/pictures/environment_bracket.rs`), with twice this the ends of a hard shoulder bend by that much instead.
const SMOOTHNESS: f64 = 1700.0;
/// Weight of the stated stops against all readings, where they are freed: an exposure of which little can be read stays
/// where it was stated, one as well read as the others moves by all but a few hundredths of its error.
const STATED_WEIGHT: f64 = 5e-3;
/// Rounds of taking weight from samples that do not fit.
const ROUNDS: usize = 4;
/// Tukey's biweight loses 5 % of efficiency at this many standard deviations.
const TUKEY_SD: f64 = 4.685;
/// The curve may be this much steeper or flatter than the nominal one. Cameras measured from 0.6 to 1.35.
const BELIEVABLE_SLOPE: std::ops::RangeInclusive<f64> = 0.5..=1.6;
/// Unknowns of the curves; those of the stops follow.
const CURVES: usize = 3 * CODES;

/// A recovered curve.
#[derive(Debug, Clone, PartialEq)]
pub struct ResponseCurve {
    /// Per channel and code, base-2 logarithm of the light, 18 % grey = log2 0.18 at code 118.
    pub log2_light: [Vec<f64>; 3],
    /// Robust standard deviation of one reading about the fit, stops.
    pub residual_stops: f64,
    /// Samples used.
    pub samples: usize,
    /// Stops of each exposure as the pictures themselves have them; their mean and overall span are those stated,
    /// since pictures alone do not tell either.
    pub measured_stops: Vec<f64>,
    /// Standard deviation of each: half a code where its readings lie, which does not average out (readings too dark to
    /// be used leave the brighter half of their neighbours behind).
    pub measured_sd_stops: Vec<f64>,
    /// Slope against the file's nominal curve, 1 = as steep.
    pub slope: f64,
}

/// Recovers the curve that is common to all exposures.
///
/// # Errors
/// In words, where the exposures do not tell it: one exposure, equal exposures, too little in common.
pub fn recover(frames: &[BracketFrame], nominal: Encoding) -> Result<ResponseCurve, String> {
    let stops: Vec<f64> = frames.iter().map(|f| f.stops.0).collect();
    let span = stops.iter().copied().fold(f64::MIN, f64::max) - stops.iter().copied().fold(f64::MAX, f64::min);
    if frames.len() < 2 || span < 0.5 {
        return Err("the exposures do not differ by half a stop or more".to_owned());
    }
    let samples = samples(frames, nominal);
    if samples.len() < LEAST_SAMPLES {
        return Err(format!("only {} even areas are well exposed in two exposures or more", samples.len()));
    }
    let shape = nominal_shape(nominal);
    let mut weights = vec![1.0; samples.len()];
    for _ in 0..ROUNDS {
        let fit = System::of(&samples, &weights, stops.len()).solve(&shape, &stops, true).ok_or_else(unsolvable)?;
        weights = tukey_weights(&residuals(&samples, &fit.0, &fit.1));
    }
    let system = System::of(&samples, &weights, stops.len());
    let (freed_curve, measured) = system.solve(&shape, &stops, true).ok_or_else(unsolvable)?;
    let doubts = code_doubts(&samples, &shape, stops.len());
    let agree = beyond_doubt(&stops, &measured, &doubts) <= super::STATED_TOLERANCE_STOPS;
    let curve = if agree { system.solve(&shape, &stops, false).ok_or_else(unsolvable)?.0 } else { freed_curve };
    let used_stops = if agree { &stops } else { &measured };
    let residual_stops = SD_PER_MEDIAN_DEVIATION * median(readings(&samples, &curve, used_stops)).unwrap_or(0.0);
    finish(&curve, &shape, residual_stops, samples.len(), (measured, doubts))
}

/// Largest difference between neighbouring exposures' stated and measured stops beyond three standard deviations.
fn beyond_doubt(stated: &[f64], measured: &[f64], sd: &[f64]) -> f64 {
    let mut order: Vec<usize> = (0..stated.len()).collect();
    order.sort_by(|a, b| stated[*a].total_cmp(&stated[*b]));
    let step = |stops: &[f64], pair: &[usize]| stops[pair[1]] - stops[pair[0]];
    let beyond = |pair: &[usize]| {
        let difference = (step(measured, pair) - step(stated, pair)).abs();
        difference - 3.0 * sd[pair[0]].hypot(sd[pair[1]])
    };
    order.windows(2).map(beyond).fold(0.0, f64::max)
}

/// Half a code of every exposure's readings, trust for trust, stops.
fn code_doubts(spots: &[Spot], shape: &[f64], exposures: usize) -> Vec<f64> {
    let (mut sums, mut trusts) = (vec![0.0; exposures], vec![0.0; exposures]);
    for (exposure, code, trust) in spots.iter().flat_map(|spot| &spot.readings) {
        let code = usize::from(*code).clamp(1, CODES - 2);
        sums[*exposure] += trust * 0.25 * (shape[code + 1] - shape[code - 1]);
        trusts[*exposure] += trust;
    }
    // An exposure without a reading is as stated, whatever the solution says.
    sums.iter().zip(trusts).map(|(sum, trust)| if trust > 0.0 { sum / trust } else { 1.0 }).collect()
}

impl ResponseCurve {
    /// Stated and measured stops of neighbouring exposures agree.
    pub fn stops_agree(&self, stated: &[f64]) -> bool {
        beyond_doubt(stated, &self.measured_stops, &self.measured_sd_stops) <= super::STATED_TOLERANCE_STOPS
    }

    /// The curve is as steep as cameras make it; otherwise the stated stops are all too small or all too large.
    pub fn is_believable(&self) -> bool {
        BELIEVABLE_SLOPE.contains(&self.slope)
    }

    /// Turns a frame decoded by the nominal curve into linear light, and sets where it clips.
    pub fn linearise(&self, frame: &mut Frame, nominal: Encoding) {
        let tables = [0, 1, 2].map(|c| self.log2_light[c].iter().map(|v| v.exp2() as f32).collect::<Vec<f32>>());
        let code = CodeOf(nominal);
        parallel::each(&mut frame.rgb, |_, rgb| {
            if rgb[0].is_finite() {
                *rgb = [0, 1, 2].map(|c| tables[c][usize::from(code.of(rgb[c]))]);
            }
        });
        frame.clip_level = Some([0, 1, 2].map(|c| tables[c][CLIP_CODE]));
    }
}

fn unsolvable() -> String {
    "the exposures have too little in common".to_owned()
}

/// 8-bit codes from light decoded by a known curve.
struct CodeOf(Encoding);

impl CodeOf {
    fn of(&self, light: f32) -> u8 {
        (self.0.encode(f64::from(light)) * 255.0).round().clamp(0.0, 255.0) as u8
    }
}

/// Base-2 logarithm of the nominal curve; code 0 counts as half a step.
fn nominal_shape(nominal: Encoding) -> Vec<f64> {
    let light = |code: usize| nominal.decode((code as f64).max(0.5) / 255.0).max(1e-9).log2();
    let grey = light(GREY_CODE);
    (0..CODES).map(|code| light(code) - grey + GREY.log2()).collect()
}

/// Trust in a reading: largest in the middle of the range, none at its ends (equation 4 of the paper).
fn trust(code: u8) -> f64 {
    let code = usize::from(code);
    if !(DARKEST_CODE..CLIP_CODE).contains(&code) {
        return 0.0;
    }
    (code - DARKEST_CODE + 1).min(CLIP_CODE - code) as f64 / (CLIP_CODE / 2) as f64
}

/// One spot of one channel: exposure, code, trust of each usable reading.
struct Spot {
    channel: usize,
    readings: Vec<(usize, u8, f64)>,
}

/// Even spots spread over the picture.
fn samples(frames: &[BracketFrame], nominal: Encoding) -> Vec<Spot> {
    let Some(first) = frames.first().map(|f| &f.frame) else { return Vec::new() };
    let (width, height) = (first.data.width, first.data.height);
    if width < 3 || height < 3 || frames.iter().any(|f| f.frame.rgb.len() != first.rgb.len()) {
        return Vec::new();
    }
    let step = (((width * height) as f64 / SAMPLES as f64).sqrt() as usize).max(1);
    let code = CodeOf(nominal);
    let rows: Vec<usize> = (1..height - 1).step_by(step).collect();
    parallel::flat_map(rows.len(), |i| {
        let columns = (1..width - 1).step_by(step);
        columns.flat_map(|column| spots_at(frames, &code, rows[i] * width + column, width)).collect::<Vec<_>>()
    })
}

fn spots_at(frames: &[BracketFrame], code: &CodeOf, at: usize, width: usize) -> Vec<Spot> {
    let spot = |channel: usize| {
        let reading = |(i, f): (usize, &BracketFrame)| {
            let code = even_code(&f.frame, code, at, width, channel)?;
            let trust = trust(code);
            (trust > 0.0).then_some((i, code, trust))
        };
        let readings: Vec<_> = frames.iter().enumerate().filter_map(reading).collect();
        (readings.len() > 1).then_some(Spot { channel, readings })
    };
    (0..3).filter_map(spot).collect()
}

/// Code of a pixel whose four neighbours are about the same.
fn even_code(frame: &Frame, code: &CodeOf, at: usize, width: usize, channel: usize) -> Option<u8> {
    let middle = frame.rgb[at][channel];
    if !middle.is_finite() {
        return None;
    }
    let value = code.of(middle);
    let allowed = (1 + value / FLAT_CODE_FRACTION).min(FLAT_CODES);
    let even = [at - 1, at + 1, at - width, at + width]
        .iter()
        .all(|i| code.of(frame.rgb[*i][channel]).abs_diff(value) <= allowed);
    even.then_some(value)
}

/// The normal equations of all readings `curve(code) − stops − light = 0`, each spot's light eliminated.
struct System {
    matrix: DMatrix<f64>,
    /// Weight of all readings, by which penalties are scaled.
    total: f64,
}

impl System {
    fn of(spots: &[Spot], weights: &[f64], exposures: usize) -> Self {
        let mut matrix = DMatrix::zeros(CURVES + exposures, CURVES + exposures);
        let mut total = 0.0;
        for (spot, weight) in spots.iter().zip(weights).filter(|(_, w)| **w > 0.0) {
            let terms: Vec<(usize, f64)> = spot
                .readings
                .iter()
                .flat_map(|(exposure, code, trust)| {
                    let w = trust * weight;
                    [(spot.channel * CODES + usize::from(*code), w), (CURVES + exposure, -w)]
                })
                .collect();
            let sum: f64 = spot.readings.iter().map(|r| r.2 * weight).sum();
            total += sum;
            for (code, stops) in terms.chunks_exact(2).map(|pair| (pair[0], pair[1])) {
                let w = code.1;
                matrix[(code.0, code.0)] += w;
                matrix[(stops.0, stops.0)] += w;
                matrix[(code.0, stops.0)] -= w;
                matrix[(stops.0, code.0)] -= w;
            }
            for (i, a) in &terms {
                for (j, b) in &terms {
                    matrix[(*i, *j)] -= a * b / sum;
                }
            }
        }
        Self { matrix, total }
    }

    /// Curve (three channels one after the other) and stops, base-2 logarithms. With `free`, the stops may depart
    /// from the stated ones, their mean and span kept.
    fn solve(&self, shape: &[f64], stated: &[f64], free: bool) -> Option<(Vec<f64>, Vec<f64>)> {
        let size = self.matrix.nrows();
        let mut matrix = self.matrix.clone();
        let start = DVector::from_fn(size, |i, _| if i < CURVES { shape[i % CODES] } else { stated[i - CURVES] });
        let right = -(&self.matrix * &start);
        for channel in 0..3 {
            self.smooth(&mut matrix, channel * CODES);
            let grey = channel * CODES + GREY_CODE;
            matrix[(grey, grey)] += 1e3 * self.total;
        }
        self.hold_stops(&mut matrix, stated, free);
        let change = matrix.cholesky()?.solve(&right);
        let all = start + change;
        all.iter()
            .all(|v| v.is_finite())
            .then(|| (all.as_slice()[..CURVES].to_vec(), all.as_slice()[CURVES..].to_vec()))
    }

    /// Second differences of the departure from the nominal curve stay small; a trace of stiffness settles codes that
    /// no sample has.
    fn smooth(&self, matrix: &mut DMatrix<f64>, first: usize) {
        let weight = SMOOTHNESS * self.total / (3 * CODES) as f64;
        for code in 1..CODES - 1 {
            for (i, a) in [(code - 1, 1.0), (code, -2.0), (code + 1, 1.0)] {
                for (j, b) in [(code - 1, 1.0), (code, -2.0), (code + 1, 1.0)] {
                    matrix[(first + i, first + j)] += weight * a * b;
                }
            }
        }
        for code in 0..CODES {
            matrix[(first + code, first + code)] += 1e-6 * weight;
        }
    }

    fn hold_stops(&self, matrix: &mut DMatrix<f64>, stated: &[f64], free: bool) {
        let count = stated.len();
        let mean = stated.iter().sum::<f64>() / count as f64;
        let spread: f64 = stated.iter().map(|s| (s - mean).powi(2)).sum::<f64>().max(1e-9);
        let firm = 1e4 * self.total;
        for i in 0..count {
            matrix[(CURVES + i, CURVES + i)] += if free { STATED_WEIGHT * self.total } else { firm };
            for j in 0..count {
                let along = (stated[i] - mean) * (stated[j] - mean) / spread;
                matrix[(CURVES + i, CURVES + j)] += firm * (1.0 / count as f64 + along);
            }
        }
    }
}

/// Differences of one spot's readings from their weighted mean, with their trust.
fn departures<'a>(spot: &'a Spot, curve: &'a [f64], stops: &'a [f64]) -> impl Iterator<Item = (f64, f64)> + 'a {
    let value = move |r: &(usize, u8, f64)| curve[spot.channel * CODES + usize::from(r.1)] - stops[r.0];
    let sum: f64 = spot.readings.iter().map(|r| r.2).sum();
    let mean = spot.readings.iter().map(|r| r.2 * value(r)).sum::<f64>() / sum;
    spot.readings.iter().map(move |r| (value(r) - mean, r.2))
}

/// Root of the weighted mean square of each spot's departures.
fn residuals(spots: &[Spot], curve: &[f64], stops: &[f64]) -> Vec<f64> {
    let rms = |spot: &Spot| {
        let (square, weight) = departures(spot, curve, stops).fold((0.0, 0.0), |(s, w), (d, t)| (s + t * d * d, w + t));
        (square / weight).sqrt()
    };
    spots.iter().map(rms).collect()
}

/// Absolute departures of the well exposed readings.
fn readings(spots: &[Spot], curve: &[f64], stops: &[f64]) -> Vec<f64> {
    spots.iter().flat_map(|s| departures(s, curve, stops)).filter(|d| d.1 > 0.2).map(|d| d.0.abs()).collect()
}

fn tukey_weights(residuals: &[f64]) -> Vec<f64> {
    let scale = TUKEY_SD * SD_PER_MEDIAN_DEVIATION * median(residuals.iter().copied()).unwrap_or(0.0).max(1e-4);
    let weight = |r: &f64| if *r < scale { (1.0 - (r / scale).powi(2)).powi(2) } else { 0.0 };
    residuals.iter().map(weight).collect()
}

/// Makes the curve rise everywhere and measures its slope.
fn finish(
    curve: &[f64],
    shape: &[f64],
    residual_stops: f64,
    samples: usize,
    (measured_stops, measured_sd_stops): (Vec<f64>, Vec<f64>),
) -> Result<ResponseCurve, String> {
    let mut slope = 0.0;
    let log2_light = [0, 1, 2].map(|channel| {
        let mut rising = curve[channel * CODES..(channel + 1) * CODES].to_vec();
        for code in 1..CODES {
            rising[code] = rising[code].max(rising[code - 1]);
        }
        slope += (rising[200] - rising[40]) / (shape[200] - shape[40]) / 3.0;
        rising
    });
    if !slope.is_finite() || slope <= 0.0 {
        return Err("the exposures fit no camera's response".to_owned());
    }
    Ok(ResponseCurve { log2_light, residual_stops, samples, measured_stops, measured_sd_stops, slope })
}

/// Stops to merge with: as stated where the pictures agree, else as measured.
pub fn stops_to_use(curve: &ResponseCurve, stated: &[f64]) -> Vec<Stops> {
    let agree = curve.stops_agree(stated);
    stated.iter().zip(&curve.measured_stops).map(|(s, m)| Stops(if agree { *s } else { *m })).collect()
}

#[cfg(test)]
#[path = "response_tests.rs"]
mod tests;
