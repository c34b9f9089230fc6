//! Radiance by direction, gathered on the fixed direction grid.

use std::f64::consts::PI;
use std::sync::OnceLock;

use nalgebra::Vector3;

use super::grid::{CELLS, DirectionGrid};
use crate::base::parallel;
use crate::colour::luminance;

/// Width at half height to which both sides are blurred before they are compared, degrees.
pub const COMPARISON_FWHM_DEG: f64 = 8.0;

/// What one point of a sphere adds.
#[derive(Debug, Clone, Copy)]
pub struct Deposit {
    /// Unit vector to where the light comes from.
    pub direction: Vector3<f64>,
    /// Solid angle, sr.
    pub steradian: f64,
    /// Radiance, working space.
    pub rgb: [f64; 3],
    /// Its luminance.
    pub luminance: f64,
    /// The recording was at its ceiling.
    pub clipped: bool,
}

/// Sums over one direction cell.
#[derive(Debug, Clone, Copy, Default)]
pub struct MapCell {
    /// Σ radiance × sr.
    pub light: [f64; 3],
    /// Σ sr.
    pub steradian: f64,
    /// Σ sr of clipped points.
    pub clipped_steradian: f64,
    /// Σ direction × luminance × sr: where in the cell the light comes from.
    moment: Vector3<f64>,
}

/// Radiance by direction.
#[derive(Debug, Clone)]
pub struct DirectionMap {
    cells: Vec<MapCell>,
    /// Blurred for comparison, once that was asked for.
    compared: OnceLock<Vec<Option<Smoothed>>>,
}

impl Default for DirectionMap {
    fn default() -> Self {
        Self::of(vec![MapCell::default(); CELLS])
    }
}

/// One direction after blurring.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Smoothed {
    /// Mean radiance.
    pub rgb: [f64; 3],
    /// Its luminance.
    pub luminance: f64,
    /// Fraction of the blur's weight that fell on directions seen.
    pub coverage: f64,
    /// Fraction of the blur's weight that fell on clipped points.
    pub clipped: f64,
}

/// Light from one direction of the completed sphere of directions, for sums over patches.
#[derive(Debug, Clone, Copy)]
pub struct Source {
    /// Unit vector.
    pub direction: Vector3<f64>,
    /// Radiance × sr, working space.
    pub light: [f64; 3],
    /// Luminance of `light`.
    pub luminance: f64,
    /// Part of `luminance` that is filled in, not measured.
    pub filled: f64,
    /// Part of `luminance` that comes from clipped points.
    pub clipped: f64,
}

impl DirectionMap {
    fn of(cells: Vec<MapCell>) -> Self {
        Self { cells, compared: OnceLock::new() }
    }

    /// One entry per direction of the grid.
    pub fn cells(&self) -> &[MapCell] {
        &self.cells
    }

    /// The same, to be changed.
    pub fn cells_mut(&mut self) -> &mut [MapCell] {
        self.compared = OnceLock::new();
        &mut self.cells
    }

    /// Adds one point of a sphere.
    pub fn deposit(&mut self, point: &Deposit) {
        let cell = &mut self.cells_mut()[DirectionGrid::shared().cell(&point.direction)];
        for (sum, value) in cell.light.iter_mut().zip(point.rgb) {
            *sum += value * point.steradian;
        }
        cell.steradian += point.steradian;
        cell.clipped_steradian += if point.clipped { point.steradian } else { 0.0 };
        cell.moment += point.direction * (point.luminance.max(0.0) * point.steradian);
    }

    /// Adds another map.
    pub fn add(&mut self, other: &Self) {
        for (mine, theirs) in self.cells_mut().iter_mut().zip(&other.cells) {
            for (sum, value) in mine.light.iter_mut().zip(theirs.light) {
                *sum += value;
            }
            mine.steradian += theirs.steradian;
            mine.clipped_steradian += theirs.clipped_steradian;
            mine.moment += theirs.moment;
        }
    }

    /// The same directions seen, with other radiance in them. What was not seen stays dark.
    pub(crate) fn with_radiance(&self, radiance: &[[f64; 3]]) -> Self {
        let grid = DirectionGrid::shared();
        let cells = self.cells.iter().zip(radiance).zip(&grid.directions).map(|((cell, radiance), direction)| {
            let light = radiance.map(|l| l * cell.steradian);
            MapCell { light, moment: direction * luminance(light).max(0.0), ..*cell }
        });
        Self::of(cells.collect())
    }

    /// Fraction of all directions that were seen.
    pub fn seen_fraction(&self) -> f64 {
        let grid = DirectionGrid::shared();
        let seen: f64 = self.cells.iter().zip(&grid.steradian).map(|(c, s)| c.steradian.min(*s)).sum();
        seen / (4.0 * PI)
    }

    /// Every direction blurred by a Gaussian of the given width at half height; `None` where less than half of the
    /// blur fell on directions seen.
    pub fn smoothed(&self, fwhm_deg: f64) -> Vec<Option<Smoothed>> {
        let grid = DirectionGrid::shared();
        let scale = 4.0 * std::f64::consts::LN_2 / fwhm_deg.to_radians().powi(2);
        parallel::map(CELLS, |cell| {
            let (mut light, mut seen, mut clipped, mut all) = ([0.0; 3], 0.0, 0.0, 0.0);
            for (other, angle) in grid.neighbours(cell) {
                let weight = (-f64::from(*angle).powi(2) * scale).exp();
                let entry = &self.cells[usize::from(*other)];
                all += weight * grid.steradian[usize::from(*other)];
                seen += weight * entry.steradian;
                clipped += weight * entry.clipped_steradian;
                for (sum, value) in light.iter_mut().zip(entry.light) {
                    *sum += weight * value;
                }
            }
            (seen > 0.5 * all).then(|| {
                let rgb = light.map(|l| l / seen);
                Smoothed { rgb, luminance: luminance(rgb), coverage: (seen / all).min(1.0), clipped: clipped / seen }
            })
        })
    }

    /// Every direction blurred as two spheres are compared: over [`COMPARISON_FWHM_DEG`].
    pub fn compared(&self) -> &[Option<Smoothed>] {
        if let Some(made) = self.compared.get() {
            return made;
        }
        // Made before the lock is taken: while it is made, this thread may be given work that asks for it too.
        let made = self.smoothed(COMPARISON_FWHM_DEG);
        self.compared.get_or_init(|| made)
    }

    /// The whole sphere of directions as sources: measured cells as they are, unseen ones filled from their
    /// surroundings. Empty when nothing was seen at all.
    pub fn completed(&self) -> Vec<Source> {
        let grid = DirectionGrid::shared();
        let smoothed = self.compared();
        let fill = fill_gaps(smoothed, grid);
        let inside = |i: usize| smoothed[i].is_some_and(|s| s.coverage >= SEEN_ALL_ROUND);
        let one = |(i, cell): (usize, &MapCell)| {
            if inside(i) { whole_source(cell, grid, i) } else { source(cell, grid, i, fill[i]?) }
        };
        self.cells.iter().enumerate().filter_map(one).collect()
    }
}

/// Where this much of the blur's weight about a cell was seen, nothing is missing there.
const SEEN_ALL_ROUND: f64 = 0.95;

/// A cell whose neighbours were all seen: its light as it was gathered. Points fall unevenly, and what one cell lacks
/// its neighbours have; scaling it up would count a lamp's light twice.
fn whole_source(cell: &MapCell, grid: &DirectionGrid, index: usize) -> Option<Source> {
    let y = luminance(cell.light);
    let direction = cell.moment.try_normalize(0.0).unwrap_or(grid.directions[index]);
    let clipped = if cell.steradian > 0.0 { y * cell.clipped_steradian / cell.steradian } else { 0.0 };
    y.is_finite().then_some(Source { direction, light: cell.light, luminance: y, filled: 0.0, clipped })
}

/// One cell as a source. A cell seen in part is scaled up to its full solid angle with its own mean where at least
/// half was seen, with the filled-in radiance otherwise.
fn source(cell: &MapCell, grid: &DirectionGrid, index: usize, fill: [f64; 3]) -> Option<Source> {
    let whole = grid.steradian[index];
    let seen = cell.steradian;
    let missing = (whole - seen).max(0.0);
    let mean = if seen > 0.5 * whole { cell.light.map(|l| l / seen) } else { fill };
    let mut light = [0.0; 3];
    for channel in 0..3 {
        light[channel] = cell.light[channel] + missing * mean[channel];
    }
    let y = luminance(light);
    let direction = if cell.moment.norm() > 0.0 && missing < 0.5 * whole {
        cell.moment.normalize()
    } else {
        grid.directions[index]
    };
    let clipped = if seen > 0.0 { y * cell.clipped_steradian / seen } else { 0.0 };
    y.is_finite().then(|| Source {
        direction,
        light,
        luminance: y,
        filled: if seen > 0.5 * whole { 0.0 } else { missing * luminance(fill) },
        clipped,
    })
}

/// Spreads known radiances into unknown directions, ring by ring.
fn fill_gaps(known: &[Option<Smoothed>], grid: &DirectionGrid) -> Vec<Option<[f64; 3]>> {
    let mut values: Vec<Option<[f64; 3]>> = known.iter().map(|s| s.map(|s| s.rgb)).collect();
    for _ in 0..40 {
        if values.iter().all(Option::is_some) || values.iter().all(Option::is_none) {
            break;
        }
        let grown: Vec<_> = (0..CELLS).map(|i| values[i].or_else(|| neighbour_mean(&values, grid, i))).collect();
        values = grown;
    }
    values
}

fn neighbour_mean(values: &[Option<[f64; 3]>], grid: &DirectionGrid, cell: usize) -> Option<[f64; 3]> {
    let (mut sum, mut count) = ([0.0; 3], 0.0);
    for (other, angle) in grid.neighbours(cell) {
        if f64::from(*angle) > 0.12 {
            continue;
        }
        if let Some(value) = values[usize::from(*other)] {
            for (total, v) in sum.iter_mut().zip(value) {
                *total += v;
            }
            count += 1.0;
        }
    }
    (count > 0.0).then(|| sum.map(|s| s / count))
}
