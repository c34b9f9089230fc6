//! Which of two registered frames is sharper: their power spectra on the detail that both show.

use std::f64::consts::{PI, TAU};

use rustfft::{Fft, FftPlanner, num_complex::Complex32};

use super::field::Field;
use super::plane::Plane;
use super::tiles::{Pixels, best_tiles};
use super::warp::Warp;
use crate::Estimate;
use crate::base::parallel;

/// Side of the squares that are transformed, px.
const SIDE: usize = 64;
/// Rings of equal spatial frequency between none and half a cycle per pixel.
const RINGS: usize = 24;
/// Rings from here are left out, cycles per pixel: sampling and sharpening reign there.
const HIGHEST_FREQUENCY: f64 = 0.36;
/// A ring counts where both signals stand this many times above their noise.
const LEAST_SIGNAL: f64 = 3.0;
/// Squares whose two pictures have less than this in common show something that moved.
const LEAST_COHERENCE: f64 = 0.5;
/// Groups of squares that are left out in turn for the uncertainty.
const GROUPS: usize = 8;
/// Fewer squares or rings than this say nothing.
const LEAST_SQUARES: usize = 4;
const LEAST_RINGS: usize = 3;
/// What sampling and leakage between the rings leave open: px², and a share of the variance (the tests find up to 14 %
/// on a texture with little fine detail).
const SHAPE_SD_PX2: f64 = 0.02;
const LEAKAGE_SHARE: f64 = 0.1;
/// A difference below this many pixels is not worth a warning.
const NOTABLE_PX: f64 = 0.5;

/// How much softer the other frame is than the plate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FocusDifference {
    /// Variance of the Gaussian blur that the other frame has beyond the plate's, px²; negative = it is sharper.
    pub variance_px2: Estimate,
}

impl FocusDifference {
    /// Standard deviation in pixels of the Gaussian that would blur the sharper frame to the softer one's look;
    /// + = the other frame is softer than the plate.
    pub fn blur_px(&self) -> Estimate {
        let (value, sd) = (self.variance_px2.value, self.variance_px2.sd);
        let size = value.abs().sqrt();
        // Near zero the square root magnifies: there the variance's own scatter is the bound.
        let sd_px = (sd / (2.0 * size.max(1e-9))).min(sd.sqrt());
        Estimate::new(size.copysign(value), sd_px)
    }

    /// In words, where it is beyond doubt and matters.
    pub(super) fn warning(&self, name: &str) -> Option<String> {
        let blur = self.blur_px();
        let plain = blur.value.abs() > NOTABLE_PX && blur.value.abs() > 3.0 * blur.sd;
        let side = if blur.value > 0.0 { "softer" } else { "sharper" };
        plain.then(|| {
            format!("focus changed: the {name} is {side} than the plate by a blur of {:.1} px (sd)", blur.value.abs())
        })
    }
}

/// Measures the difference on textured squares; `None` where too few have detail in common.
pub(super) fn difference(
    pixels: &[Pixels<'_>; 2],
    plane: &Plane,
    field: &Field,
    warp: &Warp,
) -> Option<FocusDifference> {
    let size = [field.width, field.height].map(|cells| cells as f64 * field.cell_px[0]);
    let corners = best_tiles(plane, field, warp.displacement(size.map(|s| 0.5 * s)));
    let fft = FftPlanner::new().plan_fft_forward(SIDE);
    let squares: Vec<Spectra> = parallel::filter_map(corners.len(), |i| Spectra::of(pixels, corners[i], warp, &*fft));
    if squares.len() < LEAST_SQUARES {
        return None;
    }
    let all = fit(&Spectra::sum(squares.iter()))?;
    let groups = GROUPS.min(squares.len());
    let without = |group: usize| {
        let rest = squares.iter().enumerate().filter(|(i, _)| i % groups != group).map(|(_, s)| s);
        fit(&Spectra::sum(rest))
    };
    let leave_one: Vec<f64> = (0..groups).filter_map(without).collect();
    let scatter: f64 = leave_one.iter().map(|v| (v - all).powi(2)).sum();
    let sd = (scatter * (groups as f64 - 1.0) / leave_one.len().max(1) as f64).sqrt();
    let estimate = Estimate::new(all, sd.hypot(SHAPE_SD_PX2).hypot(LEAKAGE_SHARE * all));
    (leave_one.len() >= LEAST_SQUARES).then_some(FocusDifference { variance_px2: estimate })
}

/// Power of both pictures and their common part, by rings of spatial frequency.
#[derive(Clone, Copy)]
struct Spectra {
    own: [[f64; RINGS]; 2],
    common: [f64; RINGS],
}

impl Spectra {
    fn of(pixels: &[Pixels<'_>; 2], corner: [i64; 2], warp: &Warp, fft: &dyn Fft<f32>) -> Option<Self> {
        let moved = warp.displacement(corner.map(|c| c as f64 + 0.5 * SIDE as f64));
        let whole = moved.map(|d| d.round() as i64);
        let fraction = [0, 1].map(|axis| moved[axis] - whole[axis] as f64);
        let fixed = transformed(&pixels[0], corner, fft)?;
        let moving = transformed(&pixels[1], [corner[0] + whole[0], corner[1] + whole[1]], fft)?;
        let mut spectra = Self { own: [[0.0; RINGS]; 2], common: [0.0; RINGS] };
        for (i, (f, m)) in fixed.iter().zip(&moving).enumerate() {
            let [u, v] = [i % SIDE, i / SIDE].map(frequency);
            let Some(ring) = ring_of(u.hypot(v)) else { continue };
            spectra.own[0][ring] += f64::from(f.norm_sqr());
            spectra.own[1][ring] += f64::from(m.norm_sqr());
            let back = (TAU * (u * fraction[0] + v * fraction[1])) as f32;
            spectra.common[ring] += f64::from((f.conj() * m * Complex32::from_polar(1.0, back)).re);
        }
        spectra.levelled().filter(|s| s.coherence() > LEAST_COHERENCE)
    }

    /// Every square has the same say.
    fn levelled(mut self) -> Option<Self> {
        let total: f64 = self.own.iter().map(|power| power.iter().sum::<f64>()).product::<f64>().sqrt();
        if !(total > 0.0 && total.is_finite()) {
            return None;
        }
        self.own.iter_mut().flatten().chain(&mut self.common).for_each(|v| *v /= total);
        Some(self)
    }

    /// Of the lower frequencies, where both pictures have most of their power.
    fn coherence(&self) -> f64 {
        let low = 1..RINGS / 4;
        let sum = |values: &[f64; RINGS]| values[low.clone()].iter().sum::<f64>();
        sum(&self.common) / (sum(&self.own[0]) * sum(&self.own[1])).sqrt().max(f64::MIN_POSITIVE)
    }

    fn sum<'a>(all: impl Iterator<Item = &'a Self>) -> Self {
        let mut total = Self { own: [[0.0; RINGS]; 2], common: [0.0; RINGS] };
        for one in all {
            for ring in 0..RINGS {
                (0..2).for_each(|side| total.own[side][ring] += one.own[side][ring]);
                total.common[ring] += one.common[ring];
            }
        }
        total
    }

    /// White noise of one picture: what it does not share with the other, where that is least.
    fn noise(&self, side: usize) -> f64 {
        let alone = |ring: usize| {
            let together = (self.own[0][ring] * self.own[1][ring]).sqrt().max(f64::MIN_POSITIVE);
            self.own[side][ring] * (1.0 - (self.common[ring] / together).clamp(0.0, 1.0)) / modes(ring)
        };
        (2..RINGS).filter(|ring| modes(*ring) > 0.0).map(alone).fold(f64::INFINITY, f64::min)
    }
}

/// Least squares of the log power ratio over the squared frequency: its slope is −4π² times the variance of the blur.
fn fit(spectra: &Spectra) -> Option<f64> {
    let noise = [0, 1].map(|side| spectra.noise(side));
    let mut rings = Vec::new();
    for ring in 2..RINGS {
        let signal = [0, 1].map(|side| spectra.own[side][ring] - noise[side] * modes(ring));
        let clear = (0..2).all(|side| signal[side] > LEAST_SIGNAL * noise[side] * modes(ring) && signal[side] > 0.0);
        let frequency = middle_of(ring);
        let coherence =
            spectra.common[ring] / (spectra.own[0][ring] * spectra.own[1][ring]).sqrt().max(f64::MIN_POSITIVE);
        if clear && frequency < HIGHEST_FREQUENCY && coherence > LEAST_COHERENCE {
            rings.push((frequency.powi(2), (signal[1] / signal[0]).ln(), modes(ring)));
        }
    }
    if rings.len() < LEAST_RINGS {
        return None;
    }
    let sum = |f: &dyn Fn(&(f64, f64, f64)) -> f64| rings.iter().map(|r| r.2 * f(r)).sum::<f64>();
    let weight = sum(&|_| 1.0);
    let (x, y) = (sum(&|r| r.0) / weight, sum(&|r| r.1) / weight);
    let slope = sum(&|r| (r.0 - x) * (r.1 - y)) / sum(&|r| (r.0 - x).powi(2));
    let variance = -slope / (4.0 * PI * PI);
    variance.is_finite().then_some(variance)
}

/// Signed frequency of an index of the transform, cycles per pixel.
fn frequency(index: usize) -> f64 {
    let signed = if index > SIDE / 2 { index as f64 - SIDE as f64 } else { index as f64 };
    signed / SIDE as f64
}

fn ring_of(frequency: f64) -> Option<usize> {
    let ring = (frequency * 2.0 * RINGS as f64) as usize;
    (ring < RINGS).then_some(ring)
}

fn middle_of(ring: usize) -> f64 {
    (ring as f64 + 0.5) / (2.0 * RINGS as f64)
}

/// About how many frequencies a ring holds (they grow with its radius).
fn modes(ring: usize) -> f64 {
    TAU * middle_of(ring) * (SIDE * SIDE) as f64 / (2.0 * RINGS as f64)
}

/// Transform of a square without its mean under a Hann window; `None` where a pixel is missing.
fn transformed(pixels: &Pixels<'_>, corner: [i64; 2], fft: &dyn Fft<f32>) -> Option<Vec<Complex32>> {
    let value = |i: usize| pixels.linear_at(corner[0] + (i % SIDE) as i64, corner[1] + (i / SIDE) as i64);
    let values: Vec<f32> = (0..SIDE * SIDE).map(value).collect();
    let mean = values.iter().sum::<f32>() / values.len() as f32;
    if !(mean.is_finite() && mean > 0.0) {
        return None;
    }
    let hann: Vec<f32> = (0..SIDE).map(|i| 0.5 - 0.5 * (TAU as f32 * (i as f32 + 0.5) / SIDE as f32).cos()).collect();
    let windowed = |(i, v): (usize, &f32)| Complex32::new((v / mean - 1.0) * hann[i % SIDE] * hann[i / SIDE], 0.0);
    let mut square: Vec<Complex32> = values.iter().enumerate().map(windowed).collect();
    fft.process(&mut square);
    let mut turned: Vec<Complex32> = (0..square.len()).map(|i| square[(i % SIDE) * SIDE + i / SIDE]).collect();
    fft.process(&mut turned);
    // Transposed once: back in place, so that columns are columns.
    Some((0..turned.len()).map(|i| turned[(i % SIDE) * SIDE + i / SIDE]).collect())
}
