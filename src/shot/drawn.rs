//! Polygons as a mask of cells, drawn once: asking each polygon about each pixel takes minutes where there are hundreds.

use std::ops::Range;

use crate::base::parallel;

/// Cells along the longer side of a mask in which places between pixels are looked up.
const FINE_CELLS: f64 = 2048.0;

/// No finer than this, cells per pixel.
const FINEST: f64 = 16.0;

/// What lies inside of any of some polygons (even-odd rule), by the centres of cells.
pub(super) struct Drawn {
    /// Outer corner of the first cell, px.
    origin_px: [f64; 2],
    cells_per_px: f64,
    columns: usize,
    /// Cells from the first row on, 64 to a word, each row on words of its own.
    rows: Vec<Vec<u64>>,
}

impl Drawn {
    /// Cells that are the pixels of a window.
    pub(super) fn on_pixels(polygons: &[&[[f64; 2]]], origin: [i64; 2], size: [usize; 2]) -> Self {
        Self::of(polygons, origin.map(|v| v as f64), size, 1.0)
    }

    /// Cells as fine as a mask of moderate size allows over an area between two corners, px.
    pub(super) fn within(polygons: &[&[[f64; 2]]], [low, high]: [[f64; 2]; 2]) -> Self {
        let extent = [0, 1].map(|axis| (high[axis] - low[axis]).clamp(1.0, 1e6));
        let cells_per_px = (FINE_CELLS / extent[0].max(extent[1])).min(FINEST);
        let size = extent.map(|length| (length * cells_per_px).ceil() as usize + 1);
        Self::of(polygons, low, size, cells_per_px)
    }

    fn of(polygons: &[&[[f64; 2]]], origin_px: [f64; 2], [columns, rows]: [usize; 2], cells_per_px: f64) -> Self {
        // A polygon of fewer than three corners holds nothing.
        let tall: Vec<Tall<'_>> = polygons.iter().filter(|corners| corners.len() >= 3).map(|c| Tall::of(c)).collect();
        let grid = Grid { origin_px, cells_per_px, columns };
        let bands = parallel::map(rows.div_ceil(BAND_ROWS), |band| {
            let first = band * BAND_ROWS;
            grid.band(&tall, first..(first + BAND_ROWS).min(rows))
        });
        Self { origin_px, cells_per_px, columns, rows: bands.into_iter().flatten().collect() }
    }

    /// The cell at a place of the picture lies inside.
    pub(super) fn holds(&self, point_px: [f64; 2]) -> bool {
        let cell = |axis: usize| {
            let at = ((point_px[axis] - self.origin_px[axis]) * self.cells_per_px).floor();
            (0.0..1e9).contains(&at).then_some(at as usize)
        };
        let (Some(column), Some(row)) = (cell(0), cell(1)) else { return false };
        column < self.columns && self.rows.get(row).is_some_and(|cells| cells[column / 64] >> (column % 64) & 1 == 1)
    }
}

/// A cell is inside where an odd number of flips stands to the right of it: each flips all cells before it.
fn add_left_of(flips: &[u64], cells: &mut [u64]) {
    let mut inside = if flips[cells.len()] & 1 == 1 { u64::MAX } else { 0 };
    for (cells, flips) in cells.iter_mut().zip(flips).rev() {
        // Bit i of `parity`: whether the flips from bit i on are odd in number.
        let mut parity = *flips;
        for shift in [1, 2, 4, 8, 16, 32] {
            parity ^= parity >> shift;
        }
        *cells |= (parity >> 1) ^ inside;
        inside = if parity & 1 == 1 { !inside } else { inside };
    }
}

/// The same from the left: a closed outline crosses a row an even number of times, so as many are odd on either side.
fn add_right_of(flips: &[u64], cells: &mut [u64]) {
    let mut inside = 0;
    for (cells, flips) in cells.iter_mut().zip(flips) {
        // Bit i of `parity`: whether the flips up to bit i are odd in number.
        let mut parity = *flips;
        for shift in [1, 2, 4, 8, 16, 32] {
            parity ^= parity << shift;
        }
        *cells |= parity ^ inside;
        inside = if parity >> 63 == 1 { !inside } else { inside };
    }
}

/// Rows that are drawn together: each side of a polygon is asked once a band whether it comes near, and a band's flips stay in the
/// nearest cache.
const BAND_ROWS: usize = 32;

/// Added to and taken from a number below its half, it leaves the nearest whole number, which then stands in the lowest bits
/// (IEEE 754 binary64 has 52 of them).
const WHOLE: f64 = (1_u64 << 52) as f64;

/// Where the centres of cells lie.
struct Grid {
    origin_px: [f64; 2],
    cells_per_px: f64,
    columns: usize,
}

/// Rows of cells on their way: where their centres lie, and for each row on words of its own which cells start a change.
struct Band {
    heights: Vec<f64>,
    flips: Vec<u64>,
    words: usize,
    /// Words that hold nothing but cells inside in every row, one after another: what crosses a row there changes nothing to the
    /// left of them that the sides further left do not tell, and nothing to the right of them.
    covered: Range<usize>,
}

impl Grid {
    fn y_of(&self, row: usize) -> f64 {
        self.origin_px[1] + (row as f64 + 0.5) / self.cells_per_px
    }

    /// So many centres of a row lie to the left of a place. Free of branches, so that several are worked out at once.
    fn left_of(&self, x: f64) -> u32 {
        let columns = self.columns as f64;
        let place = ((x - self.origin_px[0]) * self.cells_per_px - 0.5).max(0.0).min(columns);
        let nearest = (place + WHOLE) - WHOLE;
        let more = if place > nearest { 1.0 } else { 0.0 };
        (nearest + more + WHOLE).to_bits() as u32
    }

    /// The cells of some rows, a row on words of its own.
    fn band(&self, polygons: &[Tall<'_>], rows: Range<usize>) -> Vec<Vec<u64>> {
        let words = self.columns.div_ceil(64) + 1;
        let mut cells = vec![vec![0_u64; words - 1]; rows.len()];
        let heights: Vec<f64> = rows.clone().map(|row| self.y_of(row)).collect();
        let mut band = Band { heights, flips: vec![0; words * rows.len()], words, covered: 0..0 };
        let [top, bottom] = [self.y_of(rows.start), self.y_of(rows.end)];
        for polygon in polygons.iter().filter(|polygon| polygon.low <= bottom && top < polygon.high) {
            band.flips.fill(0);
            polygon.sides().for_each(|side| self.flip(side, &mut band));
            for (flips, cells) in band.flips.chunks_exact(words).zip(&mut cells) {
                add_right_of(flips, &mut cells[..band.covered.start]);
                add_left_of(&flips[band.covered.end..], &mut cells[band.covered.end..]);
            }
            band.covered = covered(&cells);
        }
        cells
    }

    /// Flips what lies to the left of a side, by the same rule as [`crate::sphere::inside_polygon`].
    fn flip(&self, [from, to]: [[f64; 2]; 2], band: &mut Band) {
        let (low, high) = (from[1].min(to[1]), from[1].max(to[1]));
        let (first, end) = band.rows_between(low, high);
        let slope = (from[0] - to[0]) / (from[1] - to[1]);
        let left_at = |y: f64| self.left_of(to[0] + (y - to[1]) * slope);
        let heights = &band.heights[first..end];
        let (Some(top), Some(bottom)) = (heights.first(), heights.last()) else { return };
        // Rounding keeps the order, so what lies between the two ends lies there in every row.
        if band.is_covered(left_at(*top)) && band.is_covered(left_at(*bottom)) {
            return;
        }
        let mut left = [0_u32; BAND_ROWS];
        for (left, y) in left.iter_mut().zip(heights) {
            *left = left_at(*y);
        }
        let mut row = first * band.words;
        for left in &left[..heights.len()] {
            band.flips[row + (left >> 6) as usize] ^= 1 << (left & 63);
            row += band.words;
        }
    }
}

/// The longest run of words that are full in every row.
fn covered(cells: &[Vec<u64>]) -> Range<usize> {
    let words = cells.first().map_or(0, Vec::len);
    let (mut longest, mut start) = (0..0, 0);
    for word in 0..words {
        if cells.iter().any(|row| row[word] != u64::MAX) {
            start = word + 1;
        } else if word + 1 - start > longest.len() {
            longest = start..word + 1;
        }
    }
    longest
}

impl Band {
    /// A side that flips all cells before this one changes nothing.
    fn is_covered(&self, left: u32) -> bool {
        let left = left as usize;
        !self.covered.is_empty() && 64 * self.covered.start <= left && left <= 64 * self.covered.end
    }

    /// The rows whose centres lie from one height on and above another.
    fn rows_between(&self, low: f64, high: f64) -> (usize, usize) {
        let (Some(top), Some(bottom)) = (self.heights.first(), self.heights.last()) else { return (0, 0) };
        let before = |height: f64| match height {
            _ if height <= *top => 0,
            _ if height > *bottom => self.heights.len(),
            _ => self.heights.partition_point(|y| *y < height),
        };
        (before(low), before(high))
    }
}

/// A polygon with the heights that it spans.
struct Tall<'a> {
    corners: &'a [[f64; 2]],
    low: f64,
    high: f64,
}

impl<'a> Tall<'a> {
    fn of(corners: &'a [[f64; 2]]) -> Self {
        let span = corners.iter().map(|corner| corner[1]);
        Self { corners, low: span.clone().fold(f64::INFINITY, f64::min), high: span.fold(f64::NEG_INFINITY, f64::max) }
    }

    /// From each corner's predecessor to it.
    fn sides(&self) -> impl Iterator<Item = [[f64; 2]; 2]> {
        let before = self.corners.last().into_iter().chain(self.corners);
        before.zip(self.corners).map(|(from, to)| [*from, *to])
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sphere::inside_polygon;

    /// Corners scattered by a multiplicative sequence: the sides cross one another in every way.
    fn tangle(seed: u32, corners: u32) -> Vec<[f64; 2]> {
        let number = |i: u32| f64::from(i.wrapping_mul(2_654_435_761).wrapping_add(seed) >> 8) / f64::from(1 << 24);
        (0..corners).map(|i| [number(2 * i) * 260.0 - 30.0, number(2 * i + 1) * 140.0 - 20.0]).collect()
    }

    /// Thirty corners anywhere (SplitMix64; Steele, Lea & Flood, OOPSLA 2014).
    fn scattered(seed: u64) -> Vec<[f64; 2]> {
        let number = |i: u64| {
            let mixed = (1000 * seed + i + 1).wrapping_mul(0x9e37_79b9_7f4a_7c15);
            let mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
            let mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
            ((mixed ^ (mixed >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
        };
        (0..30).map(|i| [number(2 * i) * 260.0 - 30.0, number(2 * i + 1) * 140.0 - 20.0]).collect()
    }

    /// Against the plain question for every pixel's centre.
    #[test]
    fn it_holds_the_pixels_that_the_polygons_hold() {
        let own = [tangle(1, 40), tangle(77, 3), tangle(5, 9), vec![[0.0, 0.0], [9.0, 9.0]]];
        let polygons: Vec<&[[f64; 2]]> = own.iter().map(Vec::as_slice).collect();
        let mask = Drawn::on_pixels(&polygons, [-5, -3], [203, 97]);
        let mut inside = 0;
        for (column, row) in (0..203).flat_map(|column| (0..97).map(move |row| (column, row))) {
            let point = [f64::from(column) - 4.5, f64::from(row) - 2.5];
            let expected = polygons.iter().any(|corners| inside_polygon(corners, point));
            assert_eq!(mask.holds(point), expected, "{point:?}");
            inside += u32::from(expected);
        }
        assert!(inside > 1000 && inside < 19_000, "{inside}");
        assert!(!mask.holds([-1e30, 0.0]) && !mask.holds([f64::NAN, 0.0]) && !mask.holds([5000.0, 5.0]));
    }

    /// Where polygons cover most of the frame, the sides there are passed over.
    #[test]
    fn many_polygons_hold_what_each_holds() {
        let own: Vec<Vec<[f64; 2]>> = (0..40).map(scattered).collect();
        let polygons: Vec<&[[f64; 2]]> = own.iter().map(Vec::as_slice).collect();
        let mask = Drawn::on_pixels(&polygons, [-30, -20], [260, 140]);
        let mut outside = 0;
        for (column, row) in (0..260).flat_map(|column| (0..140).map(move |row| (column, row))) {
            let point = [f64::from(column) - 29.5, f64::from(row) - 19.5];
            let expected = polygons.iter().any(|corners| inside_polygon(corners, point));
            assert_eq!(mask.holds(point), expected, "{point:?}");
            outside += u32::from(!expected);
        }
        assert!((500..10_000).contains(&outside), "{outside}");
        let middle = [100.0, 50.0];
        assert!(polygons.iter().filter(|corners| inside_polygon(corners, middle)).count() > 5);
    }

    #[test]
    fn between_pixels_it_is_as_fine_as_its_cells() {
        let square: &[[f64; 2]] = &[[10.0, 10.0], [20.25, 10.0], [20.25, 20.0], [10.0, 20.0]];
        let mask = Drawn::within(&[square], [[0.0, 0.0], [100.0, 50.0]]);
        assert!(mask.holds([20.2, 15.0]) && !mask.holds([20.3, 15.0]) && !mask.holds([15.0, 20.1]));
    }
}
