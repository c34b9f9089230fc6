//! The photographed sphere and what it would show of the CG's light, on one grid of cells.

use super::Seen;
use crate::sphere_faults::cells::Cells;
use crate::sphere_faults::grid::Grid;
use crate::sphere_faults::support::median;

/// Radius of the sphere in cells, about: whole pixels make a cell, so it may be this factor more, or half as much.
const RADIUS_CELLS: f64 = 64.0;
const FINER: f64 = 1.25;

/// Smallest radius, px, of either sphere.
const LEAST_RADIUS_PX: f64 = 36.0;

/// The CG is read finer than it is shown, by up to this factor: it is read between its cells.
const CG_FINER: f64 = 1.6;

/// Nodes of the map between the spheres lie this many cells apart.
const NODES_APART: usize = 6;

/// Structure wider than this part of the radius is shading and says little of places.
const WIDEST_STRUCTURE: f64 = 0.16;

/// What is brighter than the median by this, ln, counts as a light: lights differ for other reasons than dents.
const LIGHT_LN: f32 = 1.8;

/// Cells about a light that its blur reaches.
const LIGHT_REACH: usize = 2;

/// Both spheres on the cells of the photographed one.
pub(super) struct Pictures {
    /// ln of luminance without the wide structure; NaN where unknown.
    pub(super) mirror: Grid,
    /// The same of the CG, mirrored as the photographed sphere would.
    pub(super) cg: Grid,
    /// Cells a side.
    pub(super) side: usize,
    /// Neither picture shows a light there.
    pub(super) judged: Vec<bool>,
    /// Radius of the sphere in cells.
    pub(super) radius: f64,
    /// The sphere's middle in cells.
    pub(super) middle: [f64; 2],
    /// Frame pixels a cell.
    pub(super) cell_px: f64,
    origin_px: [f64; 2],
}

impl Pictures {
    /// `None` where one of the spheres is too small.
    pub(super) fn gather(photographed: Seen<'_>, cg: Seen<'_>) -> Option<Self> {
        let smallest = photographed.fit.outline.semi_a.min(cg.fit.outline.semi_a);
        if smallest < LEAST_RADIUS_PX {
            return None;
        }
        let finest = smallest.min(RADIUS_CELLS);
        let cells = Cells::gather(photographed.frame, &photographed.fit.outline, finest * FINER);
        let rendered = Cells::gather(cg.frame, &cg.fit.outline, finest * CG_FINER);
        let side = cells.log.side;
        let mirror = cells.log.clone();
        let cg = Grid { side, values: mirrored(&cells, &rendered, photographed, cg) };
        let origin_px = cells.centre_px(0, 0);
        let outline = photographed.fit.outline;
        let middle = cells.place([outline.centre_x, outline.centre_y]).map(f64::from);
        let radius = outline.mean_radius() / cells.block_px;
        let lights = [&mirror, &cg].map(lights);
        let judged = (0..side * side).map(|i| lights.iter().all(|l| !l[i])).collect();
        let reach = (WIDEST_STRUCTURE * radius).round() as usize;
        let [mirror, cg] = [mirror, cg].map(|picture| detail(&picture, reach));
        Some(Self { mirror, cg, side, judged, radius, middle, cell_px: cells.block_px, origin_px })
    }

    /// Position on the disc, −1 to 1, of a cell: right and down.
    pub(super) fn on_disc(&self, column: usize, row: usize) -> [f64; 2] {
        [(column as f64 - self.middle[0]) / self.radius, (row as f64 - self.middle[1]) / self.radius]
    }

    /// The frame point of a position on the disc.
    pub(super) fn frame_point(&self, on_disc: [f64; 2]) -> [f64; 2] {
        [0, 1].map(|axis| self.origin_px[axis] + (self.middle[axis] + on_disc[axis] * self.radius) * self.cell_px)
    }
}

/// What each cell of the photographed sphere would show of the CG's light.
fn mirrored(cells: &Cells, rendered: &Cells, photographed: Seen<'_>, cg: Seen<'_>) -> Vec<f32> {
    let place = |column: usize, row: usize| -> Option<[f32; 2]> {
        let direction = photographed.geometry.reflect(cells.centre_px(column, row))?.direction;
        Some(rendered.place(cg.geometry.locate(&direction)?))
    };
    let side = cells.log.side;
    let nodes = side.div_ceil(NODES_APART) + 1;
    let node = |i: usize| place(i % nodes * NODES_APART, i / nodes * NODES_APART);
    let lattice: Vec<Option<[f32; 2]>> = crate::parallel::map(nodes * nodes, node);
    let value = |column: usize, row: usize| {
        if cells.log.values[row * side + column].is_nan() {
            return f32::NAN;
        }
        let first = row / NODES_APART * nodes + column / NODES_APART;
        let corners = [first, first + 1, first + nodes, first + nodes + 1].map(|i| lattice[i]);
        let found = match corners {
            [Some(a), Some(b), Some(c), Some(d)] => {
                let part = |i: usize| (i % NODES_APART) as f32 / NODES_APART as f32;
                let (fx, fy) = (part(column), part(row));
                Some([0, 1].map(|k| {
                    let (upper, lower) = (a[k] + (b[k] - a[k]) * fx, c[k] + (d[k] - c[k]) * fx);
                    upper + (lower - upper) * fy
                }))
            }
            _ => place(column, row),
        };
        found.map_or(f32::NAN, |there| rendered.at(there))
    };
    (0..side * side).map(|i| value(i % side, i / side)).collect()
}

fn middle(picture: &Grid) -> f32 {
    let mut known: Vec<f32> = picture.values.iter().copied().filter(|v| v.is_finite()).collect();
    median(&mut known)
}

/// Cells on or beside a light.
fn lights(picture: &Grid) -> Vec<bool> {
    let (side, level) = (picture.side, middle(picture) + LIGHT_LN);
    let mut near = vec![false; picture.values.len()];
    for (i, _) in picture.values.iter().enumerate().filter(|(_, v)| **v > level) {
        let (column, row) = (i % side, i / side);
        for r in row.saturating_sub(LIGHT_REACH)..(row + LIGHT_REACH + 1).min(side) {
            for c in column.saturating_sub(LIGHT_REACH)..(column + LIGHT_REACH + 1).min(side) {
                near[r * side + c] = true;
            }
        }
    }
    near
}

/// The picture without its wide structure, and without what single cells make up.
fn detail(picture: &Grid, reach: usize) -> Grid {
    let ceiling = middle(picture) + LIGHT_LN;
    let level = Grid {
        side: picture.side,
        values: picture.values.iter().map(|v| if v.is_nan() { *v } else { v.min(ceiling) }).collect(),
    };
    let (fine, wide) = (level.blurred(1), level.blurred(reach));
    let values = fine.values.iter().zip(&wide.values).map(|(f, w)| f - w).collect();
    Grid { side: picture.side, values }
}
