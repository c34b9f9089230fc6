//! What is in one of two registered frames and not in the other: people, props, shadows, foliage.

use super::backdrop::{Backdrop, Side, luminance};
use super::drift::Drift;
use super::field::Field;
use super::ratio::both_at;
use crate::Estimate;
use crate::base::parallel;
use crate::image::{Frame, Size};

/// A cell moved where it differs by this many standard deviations.
const PLAIN_SDS: f64 = 4.0;
/// Differences below this share of the brightness are no motion (common practice, no source).
const LEAST_SHARE: f64 = 0.03;
/// What interpolation leaves of steep detail, in cells.
const INTERPOLATION_CELLS: f64 = 0.2;
/// Of the nine cells around a place, so many have to say the same.
const MAJORITY: usize = 5;
/// The border of what moved may lie this far off, in cells (one standard deviation).
const BORDER_CELLS: f64 = 0.3;

/// Which parts of the plate differ from the other frame once the camera and the exposure are taken out.
#[derive(Debug, Clone, PartialEq)]
pub struct Moved {
    /// Columns of the map.
    pub width: usize,
    /// Rows of the map.
    pub height: usize,
    /// Per cell: it moved; `None` where the two cannot be compared (clipped, missing, outside).
    pub cells: Vec<Option<bool>>,
    /// Side of a cell in plate pixels.
    pub cell_px: f64,
    /// Share of what could be compared that moved.
    pub covered: Estimate,
    /// Share of the frame that could be compared.
    pub compared: f64,
}

/// Maps what moved, under a drift that has its registration; `None` without one.
pub(crate) fn what_moved(plate: &Frame, other: &Frame, drift: &Drift) -> Option<Moved> {
    let field = Field::shared(plate, other).ok()?;
    let registration = drift.registration.as_deref()?;
    let cell_px = field.cell_px[0];
    let warp = registration.warp.scaled(cell_px.recip());
    let sd_cells = registration.largest_sd_px([plate.size.width as f64, plate.size.height as f64]) / cell_px;
    let (p, m) = parallel::both(
        || Backdrop::of(plate, &field, Side::Plate, None),
        || Backdrop::of(other, &field, Side::Mirror, None),
    );
    let look = Look { plate: &p, other: &m, gain: gains(drift), sd_cells: sd_cells.hypot(INTERPOLATION_CELLS) };
    let raw: Vec<Option<bool>> = parallel::map(field.cells(), |i| {
        let cell = [i % field.width, i / field.width];
        look.moved(cell, warp.displacement([cell[0] as f64 + 0.5, cell[1] as f64 + 0.5]))
    });
    Some(Moved::of(majority(&raw, field.width), field.width, field.height, cell_px))
}

/// Other frame over plate per working-space channel.
fn gains(drift: &Drift) -> [f64; 3] {
    let colour = [drift.red_green_stops, drift.blue_green_stops].map(|e| if e.sd < 0.5 { e.value } else { 0.0 });
    let ratios = [colour[0].exp2(), 1.0, colour[1].exp2()];
    let level = drift.stops.value.exp2() / crate::colour::luminance(ratios);
    ratios.map(|r| r * level)
}

struct Look<'a> {
    plate: &'a Backdrop,
    other: &'a Backdrop,
    gain: [f64; 3],
    sd_cells: f64,
}

impl Look<'_> {
    fn moved(&self, cell: [usize; 2], shift: [f64; 2]) -> Option<bool> {
        let (p, m) = both_at(self.plate, self.other, cell, shift)?;
        let expected = [0, 1, 2].map(|c| (f64::from(p[c]) * self.gain[c]) as f32);
        let (vp, vm) = (self.plate.variances(p), self.other.variances(m));
        let steep = self.steepness(cell);
        let mean_gain = self.gain[1];
        let level = f64::from(luminance(&expected)).max(f64::from(luminance(&m))).max(0.0);
        let sd = |row: usize| {
            let noise = vm[row] + mean_gain.powi(2) * vp[row];
            noise.sqrt().hypot(mean_gain * steep * self.sd_cells).hypot(LEAST_SHARE / 2.0 * level)
        };
        let grey = f64::from(luminance(&m) - luminance(&expected)).abs() > PLAIN_SDS * sd(3);
        let coloured = (0..3).any(|c| f64::from(m[c] - expected[c]).abs() > PLAIN_SDS * sd(c).hypot(0.5 * sd(3)));
        Some(grey || coloured)
    }

    /// Largest change of the plate's luminance to a neighbouring cell.
    fn steepness(&self, [x, y]: [usize; 2]) -> f64 {
        let (x, y) = (x as i64, y as i64);
        let at = |dx: i64, dy: i64| self.plate.sample(x + dx, y + dy, [0.0; 2]).map(|rgb| f64::from(luminance(&rgb)));
        let Some(here) = at(0, 0) else { return 0.0 };
        let around = [(1, 0), (-1, 0), (0, 1), (0, -1), (1, 1), (-1, -1), (1, -1), (-1, 1)];
        around.iter().filter_map(|(dx, dy)| at(*dx, *dy)).map(|v| (v - here).abs()).fold(0.0, f64::max)
    }
}

/// What most of the nine cells around each place say: single noisy cells go, small holes close.
fn majority(raw: &[Option<bool>], width: usize) -> Vec<Option<bool>> {
    let height = raw.len() / width.max(1);
    let vote = |i: usize| {
        raw[i]?;
        let (x, y) = ((i % width) as i64, (i / width) as i64);
        let around = (-1..=1).flat_map(|dy| (-1..=1).map(move |dx| (x + dx, y + dy)));
        let inside = around.filter(|(x, y)| *x >= 0 && *y >= 0 && (*x as usize) < width && (*y as usize) < height);
        let said: Vec<bool> = inside.filter_map(|(x, y)| raw[y as usize * width + x as usize]).collect();
        let moved = said.iter().filter(|m| **m).count();
        Some(moved * 9 >= MAJORITY * said.len())
    };
    (0..raw.len()).map(vote).collect()
}

impl Moved {
    fn of(cells: Vec<Option<bool>>, width: usize, height: usize, cell_px: f64) -> Self {
        let comparable = cells.iter().flatten().count();
        let moved = cells.iter().flatten().filter(|m| **m).count();
        let border = (0..cells.len()).filter(|i| cells[*i] == Some(true) && is_border(&cells, width, *i)).count();
        let all = comparable.max(1) as f64;
        let covered = Estimate::new(moved as f64 / all, (BORDER_CELLS * border as f64 / all).max(1e-4));
        Self { compared: comparable as f64 / cells.len().max(1) as f64, width, height, cells, cell_px, covered }
    }

    /// Grey values of a mask of the plate's size: 255 moved, 0 still, 96 not comparable.
    pub(crate) fn mask(&self, size: Size) -> Vec<u8> {
        let value = |i: usize| {
            let [x, y] = [i % size.width, i / size.width].map(|c| ((c as f64 + 0.5) / self.cell_px) as usize);
            let cell = (x < self.width && y < self.height).then(|| self.cells[y * self.width + x]).flatten();
            cell.map_or(96, |moved| if moved { 255 } else { 0 })
        };
        parallel::map(size.width * size.height, value)
    }
}

fn is_border(cells: &[Option<bool>], width: usize, i: usize) -> bool {
    let neighbours = [i.checked_sub(1), i.checked_add(1), i.checked_sub(width), i.checked_add(width)];
    neighbours.into_iter().any(|n| n.and_then(|n| cells.get(n)).is_some_and(|c| *c != Some(true)))
}
