//! One frame reduced to cells: mean colour, and whether the cell can be trusted.

use nalgebra::{Matrix3, RowVector3};

use super::field::{Field, SphereMask};
use super::plane::Plane;
use crate::base::parallel;
use crate::base::robust::median_of;
use crate::colour::WORKING_LUMINANCE;
use crate::image::Frame;
use crate::image::noise::NoiseModel;

/// A cell counts as clipped from this share of the clip level: cameras bend just below it.
const CLIP_MARGIN: f32 = 0.97;
/// Dark values are lifted by this share of the median luminance before the logarithm, so that noise near black does
/// not drown the detail.
const LIFT: f64 = 0.02;

/// Which of the two frames.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Side {
    Plate,
    Mirror,
}

/// Cells of one frame in the linear working space.
#[derive(Debug)]
pub(super) struct Backdrop {
    /// Columns of cells.
    pub(super) width: usize,
    /// Rows of cells.
    pub(super) height: usize,
    /// Mean working-space colour; NaN where pixels are missing or the sphere is.
    pub(super) rgb: Vec<[f32; 3]>,
    /// Complete, unclipped background.
    pub(super) usable: Vec<bool>,
    /// Luminance added before the logarithm.
    pub(super) lift: f32,
    noise: CellNoise,
}

/// Noise of a cell's mean in the working space.
#[derive(Debug)]
struct CellNoise {
    model: NoiseModel,
    from_working: Matrix3<f64>,
    /// Rows: working red, green, blue and luminance, from the frame's own channels.
    rows: [RowVector3<f64>; 4],
    pixels: f64,
}

impl Backdrop {
    /// Reduces a frame to the field's cells.
    pub(super) fn of(frame: &Frame, field: &Field, side: Side, mask: Option<&SphereMask>) -> Self {
        let cell_px = field.cell_px[usize::from(side == Side::Mirror)];
        let (blocks, model) = parallel::both(|| Blocks::of(frame, field, cell_px), || NoiseModel::of(frame));
        let ceiling = blocks.ceiling(frame);
        let covered = |i: usize| {
            let cell = [i % field.width + field.skipped[0], i / field.width + field.skipped[1]];
            let centre = cell.map(|c| (c as f64 + 0.5) * cell_px);
            mask.is_some_and(|m| m.covers(centre))
        };
        let to_working = frame.space.to_working.map(|v| v as f32);
        let mut rgb = Vec::with_capacity(field.cells());
        let mut usable = Vec::with_capacity(field.cells());
        for (i, (mean, peak)) in blocks.mean.iter().zip(&blocks.peak).enumerate() {
            let background = mean[0].is_finite() && mean[1].is_finite() && mean[2].is_finite() && !covered(i);
            let v = to_working * nalgebra::Vector3::from(*mean);
            rgb.push(if background { [v.x, v.y, v.z] } else { [f32::NAN; 3] });
            usable.push(background && (0..3).all(|c| peak[c] < ceiling[c]));
        }
        let noise = CellNoise::new(frame, model, cell_px);
        let lift = lift(&rgb);
        Self { width: field.width, height: field.height, rgb, usable, lift, noise }
    }

    /// Base-2 logarithm of the lifted luminance, for registration. Clipped cells stay in: their edges are detail too.
    pub(super) fn log_plane(&self) -> Option<Plane> {
        let values = self.rgb.iter().map(|rgb| log_luminance(luminance(rgb), self.lift)).collect();
        Plane::new(self.width, self.height, values)
    }

    /// Share of the cells that are usable.
    pub(super) fn usable_fraction(&self) -> f64 {
        self.usable.iter().filter(|u| **u).count() as f64 / self.usable.len().max(1) as f64
    }

    /// Mean colour at a fractional cell position, bilinear; `None` unless every cell it takes from is usable.
    pub(super) fn sample(&self, x: i64, y: i64, offset: [f32; 2]) -> Option<[f32; 3]> {
        let base = offset.map(f32::floor);
        let t = [offset[0] - base[0], offset[1] - base[1]];
        let mut sum = [0.0f32; 3];
        for (row, wy) in [(0, 1.0 - t[1]), (1, t[1])] {
            for (column, wx) in [(0, 1.0 - t[0]), (1, t[0])] {
                let weight = wx * wy;
                if weight > 1e-4 {
                    let value = self.usable_at(x + base[0] as i64 + column, y + base[1] as i64 + row)?;
                    (0..3).for_each(|c| sum[c] += weight * value[c]);
                }
            }
        }
        Some(sum)
    }

    fn usable_at(&self, x: i64, y: i64) -> Option<[f32; 3]> {
        let inside = x >= 0 && y >= 0 && (x as usize) < self.width && (y as usize) < self.height;
        let i = inside.then(|| y as usize * self.width + x as usize)?;
        self.usable[i].then(|| self.rgb[i])
    }

    /// Variance of the cell mean's working red, green, blue and luminance at a working-space colour.
    pub(super) fn variances(&self, rgb: [f32; 3]) -> [f64; 4] {
        self.noise.variances(rgb)
    }
}

impl CellNoise {
    fn new(frame: &Frame, model: NoiseModel, cell_px: f64) -> Self {
        let m = frame.space.to_working;
        let y = RowVector3::from(WORKING_LUMINANCE) * m;
        let rows = [m.row(0).into_owned(), m.row(1).into_owned(), m.row(2).into_owned(), y];
        let from_working = m.try_inverse().unwrap_or_else(Matrix3::identity);
        Self { model, from_working, rows, pixels: (cell_px * cell_px).max(1.0) }
    }

    fn variances(&self, rgb: [f32; 3]) -> [f64; 4] {
        let own = self.from_working * nalgebra::Vector3::from(rgb.map(f64::from));
        let channel = [0, 1, 2].map(|c| self.model.variance(c, own[c]) / self.pixels);
        [0, 1, 2, 3].map(|row| (0..3).map(|c| self.rows[row][c].powi(2) * channel[c]).sum())
    }
}

/// Luminance of a working-space colour.
pub(super) fn luminance(rgb: &[f32; 3]) -> f32 {
    rgb.iter().zip(WORKING_LUMINANCE).map(|(c, w)| c * w as f32).sum()
}

/// Base-2 logarithm of a luminance lifted off black.
pub(super) fn log_luminance(luminance: f32, lift: f32) -> f32 {
    (luminance.max(0.0) + lift).log2()
}

fn lift(rgb: &[[f32; 3]]) -> f32 {
    let mut values: Vec<f32> = rgb.iter().step_by(7).map(luminance).filter(|y| y.is_finite() && *y > 0.0).collect();
    ((LIFT * median_of(&mut values)) as f32).max(f32::MIN_POSITIVE)
}

/// Mean and highest pixel of every cell in the frame's own space; the mean is NaN where a pixel is missing.
struct Blocks {
    mean: Vec<[f32; 3]>,
    peak: Vec<[f32; 3]>,
    /// Cells that the whole frame has.
    of_frame: usize,
}

impl Blocks {
    fn of(frame: &Frame, field: &Field, cell_px: f64) -> Self {
        let spans = spans(frame, field, cell_px);
        let step = row_step(field);
        let rows: Vec<BlockRow> =
            parallel::map(field.height, |row| block_row(frame, &spans, row + field.skipped[1], cell_px, step));
        let (mean, peak): (Vec<_>, Vec<_>) = rows.into_iter().unzip();
        Self { mean: mean.concat(), peak: peak.concat(), of_frame: field.of_frame }
    }

    /// Value per channel from which a cell counts as clipped: the known level, or else a plateau at the very top.
    fn ceiling(&self, frame: &Frame) -> [f32; 3] {
        let known = frame.clip_level.unwrap_or([f32::INFINITY; 3]);
        [0, 1, 2].map(|c| if known[c].is_finite() { CLIP_MARGIN * known[c] } else { self.plateau(c) })
    }

    /// Several cells that are one flat value, the highest of the frame, are a clipped window; most of the frame at
    /// its highest value is a plain background.
    fn plateau(&self, channel: usize) -> f32 {
        let top = self.peak.iter().map(|p| p[channel]).fold(f32::NEG_INFINITY, f32::max);
        let at_top = |(mean, peak): &(&[f32; 3], &[f32; 3])| {
            peak[channel] >= 0.999 * top && mean[channel] >= 0.999 * peak[channel]
        };
        let count = self.mean.iter().zip(&self.peak).filter(at_top).count();
        let is_plateau = top > 0.0 && count >= (self.of_frame / 2000).max(4) && 2 * count < self.of_frame;
        if is_plateau { CLIP_MARGIN * top } else { f32::INFINITY }
    }
}

/// The pixels that one cell takes along one axis: the first, and the share of each.
struct Span {
    first: usize,
    shares: Vec<f32>,
}

/// Means and peaks of one row of cells.
type BlockRow = (Vec<[f32; 3]>, Vec<[f32; 3]>);

/// Column spans of all cells, as columns of the data window; empty where a column is missing.
fn spans(frame: &Frame, field: &Field, cell_px: f64) -> Vec<Span> {
    let cells = field.skipped[0]..field.skipped[0] + field.width;
    cells.map(|cell| span(cell, cell_px, frame.data.x, frame.data.width)).collect()
}

fn span(cell: usize, cell_px: f64, data_start: i64, data_length: usize) -> Span {
    let (low, high) = (cell as f64 * cell_px, (cell + 1) as f64 * cell_px);
    let (first, last) = ((low + 1e-6).floor() as i64, (high - 1e-6).ceil() as i64);
    let present = first >= data_start && last <= data_start.saturating_add(data_length as i64);
    let share = |pixel: i64| (high.min((pixel + 1) as f64) - low.max(pixel as f64)) as f32;
    let shares = if present { (first..last).map(share).collect() } else { Vec::new() };
    Span { first: first.saturating_sub(data_start).max(0) as usize, shares }
}

/// Every how manieth row of a cell is read: half of a large cell's rows say the same in half the time.
fn row_step(field: &Field) -> usize {
    const LARGE_CELL_PX: f64 = 8.0;
    if field.same_pixels() && field.cell_px[0] >= LARGE_CELL_PX { 2 } else { 1 }
}

fn block_row(frame: &Frame, spans: &[Span], row: usize, cell_px: f64, row_step: usize) -> BlockRow {
    let width = frame.data.width;
    let down = span(row, cell_px, frame.data.y, frame.data.height);
    let mut sum = vec![0.0f32; 3 * width];
    let mut peak = vec![f32::NEG_INFINITY; 3 * width];
    for (i, share) in down.shares.iter().enumerate().step_by(row_step) {
        let start = (down.first + i) * width;
        let Some(pixels) = frame.rgb.get(start..start + width) else {
            return (vec![[f32::NAN; 3]; spans.len()], vec![[f32::NAN; 3]; spans.len()]);
        };
        for ((s, p), v) in sum.iter_mut().zip(&mut peak).zip(pixels.as_flattened()) {
            *s += share * v;
            *p = if *v > *p { *v } else { *p };
        }
    }
    let height: f32 = down.shares.iter().step_by(row_step).sum();
    let area = if height > 0.0 { height * cell_px as f32 } else { f32::NAN };
    let of_cell = |span: &Span| {
        let mut mean = [if span.shares.is_empty() { f32::NAN } else { 0.0 }; 3];
        let mut top = [f32::NEG_INFINITY; 3];
        for (i, share) in span.shares.iter().enumerate() {
            let at = 3 * (span.first + i);
            for c in 0..3 {
                mean[c] += share * sum[at + c];
                top[c] = top[c].max(peak[at + c]);
            }
        }
        (mean.map(|m| m / area), top)
    };
    spans.iter().map(of_cell).unzip()
}
