//! Where a render's coverage lies, told from a few of its blocks, so that empty ones need not be decoded.

use std::ops::Range;

use super::blocks::{Blocks, Cut};
use crate::Result;
use crate::base::parallel;

/// Every object with at least this many rows is met: a sphere of 16 px radius.
const LEAST_ROWS: usize = 32;

/// Between the blocks that are looked at, nothing is expected to stick out further to the side than this, px: a sphere
/// does not by half of it.
const SIDEWAYS: usize = 32;

impl Blocks<'_> {
    /// The part of the data window outside which nothing is covered but what is lower than [`LEAST_ROWS`]. `None` where
    /// no coverage is read or none of it was met.
    pub(super) fn covered(&self) -> Result<Option<Cut>> {
        let step = (LEAST_ROWS / self.grid.block_height).max(1);
        let probed: Vec<usize> = (0..self.grid.rows()).step_by(step).collect();
        let covered: Vec<Result<Option<Range<usize>>>> = parallel::map_each(&probed, |row| self.covered_in(*row));
        let covered: Vec<Option<Range<usize>>> = covered.into_iter().collect::<Result<_>>()?;
        let Some(first) = covered.iter().position(Option::is_some) else { return Ok(None) };
        let last = covered.iter().rposition(Option::is_some).unwrap_or(first);
        let Some(columns) = covered.into_iter().flatten().reduce(hull) else { return Ok(None) };
        // Blocks between an empty and a covered one may hold the object's end.
        let from = (first * step + 1).saturating_sub(step);
        let to = (last * step + step).min(self.grid.rows());
        Ok(Some(Cut {
            rows: from * self.grid.block_height..(to * self.grid.block_height).min(self.grid.height),
            columns: columns.start.saturating_sub(SIDEWAYS)..(columns.end + SIDEWAYS).min(self.grid.width),
        }))
    }

    /// The columns between the first and the last in which a row of blocks has coverage that is not zero.
    fn covered_in(&self, block_row: usize) -> Result<Option<Range<usize>>> {
        let blocks = self.grid.columns();
        let mut covered: Option<Range<usize>> = None;
        for index in block_row * blocks..(block_row + 1) * blocks {
            let Some(data) = self.decode(index)? else { continue };
            if let Some(columns) = self.covered_columns(&data, self.left_of(index)) {
                covered = Some(covered.map_or(columns.clone(), |before| hull(before, columns)));
                self.keep(index, data);
            } else {
                self.give_back(data);
            }
        }
        Ok(covered)
    }
}

/// From the first to the last of two ranges.
fn hull(a: Range<usize>, b: Range<usize>) -> Range<usize> {
    a.start.min(b.start)..a.end.max(b.end)
}
