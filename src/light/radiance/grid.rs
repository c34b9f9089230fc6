//! A fixed set of evenly spread directions on which two spheres can be compared.
//!
//! Directions follow a golden-section spiral: every cell has nearly the same solid angle, so medians and means over
//! cells are medians and means over solid angle.

use std::f64::consts::PI;
use std::sync::OnceLock;

use nalgebra::Vector3;

/// Number of directions; one cell is 4π / 4096 sr, about 3.2° across.
pub const CELLS: usize = 4096;

/// Neighbours are listed out to this angle.
const REACH_DEG: f64 = 13.0;

/// Side of the look-up table: the octahedron |x| + |y| + |z| = 1 unfolded into a square, which needs no trigonometry
/// (Meyer et al., On Floating-Point Normal Vectors, 2010; from memory). Its entries are at most a quarter of a cell
/// across.
const TABLE_SIDE: usize = 384;

/// Cells that touch lie within this angle of each other (the cells are 0.055 rad across).
const TOUCHING_RAD: f32 = 0.12;

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

    /// The cell that holds a direction of any length.
    pub fn cell(&self, direction: &Vector3<f64>) -> usize {
        usize::from(self.table[table_entry(direction)])
    }

    /// Cells within 13° of `cell` (itself included) with their angle in radians.
    pub fn neighbours(&self, cell: usize) -> &[(u16, f32)] {
        &self.neighbours[cell]
    }

    /// On one core: a thread that waits for others here might be given work that needs the grid itself.
    fn build() -> Self {
        let directions: Vec<_> = (0..CELLS).map(spiral).collect();
        let neighbours = within_reach(&directions);
        let table = nearest_table(&directions, &neighbours);
        let mut steradian = vec![0.0; CELLS];
        for (entry, cell) in table.iter().enumerate() {
            // The octahedron's faces are seen from its centre under dω = du dv / r³.
            steradian[usize::from(*cell)] += table_point(entry).norm().powi(-3);
        }
        let all: f64 = steradian.iter().sum();
        for s in &mut steradian {
            *s *= 4.0 * PI / all;
        }
        Self { directions, steradian, neighbours, table }
    }
}

/// The table's entry for a direction: the upper half of the octahedron lies in the middle of the square, the lower one
/// is folded out into its corners.
fn table_entry(direction: &Vector3<f64>) -> usize {
    let scale = 1.0 / (direction.x.abs() + direction.y.abs() + direction.z.abs());
    let (u, v) = (direction.x * scale, direction.z * scale);
    // Both are made and one is taken: half of all directions lie below, and no branch would foretell which.
    let (folded_u, folded_v) = ((1.0 - v.abs()).copysign(u), (1.0 - u.abs()).copysign(v));
    let below = direction.y < 0.0;
    let (u, v) = (if below { folded_u } else { u }, if below { folded_v } else { v });
    let index = |t: f64| (((t + 1.0) * 0.5 * TABLE_SIDE as f64) as usize).min(TABLE_SIDE - 1);
    index(v) * TABLE_SIDE + index(u)
}

/// The point of the octahedron in the middle of a table entry.
fn table_point(entry: usize) -> Vector3<f64> {
    let middle = |index: usize| 2.0 * (index as f64 + 0.5) / TABLE_SIDE as f64 - 1.0;
    let (u, v) = (middle(entry % TABLE_SIDE), middle(entry / TABLE_SIDE));
    let y = 1.0 - u.abs() - v.abs();
    if y >= 0.0 {
        Vector3::new(u, y, v)
    } else {
        Vector3::new((1.0 - v.abs()).copysign(u), y, (1.0 - u.abs()).copysign(v))
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

/// One past the last index whose height may lie within `reach` (chord) below height `y`: the spiral is sorted by
/// height.
fn end_of_band(y: f64, reach: f64) -> usize {
    let at = |height: f64| ((1.0 - height) * 0.5 * CELLS as f64).clamp(0.0, CELLS as f64) as usize;
    (at(y - reach) + 1).min(CELLS)
}

/// Each direction's neighbours in their order, itself among them: every pair is looked at once.
fn within_reach(directions: &[Vector3<f64>]) -> Vec<Vec<(u16, f32)>> {
    let reach = REACH_DEG.to_radians();
    let longest_squared = (2.0 * (0.5 * reach).sin()).powi(2);
    // Chord to angle: the first terms of 2 asin(chord / 2), 1e-8 rad at this reach.
    let angle = |squared: f64| squared.sqrt() * (1.0 + squared * (1.0 / 24.0 + squared * (3.0 / 640.0)));
    let mut lists = vec![Vec::with_capacity(64); directions.len()];
    for (i, centre) in directions.iter().enumerate() {
        lists[i].push((i as u16, 0.0));
        for (j, other) in directions.iter().enumerate().take(end_of_band(centre.y, reach)).skip(i + 1) {
            let squared = (other - centre).norm_squared();
            if squared <= longest_squared {
                let apart = angle(squared) as f32;
                lists[i].push((j as u16, apart));
                lists[j].push((i as u16, apart));
            }
        }
    }
    lists
}

/// Nearest cell for each entry of the table.
fn nearest_table(directions: &[Vector3<f64>], neighbours: &[Vec<(u16, f32)>]) -> Vec<u16> {
    let near = |list: &Vec<(u16, f32)>| list.iter().filter(|n| n.1 <= TOUCHING_RAD).map(|n| n.0).collect();
    let touching: Vec<Vec<u16>> = neighbours.iter().map(near).collect();
    let mut cell = 0;
    let entries = 0..TABLE_SIDE * TABLE_SIDE;
    entries.map(|entry| walk(directions, &touching, &table_point(entry), &mut cell)).collect()
}

/// Goes from cell to touching cell as long as that leads closer to a point; there it is the nearest of all.
fn walk(directions: &[Vector3<f64>], touching: &[Vec<u16>], point: &Vector3<f64>, cell: &mut u16) -> u16 {
    let along = |cell: u16| directions[usize::from(cell)].dot(point);
    let mut best = along(*cell);
    loop {
        let from = *cell;
        for other in &touching[usize::from(from)] {
            let reached = along(*other);
            if reached > best {
                (best, *cell) = (reached, *other);
            }
        }
        if *cell == from {
            return from;
        }
    }
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

    /// Against the plain search through all directions.
    #[test]
    fn every_table_entry_holds_the_nearest_cell() {
        let grid = DirectionGrid::shared();
        for entry in (0..TABLE_SIDE * TABLE_SIDE).step_by(101) {
            let point = table_point(entry).normalize();
            assert_eq!(table_entry(&point), entry);
            let nearest = grid.directions.iter().map(|d| d.dot(&point)).fold(-1.0, f64::max);
            let found = grid.directions[usize::from(grid.table[entry])].dot(&point);
            assert!(nearest - found < 1e-12, "entry {entry}");
        }
    }
}
