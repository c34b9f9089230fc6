//! One dent as a Gaussian hollow of the sphere, and how much of a difference between the pictures it explains.

use super::align::Aligned;
use super::pictures::Pictures;
use crate::parallel;
use crate::sphere_faults::grid::Grid;

/// Widths tried, as parts of the radius; none is narrower than this many cells.
const WIDTHS: [f64; 5] = [0.05, 0.075, 0.11, 0.16, 0.22];
const LEAST_WIDTH_CELLS: f64 = 2.5;
/// … and none wider than this part of the radius: what bends more of the sphere is its outline.
const MOST_WIDTH: f64 = 0.3;

/// Largest displacements tried, in widths: reflections may be drawn together or folded over.
const SHIFTS: [f64; 4] = [0.15, 0.3, 0.6, 1.0];

/// None is larger than this.
const MOST_SHIFT: f64 = 1.3;

/// Reaches of a dent, in its widths.
const REACH: f64 = 2.4;

/// The first look takes every second cell each way: structure is smoothed over three.
const ROUGH_STRIDE: usize = 2;

/// Places looked at, the most unlike first.
const PLACES: usize = 6;

/// A place is looked at where the two pictures differ by this many times the usual scatter.
const LEAST_UNLIKE: f32 = 2.5;

/// A dent explains at least this part of the squared difference.
const LEAST_EXPLAINED: f64 = 0.45;

/// The displacement that is told, cells.
const LEAST_SHIFT_CELLS: f64 = 0.7;

/// A part of a dent tells where the photograph's structure there is this many times the usual scatter (squares) …
const TELLING: f64 = 6.0;
/// … bears the dent out where the CG's, with the dent laid over, correlates with it at least this much …
const BORNE_OUT: f64 = 0.6;
/// … and what is missing to 1 is at most this part of that without; it speaks against one where the reverse holds.
const CLEARLY: f64 = 0.5;
/// Cells that a part needs: the picture is smoothed over three by three of them.
const LEAST_CELLS: f64 = 12.0;
/// Parts that have to bear it out, and that may speak against it, of the twelve: three rings by four quarters.
const LEAST_FOR: usize = 8;
/// So many of them in the ring about the middle: what was made larger in the CG moves along its edge only.
const LEAST_INSIDE: usize = 2;
const MOST_AGAINST: usize = 1;

/// A dent on the disc.
#[derive(Debug, Clone, Copy)]
pub(super) struct Bump {
    /// Its middle, −1 to 1: right and down.
    pub(super) middle: [f64; 2],
    /// 1 sd of its profile, in radii of the sphere.
    pub(super) width: f64,
    /// Displacement one width from the middle, cells: the largest. Positive outwards.
    pub(super) shift_cells: f64,
}

impl Bump {
    /// Displacement of a place on the disc, cells; `None` where there is none.
    pub(super) fn shift_at(&self, on_disc: [f64; 2]) -> Option<[f64; 2]> {
        Some(self.shift(self.offset(normal(on_disc)?, normal(self.middle)?)?))
    }

    /// Offset of a place from the middle in widths, along the surface; `None` beyond its reach.
    fn offset(&self, place: [f64; 3], middle: [f64; 3]) -> Option<[f64; 3]> {
        let u = [0, 1, 2].map(|k| (place[k] - middle[k]) / self.width);
        (square(u) < REACH * REACH).then_some(u)
    }

    /// Displacement at an offset.
    fn shift(&self, u: [f64; 3]) -> [f64; 2] {
        let size = self.shift_cells * (0.5 - 0.5 * square(u)).exp();
        [u[0] * size, u[1] * size]
    }
}

/// The half sphere above the disc; `None` beside it.
fn normal([x, y]: [f64; 2]) -> Option<[f64; 3]> {
    let z2 = 1.0 - x * x - y * y;
    (z2 > 0.0).then(|| [x, y, z2.sqrt()])
}

/// Differences count up to this many times the usual scatter and this much more: an edge of something that was changed in
/// the CG must not outweigh the structure about it.
const MOST_SCATTERS: f32 = 4.0;
const MOST_BEYOND: f32 = 0.05;

/// This part of a dent has to be seen.
const LEAST_SEEN: f64 = 0.6;
/// The rings end at so many widths from the middle.
const RINGS: [f64; 2] = [0.75, 1.4];
/// First and last step of the climb, as parts of each parameter.
const FIRST_STEP: f64 = 0.5;
const LAST_STEP: f64 = 0.04;
/// Rounds of it.
const MOST_ROUNDS: usize = 60;

/// Differences without and with the dent, over one part of it.
#[derive(Debug, Clone, Copy, Default)]
struct Part {
    cells: f64,
    /// Squared and capped.
    without: f64,
    with: f64,
    /// Of the photograph.
    own: Moments,
    /// Of the photograph with the CG, without and with the dent.
    cg_without: Moments,
    cg_with: Moments,
}

/// Sums that make up a correlation: of the values, their squares and their products with the photograph's.
#[derive(Debug, Clone, Copy, Default)]
struct Moments([f64; 3]);

impl Moments {
    fn add(&mut self, value: f64, own: f64) {
        self.0.iter_mut().zip([value, value * value, value * own]).for_each(|(sum, term)| *sum += term);
    }
}

impl Part {
    fn add(&mut self, mirror: f32, [without, with]: [f32; 2], most: f32) {
        self.cells += 1.0;
        self.without += capped_square(without, most);
        self.with += capped_square(with, most);
        let own = f64::from(mirror);
        self.own.add(own, own);
        self.cg_without.add(own - f64::from(without), own);
        self.cg_with.add(own - f64::from(with), own);
    }

    /// Variance of the photograph.
    fn variance(&self) -> f64 {
        let [sum, squares, _] = self.own.0.map(|s| s / self.cells.max(1.0));
        squares - sum * sum
    }

    fn correlation(&self, cg: &Moments) -> f64 {
        let [c, cc, mc] = cg.0.map(|s| s / self.cells.max(1.0));
        let m = self.own.0[0] / self.cells.max(1.0);
        (mc - m * c) / (self.variance() * (cc - c * c)).max(1e-12).sqrt()
    }

    /// +1 where it bears the dent out, −1 where it speaks against it.
    fn says(&self, usual: f64) -> i32 {
        if self.cells < LEAST_CELLS || self.variance() < TELLING * usual {
            return 0;
        }
        let (before, after) = (self.correlation(&self.cg_without), self.correlation(&self.cg_with));
        let (left_before, left_after) = (1.0 - before, 1.0 - after);
        i32::from(after >= BORNE_OUT && left_after <= CLEARLY * left_before)
            - i32::from(left_before <= CLEARLY * left_after)
    }
}

/// The pictures laid over each other.
struct At<'a> {
    pictures: &'a Pictures,
    aligned: &'a Aligned,
    /// Normal of each cell's place on the disc.
    normals: Vec<Option<[f64; 3]>>,
}

/// The dent that explains most of what differs, and the part of the squared difference that it explains; `None` where
/// nothing is explained by one.
pub(super) fn find_bump(pictures: &Pictures, aligned: &Aligned) -> Option<(Bump, f64)> {
    let side = pictures.side;
    let normals = (0..side * side).map(|i| normal(pictures.on_disc(i % side, i / side))).collect();
    let at = At { pictures, aligned, normals };
    let fits = parallel::map_each(&at.unlike_places(), |place| Some(at.climb(at.start(*place)?)));
    let mut fits: Vec<(Bump, f64)> = fits.into_iter().flatten().collect();
    fits.sort_by(|a, b| b.1.total_cmp(&a.1));
    fits.into_iter().find_map(|(bump, _)| at.borne_out(bump))
}

impl At<'_> {
    /// The dent with what it explains, where its parts bear it out.
    fn borne_out(&self, bump: Bump) -> Option<(Bump, f64)> {
        let parts = self.parts(&bump)?;
        let usual = f64::from(self.aligned.sd).powi(2).max(1e-8);
        let said: Vec<i32> = parts.iter().map(|part| part.says(usual)).collect();
        let [bear_out, against] = [1, -1].map(|what| said.iter().filter(|s| **s == what).count());
        let inside = said.iter().take(4).filter(|s| **s == 1).count();
        let (without, with) = parts.iter().fold((0.0, 0.0), |(a, b), p| (a + p.without, b + p.with));
        let explained = 1.0 - with / without.max(f64::MIN_POSITIVE);
        let clear = bear_out >= LEAST_FOR
            && inside >= LEAST_INSIDE
            && against <= MOST_AGAINST
            && explained >= LEAST_EXPLAINED
            && bump.shift_cells.abs() >= LEAST_SHIFT_CELLS;
        clear.then_some((bump, explained))
    }

    /// Where the pictures differ most, on the disc.
    fn unlike_places(&self) -> Vec<[f64; 2]> {
        let side = self.pictures.side;
        let square = Grid { side, values: self.aligned.residual.iter().map(|r| r * r).collect() };
        let reach = (0.05 * self.pictures.radius).round().max(1.0) as usize;
        let mut blurred = square.blurred(reach);
        let least = (LEAST_UNLIKE * self.aligned.sd).powi(2);
        let apart = (2 * reach + 1) as f64;
        let mut places = Vec::new();
        while places.len() < PLACES {
            let best = blurred.values.iter().enumerate().filter(|(_, v)| **v > least).max_by(|a, b| a.1.total_cmp(b.1));
            let Some((i, _)) = best else { break };
            let (column, row) = (i % side, i / side);
            places.push(self.pictures.on_disc(column, row));
            for (k, value) in blurred.values.iter_mut().enumerate() {
                let (dx, dy) = ((k % side) as f64 - column as f64, (k / side) as f64 - row as f64);
                if dx.hypot(dy) < apart {
                    *value = f32::NAN;
                }
            }
        }
        places
    }

    /// How much a dent explains, by every `stride`-th cell each way.
    fn gain(&self, bump: &Bump, stride: usize) -> f64 {
        let most = self.most();
        let mut gain = 0.0;
        let seen = self.each_cell(bump, stride, |_, _, [without, with]| {
            gain += capped_square(without, most) - capped_square(with, most);
        });
        if seen { gain } else { f64::MIN }
    }

    /// The best of dents of several widths and depths about a place.
    fn start(&self, place: [f64; 2]) -> Option<Bump> {
        let radius = self.pictures.radius;
        let mut best: Option<(Bump, f64)> = None;
        for width in WIDTHS.iter().copied().filter(|w| w * radius >= LEAST_WIDTH_CELLS) {
            for beside in 0..9 {
                let step = [beside % 3, beside / 3].map(|k| f64::from(k) - 1.0);
                let middle = [place[0] + step[0] * width, place[1] + step[1] * width];
                for shift in SHIFTS.iter().flat_map(|s| [*s, -*s]) {
                    let bump = Bump { middle, width, shift_cells: shift * width * radius };
                    let gain = self.gain(&bump, ROUGH_STRIDE);
                    if best.is_none_or(|(_, least)| gain > least) {
                        best = Some((bump, gain));
                    }
                }
            }
        }
        best.map(|(bump, _)| bump)
    }

    /// Along one parameter at a time, by ever smaller steps.
    fn climb(&self, start: Bump) -> (Bump, f64) {
        let radius = self.pictures.radius;
        let mut best = (start, self.gain(&start, 1));
        let mut step = FIRST_STEP;
        for _ in 0..MOST_ROUNDS {
            if step <= LAST_STEP {
                break;
            }
            let before = best.1;
            for (parameter, sign) in (0..4).flat_map(|p| [(p, 1.0), (p, -1.0)]) {
                let mut next = best.0;
                match parameter {
                    axis @ (0 | 1) => next.middle[axis] += sign * step * next.width,
                    2 => next.width = (next.width * (1.0 + 0.5 * sign * step)).max(LEAST_WIDTH_CELLS / radius),
                    _ => next.shift_cells *= 1.0 + sign * step,
                }
                if next.width > MOST_WIDTH || next.shift_cells.abs() > MOST_SHIFT * next.width * radius {
                    continue;
                }
                let gain = self.gain(&next, 1);
                if gain > best.1 {
                    best = (next, gain);
                }
            }
            if best.1 <= before {
                step *= 0.5;
            }
        }
        best
    }

    /// The twelve parts of a dent; `None` where too little of it is seen.
    fn parts(&self, bump: &Bump) -> Option<[Part; 12]> {
        let most = self.most();
        let mut parts = [Part::default(); 12];
        let seen = self.each_cell(bump, 1, |u, mirror, differences| {
            let ring = RINGS.iter().filter(|end| square(u) > *end * *end).count();
            let part = ring * 4 + usize::from(u[0] > 0.0) * 2 + usize::from(u[1] > 0.0);
            parts[part].add(mirror, differences, most);
        });
        seen.then_some(parts)
    }

    /// Differences count up to this.
    fn most(&self) -> f32 {
        MOST_SCATTERS * self.aligned.sd + MOST_BEYOND
    }

    /// Hands over each cell of a dent: its offset in widths, the photograph, and the difference from the CG without and with
    /// the dent. False where too little of it is seen.
    fn each_cell(&self, bump: &Bump, stride: usize, mut cell: impl FnMut([f64; 3], f32, [f32; 2])) -> bool {
        let side = self.pictures.side;
        let reach = REACH * bump.width;
        let range = |axis: usize| {
            let at = |sign: f64| self.pictures.middle[axis] + (bump.middle[axis] + sign * reach) * self.pictures.radius;
            at(-1.0).clamp(0.0, side as f64) as usize..at(1.0).ceil().clamp(0.0, side as f64) as usize
        };
        let Some(middle) = normal(bump.middle) else { return false };
        let (mut all, mut seen) = (0_u32, 0_u32);
        for row in range(1).step_by(stride) {
            for column in range(0).step_by(stride) {
                let i = row * side + column;
                let Some(u) = self.normals[i].and_then(|place| bump.offset(place, middle)) else { continue };
                all += 1;
                let without = self.aligned.residual[i];
                if without.is_nan() {
                    continue;
                }
                let (own, [x, y]) = (self.aligned.shift[i], bump.shift(u));
                let there = [column as f32 + (own[0] + x as f32), row as f32 + (own[1] + y as f32)];
                let mirror = self.pictures.mirror.values[i];
                let with = mirror - self.pictures.cg.between(there);
                if with.is_finite() {
                    seen += 1;
                    cell(u, mirror, [without, with]);
                }
            }
        }
        f64::from(seen) >= LEAST_SEEN * f64::from(all) && seen > 0
    }
}

fn capped_square(difference: f32, most: f32) -> f64 {
    f64::from(difference.abs().min(most)).powi(2)
}

fn square(u: [f64; 3]) -> f64 {
    u.iter().map(|c| c * c).sum()
}
