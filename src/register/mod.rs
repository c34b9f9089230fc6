//! Registration of two frames and what their common background says.
//!
//! Sign of a shift, everywhere: `moving(x + d) ≈ fixed(x)`, x to the right, y down the frame, in pixels of the fixed
//! picture. A feature that lies at x in the fixed picture lies at x + d in the moving one.

mod backdrop;
pub mod bracket;
mod candidates;
mod drift;
mod field;
mod focus;
pub mod lines;
mod moved;
pub mod panorama;
mod patch;
mod phase;
mod plane;
mod ratio;
mod refine;
#[cfg(test)]
pub(crate) mod test_scene;
mod thumbnail;
mod tiles;
mod warp;
mod warp_fit;
mod warp_start;

use nalgebra::Matrix2;

pub(crate) use drift::compare_frames;
pub use drift::{Drift, DriftOutcome, measure_drift};
pub use focus::FocusDifference;
pub use moved::Moved;
pub(crate) use moved::what_moved;
pub use plane::Plane;
pub(crate) use thumbnail::Thumbnail;
pub use warp::{Registration, Warp, WarpModel};
pub use warp_start::register_warp;

use crate::Estimate;
use crate::base::parallel;
use patch::{Patch, SIDE};
use refine::{Refined, refine};

/// Longest side of the picture on which the coarse shift is sought.
const COARSE_SIDE: usize = 256;
/// A picture shorter than this in either direction is not registered.
const LEAST_SIDE: usize = 24;
/// Pictures whose blocks correlate less than this at every shift do not show the same thing.
const LEAST_CORRELATION: f64 = 0.25;
/// The same where noise is no excuse: detail stands clearly above it in both.
const LEAST_PLAIN_CORRELATION: f64 = 0.4;
/// Least share of gradient energy in common along an axis for that axis to be believed.
const LEAST_AGREEMENT: f64 = 0.1;
/// A shift less certain than this many pixels of the compared picture is no registration.
const LARGEST_SD_PX: f64 = 0.5;
/// Detail this many times above the noise would have been recognised, had it been in both pictures.
const PLAIN_TEXTURE: f64 = 3.0;
/// A picture is divided in this many columns and rows; the best-textured patch of each is compared.
const PARTS: [usize; 2] = [7, 5];

/// How far the moving picture lies from the fixed one: `moving(x + d) ≈ fixed(x)`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shift {
    /// To the right, in pixels of the fixed picture.
    pub dx_px: Estimate,
    /// Down the frame, in pixels of the fixed picture.
    pub dy_px: Estimate,
    /// Robust standard deviation of what is left after alignment, in the unit of the values (log2 for log planes).
    pub residual: f64,
    /// Root mean square gradient that both pictures share along the axis that has least of it, unit of the values
    /// per pixel.
    pub texture: f64,
    /// Share of gradient energy along that axis that both pictures have in common, 0 to 1.
    pub agreement: f64,
}

/// Why two pictures could not be registered.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum NotRegistered {
    /// The pictures have different sizes, or are smaller than registration needs.
    Size,
    /// There is no detail above the noise.
    NoTexture,
    /// Detail runs in one direction only, so the shift along it is open.
    OneDirection,
    /// There is detail, but not the same in both.
    NoAgreement,
    /// The detail repeats itself: several shifts fit equally well.
    Repeating,
}

impl NotRegistered {
    /// The reason in words, to follow "because".
    pub fn reason(self) -> &'static str {
        match self {
            Self::Size => "the pictures differ in size or are too small to register",
            Self::NoTexture => "the background has no detail above the noise",
            Self::OneDirection => "the background's detail runs in one direction only",
            Self::NoAgreement => "the two backgrounds do not show the same thing",
            Self::Repeating => "the background's pattern repeats, so several shifts fit equally well",
        }
    }
}

/// Registers two pictures of equal size by translation.
///
/// Values may be linear or logarithmic: a gain and a smooth brightness offset between the two do not matter, nor does
/// a minority of moved things. NaN is masked. Phase correlation proposes, correlation of the pictures themselves
/// decides, gradient least squares over a pyramid finishes to a few hundredths of a pixel.
///
/// # Errors
/// Why no shift can be told; there is never a guess.
pub fn register_translation(fixed: &Plane, moving: &Plane) -> Result<Shift, NotRegistered> {
    let sides = [fixed.width(), fixed.height()];
    if sides != [moving.width(), moving.height()] || sides.iter().any(|s| *s < LEAST_SIDE) {
        return Err(NotRegistered::Size);
    }
    let pyramid = pyramid(fixed, moving);
    let coarsest = pyramid.last().map_or((fixed, moving), |(f, m)| (f, m));
    let mut shift = coarse_shift(coarsest.0, coarsest.1)?.map(|d| d as f64);
    let mut last = None;
    for (level, (f, m)) in pyramid.iter().enumerate().rev() {
        let found = refine_planes(f, m, shift).ok_or(NotRegistered::NoAgreement)?;
        shift = if level > 0 { found.shift_px.map(|d| 2.0 * d) } else { found.shift_px };
        last = Some(found);
    }
    believed(&last.ok_or(NotRegistered::Size)?)
}

/// Both pictures at full size first, then halved until the longest side fits the coarse search.
fn pyramid(fixed: &Plane, moving: &Plane) -> Vec<(Plane, Plane)> {
    let mut levels = vec![(fixed.clone(), moving.clone())];
    while let Some((f, m)) = levels.last() {
        if f.width().max(f.height()) <= COARSE_SIDE || f.width().min(f.height()) < 2 * LEAST_SIDE {
            break;
        }
        let next = parallel::both(|| f.halved(), || m.halved());
        levels.push(next);
    }
    levels
}

/// The whole-pixel shift that the pictures support, on small pictures.
fn coarse_shift(fixed: &Plane, moving: &Plane) -> Result<[i64; 2], NotRegistered> {
    const CANDIDATES: usize = 5;
    let radius = (fixed.width().max(fixed.height()) / 20).max(3);
    let (f, m) = parallel::both(|| fixed.high_passed(radius), || moving.high_passed(radius));
    let mut shifts = phase::candidate_shifts(&f, &m, CANDIDATES);
    if !shifts.contains(&[0, 0]) {
        shifts.push([0, 0]);
    }
    let plain = has_plain_texture(&f, fixed) && has_plain_texture(&m, moving);
    let least = if plain { LEAST_PLAIN_CORRELATION } else { LEAST_CORRELATION };
    match candidates::choose(&f, &m, &shifts) {
        Some(choice) if choice.correlation >= least && choice.rival.is_some() => Err(NotRegistered::Repeating),
        Some(choice) if choice.correlation >= least => Ok(choice.shift),
        _ if plain => Err(NotRegistered::NoAgreement),
        _ => Err(NotRegistered::NoTexture),
    }
}

/// Whether detail (`high`, the picture without its coarse brightness) stands clearly above the noise.
fn has_plain_texture(high: &Plane, plane: &Plane) -> bool {
    plane.noise_sd().is_some_and(|noise| high.rms() > PLAIN_TEXTURE * noise && high.rms() > 0.0)
}

/// Gradient least squares on patches of two planes.
fn refine_planes(fixed: &Plane, moving: &Plane, start: [f64; 2]) -> Option<Refined> {
    let (f, m) = parallel::both(|| fixed.smoothed(), || moving.smoothed());
    let corners = textured_corners(&f);
    let cut = |offset: [i64; 2]| -> Vec<Patch> {
        let at = |[x0, y0]: &[i64; 2]| {
            let (x0, y0) = (*x0, *y0);
            Patch::cut(|x, y| f.at(x0 + x, y0 + y), |x, y| m.at(x0 + x + offset[0], y0 + y + offset[1]))
        };
        corners.iter().filter_map(at).collect()
    };
    refine(&cut, start)
}

/// Top-left corners of the best-textured patch of each part of a plane.
fn textured_corners(plane: &Plane) -> Vec<[i64; 2]> {
    let size = [plane.width(), plane.height()];
    best_of_parts(size, |corner| detail_of(plane, corner, SIDE as i64, 2))
}

/// Divides a picture of `size` in `PARTS` and gives the corner of the patch with most `detail` in each; a part without
/// any detail gives none. Spread out, so that no single busy thing, which may have moved, provides them all.
fn best_of_parts(size: [usize; 2], detail: impl Fn([i64; 2]) -> f64) -> Vec<[i64; 2]> {
    let mut best = vec![(0.0, [0i64; 2]); PARTS[0] * PARTS[1]];
    let patches = size.map(|length| length.div_ceil(SIDE));
    for row in 0..patches[1] {
        for column in 0..patches[0] {
            let corner = [(column * SIDE) as i64, (row * SIDE) as i64];
            let detail = detail(corner);
            let slot = &mut best[row * PARTS[1] / patches[1] * PARTS[0] + column * PARTS[0] / patches[0]];
            if detail > slot.0 {
                *slot = (detail, corner);
            }
        }
    }
    best.into_iter().filter(|(detail, _)| *detail > 0.0).map(|(_, corner)| corner).collect()
}

/// Gradient energy of the square at a corner along the axis that has less, from differences over `step` pixels.
fn detail_of(plane: &Plane, [x0, y0]: [i64; 2], side: i64, step: i64) -> f64 {
    let (mut across, mut down) = (0.0, 0.0);
    for y in (y0..y0 + side).step_by(2 * step as usize) {
        for x in (x0..x0 + side).step_by(2 * step as usize) {
            let here = plane.at(x, y);
            let (right, below) = (plane.at(x + step, y) - here, plane.at(x, y + step) - here);
            if (right + below).is_finite() {
                across += f64::from(right).powi(2);
                down += f64::from(below).powi(2);
            }
        }
    }
    across.min(down)
}

/// A refined shift, if both axes can be believed.
fn believed(found: &Refined) -> Result<Shift, NotRegistered> {
    if found.agreement_best < LEAST_AGREEMENT {
        return Err(NotRegistered::NoTexture);
    }
    if found.agreement < LEAST_AGREEMENT || largest_sd(&found.cov_px2) > LARGEST_SD_PX {
        return Err(NotRegistered::OneDirection);
    }
    let [dx, dy] = found.shift_px;
    Ok(Shift {
        dx_px: Estimate::new(dx, found.cov_px2[(0, 0)].max(0.0).sqrt()),
        dy_px: Estimate::new(dy, found.cov_px2[(1, 1)].max(0.0).sqrt()),
        residual: found.residual,
        texture: found.texture,
        agreement: found.agreement.min(1.0),
    })
}

fn largest_sd(cov: &Matrix2<f64>) -> f64 {
    cov.symmetric_eigenvalues().max().max(0.0).sqrt()
}

#[cfg(test)]
mod drift_tests;
#[cfg(test)]
mod hard_cases;
#[cfg(test)]
mod outside_tests;
#[cfg(test)]
mod tests;
#[cfg(test)]
mod warp_tests;
