//! Where a render's coverage lies, told from a few of its blocks, so that empty ones need not be decoded.

use std::ops::Range;

use super::blocks::Blocks;
use crate::Result;
use crate::parallel;

/// Every object with at least this many rows is met: a sphere of 16 px radius.
const LEAST_ROWS: usize = 32;

impl Blocks<'_> {
    /// The rows of the data window outside which nothing is covered but what is lower than [`LEAST_ROWS`]. `None`
    /// where no coverage is read or none of it was met.
    pub(super) fn covered_rows(&self) -> Result<Option<Range<usize>>> {
        let step = (LEAST_ROWS / self.grid.block_height).max(1);
        let probed: Vec<usize> = (0..self.grid.rows()).step_by(step).collect();
        let covered: Vec<Result<bool>> = parallel::map_each(&probed, |row| self.is_covered(*row));
        let covered: Vec<bool> = covered.into_iter().collect::<Result<_>>()?;
        let Some(first) = covered.iter().position(|c| *c) else { return Ok(None) };
        let last = covered.iter().rposition(|c| *c).unwrap_or(first);
        // Blocks between an empty and a covered one may hold the object's end.
        let from = (first * step + 1).saturating_sub(step);
        let to = (last * step + step).min(self.grid.rows());
        Ok(Some(from * self.grid.block_height..(to * self.grid.block_height).min(self.grid.height)))
    }

    /// Some block of the row of blocks has coverage that is not zero.
    fn is_covered(&self, block_row: usize) -> Result<bool> {
        let columns = self.grid.columns();
        for index in block_row * columns..(block_row + 1) * columns {
            let Some(data) = self.decode(index)? else { continue };
            if self.has_coverage(&data, self.left_of(index)) {
                self.keep(index, data);
                return Ok(true);
            }
        }
        Ok(false)
    }
}
