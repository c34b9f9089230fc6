//! Measures one basin of luminance as a light: direction, size, illuminance, colour.

use nalgebra::Vector3;

use super::watershed::{NONE, neighbours};
use crate::colour::luminance;
use crate::light::radiance::{Sample, SphereImage};

/// Background is looked for out to this angle beyond the light's own radius.
const RING_DEG: f64 = 8.0;

/// A light's edge zone: cells around the core that may hold part of it (anti-aliasing, lens blur).
const EDGE_CELLS: usize = 2;

/// Radius of the disc that a light's core must hold, as a fraction of the largest that it holds: streaks are thinner.
const OPENING_FRACTION: f64 = 0.6;

/// A light as measured on the sphere's cells.
#[derive(Debug, Clone)]
pub(super) struct Measured {
    pub(super) direction: Vector3<f64>,
    /// Mean luminance of the core.
    pub(super) core_luminance: f64,
    /// Luminance of the surroundings.
    pub(super) background: f64,
    /// Illuminance per channel on a plane facing the light.
    pub(super) illuminance_rgb: [f64; 3],
    /// Solid angle of the uniform source of the core's luminance and the same flux, sr.
    pub(super) steradian: f64,
    /// 1 − length of the flux-weighted mean direction, cell blur taken out.
    pub(super) spread: f64,
    /// The part of that which cell blur explains.
    pub(super) blur_spread: f64,
    /// Cells of the core.
    pub(super) core_cells: usize,
    /// Sum of the weights' squares over square of the sum: 1 / (effective number of cells).
    pub(super) concentration: f64,
    pub(super) clipped: bool,
    /// Spread of the surroundings' luminance, one sd.
    pub(super) background_sd: f64,
    /// Radiance of the surroundings.
    pub(super) background_rgb: [f64; 3],
    /// Solid angle over which flux was summed, sr.
    pub(super) zone_steradian: f64,
    /// Part of the cells round the core that the sphere does not show.
    pub(super) unseen_fraction: f64,
}

/// The cells and the basins they belong to.
pub(super) struct Ground<'a> {
    pub(super) image: &'a SphereImage,
    pub(super) label: &'a [u32],
}

/// What the background search found.
struct Background {
    luminance: f64,
    /// Half of the range that holds the middle 68 %.
    spread: f64,
    rgb: [f64; 3],
}

impl Ground<'_> {
    fn sample(&self, cell: usize) -> Option<&Sample> {
        self.image.samples[cell].as_ref()
    }

    fn luminance(&self, cell: usize) -> f64 {
        self.sample(cell).map_or(0.0, |s| f64::from(s.luminance))
    }

    /// The cells connected to `start` within its basin that are brighter than `level`.
    pub(super) fn plateau(&self, start: usize, level: f64) -> Vec<usize> {
        let basin = self.label[start];
        let mut seen = std::collections::BTreeSet::from([start]);
        let mut stack = vec![start];
        let mut cells = Vec::new();
        while let Some(cell) = stack.pop() {
            cells.push(cell);
            for other in neighbours(cell, self.image.width, self.label.len()) {
                if self.label[other] == basin && self.luminance(other) > level && seen.insert(other) {
                    stack.push(other);
                }
            }
        }
        cells.sort_unstable();
        cells
    }

    /// Removes thin parts (streaks, spikes) from a region: what a disc of 0.6 of the largest inscribed radius cannot
    /// reach is dropped (morphological opening with a Euclidean disc). Small regions are left alone.
    pub(super) fn body(&self, cells: &[usize]) -> Vec<usize> {
        let width = self.image.width;
        let inside: std::collections::BTreeSet<usize> = cells.iter().copied().collect();
        let len = self.label.len();
        let around: std::collections::BTreeSet<usize> =
            cells.iter().flat_map(|c| neighbours(*c, width, len)).filter(|n| !inside.contains(n)).collect();
        let outside = Places::of(&around.into_iter().collect::<Vec<usize>>(), width);
        let depth: Vec<f64> = cells.iter().map(|c| outside.distance(*c)).collect();
        let radius = depth.iter().copied().fold(0.0, f64::max) * OPENING_FRACTION;
        if radius < 1.0 {
            return cells.to_vec();
        }
        let kernel: Vec<usize> = cells.iter().zip(&depth).filter(|(_, d)| **d > radius).map(|(c, _)| *c).collect();
        let in_kernel: std::collections::BTreeSet<usize> = kernel.iter().copied().collect();
        let shore: Vec<usize> =
            kernel.into_iter().filter(|c| neighbours(*c, width, len).any(|n| !in_kernel.contains(&n))).collect();
        let shore = Places::of(&shore, width);
        cells.iter().copied().filter(|c| in_kernel.contains(c) || shore.distance(*c) <= radius).collect()
    }

    /// Measures the light whose core is `core`. `owner` tells for every cell the light it belongs to, so that a
    /// neighbour's light is not counted twice.
    pub(super) fn measure(&self, core: &[usize], owner: &[u32], me: u32) -> Option<Measured> {
        let (centre, radius_rad) = self.extent_of(core)?;
        let background = self.background(&centre, radius_rad, owner);
        let core_light = self.core_light(core);
        let zone = self.zone(core, owner, me);
        self.integrate(core, &zone, &background, core_light)
    }

    fn extent_of(&self, core: &[usize]) -> Option<(Vector3<f64>, f64)> {
        let (mut sum, mut steradian) = (Vector3::zeros(), 0.0);
        for sample in core.iter().filter_map(|c| self.sample(*c)) {
            sum += sample.direction * sample.steradian;
            steradian += sample.steradian;
        }
        let centre = sum.try_normalize(1e-12)?;
        Some((centre, (1.0 - steradian / (2.0 * std::f64::consts::PI)).clamp(-1.0, 1.0).acos()))
    }

    /// Median of the cells in a ring around the light that belong to no light.
    fn background(&self, centre: &Vector3<f64>, radius_rad: f64, owner: &[u32]) -> Background {
        let cell_rad = self.image.samples.iter().flatten().next().map_or(0.02, |s| s.extent_rad2.sqrt());
        let inner = (radius_rad * 1.1 + 1.0_f64.to_radians() + 2.0 * cell_rad).cos();
        let outer = (radius_rad * 1.5 + RING_DEG.to_radians() + 2.0 * cell_rad).cos();
        let mut ring: Vec<&Sample> = Vec::new();
        for (sample, owner) in self.image.samples.iter().zip(owner) {
            let Some(sample) = sample else { continue };
            let cosine = sample.direction.dot(centre);
            if *owner == NONE && cosine < inner && cosine > outer {
                ring.push(sample);
            }
        }
        if ring.is_empty() {
            return Background { luminance: 0.0, spread: 0.0, rgb: [0.0; 3] };
        }
        ring.sort_by(|a, b| a.luminance.total_cmp(&b.luminance));
        let middle = &ring[ring.len() * 2 / 5..(ring.len() * 3 / 5).max(ring.len() * 2 / 5 + 1)];
        let mut rgb = [0.0; 3];
        for sample in middle {
            for (sum, value) in rgb.iter_mut().zip(sample.rgb) {
                *sum += f64::from(value) / middle.len() as f64;
            }
        }
        let at = |part: f64| f64::from(ring[((ring.len() - 1) as f64 * part) as usize].luminance);
        Background { luminance: luminance(rgb), spread: 0.5 * (at(0.84) - at(0.16)), rgb }
    }

    /// Mean luminance of the core without its outermost cells, where there are others.
    fn core_light(&self, core: &[usize]) -> f64 {
        let mut values: Vec<f64> = core.iter().map(|c| self.luminance(*c)).collect();
        values.sort_by(f64::total_cmp);
        let upper = &values[values.len() / 2..];
        upper.iter().sum::<f64>() / upper.len().max(1) as f64
    }

    /// The core and a few cells around it, without other lights' cells.
    fn zone(&self, core: &[usize], owner: &[u32], me: u32) -> Vec<usize> {
        let mut zone: std::collections::BTreeSet<usize> = core.iter().copied().collect();
        let mut ring = core.to_vec();
        for _ in 0..EDGE_CELLS {
            let next: Vec<usize> = ring
                .iter()
                .flat_map(|c| neighbours(*c, self.image.width, self.label.len()))
                .filter(|c| self.sample(*c).is_some() && (owner[*c] == NONE || owner[*c] == me))
                .collect();
            ring = next.into_iter().filter(|c| zone.insert(*c)).collect();
        }
        zone.into_iter().collect()
    }

    /// Part of the core's neighbours that lie off the sphere's usable picture.
    fn unseen_fraction(&self, core: &[usize]) -> f64 {
        let (mut all, mut unseen) = (0.0, 0.0);
        for cell in core.iter().flat_map(|c| neighbours(*c, self.image.width, self.label.len())) {
            all += 1.0;
            unseen += if self.sample(cell).is_none() { 1.0 } else { 0.0 };
        }
        if all > 0.0 { unseen / all } else { 0.0 }
    }

    fn integrate(&self, core: &[usize], zone: &[usize], background: &Background, core_light: f64) -> Option<Measured> {
        let clipped = core.iter().filter_map(|c| self.sample(*c)).any(|s| s.clipped);
        let excess = |s: &Sample| {
            let above = f64::from(s.luminance) - background.luminance;
            // A clipped core says where the light is, not how its brightness is spread: weigh its cells alike.
            if clipped && above < 0.5 * (core_light - background.luminance) { 0.0 } else { above }
        };
        let cells: Vec<&Sample> = zone.iter().filter_map(|c| self.sample(*c)).collect();
        let (mut moment, mut flux, mut squares, mut blur) = (Vector3::zeros(), 0.0, 0.0, 0.0);
        for sample in &cells {
            let weight = excess(sample) * sample.steradian;
            moment += sample.direction * weight;
            flux += weight;
            squares += weight * weight;
            blur += weight * sample.extent_rad2 / 24.0;
        }
        let direction = moment.try_normalize(1e-15)?;
        if flux <= 0.0 || core_light <= background.luminance {
            return None;
        }
        let steradian = flux / (core_light - background.luminance);
        let blur_spread = blur / flux;
        Some(Measured {
            direction,
            core_luminance: core_light,
            background: background.luminance,
            illuminance_rgb: facing_light(&cells, &direction, background, steradian),
            steradian,
            spread: 1.0 - moment.norm() / flux - blur_spread,
            blur_spread,
            core_cells: core.len(),
            concentration: squares / (flux * flux),
            clipped,
            background_sd: background.spread,
            background_rgb: background.rgb,
            zone_steradian: cells.iter().map(|s| s.steradian).sum(),
            unseen_fraction: self.unseen_fraction(core),
        })
    }
}

/// Illuminance per channel on a plane facing the light: what stands above the background, plus the background that
/// the light covers.
fn facing_light(cells: &[&Sample], direction: &Vector3<f64>, background: &Background, steradian: f64) -> [f64; 3] {
    let (mut light, mut weight, mut total) = ([0.0; 3], 0.0, 0.0);
    for sample in cells {
        let cosine = sample.direction.dot(direction).max(0.0);
        let share = (f64::from(sample.luminance) - background.luminance).max(0.0) * sample.steradian;
        weight += share * cosine;
        total += share;
        for (sum, (value, base)) in light.iter_mut().zip(sample.rgb.iter().zip(background.rgb)) {
            *sum += (f64::from(*value) - base) * cosine * sample.steradian;
        }
    }
    let mean_cosine = if total > 0.0 { weight / total } else { 1.0 };
    let mut all = [0.0; 3];
    for channel in 0..3 {
        all[channel] = light[channel] + background.rgb[channel] * steradian * mean_cosine;
    }
    all
}

/// Cells by row, to look for the nearest: asking each about each takes seconds where there are tens of thousands.
struct Places {
    width: usize,
    first_row: usize,
    /// Columns of each row from the first on, in order.
    rows: Vec<Vec<usize>>,
}

impl Places {
    fn of(cells: &[usize], width: usize) -> Self {
        let mut sorted = cells.to_vec();
        sorted.sort_unstable();
        let [first_row, last_row] = [sorted.first(), sorted.last()].map(|cell| cell.map_or(0, |cell| cell / width));
        let mut rows = vec![Vec::new(); last_row - first_row + 1];
        for cell in sorted {
            rows[cell / width - first_row].push(cell % width);
        }
        Self { width, first_row, rows }
    }

    /// Distance in cells from one cell to the nearest; infinite where there are none.
    fn distance(&self, cell: usize) -> f64 {
        let (x, y) = (cell % self.width, cell / self.width);
        let last_row = self.first_row + self.rows.len() - 1;
        let farthest = y.abs_diff(self.first_row).max(y.abs_diff(last_row));
        let mut nearest: Option<usize> = None;
        for away in 0..=farthest {
            if nearest.is_some_and(|squared| squared <= away * away) {
                break;
            }
            for row in [y.checked_sub(away), Some(y + away)].into_iter().flatten() {
                let across = row.checked_sub(self.first_row).and_then(|row| nearest_in(self.rows.get(row)?, x));
                let squared = across.map(|across| across * across + away * away);
                nearest = nearest.into_iter().chain(squared).min();
            }
        }
        nearest.map_or(f64::INFINITY, |squared| (squared as f64).sqrt())
    }
}

/// How far a column is from the nearest of some in order.
fn nearest_in(columns: &[usize], x: usize) -> Option<usize> {
    let after = columns.partition_point(|column| *column < x);
    let [before, after] = [after.checked_sub(1).and_then(|at| columns.get(at)), columns.get(after)];
    before.into_iter().chain(after).map(|column| column.abs_diff(x)).min()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against every cell asked about every other.
    #[test]
    fn the_nearest_of_many_cells_is_found() {
        const WIDTH: usize = 37;
        let number = |i: usize| (i.wrapping_mul(2_654_435_761) >> 9) % (WIDTH * 29);
        for count in [1, 2, 7, 200] {
            let cells: Vec<usize> = (0..count).map(|i| number(i + count)).collect();
            let places = Places::of(&cells, WIDTH);
            for cell in 0..WIDTH * 29 {
                let squared =
                    |c: &usize| (c % WIDTH).abs_diff(cell % WIDTH).pow(2) + (c / WIDTH).abs_diff(cell / WIDTH).pow(2);
                let expected = cells.iter().map(squared).min().map_or(f64::INFINITY, |d| (d as f64).sqrt());
                assert!(places.distance(cell).total_cmp(&expected).is_eq(), "{cell} of {count}");
            }
        }
        assert!(Places::of(&[], WIDTH).distance(5).is_infinite());
    }
}
