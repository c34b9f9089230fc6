//! How broad a seam is in the picture, and how deep.

use super::cells::Cells;
use super::circle::{Circle, MOST_POINTS, Surface};
use super::profile::{Profile, SIDE};
use super::support::Support;
use crate::base::robust::median_of;
use crate::base::units::Estimate;

/// Cells looked at on each side; the outermost ones are taken for what lies beside the seam.
const REACH: usize = 6;
const BESIDE: usize = 4;

/// The band ends where this part of the depth is left, and this much further out: what lens and pixels mix.
const EDGE_PART: f32 = 0.15;
const MARGIN_CELLS: f64 = 0.5;

/// Half of the narrowest band, cells.
const LEAST_HALF_WIDTH_CELLS: f64 = 1.5;

/// A seam's extent in the picture.
pub(super) struct Breadth {
    /// Half of the band that it spoils, cells.
    pub(super) half_width_cells: f64,
    /// Brightness on it against beside it, less one.
    pub(super) contrast: Estimate,
}

/// Measures the line on a circle by the median of its profiles. `sign` is +1 for a bright line and −1 for a dark one.
pub(super) fn breadth(surface: &Surface<'_>, circle: &Circle, cells: &Cells, support: &Support, sign: f32) -> Breadth {
    let points = surface.points(circle, cells, MOST_POINTS);
    let profiles: Vec<Profile> = points.iter().map(|point| Profile::read(cells, point)).collect();
    let at = |off: isize| {
        let mut depths: Vec<f32> =
            profiles.iter().map(|p| sign * above_sides(p, off)).filter(|d| d.is_finite()).collect();
        median_of(&mut depths) as f32
    };
    let depths: Vec<f32> = (0..=SIDE as isize).map(|off| at(off).max(at(-off))).collect();
    // A line that was told ends within this distance; what is left there is the bend of the world beside it.
    let depths: Vec<f32> = depths.iter().map(|depth| depth - depths[SIDE]).collect();
    let deepest = depths[0].max(f32::MIN_POSITIVE);
    let end = depths.windows(2).position(|two| two[1] < EDGE_PART * deepest).map_or(SIDE as f64, |i| {
        let (inner, outer) = (depths[i], depths[i + 1]);
        i as f64 + f64::from((inner - EDGE_PART * deepest) / (inner - outer).max(f32::MIN_POSITIVE)).clamp(0.0, 1.0)
    });
    let (depth, sd) = support.depth_with_sd();
    let ratio = (f64::from(sign) * depth).exp();
    Breadth {
        half_width_cells: (end + MARGIN_CELLS).max(LEAST_HALF_WIDTH_CELLS),
        contrast: Estimate::new(ratio - 1.0, ratio * sd),
    }
}

/// ln of luminance `off` cells beside the circle against the places further out on both sides.
fn above_sides(profile: &Profile, off: isize) -> f32 {
    let far: Vec<isize> = (BESIDE as isize..=REACH as isize).collect();
    let mean = |sign: isize| far.iter().map(|o| profile.tap(sign * o)).sum::<f32>() / far.len() as f32;
    profile.tap(off) - 0.5 * (mean(1) + mean(-1))
}
