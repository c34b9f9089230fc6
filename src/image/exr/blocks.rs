//! Pixel blocks of one part, largest resolution level: decoded on all cores, only those that hold wanted pixels,
//! and of them only these and the wanted channels kept.
//!
//! A block is decompressed whole (the format leaves no choice) and dropped as soon as its wanted pixels are copied, so a
//! render with hundreds of channels costs one block of them per core.

use std::borrow::Cow;
use std::collections::BTreeMap;
use std::ops::Range;
use std::path::Path;
use std::sync::{Mutex, PoisonError};

use ::exr::block::UncompressedBlock;
use ::exr::block::chunk::{Chunk, CompressedBlock, CompressedScanLineBlock, CompressedTileBlock, TileCoordinates};
use ::exr::compression::Compression;
use ::exr::math::Vec2;
use ::exr::meta::header::Header;
use ::exr::meta::{BlockDescription, MetaData};

use super::super::encoding::Encoding;
use super::super::guard::contain;
use super::super::limits::{room_for, zeroed};
use super::super::stream::InputFile;
use super::layers::Picked;
use super::samples::{Lane, RowBuffer, mask_invalid, mask_invalid_coverage};
use super::unpacked::{LaneBytes, Unpacked};
use super::{broken, from_exr, truncated};
use crate::base::parallel;
use crate::{Error, Result};

/// The picture read from the blocks.
#[derive(Debug)]
pub(super) struct Pixels {
    /// The part of the data window that was read.
    pub(super) cut: Cut,
    /// Scene-linear pixels of this part.
    pub(super) rgb: Vec<[f32; 3]>,
    /// Coverage, if asked for and present.
    pub(super) alpha: Option<Vec<f32>>,
    /// Pixels that held NaN or Inf.
    pub(super) masked: u64,
    /// Blocks that were decoded for them.
    pub(super) blocks: usize,
}

/// A rectangle of the data window.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Cut {
    pub(super) rows: Range<usize>,
    pub(super) columns: Range<usize>,
}

/// How the largest level of a part is cut into blocks.
#[derive(Debug, Clone, Copy)]
pub(super) struct Grid {
    pub(super) width: usize,
    pub(super) height: usize,
    pub(super) block_width: usize,
    pub(super) block_height: usize,
    pub(super) tiled: bool,
}

impl Grid {
    pub(super) fn of(header: &Header) -> Self {
        let Vec2(width, height) = header.layer_size;
        let block = header.max_block_pixel_size();
        Self {
            width,
            height,
            block_width: block.width().clamp(1, width.max(1)),
            block_height: block.height().clamp(1, height.max(1)),
            tiled: matches!(header.blocks, BlockDescription::Tiles(_)),
        }
    }

    /// Everything.
    pub(super) fn whole(self) -> Cut {
        Cut { rows: 0..self.height, columns: 0..self.width }
    }

    pub(super) fn columns(self) -> usize {
        self.width.div_ceil(self.block_width)
    }

    pub(super) fn rows(self) -> usize {
        self.height.div_ceil(self.block_height)
    }

    /// Blocks of the largest level.
    pub(super) fn count(self) -> usize {
        self.columns().saturating_mul(self.rows())
    }

    /// Pixels of the largest block.
    pub(super) fn block_pixels(self) -> u64 {
        (self.block_width as u64).saturating_mul(self.block_height as u64)
    }

    /// The picture's rows that a row of blocks holds.
    fn rows_of(self, block_row: usize) -> Range<usize> {
        let top = block_row * self.block_height;
        top..(top + self.block_height).min(self.height)
    }
}

/// The blocks of one part of a file.
pub(super) struct Blocks<'a> {
    pub(super) path: &'a Path,
    pub(super) file: &'a InputFile,
    pub(super) meta: &'a MetaData,
    pub(super) part: usize,
    pub(super) grid: Grid,
    /// Where each block begins, in increasing y, then x; `None` for one that was never written.
    offsets: &'a [Option<u64>],
    bytes_per_pixel: usize,
    colour: [Lane; 3],
    alpha: Option<Lane>,
    encoding: Encoding,
    /// Blocks decoded ahead, until they are asked for.
    ahead: Mutex<Ahead>,
    /// Memory of blocks that are done with: the system takes longer to give new pages than a block takes to inflate.
    spare: Mutex<Vec<Vec<u8>>>,
}

/// Blocks that were decoded to see what they hold, and their bytes.
#[derive(Default)]
struct Ahead {
    blocks: BTreeMap<usize, Unpacked>,
    bytes: usize,
}

/// No more is kept decoded ahead than about this.
const MOST_AHEAD_BYTES: usize = 48 << 20;

/// The wanted rows of one row of blocks.
struct Band<'a> {
    /// The first of them within the blocks.
    skipped: usize,
    rgb: &'a mut [[f32; 3]],
    alpha: Option<&'a mut [f32]>,
}

impl<'a> Blocks<'a> {
    /// The picked channels of the part whose blocks begin at `offsets`.
    pub(super) fn new(
        path: &'a Path,
        file: &'a InputFile,
        meta: &'a MetaData,
        picked: &Picked,
        offsets: &'a [Option<u64>],
        encoding: Encoding,
    ) -> Self {
        let header = &meta.headers[picked.part];
        Self {
            path,
            file,
            meta,
            part: picked.part,
            grid: Grid::of(header),
            offsets,
            bytes_per_pixel: header.channels.bytes_per_pixel,
            colour: picked.colour.map(|index| Lane::of(header, index)),
            alpha: picked.alpha.map(|index| Lane::of(header, index)),
            encoding,
            ahead: Mutex::default(),
            spare: Mutex::default(),
        }
    }

    /// Reads a part of the data window. What stands in blocks that were never written is NaN without coverage.
    pub(super) fn read(&self, cut: Cut) -> Result<Pixels> {
        let pixels = cut.columns.len() * cut.rows.len();
        // Zeroed memory is not touched until a block is written, so a damaged file costs only what it really holds.
        let mut rgb = zeroed::<[f32; 3]>(self.path, pixels)?;
        let mut alpha = self.alpha.map(|_| zeroed::<f32>(self.path, pixels)).transpose()?;
        let bands = self.bands(&cut, &mut rgb, alpha.as_deref_mut());
        let first_row = cut.rows.start / self.grid.block_height;
        let first_column = cut.columns.start / self.grid.block_width;
        let columns = cut.columns.end.div_ceil(self.grid.block_width) - first_column;
        let outcomes: Vec<Result<Option<u64>>> = parallel::map(bands.len() * columns, |index| {
            let (row, column) = (index / columns, index % columns);
            let block = (first_row + row) * self.grid.columns() + first_column + column;
            self.read_into(block, &cut.columns, &bands[row])
        });
        drop(bands);
        // The first failure in the file's order counts, whichever core met one first.
        let masked: Vec<Option<u64>> = outcomes.into_iter().collect::<Result<_>>()?;
        let decoded = masked.iter().flatten();
        Ok(Pixels { cut, rgb, alpha, blocks: decoded.clone().count(), masked: decoded.sum() })
    }

    /// Splits the picture's rows by rows of blocks, each behind its own lock: tiles arrive in any order.
    fn bands<'b>(
        &self,
        Cut { rows, columns }: &Cut,
        mut rgb: &'b mut [[f32; 3]],
        mut alpha: Option<&'b mut [f32]>,
    ) -> Vec<Mutex<Band<'b>>> {
        let mut bands = Vec::new();
        let mut next = rows.start;
        while next < rows.end {
            let block = self.grid.rows_of(next / self.grid.block_height);
            let end = block.end.min(rows.end);
            let pixels = (end - next) * columns.len();
            let band_rgb = rgb.split_off_mut(..pixels).unwrap_or_default();
            let band_alpha = alpha.as_mut().and_then(|a| a.split_off_mut(..pixels));
            bands.push(Mutex::new(Band { skipped: next - block.start, rgb: band_rgb, alpha: band_alpha }));
            next = end;
        }
        bands
    }

    /// One block into the picture; how many pixels were masked, `None` where the block was never written.
    fn read_into(&self, index: usize, columns: &Range<usize>, band: &Mutex<Band<'_>>) -> Result<Option<u64>> {
        let left = self.left_of(index);
        let ahead = self.ahead.lock().unwrap_or_else(PoisonError::into_inner).blocks.remove(&index);
        let Some(data) = ahead.map_or_else(|| self.decode(index), |data| Ok(Some(data)))? else {
            self.blank(left, columns, &mut band.lock().unwrap_or_else(PoisonError::into_inner));
            return Ok(None);
        };
        let masked = {
            let mut band = band.lock().unwrap_or_else(PoisonError::into_inner);
            self.copy_rows(&data, left, columns, &mut band)
        };
        self.give_back(data);
        Ok(Some(masked))
    }

    /// Leaves a block's memory to another one, where a core may want it.
    pub(super) fn give_back(&self, data: Unpacked) {
        let Unpacked::Halves(memory) = data else { return };
        let mut spare = self.spare.lock().unwrap_or_else(PoisonError::into_inner);
        if spare.len() < parallel::cores() {
            spare.push(memory);
        }
    }

    /// Keeps a decoded block for when it is asked for, where there is room.
    pub(super) fn keep(&self, index: usize, data: Unpacked) {
        let mut ahead = self.ahead.lock().unwrap_or_else(PoisonError::into_inner);
        let bytes = ahead.bytes + data.len();
        if bytes <= MOST_AHEAD_BYTES {
            ahead.bytes = bytes;
            ahead.blocks.insert(index, data);
        }
    }

    /// A block decompressed; `None` where it was never written.
    pub(super) fn decode(&self, index: usize) -> Result<Option<Unpacked>> {
        let Some(offset) = self.offsets.get(index).copied().flatten() else { return Ok(None) };
        let packed = self.payload(offset, index)?;
        let rows = self.grid.rows_of(index / self.grid.columns()).len();
        let length = self.width_at(self.left_of(index)) * rows * self.bytes_per_pixel;
        room_for(self.path, length)?;
        let zip = matches!(self.meta.headers[self.part].compression, Compression::ZIP1 | Compression::ZIP16);
        // A block that would not shrink is stored as it is.
        if zip && packed.len() != length {
            let memory = self.spare.lock().unwrap_or_else(PoisonError::into_inner).pop().unwrap_or_default();
            let unpacked = contain(|| Unpacked::from_zip(&packed, length, memory)).ok().flatten();
            return unpacked.map(Some).ok_or_else(|| broken(self.path, format!("pixel block {index} is damaged")));
        }
        let chunk = self.chunk(index, packed.into_owned());
        let decoded = contain(|| UncompressedBlock::decompress_chunk(chunk, self.meta, false))
            .map_err(|panic| broken(self.path, format!("a pixel block cannot be decoded ({panic})")))?
            .map_err(|e| from_exr(self.path, &e))?;
        Ok(Some(Unpacked::Whole(decoded.data)))
    }

    /// A block's compressed bytes: its own header must say what the offset table promises.
    fn payload(&self, offset: u64, index: usize) -> Result<Cow<'_, [u8]>> {
        let mut numbers = [0; 5];
        let expected = self.expected_header(index, &mut numbers);
        let header_bytes = 4 * (expected.len() as u64 + 1);
        let header = self.file.read_at(offset, header_bytes).map_err(|_| truncated(self.path))?;
        let mut found = header.as_chunks::<4>().0.iter().map(|four| i32::from_le_bytes(*four));
        if !found.clone().zip(expected).all(|(found, want)| found == *want) {
            return Err(broken(self.path, format!("pixel block {index} is not where its table says")));
        }
        let length = u64::try_from(found.next_back().unwrap_or(-1)).unwrap_or(u64::MAX);
        let most = self.grid.block_pixels().saturating_mul(self.bytes_per_pixel as u64);
        if length > most {
            return Err(broken(self.path, format!("pixel block {index} claims {length} bytes, {most} are possible")));
        }
        self.file.read_at(offset + header_bytes, length).map_err(|_| truncated(self.path))
    }

    /// The numbers with which a block begins: part (multi-part only), then line, or tile column, row and level.
    fn expected_header<'n>(&self, index: usize, numbers: &'n mut [i32; 5]) -> &'n [i32] {
        let (column, row) = (index % self.grid.columns(), index / self.grid.columns());
        *numbers = if self.grid.tiled {
            [self.part as i32, column as i32, row as i32, 0, 0]
        } else {
            [self.part as i32, self.line_of(row) as i32, 0, 0, 0]
        };
        let first = usize::from(!self.meta.requirements.is_multilayer());
        let end = if self.grid.tiled { 5 } else { 2 };
        &numbers[first..end]
    }

    /// The first line of a row of blocks, as the file counts lines.
    fn line_of(&self, block_row: usize) -> i64 {
        let top = self.meta.headers[self.part].own_attributes.layer_position.y();
        i64::from(top) + (block_row * self.grid.block_height) as i64
    }

    /// The block as the decoder wants it.
    fn chunk(&self, index: usize, compressed_pixels_le: Vec<u8>) -> Chunk {
        let (column, row) = (index % self.grid.columns(), index / self.grid.columns());
        let compressed_block = if self.grid.tiled {
            let coordinates = TileCoordinates { tile_index: Vec2(column, row), level_index: Vec2(0, 0) };
            CompressedBlock::Tile(CompressedTileBlock { coordinates, compressed_pixels_le })
        } else {
            let y_coordinate = self.line_of(row) as i32;
            CompressedBlock::ScanLine(CompressedScanLineBlock { y_coordinate, compressed_pixels_le })
        };
        Chunk { layer_index: self.part, compressed_block }
    }

    /// Columns of the block that begins at column `left`.
    fn width_at(&self, left: usize) -> usize {
        self.grid.block_width.min(self.grid.width - left)
    }

    /// The first column of a block.
    pub(super) fn left_of(&self, index: usize) -> usize {
        index % self.grid.columns() * self.grid.block_width
    }

    /// A channel's samples of some columns in a row of a block that begins at column `left`; `None` below the block.
    fn lane<'d>(
        &self,
        data: &'d Unpacked,
        left: usize,
        (row, columns): (usize, &Range<usize>),
        lane: Lane,
    ) -> Option<LaneBytes<'d>> {
        let start = self.width_at(left) * (row * self.bytes_per_pixel + lane.bytes_before);
        let (skipped, bytes) = (columns.start - left, lane.sample_bytes());
        data.lane(start + skipped * bytes, columns.len() * bytes)
    }

    /// The columns between the first and the last in which a block that begins at column `left` has coverage that is not
    /// zero; `None` where it has none.
    pub(super) fn covered_columns(&self, data: &Unpacked, left: usize) -> Option<Range<usize>> {
        let alpha = self.alpha?;
        let columns = left..left + self.width_at(left);
        let pairs = alpha.sample_bytes() / 2;
        let mut seen = vec![0; columns.len() * pairs];
        for samples in (0..self.grid.block_height).map_while(|row| self.lane(data, left, (row, &columns), alpha)) {
            samples.mark(&mut seen);
        }
        let first = seen.iter().position(|byte| *byte != 0)? / pairs;
        let last = seen.iter().rposition(|byte| *byte != 0)? / pairs;
        Some(left + first..left + last + 1)
    }

    /// The wanted columns that a block holds which begins at column `left`.
    fn columns_at(&self, left: usize, wanted: &Range<usize>) -> Range<usize> {
        wanted.start.max(left)..wanted.end.min(left + self.width_at(left))
    }

    /// Copies the wanted pixels of a decompressed block into the picture's interleaved rows.
    fn copy_rows(&self, data: &Unpacked, left: usize, wanted: &Range<usize>, band: &mut Band<'_>) -> u64 {
        let columns = self.columns_at(left, wanted);
        let mut buffer = RowBuffer::new(columns.len());
        let mut masked = 0;
        let stride = wanted.len();
        for y in 0..band.rgb.len() / stride {
            let start = y * stride + columns.start - wanted.start;
            let span = start..start + columns.len();
            let row = |lane: Lane| self.lane(data, left, (band.skipped + y, &columns), lane);
            let Some(rgb) = band.rgb.get_mut(span.clone()) else { break };
            self.copy_colour(row, &mut buffer, rgb);
            masked += mask_invalid(rgb);
            let alpha = band.alpha.as_mut().and_then(|a| a.get_mut(span));
            if let (Some(alpha), Some((lane, samples))) = (alpha, self.alpha.and_then(|lane| Some((lane, row(lane)?))))
            {
                buffer.fill(samples, lane);
                alpha.copy_from_slice(&buffer.values);
                masked += mask_invalid_coverage(rgb, alpha);
            }
        }
        masked
    }

    fn copy_colour<'d>(
        &self,
        row: impl Fn(Lane) -> Option<LaneBytes<'d>>,
        buffer: &mut RowBuffer,
        rgb: &mut [[f32; 3]],
    ) {
        let grey = self.colour[0].bytes_before == self.colour[1].bytes_before;
        for (channel, lane) in self.colour.iter().enumerate() {
            if channel == 0 || !grey {
                let Some(samples) = row(*lane) else { return };
                buffer.fill(samples, *lane);
                buffer.decode(self.encoding);
            }
            for (pixel, value) in rgb.iter_mut().zip(&buffer.values) {
                pixel[channel] = *value;
            }
        }
    }

    /// Marks a block's pixels as missing.
    fn blank(&self, left: usize, wanted: &Range<usize>, band: &mut Band<'_>) {
        let columns = self.columns_at(left, wanted);
        for row in band.rgb.chunks_exact_mut(wanted.len()) {
            row[columns.start - wanted.start..columns.end - wanted.start].fill([f32::NAN; 3]);
        }
    }
}

/// The error of blocks in which nothing can be found.
pub(super) fn nothing_written(path: &Path) -> Error {
    Error::new(
        crate::ErrorKind::Malformed,
        path,
        "the file is unfinished: no pixel block of its picture has been written yet",
        "wait until it is completely written, or render it again",
    )
}
