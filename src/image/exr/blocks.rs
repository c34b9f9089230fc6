//! Pixel blocks of one part, largest resolution level: read forward once, decoded on all cores, and only the wanted
//! channels kept.
//!
//! A block is decompressed whole (the format leaves no choice) and dropped as soon as its wanted rows are copied, so a
//! render with hundreds of channels costs one block of them at a time.

use std::io::Read;
use std::path::Path;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Mutex, PoisonError};

use ::exr::block::UncompressedBlock;
use ::exr::block::chunk::{Chunk, CompressedBlock, CompressedScanLineBlock, CompressedTileBlock, TileCoordinates};
use ::exr::math::Vec2;
use ::exr::meta::attribute::SampleType;
use ::exr::meta::header::Header;
use ::exr::meta::{BlockDescription, MetaData};
use half::f16;
use half::slice::HalfFloatSliceExt;

use super::super::encoding::Encoding;
use super::super::guard::contain;
use super::super::stream::HashedFile;
use super::layers::Picked;
use super::{broken, from_exr, truncated};
use crate::{Error, Result};

/// Bytes of blocks, packed and unpacked, that may be waiting or being decoded at once; larger blocks go one by one.
const IN_FLIGHT_BYTES: u64 = 128 << 20;

/// How long the reading thread sleeps while enough is in flight; a fraction of what one block takes to decode.
const SHORT_WAIT: std::time::Duration = std::time::Duration::from_micros(200);

/// The picture read from the blocks.
#[derive(Debug)]
pub(super) struct Pixels {
    /// Scene-linear rows of the data window.
    pub(super) rgb: Vec<[f32; 3]>,
    /// Coverage, if asked for and present.
    pub(super) alpha: Option<Vec<f32>>,
    /// Pixels that held NaN or Inf.
    pub(super) masked: u64,
}

/// How the largest level of a part is cut into blocks.
#[derive(Debug, Clone, Copy)]
pub(super) struct Grid {
    width: usize,
    height: usize,
    block_width: usize,
    block_height: usize,
    tiled: bool,
}

/// One block as it stands in the file.
struct RawBlock {
    column: usize,
    row: usize,
    payload: Vec<u8>,
}

/// Where one channel's samples stand in a block's row.
#[derive(Debug, Clone, Copy)]
struct Lane {
    /// Bytes per pixel of the channels before it.
    bytes_before: usize,
    kind: SampleType,
}

/// Everything a worker needs to decode a block.
struct Job<'a> {
    path: &'a Path,
    meta: &'a MetaData,
    part: usize,
    grid: Grid,
    bytes_per_pixel: usize,
    colour: [Lane; 3],
    alpha: Option<Lane>,
    encoding: Encoding,
}

/// What the workers have done so far.
#[derive(Debug, Default)]
struct Progress {
    in_flight_bytes: AtomicU64,
    masked: AtomicU64,
    failure: Mutex<Option<Error>>,
    failed: AtomicBool,
}

impl Progress {
    fn begin(&self, bytes: u64) {
        self.in_flight_bytes.fetch_add(bytes, Ordering::Relaxed);
    }

    /// Books a decoded block; the first failure is kept.
    fn end(&self, bytes: u64, outcome: Result<u64>) {
        match outcome {
            Ok(masked) => _ = self.masked.fetch_add(masked, Ordering::Relaxed),
            Err(error) => {
                self.failure.lock().unwrap_or_else(PoisonError::into_inner).get_or_insert(error);
                self.failed.store(true, Ordering::Relaxed);
            }
        }
        self.in_flight_bytes.fetch_sub(bytes, Ordering::Relaxed);
    }

    fn failed(&self) -> bool {
        self.failed.load(Ordering::Relaxed)
    }

    /// Waits until less than `most_bytes` are in flight. A thread of the pool must decode meanwhile, lest all of them
    /// wait for each other; any other thread sleeps.
    fn wait_below(&self, most_bytes: u64) {
        while self.in_flight_bytes.load(Ordering::Relaxed) >= most_bytes {
            match rayon::yield_now() {
                Some(rayon::Yield::Executed) => {}
                Some(rayon::Yield::Idle) => std::thread::yield_now(),
                None => std::thread::sleep(SHORT_WAIT),
            }
        }
    }

    fn finish(self) -> Result<u64> {
        let failure = self.failure.into_inner().unwrap_or_else(PoisonError::into_inner);
        failure.map_or_else(|| Ok(self.masked.into_inner()), Err)
    }
}

/// The rows of one row of blocks.
struct Band<'a> {
    rgb: &'a mut [[f32; 3]],
    alpha: Option<&'a mut [f32]>,
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

    fn columns(self) -> usize {
        self.width.div_ceil(self.block_width)
    }

    fn rows(self) -> usize {
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
}

/// Reads the picked channels of the part whose blocks begin at `offsets`.
///
/// `offsets` belong to the grid's blocks in increasing y, then x.
pub(super) fn read(
    path: &Path,
    file: &mut HashedFile,
    meta: &MetaData,
    picked: &Picked,
    offsets: &[u64],
    encoding: Encoding,
) -> Result<Pixels> {
    let header = &meta.headers[picked.part];
    let grid = Grid::of(header);
    let job = Job {
        path,
        meta,
        part: picked.part,
        grid,
        bytes_per_pixel: header.channels.bytes_per_pixel,
        colour: picked.colour.map(|index| lane(header, index)),
        alpha: picked.alpha.map(|index| lane(header, index)),
        encoding,
    };
    // Zeroed memory is not touched until a block is written, so a damaged file costs only what it really holds.
    let mut rgb = vec![[0.0; 3]; grid.width * grid.height];
    let mut alpha = job.alpha.map(|_| vec![0.0; grid.width * grid.height]);
    let bands = bands(grid, &mut rgb, alpha.as_deref_mut());
    let masked = job.run(file, offsets, &bands)?;
    drop(bands);
    Ok(Pixels { rgb, alpha, masked })
}

/// The place of a channel in a block's rows.
fn lane(header: &Header, index: usize) -> Lane {
    let channels = &header.channels.list;
    let bytes_before = channels[..index].iter().map(|c| c.sample_type.bytes_per_sample()).sum();
    Lane { bytes_before, kind: channels[index].sample_type }
}

/// Splits the picture into rows of blocks, each behind its own lock: blocks arrive in any order.
fn bands<'a>(grid: Grid, rgb: &'a mut [[f32; 3]], alpha: Option<&'a mut [f32]>) -> Vec<Mutex<Band<'a>>> {
    let pixels = grid.width * grid.block_height;
    let mut alphas = alpha.map(|a| a.chunks_mut(pixels));
    let next_alpha = |rgb| Mutex::new(Band { rgb, alpha: alphas.as_mut().and_then(Iterator::next) });
    rgb.chunks_mut(pixels).map(next_alpha).collect()
}

impl Job<'_> {
    /// Reads the blocks in file order and decodes them on all cores meanwhile; returns the masked pixels.
    ///
    /// The calling thread reads and hashes; it waits whenever enough is in flight, so memory stays bounded.
    fn run(&self, file: &mut HashedFile, offsets: &[u64], bands: &[Mutex<Band<'_>>]) -> Result<u64> {
        let mut order: Vec<(u64, usize)> = offsets.iter().copied().zip(0..).collect();
        order.sort_unstable();
        let progress = Progress::default();
        let block_bytes = self.grid.block_pixels().saturating_mul(self.bytes_per_pixel as u64);
        rayon::in_place_scope(|scope| {
            for (offset, index) in order {
                if progress.failed() {
                    break;
                }
                let block = self.read_block(file, offset, index)?;
                let cost = block_bytes + block.payload.len() as u64;
                progress.begin(cost);
                let progress = &progress;
                scope.spawn(move |_| progress.end(cost, self.decode_block(block, bands)));
                progress.wait_below(IN_FLIGHT_BYTES);
            }
            Ok(())
        })?;
        progress.finish()
    }

    /// One block: its own header must say what the offset table promises.
    fn read_block(&self, file: &mut HashedFile, offset: u64, index: usize) -> Result<RawBlock> {
        let (column, row) = (index % self.grid.columns(), index / self.grid.columns());
        if offset < file.position() {
            return Err(broken(self.path, "its table of pixel blocks is damaged or was never written"));
        }
        file.skip_to(offset).map_err(|_| truncated(self.path))?;
        let mut numbers = [0; 5];
        let expected = self.expected_header(column, row, &mut numbers);
        for want in expected {
            if self.read_i32(file)? != *want {
                return Err(broken(self.path, format!("pixel block {index} is not where its table says")));
            }
        }
        let payload = self.read_payload(file, index)?;
        Ok(RawBlock { column, row, payload })
    }

    /// The numbers with which a block begins: part (multi-part only), then line, or tile column, row and level.
    fn expected_header<'n>(&self, column: usize, row: usize, numbers: &'n mut [i32; 5]) -> &'n [i32] {
        let top = i64::from(self.meta.headers[self.part].own_attributes.layer_position.y());
        let line = top + (row * self.grid.block_height) as i64;
        *numbers = if self.grid.tiled {
            [self.part as i32, column as i32, row as i32, 0, 0]
        } else {
            [self.part as i32, line as i32, 0, 0, 0]
        };
        let first = usize::from(!self.meta.requirements.is_multilayer());
        let end = if self.grid.tiled { 5 } else { 2 };
        &numbers[first..end]
    }

    fn read_payload(&self, file: &mut HashedFile, index: usize) -> Result<Vec<u8>> {
        let length = u64::try_from(self.read_i32(file)?).unwrap_or(u64::MAX);
        let most = self.grid.block_pixels().saturating_mul(self.bytes_per_pixel as u64);
        if length > most {
            return Err(broken(self.path, format!("pixel block {index} claims {length} bytes, {most} are possible")));
        }
        if length > file.length().saturating_sub(file.position()) {
            return Err(truncated(self.path));
        }
        let mut payload = vec![0; length as usize];
        file.read_exact(&mut payload).map_err(|_| truncated(self.path))?;
        Ok(payload)
    }

    fn read_i32(&self, file: &mut HashedFile) -> Result<i32> {
        let mut bytes = [0; 4];
        file.read_exact(&mut bytes).map_err(|_| truncated(self.path))?;
        Ok(i32::from_le_bytes(bytes))
    }

    /// Decompresses one block and copies its wanted channels into the picture; returns the masked pixels.
    fn decode_block(&self, block: RawBlock, bands: &[Mutex<Band<'_>>]) -> Result<u64> {
        let (column, row) = (block.column, block.row);
        let chunk = self.chunk(block);
        let decoded = contain(|| UncompressedBlock::decompress_chunk(chunk, self.meta, false))
            .map_err(|panic| broken(self.path, format!("a pixel block cannot be decoded ({panic})")))?
            .map_err(|e| from_exr(self.path, &e))?;
        let mut band = bands[row].lock().unwrap_or_else(PoisonError::into_inner);
        Ok(self.copy_rows(&decoded.data, column * self.grid.block_width, &mut band))
    }

    /// The block as the decoder wants it.
    fn chunk(&self, block: RawBlock) -> Chunk {
        let top = self.meta.headers[self.part].own_attributes.layer_position.y();
        let compressed_pixels_le = block.payload;
        let compressed_block = if self.grid.tiled {
            let coordinates = TileCoordinates { tile_index: Vec2(block.column, block.row), level_index: Vec2(0, 0) };
            CompressedBlock::Tile(CompressedTileBlock { coordinates, compressed_pixels_le })
        } else {
            let y_coordinate = top + (block.row * self.grid.block_height) as i32;
            CompressedBlock::ScanLine(CompressedScanLineBlock { y_coordinate, compressed_pixels_le })
        };
        Chunk { layer_index: self.part, compressed_block }
    }

    /// Copies the rows of a decompressed block (per row: per channel: samples) into the picture's interleaved rows.
    fn copy_rows(&self, data: &[u8], left: usize, band: &mut Band<'_>) -> u64 {
        let width = self.grid.block_width.min(self.grid.width - left);
        let mut row = RowBuffer::new(width);
        let mut masked = 0;
        let stride = self.grid.width;
        for (y, bytes) in data.chunks_exact(width * self.bytes_per_pixel).enumerate() {
            let span = y * stride + left..y * stride + left + width;
            let Some(rgb) = band.rgb.get_mut(span.clone()) else { break };
            self.copy_colour(bytes, &mut row, rgb);
            masked += mask_invalid(rgb);
            let alpha = band.alpha.as_mut().and_then(|a| a.get_mut(span));
            if let (Some(alpha), Some(lane)) = (alpha, self.alpha) {
                row.fill(bytes, lane);
                alpha.copy_from_slice(&row.values);
                masked += mask_invalid_coverage(rgb, alpha);
            }
        }
        masked
    }

    fn copy_colour(&self, bytes: &[u8], row: &mut RowBuffer, rgb: &mut [[f32; 3]]) {
        let grey = self.colour[0].bytes_before == self.colour[1].bytes_before;
        for (channel, lane) in self.colour.iter().enumerate() {
            if channel == 0 || !grey {
                row.fill(bytes, *lane);
                row.decode(self.encoding);
            }
            for (pixel, value) in rgb.iter_mut().zip(&row.values) {
                pixel[channel] = *value;
            }
        }
    }
}

/// One channel's row as floats, with the room that converting it needs.
struct RowBuffer {
    values: Vec<f32>,
    halves: Vec<f16>,
}

impl RowBuffer {
    fn new(width: usize) -> Self {
        Self { values: vec![0.0; width], halves: vec![f16::ZERO; width] }
    }

    /// Takes a channel's samples out of a block row (native byte order).
    fn fill(&mut self, row: &[u8], lane: Lane) {
        let width = self.values.len();
        let start = width * lane.bytes_before;
        let bytes = &row[start..start + width * lane.kind.bytes_per_sample()];
        match lane.kind {
            SampleType::F16 => {
                for (half, two) in self.halves.iter_mut().zip(bytes.as_chunks::<2>().0) {
                    *half = f16::from_ne_bytes(*two);
                }
                self.halves.convert_to_f32_slice(&mut self.values);
            }
            SampleType::F32 => self.fill_words(bytes, f32::from_ne_bytes),
            SampleType::U32 => self.fill_words(bytes, |four| u32::from_ne_bytes(four) as f32),
        }
    }

    fn fill_words(&mut self, bytes: &[u8], value: impl Fn([u8; 4]) -> f32) {
        for (out, four) in self.values.iter_mut().zip(bytes.as_chunks::<4>().0) {
            *out = value(*four);
        }
    }

    fn decode(&mut self, encoding: Encoding) {
        if !encoding.is_linear() {
            for value in &mut self.values {
                *value = encoding.decode(f64::from(*value)) as f32;
            }
        }
    }
}

/// Sets pixels with a NaN or Inf to NaN throughout; returns how many.
fn mask_invalid(rgb: &mut [[f32; 3]]) -> u64 {
    // No early exit: one branch-free pass over the row is the usual case.
    if !rgb.iter().flatten().fold(false, |invalid, v| invalid | !v.is_finite()) {
        return 0;
    }
    let mut masked = 0;
    for pixel in rgb.iter_mut().filter(|p| p.iter().any(|v| !v.is_finite())) {
        *pixel = [f32::NAN; 3];
        masked += 1;
    }
    masked
}

/// Coverage that is NaN or Inf says nothing about its pixel: the pixel is masked, its coverage 0.
fn mask_invalid_coverage(rgb: &mut [[f32; 3]], alpha: &mut [f32]) -> u64 {
    let mut masked = 0;
    for (pixel, coverage) in rgb.iter_mut().zip(alpha).filter(|(_, a)| !a.is_finite()) {
        *coverage = 0.0;
        // A pixel whose colour is invalid too has been counted.
        if pixel.iter().all(|v| v.is_finite()) {
            *pixel = [f32::NAN; 3];
            masked += 1;
        }
    }
    masked
}
