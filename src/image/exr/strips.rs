//! A picture read in strips, so that no more of it is held than one of them.

use super::super::rows::{RowSink, STRIP_PIXELS, without_pixels};
use super::super::stream::InputFile;
use super::blocks::{Cut, Grid};
use super::{Blocks, Header, OpenRequest, Prepared, fill, unfinished_words};
use crate::base::parallel;
use crate::image::{Frame, masked_pixels_words};
use crate::{Error, Result};

/// Rows of a strip: whole rows of blocks, as many as fit, at least one.
fn rows_at_once(grid: Grid) -> usize {
    let blocks = (STRIP_PIXELS / grid.width.max(1) / grid.block_height).max(1);
    blocks.saturating_mul(grid.block_height).min(grid.height.max(1))
}

/// Pixels of the largest strip, by the header alone.
pub(in crate::image) fn strip_pixels(header: &Header) -> u64 {
    let grid = Grid::of(header);
    (grid.width as u64).saturating_mul(rows_at_once(grid) as u64)
}

/// Reads an OpenEXR file in strips. Returns it without pixels.
///
/// # Errors
/// As [`super::open`]; the sink may have been given strips before.
pub(in crate::image) fn open_rows(
    request: &OpenRequest<'_>,
    file: &InputFile,
    sink: &mut dyn RowSink,
) -> Result<Frame> {
    let prepared = Prepared::of(request, file, &|grid| (grid.width, rows_at_once(grid)))?;
    let mut header = prepared.frame(request);
    sink.begin(&header);
    let blocks = prepared.blocks(request, file);
    let (read, hash) = parallel::both(|| strips(&blocks, &header, sink), || file.hash());
    header.record.blake3 = hash.map_err(|e| Error::io(request.path, &e))?;
    let (decoded, masked) = read?;
    if prepared.offsets.unfinished {
        header.warnings.push(unfinished_words(&prepared.offsets.of_blocks));
    }
    header.record.masked_pixels = masked;
    header.record.decoded_fraction = decoded as f64 / prepared.blocks_in_file().max(1) as f64;
    header.warnings.extend(masked_pixels_words(masked));
    Ok(header)
}

/// Hands on every strip; how many blocks were decoded, and how many pixels masked.
fn strips(blocks: &Blocks<'_>, header: &Frame, sink: &mut dyn RowSink) -> Result<(usize, u64)> {
    let (grid, whole) = (blocks.grid, blocks.grid.whole());
    let (mut decoded, mut masked) = (0, 0);
    for top in (0..grid.height).step_by(rows_at_once(grid)) {
        let rows = top..(top + rows_at_once(grid)).min(grid.height);
        let pixels = blocks.read(Cut { rows, columns: whole.columns.clone() })?;
        decoded += pixels.blocks;
        masked += pixels.masked;
        let mut strip = without_pixels(header);
        fill(&mut strip, pixels, 1, true);
        sink.rows(&strip, top);
    }
    Ok((decoded, masked))
}
