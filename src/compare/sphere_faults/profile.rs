//! The picture across a circle at one of its points.

use super::cells::Cells;
use super::circle::Point;

/// A line is held against its sides at this distance, cells: beyond half of the widest seam looked for.
pub(super) const SIDE: usize = 3;

/// The line's own middle and the places beside it at which it is compared with itself reach this far, cells.
pub(super) const REACH: usize = 7;

/// Taps on each side of the circle.
const TAPS: usize = REACH + SIDE;

/// ln of luminance across a circle, one cell apart.
pub(super) struct Profile {
    taps: [f32; 2 * TAPS + 1],
}

impl Profile {
    pub(super) fn read(cells: &Cells, point: &Point) -> Self {
        let mut taps = [f32::NAN; 2 * TAPS + 1];
        for (i, tap) in taps.iter_mut().enumerate() {
            let off = i as f32 - TAPS as f32;
            *tap = cells.at([point.place[0] + off * point.across[0], point.place[1] + off * point.across[1]]);
        }
        Self { taps }
    }

    /// ln of luminance `off` cells beside the circle.
    pub(super) fn tap(&self, off: isize) -> f32 {
        self.taps[(TAPS as isize + off) as usize]
    }

    /// How much brighter than its two sides it is `off` cells beside the circle, in ln.
    pub(super) fn line(&self, off: isize) -> f32 {
        let side = SIDE as isize;
        self.tap(off) - 0.5 * (self.tap(off - side) + self.tap(off + side))
    }

    /// By how much the two sides differ, in ln.
    pub(super) fn sides_differ(&self, off: isize) -> f32 {
        let side = SIDE as isize;
        (self.tap(off - side) - self.tap(off + side)).abs()
    }
}
