//! Where circles may be: every edge element votes for the centres of circles that it could be a piece of, on either
//! side of it (the rim of a mirror is brighter or darker than its surround, in turns).

use std::ops::Range;

use super::edgels::{Edgel, EdgelMap};
use super::flat::Circle;
use crate::base::parallel;

/// Radii sought in each plane, in its own samples. Planes differ by a factor of two, so neighbours overlap.
pub(super) const BANDS: [[f64; 2]; 5] = [[10.0, 13.0], [13.0, 17.0], [17.0, 22.0], [22.0, 28.0], [28.0, 36.0]];
/// Side of a voting cell in plane samples.
const CELL: f64 = 2.0;
/// Candidates kept per band.
const PEAKS: usize = 40;

/// A candidate with how far its votes stand out from its surround, in standard deviations.
#[derive(Debug, Clone, Copy)]
pub(super) struct Candidate {
    /// Where: the radius is the middle of the band.
    pub circle: Circle,
    /// How far the votes stand out.
    pub prominence: f64,
}

/// The smallest radius sought in a plane, in its own samples.
pub(super) const SMALLEST_VOTED: f64 = BANDS[0][0];

/// The candidates of one plane in all bands that hold some of these radii.
pub(super) fn candidates(map: &EdgelMap, radii: &Range<f64>) -> Vec<Candidate> {
    let Some(extent) = Extent::of(map) else { return Vec::new() };
    let holds = |band: &&[f64; 2]| band[0] * map.scale < radii.end && band[1] * map.scale > radii.start;
    let bands: Vec<[f64; 2]> = BANDS.iter().filter(holds).copied().collect();
    parallel::map_each(&bands, |band| band_candidates(map, &extent, *band)).concat()
}

/// The voting grid: the edge elements' bounding box.
struct Extent {
    left: f32,
    top: f32,
    columns: usize,
    rows: usize,
    cell: f32,
}

impl Extent {
    fn of(map: &EdgelMap) -> Option<Self> {
        let bounds = |coordinate: fn(&Edgel) -> f32| {
            map.edgels
                .iter()
                .map(coordinate)
                .fold(None, |range: Option<(f32, f32)>, v| Some(range.map_or((v, v), |(l, h)| (l.min(v), h.max(v)))))
        };
        let ((left, right), (top, bottom)) = (bounds(|e| e.x)?, bounds(|e| e.y)?);
        let cell = (CELL * map.scale) as f32;
        let count = |low: f32, high: f32| ((high - low) / cell) as usize + 1;
        Some(Self { left, top, columns: count(left, right), rows: count(top, bottom), cell })
    }
}

fn band_candidates(map: &EdgelMap, extent: &Extent, band: [f64; 2]) -> Vec<Candidate> {
    let votes = cast(map, extent, band);
    let near = box_sums(&votes, extent, 1);
    let wide = box_sums(&votes, extent, 7);
    let prominence: Vec<f32> = near.iter().zip(&wide).map(|(n, w)| stand_out(*n, *w)).collect();
    let radius = 0.5 * (band[0] + band[1]) * map.scale;
    peaks(&prominence, extent)
        .into_iter()
        .map(|(index, prominence)| {
            let (column, row) = ((index % extent.columns) as f32, (index / extent.columns) as f32);
            let circle = Circle {
                x: f64::from(extent.left + (column + 0.5) * extent.cell),
                y: f64::from(extent.top + (row + 0.5) * extent.cell),
                radius,
            };
            Candidate { circle, prominence: f64::from(prominence) }
        })
        .collect()
}

/// Votes in a 3 × 3 neighbourhood against what its 15 × 15 surround leads to expect.
fn stand_out(near: f32, wide: f32) -> f32 {
    let expected = wide * (9.0 / 225.0);
    (near - expected) / (expected + 20.0).sqrt()
}

fn cast(map: &EdgelMap, extent: &Extent, band: [f64; 2]) -> Vec<f32> {
    let mut votes = vec![0.0_f32; extent.columns * extent.rows];
    let scale = map.scale as f32;
    let steps = (band[1] - band[0]).round() as usize;
    let per_cell = 1.0 / extent.cell;
    for edgel in &map.edgels {
        let (x, y) = ((edgel.x - extent.left) * per_cell, (edgel.y - extent.top) * per_cell);
        let (nx, ny) = (edgel.nx * per_cell, edgel.ny * per_cell);
        for step in 0..steps {
            let radius = (band[0] as f32 + step as f32 + 0.5) * scale;
            for side in [radius, -radius] {
                // Negative positions saturate to cell 0 on conversion, where the border takes stray votes.
                let (column, row) = ((x + side * nx) as usize, (y + side * ny) as usize);
                if column < extent.columns && row < extent.rows {
                    votes[row * extent.columns + column] += edgel.strength;
                }
            }
        }
    }
    votes
}

/// Sums over squares of `2 reach + 1` cells, cut off at the border.
fn box_sums(votes: &[f32], extent: &Extent, reach: usize) -> Vec<f32> {
    let (columns, rows) = (extent.columns, extent.rows);
    let mut across = vec![0.0_f32; votes.len()];
    for (line, out) in votes.chunks(columns).zip(across.chunks_mut(columns)) {
        let mut sum: f32 = line.iter().take(reach).sum();
        for (column, value) in out.iter_mut().enumerate() {
            sum += line.get(column + reach).copied().unwrap_or(0.0);
            *value = sum;
            sum -= if column >= reach { line[column - reach] } else { 0.0 };
        }
    }
    let mut down = vec![0.0_f32; votes.len()];
    let mut sums = vec![0.0_f32; columns];
    for row in 0..rows + reach {
        if row < rows {
            sums.iter_mut().zip(&across[row * columns..]).for_each(|(s, v)| *s += v);
        }
        if row > 2 * reach {
            let gone = row - 2 * reach - 1;
            sums.iter_mut().zip(&across[gone * columns..]).for_each(|(s, v)| *s -= v);
        }
        if row >= reach {
            down[(row - reach) * columns..][..columns].copy_from_slice(&sums);
        }
    }
    down
}

/// The strongest local maxima.
fn peaks(values: &[f32], extent: &Extent) -> Vec<(usize, f32)> {
    let (columns, rows) = (extent.columns, extent.rows);
    let mut found = Vec::new();
    for row in 0..rows {
        for column in 0..columns {
            let value = values[row * columns + column];
            if value < 2.0 {
                continue;
            }
            let rows_near = row.saturating_sub(2)..(row + 3).min(rows);
            let highest = rows_near
                .flat_map(|r| &values[r * columns + column.saturating_sub(2)..r * columns + (column + 3).min(columns)])
                .copied()
                .fold(f32::MIN, f32::max);
            if value >= highest {
                found.push((row * columns + column, value));
            }
        }
    }
    found.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
    found.truncate(PEAKS);
    found
}
