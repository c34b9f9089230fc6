//! Polygons as a mask of cells, drawn once: asking each polygon about each pixel takes minutes where there are hundreds.

use std::ops::Range;

use crate::base::parallel;

/// Cells along the longer side of a mask in which places between pixels are looked up.
const FINE_CELLS: f64 = 2048.0;

/// No finer than this, cells per pixel.
const FINEST: f64 = 16.0;

/// Rows of a band: one bit each of a word.
const BAND_ROWS: usize = u64::BITS as usize;

/// What lies inside of any of some polygons (even-odd rule), by the centres of cells.
pub(super) struct Drawn {
    /// Outer corner of the first cell, px.
    origin_px: [f64; 2],
    cells_per_px: f64,
    columns: usize,
    rows: usize,
    /// Bands of rows from the first on, a word for each column of a band.
    bands: Vec<Vec<u64>>,
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
        let tall: Vec<Tall> = polygons.iter().filter(|corners| corners.len() >= 3).map(|c| Tall::of(c)).collect();
        let grid = Grid { origin_px, cells_per_px, columns };
        let bands = parallel::map(rows.div_ceil(BAND_ROWS), |band| {
            let first = band * BAND_ROWS;
            grid.band(&tall, first..(first + BAND_ROWS).min(rows))
        });
        Self { origin_px, cells_per_px, columns, rows, bands }
    }

    /// The cell at a place of the picture lies inside.
    pub(super) fn holds(&self, point_px: [f64; 2]) -> bool {
        let cell = |axis: usize| {
            let at = ((point_px[axis] - self.origin_px[axis]) * self.cells_per_px).floor();
            (0.0..1e9).contains(&at).then_some(at as usize)
        };
        let (Some(column), Some(row)) = (cell(0), cell(1)) else { return false };
        let is_there = column < self.columns && row < self.rows;
        is_there && self.bands[row / BAND_ROWS][column] >> (row % BAND_ROWS) & 1 == 1
    }
}

/// Added to and taken from a number below its half, it leaves the nearest whole number, which then stands in the lowest bits
/// (IEEE 754 binary64 has 52 of them).
const WHOLE: f64 = (1_u64 << 52) as f64;

/// What is full is looked for again after so many polygons.
const LOOK_AFTER: usize = 4;

/// Where a side changes column at most once in so many rows, the changes are searched for; else each row is worked out.
const ROWS_PER_SEARCH: usize = 8;

/// Where the centres of cells lie.
struct Grid {
    origin_px: [f64; 2],
    cells_per_px: f64,
    columns: usize,
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

    /// The cells of some rows, a word for each column.
    fn band(&self, polygons: &[Tall], rows: Range<usize>) -> Vec<u64> {
        let heights: Vec<f64> = rows.map(|row| self.y_of(row)).collect();
        let (Some(top), Some(bottom)) = (heights.first().copied(), heights.last().copied()) else { return Vec::new() };
        let mut band = Band::new(heights, self.columns);
        let met = polygons.iter().filter(|polygon| polygon.low <= bottom && top < polygon.high);
        for (number, polygon) in met.enumerate() {
            for side in polygon.sides.iter().filter(|side| side.low <= bottom && top < side.high) {
                self.flip(side, &mut band);
            }
            band.settle();
            if number % LOOK_AFTER == LOOK_AFTER - 1 {
                band.covered = longest_full(&band.cells);
                if band.covered.len() == self.columns {
                    break;
                }
            }
        }
        band.cells
    }

    /// Flips what lies to the left of a side, by the same rule as [`crate::sphere::inside_polygon`].
    fn flip(&self, side: &Side, band: &mut Band) {
        let rows = band.rows_between(side.low, side.high);
        let left_at = |y: f64| self.left_of(side.x_at(y)) as usize;
        let heights = &band.heights[rows.clone()];
        let (Some(top), Some(bottom)) = (heights.first(), heights.last()) else { return };
        // Rounding keeps the order, so what lies between the two ends lies there in every row.
        let (first, last) = (left_at(*top), left_at(*bottom));
        if band.is_covered(first) && band.is_covered(last) {
            return;
        }
        band.touched = band.touched.start.min(first.min(last))..band.touched.end.max(first.max(last) + 1);
        if first.abs_diff(last) * ROWS_PER_SEARCH > heights.len() {
            let mut left = [0_u32; BAND_ROWS];
            for (left, y) in left.iter_mut().zip(heights) {
                *left = self.left_of(side.x_at(*y));
            }
            for (row, left) in rows.zip(left) {
                band.flips[left as usize] ^= 1 << row;
            }
            return;
        }
        let (mut row, mut left) = (rows.start, first);
        while left != last {
            let next = row + band.heights[row..rows.end].partition_point(|y| left_at(*y) == left);
            band.flips[left] ^= bits(row..next);
            (row, left) = (next, left_at(band.heights[next]));
        }
        band.flips[last] ^= bits(row..rows.end);
    }
}

/// The bits of some rows, at least one.
fn bits(rows: Range<usize>) -> u64 {
    (u64::MAX >> (BAND_ROWS - rows.len())) << rows.start
}

/// The longest run of columns that are full in every row.
fn longest_full(cells: &[u64]) -> Range<usize> {
    let (mut longest, mut start) = (0..0, 0);
    for (column, rows) in cells.iter().enumerate() {
        if *rows != u64::MAX {
            start = column + 1;
        } else if column + 1 - start > longest.len() {
            longest = start..column + 1;
        }
    }
    longest
}

/// Rows of cells on their way, a bit for each row: which cells are inside, and at which places of a row a change starts. A side as
/// steep as the band is tall then takes one step for all its rows.
struct Band {
    /// Where the centres of the rows lie.
    heights: Vec<f64>,
    cells: Vec<u64>,
    /// One more than there are columns: by how many centres lie to the left of the change.
    flips: Vec<u64>,
    /// All flips since they were last settled lie here.
    touched: Range<usize>,
    /// Columns that hold nothing but cells inside, one after another: what crosses a row there changes nothing to the left of
    /// them that the sides further left do not tell, and nothing to the right of them.
    covered: Range<usize>,
}

impl Band {
    fn new(heights: Vec<f64>, columns: usize) -> Self {
        // Rows that are not there are in nobody's way.
        let missing = !bits(0..heights.len());
        Self { heights, cells: vec![missing; columns], flips: vec![0; columns + 1], touched: NOWHERE, covered: 0..0 }
    }

    /// A side that flips all cells before this one changes nothing.
    fn is_covered(&self, left: usize) -> bool {
        !self.covered.is_empty() && (self.covered.start..=self.covered.end).contains(&left)
    }

    /// The rows whose centres lie from one height on and above another.
    fn rows_between(&self, low: f64, high: f64) -> Range<usize> {
        let (Some(top), Some(bottom)) = (self.heights.first(), self.heights.last()) else { return 0..0 };
        let before = |height: f64| match height {
            _ if height <= *top => 0,
            _ if height > *bottom => self.heights.len(),
            _ => self.heights.partition_point(|y| *y < height),
        };
        before(low)..before(high)
    }

    /// Adds the cells that the flips of one polygon hold, and forgets the flips. A cell is inside where an odd number of flips
    /// stands to the right of it; a closed outline crosses a row an even number of times, so as many are odd to the left of it.
    fn settle(&mut self) {
        let touched = std::mem::replace(&mut self.touched, NOWHERE);
        let Range { start, end } = self.covered;
        let mut inside = 0;
        for column in touched.start..start {
            inside ^= self.flips[column];
            self.cells[column] |= inside;
        }
        inside = 0;
        for column in (end..touched.end.saturating_sub(1)).rev() {
            inside ^= self.flips[column + 1];
            self.cells[column] |= inside;
        }
        self.flips.get_mut(touched).unwrap_or_default().fill(0);
    }
}

/// No flip was made.
const NOWHERE: Range<usize> = Range { start: usize::MAX, end: 0 };

/// A polygon with the heights that it spans.
struct Tall {
    sides: Vec<Side>,
    low: f64,
    high: f64,
}

/// A side with the heights that it spans, through a point.
struct Side {
    low: f64,
    high: f64,
    point: [f64; 2],
    slope: f64,
}

impl Tall {
    fn of(corners: &[[f64; 2]]) -> Self {
        let span = corners.iter().map(|corner| corner[1]);
        // From each corner's predecessor to it.
        let before = corners.last().into_iter().chain(corners);
        Self {
            sides: before.zip(corners).map(|(from, to)| Side::between(*from, *to)).collect(),
            low: span.clone().fold(f64::INFINITY, f64::min),
            high: span.fold(f64::NEG_INFINITY, f64::max),
        }
    }
}

impl Side {
    fn between(from: [f64; 2], to: [f64; 2]) -> Self {
        Self {
            low: from[1].min(to[1]),
            high: from[1].max(to[1]),
            point: to,
            slope: (from[0] - to[0]) / (from[1] - to[1]),
        }
    }

    fn x_at(&self, y: f64) -> f64 {
        self.point[0] + (y - self.point[1]) * self.slope
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

    /// Sides that stay in their column for a whole band, or change it a few times, and slivers that double back.
    #[test]
    fn steep_sides_hold_what_each_holds() {
        let saw = |x: f64, lean: f64, corners: u32| -> Vec<[f64; 2]> {
            (0..corners)
                .map(|i| [x + lean * f64::from(i % 2) + 0.07 * f64::from(i / 2), 190.0 * f64::from(i % 2)])
                .collect()
        };
        let own =
            [saw(10.0, 0.0, 60), saw(40.5, 1.0, 31), saw(70.2, 7.0, 9), saw(120.0, -30.0, 13), saw(150.0, 0.3, 4)];
        let polygons: Vec<&[[f64; 2]]> = own.iter().map(Vec::as_slice).collect();
        let mask = Drawn::on_pixels(&polygons, [0, -7], [171, 203]);
        let mut inside = 0;
        for (column, row) in (0..171).flat_map(|column| (0..203).map(move |row| (column, row))) {
            let point = [f64::from(column) + 0.5, f64::from(row) - 6.5];
            let expected = polygons.iter().any(|corners| inside_polygon(corners, point));
            assert_eq!(mask.holds(point), expected, "{point:?}");
            inside += u32::from(expected);
        }
        assert!((300..10_000).contains(&inside), "{inside}");
        assert!(!mask.holds([10.5, 196.5]) && !mask.holds([171.5, 5.0]));
    }

    #[test]
    fn between_pixels_it_is_as_fine_as_its_cells() {
        let square: &[[f64; 2]] = &[[10.0, 10.0], [20.25, 10.0], [20.25, 20.0], [10.0, 20.0]];
        let mask = Drawn::within(&[square], [[0.0, 0.0], [100.0, 50.0]]);
        assert!(mask.holds([20.2, 15.0]) && !mask.holds([20.3, 15.0]) && !mask.holds([15.0, 20.1]));
    }
}
