//! Edge elements: where brightness changes most along its own gradient, told relative to the neighbourhood so that a
//! faint rim in a quiet surround counts as much as a strong one in clutter.

use super::flat::{gradient_to_flat, to_flat, to_frame};
use super::plane::{Plane, toned};
use crate::base::parallel;
use crate::optics::camera::View;

/// One edge element in the search plane.
#[derive(Debug, Clone, Copy)]
pub(super) struct Edgel {
    /// Position, search-plane px.
    pub x: f32,
    /// See `x`.
    pub y: f32,
    /// Unit normal, towards the brighter side.
    pub nx: f32,
    /// See `nx`.
    pub ny: f32,
    /// Gradient over the mean gradient of the neighbourhood, limited to [`STRENGTH_LIMIT`].
    pub strength: f32,
}

/// Edge elements of one plane, in reading order.
#[derive(Debug, Clone)]
pub(super) struct EdgelMap {
    /// Search-plane px per plane sample.
    pub scale: f64,
    /// The elements.
    pub edgels: Vec<Edgel>,
    /// For each row of the plane, how many elements lie in it and above.
    row_ends: Vec<usize>,
    /// Frame row of the plane's top edge.
    top_px: f64,
    /// Frame rows per row of the plane.
    row_px: f64,
}

/// Strengths above this count no more: one bright streak must not outvote a rim.
const STRENGTH_LIMIT: f32 = 3.0;
/// Weakest gradient that counts, over the mean of its neighbourhood.
const STRENGTH_LEAST: f32 = 1.1;
/// Side of the blocks over which the mean gradient is taken, in plane samples; three by three blocks are averaged.
const BLOCK: usize = 6;

/// Extracts the edge elements of a plane.
pub(super) fn edgels(plane: &Plane, view: &View, knee: f32) -> EdgelMap {
    let empty = EdgelMap {
        scale: plane.scale,
        edgels: Vec::new(),
        row_ends: vec![0; plane.height],
        top_px: plane.origin[1],
        row_px: plane.scale,
    };
    if plane.width < 8 || plane.height < 8 {
        return empty;
    }
    let grid = Grid { width: plane.width, height: plane.height, tone: toned(plane, knee) };
    let magnitude = grid.magnitudes();
    let mean = BlockMeans::new(&magnitude, plane.width, plane.height);
    let rows: Vec<Vec<Edgel>> =
        parallel::map(plane.height - 4, |row| grid.row_edgels(row + 2, &magnitude, &mean, plane, view));
    let mut row_ends = vec![0; 2];
    row_ends.extend(rows.iter().scan(0, |total, row| {
        *total += row.len();
        Some(*total)
    }));
    EdgelMap { edgels: rows.concat(), row_ends, ..empty }
}

struct Grid {
    width: usize,
    height: usize,
    tone: Vec<f32>,
}

impl Grid {
    /// Scharr-weighted central differences per sample; NaN beside masked samples.
    fn gradient(&self, column: usize, row: usize) -> [f32; 2] {
        let i = row * self.width + column;
        let (up, mid, down) =
            (&self.tone[i - self.width - 1..][..3], &self.tone[i - 1..][..3], &self.tone[i + self.width - 1..][..3]);
        let gx = (3.0 * (up[2] - up[0] + down[2] - down[0]) + 10.0 * (mid[2] - mid[0])) / 32.0;
        let gy = (3.0 * (down[0] - up[0] + down[2] - up[2]) + 10.0 * (down[1] - up[1])) / 32.0;
        [gx, gy]
    }

    /// Gradient magnitude; zero on the border and beside masked samples.
    fn magnitudes(&self) -> Vec<f32> {
        let mut magnitude = vec![0.0; self.width * self.height];
        parallel::each_row(&mut magnitude, self.width, |row, out| {
            if row == 0 || row + 1 >= self.height {
                return;
            }
            for (column, value) in out.iter_mut().enumerate().take(self.width - 1).skip(1) {
                let [gx, gy] = self.gradient(column, row);
                let m = (gx * gx + gy * gy).sqrt();
                *value = if m.is_finite() { m } else { 0.0 };
            }
        });
        magnitude
    }

    fn row_edgels(&self, row: usize, mag: &[f32], mean: &BlockMeans, plane: &Plane, view: &View) -> Vec<Edgel> {
        let mut found = Vec::new();
        for column in 2..self.width - 2 {
            let m = mag[row * self.width + column];
            let strength = m / mean.at(column, row);
            if strength < STRENGTH_LEAST {
                continue;
            }
            if let Some((offset, g)) = self.ridge(column, row, m, mag) {
                let (gx, gy) = (f64::from(g[0] / m), f64::from(g[1] / m));
                let point = [
                    plane.origin[0] + (column as f64 + 0.5 + f64::from(offset) * gx) * plane.scale,
                    plane.origin[1] + (row as f64 + 0.5 + f64::from(offset) * gy) * plane.scale,
                ];
                let flat = to_flat(view, point);
                let normal = gradient_to_flat(view, point, [gx, gy]);
                found.push(Edgel {
                    x: flat[0] as f32,
                    y: flat[1] as f32,
                    nx: normal[0] as f32,
                    ny: normal[1] as f32,
                    strength: strength.min(STRENGTH_LIMIT),
                });
            }
        }
        found
    }

    /// The sub-sample offset of the magnitude's ridge along the gradient, where this sample is its nearest.
    fn ridge(&self, column: usize, row: usize, m: f32, mag: &[f32]) -> Option<(f32, [f32; 2])> {
        let g = self.gradient(column, row);
        let (dx, dy) = (g[0] / m, g[1] / m);
        let ahead = self.between(column as f32 + dx, row as f32 + dy, mag);
        let behind = self.between(column as f32 - dx, row as f32 - dy, mag);
        if !(m > ahead && m >= behind) {
            return None;
        }
        let offset = 0.5 * (ahead - behind) / (2.0 * m - ahead - behind);
        Some((offset.clamp(-0.7, 0.7), g))
    }

    fn between(&self, x: f32, y: f32, mag: &[f32]) -> f32 {
        let (column, row) = (x as usize, y as usize);
        let (fx, fy) = (x - column as f32, y - row as f32);
        let i = row * self.width + column;
        (mag[i] * (1.0 - fx) + mag[i + 1] * fx) * (1.0 - fy)
            + (mag[i + self.width] * (1.0 - fx) + mag[i + self.width + 1] * fx) * fy
    }
}

/// Mean gradient magnitude around each sample, on a coarse grid.
struct BlockMeans {
    columns: usize,
    means: Vec<f32>,
}

impl BlockMeans {
    fn new(magnitude: &[f32], width: usize, height: usize) -> Self {
        let (columns, rows) = (width.div_ceil(BLOCK), height.div_ceil(BLOCK));
        let mut sums = vec![0.0_f32; columns * rows];
        parallel::each_row(&mut sums, columns, |block_row, out| {
            for row in block_row * BLOCK..((block_row + 1) * BLOCK).min(height) {
                for (block, part) in magnitude[row * width..][..width].chunks(BLOCK).enumerate() {
                    out[block] += part.iter().sum::<f32>();
                }
            }
        });
        let floor = quiet_level(&sums) / (BLOCK * BLOCK) as f32;
        let mut means = vec![0.0; columns * rows];
        for row in 0..rows {
            for column in 0..columns {
                let (mut total, mut count) = (0.0, 0.0);
                for r in row.saturating_sub(1)..(row + 2).min(rows) {
                    for c in column.saturating_sub(1)..(column + 2).min(columns) {
                        total += sums[r * columns + c];
                        count += (BLOCK * BLOCK) as f32;
                    }
                }
                means[row * columns + column] = total / count + floor + 1e-6;
            }
        }
        Self { columns, means }
    }

    fn at(&self, column: usize, row: usize) -> f32 {
        self.means[(row / BLOCK) * self.columns + column / BLOCK]
    }
}

/// The tenth percentile: what noise alone does in the quietest parts.
fn quiet_level(sums: &[f32]) -> f32 {
    let mut sorted = sums.to_vec();
    sorted.sort_by(f32::total_cmp);
    sorted.get(sorted.len() / 10).copied().unwrap_or(0.0)
}

impl EdgelMap {
    /// The elements in the ring of radii `low..high` around a point of the search plane.
    pub(super) fn ring(&self, view: &View, centre: [f64; 2], low: f64, high: f64) -> Vec<Edgel> {
        let (low2, high2) = ((low.max(0.0) * low.max(0.0)) as f32, (high * high) as f32);
        let (cx, cy) = (centre[0] as f32, centre[1] as f32);
        self.rows_across(view, centre, high)
            .iter()
            .filter(|e| {
                let d2 = (e.x - cx).powi(2) + (e.y - cy).powi(2);
                d2 >= low2 && d2 <= high2
            })
            .copied()
            .collect()
    }

    /// The elements of the plane's rows that a disc of the search plane crosses.
    fn rows_across(&self, view: &View, centre: [f64; 2], radius: f64) -> &[Edgel] {
        let rim = (0..16).map(|i| f64::from(i) * std::f64::consts::TAU / 16.0);
        let rows = rim
            .filter_map(|a| to_frame(view, [centre[0] + radius * a.cos(), centre[1] + radius * a.sin()]))
            .map(|p| (p[1] - self.top_px) / self.row_px);
        let (low, high) = rows.fold((f64::MAX, f64::MIN), |(l, h), r| (l.min(r), h.max(r)));
        let last_row = self.row_ends.len();
        // Sixteen points miss up to 2 % of the disc's height.
        let slack = 0.02 * (high - low) + 2.0;
        let first = (low - slack).clamp(0.0, last_row as f64) as usize;
        let end = (high + slack).clamp(0.0, last_row as f64) as usize;
        let start_of = |row: usize| if row == 0 { 0 } else { self.row_ends[row - 1] };
        &self.edgels[start_of(first.min(end))..start_of(end.max(first))]
    }
}
