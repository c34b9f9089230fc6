//! A fixed set of evenly spread directions on which two spheres can be compared.
//!
//! Directions follow a golden-section spiral: every cell has nearly the same solid angle, so medians and means over
//! cells are medians and means over solid angle.

use std::f64::consts::PI;
use std::sync::OnceLock;

use nalgebra::Vector3;
use rayon::prelude::*;

/// Number of directions; one cell is 4π / 4096 sr, about 3.2° across.
pub const CELLS: usize = 4096;

/// Neighbours are listed out to this angle.
const REACH_DEG: f64 = 13.0;

const TABLE_COLUMNS: usize = 512;
const TABLE_ROWS: usize = 256;

/// The direction set with its look-up tables. Built once per process.
#[derive(Debug)]
pub struct DirectionGrid {
    /// Unit vector of each cell.
    pub directions: Vec<Vector3<f64>>,
    /// Solid angle that the look-up gives to each cell, sr; they add up to 4π.
    pub steradian: Vec<f64>,
    neighbours: Vec<Vec<(u16, f32)>>,
    table: Vec<u16>,
}

impl DirectionGrid {
    /// The one grid.
    pub fn shared() -> &'static Self {
        static GRID: OnceLock<DirectionGrid> = OnceLock::new();
        GRID.get_or_init(Self::build)
    }

    /// The cell that holds a unit direction.
    pub fn cell(&self, direction: &Vector3<f64>) -> usize {
        let row = ((0.5 - direction.y.clamp(-1.0, 1.0).asin() / PI) * TABLE_ROWS as f64) as usize;
        let column = (direction.x.atan2(direction.z) / (2.0 * PI) + 0.5) * TABLE_COLUMNS as f64;
        let column = (column as usize).min(TABLE_COLUMNS - 1);
        usize::from(self.table[row.min(TABLE_ROWS - 1) * TABLE_COLUMNS + column])
    }

    /// Cells within 13° of `cell` (itself included) with their angle in radians.
    pub fn neighbours(&self, cell: usize) -> &[(u16, f32)] {
        &self.neighbours[cell]
    }

    fn build() -> Self {
        let directions: Vec<_> = (0..CELLS).map(spiral).collect();
        let table = nearest_table(&directions);
        let mut steradian = vec![0.0; CELLS];
        for (at, cell) in table.iter().enumerate() {
            let row = (at / TABLE_COLUMNS) as f64;
            let height = |row: f64| (PI * row / TABLE_ROWS as f64).cos();
            steradian[usize::from(*cell)] += 2.0 * PI / TABLE_COLUMNS as f64 * (height(row) - height(row + 1.0));
        }
        let neighbours = directions.par_iter().map(|d| within_reach(&directions, d)).collect();
        Self { directions, steradian, neighbours, table }
    }
}

/// Direction `index` of the spiral, from the top (y = 1) to the bottom.
fn spiral(index: usize) -> Vector3<f64> {
    let golden = PI * (3.0 - 5.0_f64.sqrt());
    let y = 1.0 - (2 * index + 1) as f64 / CELLS as f64;
    let (sin_a, cos_a) = (index as f64 * golden).sin_cos();
    let across = (1.0 - y * y).sqrt();
    Vector3::new(across * sin_a, y, across * cos_a)
}

/// Indices whose height may lie within `reach` (chord) of height `y`: the spiral is sorted by height.
fn band(y: f64, reach: f64) -> std::ops::Range<usize> {
    let at = |height: f64| ((1.0 - height) * 0.5 * CELLS as f64).clamp(0.0, CELLS as f64) as usize;
    at(y + reach)..(at(y - reach) + 1).min(CELLS)
}

fn within_reach(directions: &[Vector3<f64>], centre: &Vector3<f64>) -> Vec<(u16, f32)> {
    let reach = REACH_DEG.to_radians();
    band(centre.y, reach)
        .filter_map(|i| {
            let angle = 2.0 * ((directions[i] - centre).norm() * 0.5).asin();
            (angle <= reach).then_some((i as u16, angle as f32))
        })
        .collect()
}

/// Nearest cell for each entry of a table (columns azimuth −π…π, rows elevation from 90° to −90°).
fn nearest_table(directions: &[Vector3<f64>]) -> Vec<u16> {
    let rows: Vec<Vec<u16>> = (0..TABLE_ROWS).into_par_iter().map(|row| nearest_row(directions, row)).collect();
    rows.concat()
}

fn nearest_row(directions: &[Vector3<f64>], row: usize) -> Vec<u16> {
    let (across, y) = (PI * (row as f64 + 0.5) / TABLE_ROWS as f64).sin_cos();
    let candidates = band(y, 0.06);
    let nearest = |column: usize| {
        let azimuth = ((column as f64 + 0.5) / TABLE_COLUMNS as f64 - 0.5) * 2.0 * PI;
        let direction = Vector3::new(across * azimuth.sin(), y, across * azimuth.cos());
        let closer = |a: &usize, b: &usize| directions[*a].dot(&direction).total_cmp(&directions[*b].dot(&direction));
        candidates.clone().max_by(closer).unwrap_or(0) as u16
    };
    (0..TABLE_COLUMNS).map(nearest).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cells_share_the_sphere_evenly() {
        let grid = DirectionGrid::shared();
        approx::assert_relative_eq!(grid.steradian.iter().sum::<f64>(), 4.0 * PI, epsilon = 1e-9);
        let mean = 4.0 * PI / CELLS as f64;
        let worst = grid.steradian.iter().map(|s| (s / mean - 1.0).abs()).fold(0.0, f64::max);
        assert!(worst < 0.35, "a cell deviates by {worst}");
        for (i, d) in grid.directions.iter().enumerate().step_by(37) {
            let found = &grid.directions[grid.cell(d)];
            assert!((found - d).norm() < 0.06, "cell {i}");
        }
    }
}
