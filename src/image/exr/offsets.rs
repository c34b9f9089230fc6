//! Where a part's blocks begin: from the offset table, or where that was never written (a render that was killed),
//! from the blocks themselves.

use std::path::Path;

use ::exr::meta::MetaData;

use super::blocks::{Grid, nothing_written};
use super::{broken, truncated};
use crate::Result;
use crate::image::stream::InputFile;

/// The blocks of a part's largest level, in increasing y, then x.
#[derive(Debug)]
pub(super) struct Offsets {
    /// Where each begins; `None` for one that was never written.
    pub(super) of_blocks: Vec<Option<u64>>,
    /// The table was not finished: the blocks were found one after the other.
    pub(super) unfinished: bool,
}

/// The offsets of a part's blocks. The tables of all parts begin at `start`, behind the headers.
///
/// # Errors
/// `Malformed` where the tables do not fit into the file, or no block was written.
pub(super) fn offsets(path: &Path, file: &InputFile, meta: &MetaData, part: usize, start: u64) -> Result<Offsets> {
    let counts = meta.headers.iter().map(|h| h.chunk_count as u64);
    let before: u64 = counts.clone().take(part).fold(0, u64::saturating_add);
    let all: u64 = counts.fold(0, u64::saturating_add);
    if all.saturating_mul(8) > file.length().saturating_sub(start) {
        return Err(truncated(path));
    }
    let count = Grid::of(&meta.headers[part]).count();
    if count > meta.headers[part].chunk_count {
        return Err(broken(path, "its table of pixel blocks is too short"));
    }
    let table = file.read_at(start + before * 8, count as u64 * 8).map_err(|_| truncated(path))?;
    let table: Vec<u64> = table.as_chunks::<8>().0.iter().map(|eight| u64::from_le_bytes(*eight)).collect();
    let data_start = start + all * 8;
    if table.contains(&0) {
        let of_blocks = found_blocks(file, meta, part, data_start);
        let any = of_blocks.iter().any(Option::is_some);
        return if any { Ok(Offsets { of_blocks, unfinished: true }) } else { Err(nothing_written(path)) };
    }
    if table.iter().any(|offset| *offset < data_start) {
        return Err(broken(path, "its table of pixel blocks is damaged"));
    }
    Ok(Offsets { of_blocks: table.into_iter().map(Some).collect(), unfinished: false })
}

/// Walks from block to block, as far as they are whole. Writers put them one behind the other without a gap.
fn found_blocks(file: &InputFile, meta: &MetaData, part: usize, data_start: u64) -> Vec<Option<u64>> {
    let grid = Grid::of(&meta.headers[part]);
    let mut found = vec![None; grid.count()];
    let mut at = data_start;
    let most: usize = meta.headers.iter().map(|h| h.chunk_count).sum();
    for _ in 0..most {
        let Some(block) = BlockHead::at(file, meta, at) else { break };
        if block.end > file.length() {
            break;
        }
        if let Some(index) = block.index_in(meta, part, grid) {
            found[index] = Some(at);
        }
        at = block.end;
    }
    found
}

/// What a block says of itself.
struct BlockHead {
    part: usize,
    /// The numbers between part and length: a line, or tile column, row and levels.
    place: Vec<i32>,
    end: u64,
}

impl BlockHead {
    /// The head at a position; `None` where there is none.
    fn at(file: &InputFile, meta: &MetaData, position: u64) -> Option<Self> {
        let multipart = meta.requirements.is_multilayer();
        let number = |index: u64| -> Option<i32> {
            let bytes = file.read_at(position + 4 * index, 4).ok()?;
            Some(i32::from_le_bytes(bytes.as_ref().try_into().ok()?))
        };
        let part = if multipart { usize::try_from(number(0)?).ok()? } else { 0 };
        let first = u64::from(multipart);
        let tiled = Grid::of(meta.headers.get(part)?).tiled;
        let count = if tiled { 4 } else { 1 };
        let place = (first..first + count).map(number).collect::<Option<Vec<i32>>>()?;
        let length = u64::try_from(number(first + count)?).ok()?;
        // An empty block would not move on; no writer makes one.
        (length > 0).then(|| Self { part, place, end: position + 4 * (first + count + 1) + length })
    }

    /// The block's index in the grid of a part's largest level.
    fn index_in(&self, meta: &MetaData, part: usize, grid: Grid) -> Option<usize> {
        if self.part != part {
            return None;
        }
        let (column, row) = match self.place[..] {
            [column, row, 0, 0] => (usize::try_from(column).ok()?, usize::try_from(row).ok()?),
            [line] => {
                let top = i64::from(meta.headers[part].own_attributes.layer_position.y());
                let down = usize::try_from(i64::from(line) - top).ok()?;
                (0, down / grid.block_height)
            }
            _ => return None,
        };
        (column < grid.columns() && row < grid.rows()).then(|| row * grid.columns() + column)
    }
}
