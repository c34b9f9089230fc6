//! Coarse shift by phase correlation (Kuglin & Hines 1975, IEEE Int. Conf. Cybernetics and Society): candidates only.
//!
//! Its own sub-pixel peak is not used: aliasing and the window pull it by tenths of a pixel.

use rustfft::{Fft, FftPlanner, num_complex::Complex32};
use std::f32::consts::TAU;

use super::plane::Plane;

/// Whole-pixel shifts at which the two planes (of equal size) may agree, at most `2 most`: `moving(x + d) ≈ fixed(x)`.
///
/// The highest peaks of the phase correlation, which is sharp, and of the plain cross-correlation, which does not lift
/// the noise between the few strong frequencies of a regular pattern.
pub(super) fn candidate_shifts(fixed: &Plane, moving: &Plane, most: usize) -> Vec<[i64; 2]> {
    let (width, height) = (fixed.width(), fixed.height());
    let mut planner = FftPlanner::new();
    let forward = [planner.plan_fft_forward(width), planner.plan_fft_forward(height)];
    let inverse = [planner.plan_fft_inverse(width), planner.plan_fft_inverse(height)];
    let [mut f, mut m] = [fixed, moving].map(|plane| {
        let mut spectrum = windowed(plane);
        transform(&mut spectrum, width, [&*forward[0], &*forward[1]]);
        spectrum
    });
    f.iter_mut().zip(&m).for_each(|(a, b)| *a = a.conj() * b);
    m.copy_from_slice(&f);
    whiten(&mut m);
    let mut shifts = Vec::new();
    for mut spectrum in [m, f] {
        transform(&mut spectrum, width, [&*inverse[0], &*inverse[1]]);
        for peak in peaks(&spectrum, width, height, most) {
            if !shifts.contains(&peak) {
                shifts.push(peak);
            }
        }
    }
    shifts
}

/// The plane with holes at zero and a Hann window, so that the borders do not correlate with each other.
fn windowed(plane: &Plane) -> Vec<Complex32> {
    let hann =
        |n: usize| -> Vec<f32> { (0..n).map(|i| 0.5 - 0.5 * (TAU * (i as f32 + 0.5) / n as f32).cos()).collect() };
    let (across, down) = (hann(plane.width()), hann(plane.height()));
    let value = |(i, v): (usize, &f32)| {
        let weight = across[i % plane.width()] * down[i / plane.width()];
        Complex32::new(if v.is_finite() { v * weight } else { 0.0 }, 0.0)
    };
    plane.values().iter().enumerate().map(value).collect()
}

/// Two-dimensional transform in place: along rows, then along columns.
fn transform(values: &mut [Complex32], width: usize, fft: [&dyn Fft<f32>; 2]) {
    fft[0].process(values);
    let height = values.len() / width;
    let mut turned: Vec<Complex32> = (0..values.len()).map(|i| values[(i % height) * width + i / height]).collect();
    fft[1].process(&mut turned);
    for (i, value) in turned.into_iter().enumerate() {
        values[(i % height) * width + i / height] = value;
    }
}

/// Brings all components of the cross-power spectrum to one size; those far below the mean are noise and keep their
/// smallness.
fn whiten(cross: &mut [Complex32]) {
    let mean = cross.iter().map(|c| c.norm()).sum::<f32>() / cross.len().max(1) as f32;
    let floor = (0.1 * mean).max(f32::MIN_POSITIVE);
    for c in cross.iter_mut() {
        *c /= c.norm() + floor;
    }
}

/// The highest local maxima of the correlation as signed shifts.
fn peaks(correlation: &[Complex32], width: usize, height: usize, most: usize) -> Vec<[i64; 2]> {
    let at = |x: usize, y: usize| correlation[(y % height) * width + x % width].re;
    let is_peak = |&i: &usize| {
        let (x, y) = (i % width, i / width);
        let around = [(1, 0), (width - 1, 0), (0, 1), (0, height - 1), (1, 1), (width - 1, height - 1)];
        around.iter().all(|(dx, dy)| at(x, y) >= at(x + dx, y + dy))
    };
    let mut found: Vec<usize> = (0..correlation.len()).filter(is_peak).collect();
    found.sort_unstable_by(|&a, &b| correlation[b].re.total_cmp(&correlation[a].re));
    found.truncate(most);
    found.iter().map(|i| [signed(i % width, width), signed(i / width, height)]).collect()
}

/// An index of a periodic axis as a shift to either side.
fn signed(index: usize, length: usize) -> i64 {
    if index > length / 2 { index as i64 - length as i64 } else { index as i64 }
}
