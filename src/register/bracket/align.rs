//! Brackets shot from the hand: every exposure brought to the place of one, by the sphere.
//!
//! The camera moved between exposures, and what is near moves by more than what is far; the sphere is what has to
//! match. Its own picture inside the rim is registered: base-2 logarithms of the light, by trying every whole step at a
//! coarse level, then coarse to fine by Gauss-Newton on the translation (Lucas & Kanade 1981) with robust weights.

use std::ops::Range;

use super::BracketFrame;
use crate::base::parallel;
use crate::image::Frame;
use crate::sphere::Outline;

/// Finest level: radius of the sphere in cells, at most.
const FINEST_RADIUS: f64 = 240.0;
/// Coarsest level: below this radius nothing is left to register.
const COARSEST_RADIUS: f64 = 14.0;
/// The picture around the sphere that is kept, in radii: room for the movement.
const REACH: f64 = 1.5;
/// What is compared: inside the rim, in radii. What lies behind the sphere moves differently.
const INSIDE: f64 = 0.93;
/// Rounding of squared distances, as a part of them, is well below this.
const ROUNDING: f64 = 1e-9;
/// Whole steps tried at the coarsest level, in radii.
const FARTHEST: f64 = 0.5;
/// Differences of this many stops count half in that search.
const SEARCH_STOPS: f64 = 0.5;
/// Values are lifted by this share of the median before the logarithm, so that noise in the dark stays small.
const LIFT: f64 = 0.05;
/// A shift below this is left alone, px: moving pixels costs more sharpness than it brings.
const LEAST_SHIFT_PX: f64 = 0.03;
/// From this share of the clip level on a reading counts as clipped.
const CLIP_MARGIN: f32 = 0.95;
/// Steps of each level.
const STEPS: usize = 12;

/// Where an exposure shows the sphere, against the reference exposure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shift {
    /// Columns and rows by which the exposure shows the sphere further right and down, px.
    pub offset_px: [f64; 2],
    /// One standard deviation of each, px.
    pub sd_px: f64,
}

/// How each exposure lies against the one numbered `reference`, whose sphere has `outline`; `None` where the two have
/// too little in common.
pub fn measure_shifts(frames: &[BracketFrame], reference: usize, outline: &Outline) -> Vec<Option<Shift>> {
    let Some(fixed) = frames.get(reference) else { return vec![None; frames.len()] };
    let levels = levels(outline);
    let ceilings: Vec<[f64; 3]> = frames.iter().map(|moving| common_ceiling(fixed, moving)).collect();
    let mut shifts = vec![None; frames.len()];
    shifts[reference] = Some(Shift { offset_px: [0.0; 2], sd_px: 0.0 });
    let mut left: Vec<usize> = (0..frames.len()).filter(|i| *i != reference).collect();
    // What the reference shows below one ceiling is the same for all exposures that share it.
    while let Some(ceiling) = left.first().map(|i| ceilings[*i]) {
        let is_same = |other: &[f64; 3]| other.map(f64::to_bits) == ceiling.map(f64::to_bits);
        let alike: Vec<usize> = left.extract_if(.., |i| is_same(&ceilings[*i])).collect();
        let targets = Patch::of_levels(fixed, outline, &levels, &ceiling, None);
        let found = parallel::map_each(&alike, |i| register(&targets, &frames[*i], outline, &levels, &ceiling));
        for (i, shift) in alike.into_iter().zip(found) {
            shifts[i] = shift;
        }
    }
    shifts
}

/// Brings an exposure to the place of the reference by cubic interpolation in linear light (Keys 1981).
pub fn apply(frame: &mut Frame, shift: &Shift) {
    if shift.offset_px[0].hypot(shift.offset_px[1]) < LEAST_SHIFT_PX {
        return;
    }
    let (width, height) = (frame.data.width, frame.data.height);
    let source = &*frame;
    let moved: Vec<[f32; 3]> = parallel::map(width * height, |i| {
        let at = [(i % width) as f64 + shift.offset_px[0], (i / width) as f64 + shift.offset_px[1]];
        cubic(source, at).unwrap_or([f32::NAN; 3])
    });
    frame.rgb = moved;
}

/// Cell sizes from the coarsest to the finest level, px.
fn levels(outline: &Outline) -> Vec<f64> {
    let radius = outline.mean_radius().max(1.0);
    let finest = (radius / FINEST_RADIUS).ceil().max(1.0);
    let mut cells = vec![finest];
    while radius / (cells[cells.len() - 1] * 2.0) >= COARSEST_RADIUS {
        cells.push(cells[cells.len() - 1] * 2.0);
    }
    cells.reverse();
    cells
}

/// The surroundings of the sphere at one level: logarithm of the light, NaN where unknown.
struct Patch {
    width: usize,
    height: usize,
    /// The outline's centre and radius in cells.
    centre: [f64; 2],
    radius: f64,
    /// Light added before the logarithm; the same in what is compared.
    lift: f32,
    log2_light: Vec<f32>,
}

impl Patch {
    /// At every level, lifted as in `as_in` where that is given; the pixels are looked at once for all levels.
    fn of_levels(
        source: &BracketFrame,
        outline: &Outline,
        levels: &[f64],
        ceiling: &[f64; 3],
        as_in: Option<&[Self]>,
    ) -> Vec<Self> {
        let mut grids: Vec<Cells> = levels.iter().map(|cell_px| Cells::around(outline, *cell_px)).collect();
        add_light(source, ceiling, &mut grids);
        let patch = |(level, grid): (usize, Cells)| {
            let light = grid.means();
            let lift = as_in.and_then(|patches| patches.get(level)).map_or_else(|| own_lift(&light), |p| p.lift);
            let [x, y] = grid.corner.map(|v| v as f64);
            let cell_px = grid.side as f64;
            Self {
                width: grid.count,
                height: grid.count,
                centre: [(outline.centre_x - x) / cell_px, (outline.centre_y - y) / cell_px],
                radius: outline.mean_radius() / cell_px,
                lift,
                log2_light: light.into_iter().map(|v| (v.max(0.0) + lift).log2()).collect(),
            }
        };
        grids.into_iter().enumerate().map(patch).collect()
    }

    /// The cells within so many of the sphere's centre, row by row.
    fn inside(&self, reach: f64) -> Vec<Cell> {
        let places = (0..self.height).flat_map(|row| (0..self.width).map(move |column| (row, column)));
        let inside = places.filter(|(row, column)| self.is_within(*column, *row, reach));
        let cell = |(row, column): (usize, usize)| Cell {
            column: column as i64,
            row: row as i64,
            log2_light: f64::from(self.log2_light[row * self.width + column]),
        };
        inside.map(cell).collect()
    }

    /// A cell lies within so many cells of the sphere's centre.
    fn is_within(&self, column: usize, row: usize, reach: f64) -> bool {
        let [x, y] = [column as f64 + 0.5 - self.centre[0], row as f64 + 0.5 - self.centre[1]];
        // The squares tell it but for what lies at the very edge.
        let part = (x * x + y * y) / (reach * reach);
        part <= 1.0 - ROUNDING || (part <= 1.0 + ROUNDING && x.hypot(y) <= reach)
    }

    /// Bilinear; `None` where a neighbour is unknown.
    fn at(&self, x: f64, y: f64) -> Option<f64> {
        if x < 0.0 || y < 0.0 || x >= (self.width - 1) as f64 || y >= (self.height - 1) as f64 {
            return None;
        }
        let (column, row) = (x as usize, y as usize);
        let (fx, fy) = (x - column as f64, y - row as f64);
        let value = |c: usize, r: usize| f64::from(self.log2_light[r * self.width + c]);
        let top = value(column, row) * (1.0 - fx) + value(column + 1, row) * fx;
        let bottom = value(column, row + 1) * (1.0 - fx) + value(column + 1, row + 1) * fx;
        let mixed = top * (1.0 - fy) + bottom * fy;
        mixed.is_finite().then_some(mixed)
    }
}

/// A cell of a patch; NaN where its light is unknown.
struct Cell {
    column: i64,
    row: i64,
    log2_light: f64,
}

fn own_lift(light: &[f32]) -> f32 {
    let mut known: Vec<f32> = light.iter().copied().filter(|v| *v > 0.0).collect();
    if known.is_empty() {
        return f32::MIN_POSITIVE;
    }
    let middle = known.len() / 2;
    let median = *known.select_nth_unstable_by(middle, f32::total_cmp).1;
    (LIFT * f64::from(median)).max(1e-30) as f32
}

/// Light per channel above which one of the two exposures may be clipped: both are cut to it, so that what is clipped
/// in one looks alike in the other.
fn common_ceiling(a: &BracketFrame, b: &BracketFrame) -> [f64; 3] {
    let of = |f: &BracketFrame, c: usize| {
        let level = f.frame.clip_level.map_or(f64::INFINITY, |level| f64::from(level[c]));
        f64::from(CLIP_MARGIN) * level * (-f.stops).ratio()
    };
    [0, 1, 2].map(|c| of(a, c).min(of(b, c)))
}

/// Light summed over squares of whole pixels.
struct Cells {
    /// The first cell's upper left pixel.
    corner: [i64; 2],
    /// Pixels of a cell each way.
    side: usize,
    /// Cells each way.
    count: usize,
    /// Row by row; NaN where a pixel is unknown.
    sums: Vec<f64>,
}

impl Cells {
    fn around(outline: &Outline, cell_px: f64) -> Self {
        let reach = REACH * outline.semi_a + 2.0 * cell_px;
        let corner = [outline.centre_x - reach, outline.centre_y - reach].map(|v| (v.clamp(-1e8, 1e8)).floor() as i64);
        let count = ((2.0 * reach / cell_px).ceil().clamp(4.0, 4.0 * REACH * FINEST_RADIUS)) as usize;
        Self { corner, side: cell_px as usize, count, sums: vec![0.0; count * count] }
    }

    /// Columns and rows of the display window that the cells take up.
    fn spans(&self) -> [Range<i64>; 2] {
        self.corner.map(|start| start..start + (self.count * self.side) as i64)
    }

    /// Adds a row of pixels, the first of which stands in column `first`; the cells beyond its ends become unknown.
    fn add_row(&mut self, y: i64, first: i64, light: &[f64]) {
        let down = y - self.corner[1];
        if down < 0 || down >= (self.count * self.side) as i64 {
            return;
        }
        let row = down as usize / self.side * self.count;
        let mut x = self.corner[0] - first;
        for sum in &mut self.sums[row..row + self.count] {
            let pixels = usize::try_from(x).ok().and_then(|x| light.get(x..x + self.side));
            *sum = pixels.map_or(f64::NAN, |pixels| pixels.iter().fold(*sum, |sum, light| sum + light));
            x += self.side as i64;
        }
    }

    fn means(&self) -> Vec<f32> {
        self.sums.iter().map(|sum| (sum / (self.side * self.side) as f64) as f32).collect()
    }
}

/// Adds a frame's pixels to the cells of all levels: the mean of the channels, as light below a ceiling.
fn add_light(source: &BracketFrame, ceiling: &[f64; 3], grids: &mut [Cells]) {
    let data = &source.frame.data;
    let gain = (-source.stops).ratio();
    let light = |rgb: &[f32; 3], c: usize| (f64::from(rgb[c]) * gain).min(ceiling[c]);
    let shown = |rgb: &[f32; 3]| {
        if rgb[0].is_finite() { (light(rgb, 0) + light(rgb, 1) + light(rgb, 2)) / 3.0 } else { f64::NAN }
    };
    let spans: Vec<[Range<i64>; 2]> = grids.iter().map(Cells::spans).collect();
    let hull = |axis: usize| {
        let (starts, ends) = (spans.iter().map(|s| s[axis].start), spans.iter().map(|s| s[axis].end));
        starts.min().unwrap_or(0)..ends.max().unwrap_or(0)
    };
    let [columns, rows] = [hull(0), hull(1)];
    let first = (columns.start - data.x).clamp(0, data.width as i64) as usize;
    let end = (columns.end - data.x).clamp(first as i64, data.width as i64) as usize;
    let mut row_light = Vec::new();
    for y in rows {
        row_light.clear();
        let row = usize::try_from(y - data.y).ok().filter(|row| *row < data.height);
        let pixels = row.and_then(|row| source.frame.rgb.get(row * data.width + first..row * data.width + end));
        row_light.extend(pixels.unwrap_or_default().iter().map(shown));
        for grid in &mut *grids {
            grid.add_row(y, data.x + first as i64, &row_light);
        }
    }
}

/// Coarse to fine.
fn register(
    targets: &[Patch],
    moving: &BracketFrame,
    outline: &Outline,
    levels: &[f64],
    ceiling: &[f64; 3],
) -> Option<Shift> {
    let mut offset_px = [0.0; 2];
    let mut found = None;
    let patches = Patch::of_levels(moving, outline, levels, ceiling, Some(targets));
    for (i, ((cell, target), moving)) in levels.iter().zip(targets).zip(&patches).enumerate() {
        if i == 0 {
            offset_px = whole_step(target, moving).map(|v| v * cell);
        }
        let Some(step) = translate(target, moving, offset_px.map(|v| v / cell), INSIDE * target.radius) else {
            continue;
        };
        offset_px = step.offset_px.map(|v| v * cell);
        found = Some(Shift { offset_px, sd_px: step.sd_px * cell });
    }
    let limit = outline.semi_a;
    found.filter(|s| s.offset_px.iter().all(|v| v.abs() < limit) && s.sd_px.is_finite())
}

/// The whole step in cells at which the sphere's picture agrees best.
fn whole_step(target: &Patch, moving: &Patch) -> [f64; 2] {
    let far = (FARTHEST * target.radius).clamp(0.0, 40.0) as i64;
    let steps: Vec<[i64; 2]> = (-far..=far).flat_map(|dy| (-far..=far).map(move |dx| [dx, dy])).collect();
    let inside = target.inside(INSIDE * target.radius);
    let scored: Vec<(f64, [i64; 2])> =
        parallel::filter_map(steps.len(), |i| Some((disagreement(&inside, moving, steps[i])?, steps[i])));
    // Of equally good ones the smallest movement.
    let size = |step: &[i64; 2]| step[0].pow(2) + step[1].pow(2);
    let best = scored.iter().min_by(|a, b| a.0.total_cmp(&b.0).then(size(&a.1).cmp(&size(&b.1))));
    best.map_or([0.0; 2], |(_, step)| step.map(|v| v as f64))
}

/// Mean bounded square of the differences to these cells after their mean is taken out; `None` where too little is common.
fn disagreement(inside: &[Cell], moving: &Patch, step: [i64; 2]) -> Option<f64> {
    let difference = |cell: &Cell| {
        let (x, y) = (cell.column + step[0], cell.row + step[1]);
        let is_there = x >= 0 && y >= 0 && x < moving.width as i64 && y < moving.height as i64;
        let moved = is_there.then(|| f64::from(moving.log2_light[y as usize * moving.width + x as usize]))?;
        Some(moved - cell.log2_light).filter(|difference| difference.is_finite())
    };
    let differences: Vec<f64> = inside.iter().filter_map(difference).collect();
    if differences.len() < 40 || differences.len() * 4 < inside.len() {
        return None;
    }
    let count = differences.len() as f64;
    let mean = differences.iter().sum::<f64>() / count;
    let bounded = |d: f64| d * d / (d * d + SEARCH_STOPS * SEARCH_STOPS);
    Some(differences.iter().map(|d| bounded(d - mean)).sum::<f64>() / count)
}

/// Gauss-Newton on shift and brightness at one level, in cells.
fn translate(target: &Patch, moving: &Patch, start: [f64; 2], reach: f64) -> Option<Shift> {
    let mut shift = start;
    let mut scale = 1.0_f64;
    let mut sd = f64::INFINITY;
    for _ in 0..STEPS {
        let sums = Sums::gather(target, moving, shift, reach, scale);
        let (step, spread, cov) = sums.solve()?;
        shift = [shift[0] + step[0], shift[1] + step[1]];
        scale = spread.max(1e-3);
        sd = cov.sqrt();
        if step[0].hypot(step[1]) < 1e-4 {
            break;
        }
    }
    shift.iter().all(|v| v.is_finite()).then_some(Shift { offset_px: shift, sd_px: sd })
}

/// Normal equations of (shift x, shift y, brightness).
#[derive(Clone, Copy, Default)]
struct Sums {
    matrix: nalgebra::Matrix3<f64>,
    right: nalgebra::Vector3<f64>,
    square: f64,
    weight: f64,
    count: f64,
}

impl Sums {
    fn gather(target: &Patch, moving: &Patch, shift: [f64; 2], reach: f64, scale: f64) -> Self {
        let rows: Vec<Self> = parallel::map(target.height - 2, |row| {
            let mut sums = Self::default();
            for column in 1..target.width - 1 {
                sums.add(target, moving, [column, row + 1], shift, reach, scale);
            }
            sums
        });
        rows.into_iter().fold(Self::default(), |a, b| Self {
            matrix: a.matrix + b.matrix,
            right: a.right + b.right,
            square: a.square + b.square,
            weight: a.weight + b.weight,
            count: a.count + b.count,
        })
    }

    fn add(
        &mut self,
        target: &Patch,
        moving: &Patch,
        [column, row]: [usize; 2],
        shift: [f64; 2],
        reach: f64,
        scale: f64,
    ) {
        if !target.is_within(column, row, reach) {
            return;
        }
        let (x, y) = (column as f64 + shift[0], row as f64 + shift[1]);
        let fixed = f64::from(target.log2_light[row * target.width + column]);
        let (Some(value), true) = (moving.at(x, y), fixed.is_finite()) else { return };
        let slope = |dx: f64, dy: f64| Some((moving.at(x + dx, y + dy)? - moving.at(x - dx, y - dy)?) * 0.5);
        let (Some(gx), Some(gy)) = (slope(1.0, 0.0), slope(0.0, 1.0)) else { return };
        let difference = fixed - value;
        let weight = 1.0 / (1.0 + (difference / (2.0 * scale)).powi(2));
        let row = nalgebra::Vector3::new(gx, gy, 1.0);
        self.matrix += row * row.transpose() * weight;
        self.right += row * (weight * difference);
        self.square += weight * difference * difference;
        self.weight += weight;
        self.count += 1.0;
    }

    /// Step, spread of the differences, variance of one component of the shift.
    fn solve(&self) -> Option<([f64; 2], f64, f64)> {
        if self.count < 40.0 {
            return None;
        }
        let inverse = self.matrix.try_inverse()?;
        let step = inverse * self.right;
        let spread2 = ((self.square - step.dot(&self.right)) / self.weight).max(1e-12);
        // Neighbouring cells share noise and interpolation: four of them count as one.
        let variance = 4.0 * spread2 * inverse[(0, 0)].max(inverse[(1, 1)]);
        variance.is_finite().then_some(([step.x, step.y], spread2.sqrt(), variance))
    }
}

/// The pixel at a fractional place of the data window; at the clip level where anything around it is clipped, `None`
/// where something is unknown.
fn cubic(frame: &Frame, at: [f64; 2]) -> Option<[f32; 3]> {
    let base = at.map(f64::floor);
    let (wx, wy) = (keys_weights(at[0] - base[0]), keys_weights(at[1] - base[1]));
    let clip = frame.clip_level.unwrap_or([f32::INFINITY; 3]);
    let (mut sum, mut clipped) = ([0.0_f64; 3], [false; 3]);
    for (j, weight_y) in wy.iter().enumerate() {
        for (i, weight_x) in wx.iter().enumerate() {
            let weight = weight_x * weight_y;
            if weight == 0.0 {
                continue;
            }
            let (x, y) = (base[0] as i64 + i as i64 - 1, base[1] as i64 + j as i64 - 1);
            let rgb = frame.pixel(x + frame.data.x, y + frame.data.y)?;
            for c in 0..3 {
                sum[c] += weight * f64::from(rgb[c]);
                clipped[c] |= rgb[c] >= clip[c];
            }
        }
    }
    Some(
        [0, 1, 2]
            .map(|c| if clipped[c] { (sum[c] as f32).max(clip[c]) } else { (sum[c] as f32).min(clip[c] * 0.9999) }),
    )
}

/// Keys' cubic with a = −1/2 at distances −1, 0, 1, 2.
fn keys_weights(t: f64) -> [f64; 4] {
    [
        ((-0.5 * t + 1.0) * t - 0.5) * t,
        (1.5 * t - 2.5) * t * t + 1.0,
        ((-1.5 * t + 2.0) * t + 0.5) * t,
        (0.5 * t - 0.5) * t * t,
    ]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Stops;
    use crate::register::test_scene::{Texture, clipped, frame, with_noise};

    const SIZE: [usize; 2] = [260, 220];

    /// A textured sphere in front of a background that moves differently.
    fn shot(shift: [f64; 2], background: [f64; 2], stops: f64, seed: u64) -> BracketFrame {
        let (inside, behind) = (Texture::new(3, 9.0, 90.0, 1.2), Texture::new(4, 20.0, 90.0, 0.8));
        let picture = frame(SIZE, |x, y| {
            let (dx, dy) = (x - 130.0 - shift[0], y - 110.0 - shift[1]);
            let cover = (70.0 - dx.hypot(dy) + 0.5).clamp(0.0, 1.0);
            let sphere = 0.25 * inside.at(dx, dy).exp2();
            let rest = 0.3 * behind.at(x - background[0], y - background[1]).exp2();
            [(cover * sphere + (1.0 - cover) * rest) * stops.exp2(); 3]
        });
        BracketFrame { frame: clipped(with_noise(picture, seed, 0.003), 1.0), stops: Stops(stops) }
    }

    #[test]
    fn the_sphere_is_registered_to_a_tenth_of_a_pixel_whatever_lies_behind() {
        let cases = [([0.37, -0.82], [1.9, 0.4]), ([6.4, 3.3], [12.0, 4.0]), ([-11.2, 7.7], [-16.0, 10.0])];
        for (seed, (shift, background)) in cases.into_iter().enumerate() {
            let frames = [
                shot([0.0; 2], [0.0; 2], 0.0, 90),
                shot(shift, background, -2.0, seed as u64),
                shot(shift, background, 1.5, 7 + seed as u64),
            ];
            let found = measure_shifts(&frames, 0, &Outline::circle(130.0, 110.0, 70.0));
            for one in &found[1..] {
                let one = one.expect("a shift");
                let error = (one.offset_px[0] - shift[0]).hypot(one.offset_px[1] - shift[1]);
                assert!(error < 0.1 && error < 4.0 * one.sd_px + 0.03, "{shift:?} {one:?}");
            }
        }
    }

    #[test]
    fn a_moved_exposure_is_brought_back_and_its_clipped_core_stays_clipped() {
        let mut moved = shot([0.4, -0.3], [0.4, -0.3], 1.5, 1);
        let still = shot([0.0; 2], [0.0; 2], 1.5, 1);
        apply(&mut moved.frame, &Shift { offset_px: [0.4, -0.3], sd_px: 0.01 });
        let (mut worst, mut clipped) = (0.0_f32, 0);
        for y in 60..160 {
            for x in 80..180 {
                let (a, b) = (moved.frame.pixel(x, y).unwrap()[1], still.frame.pixel(x, y).unwrap()[1]);
                if a < 1.0 && b < 0.9 {
                    worst = worst.max((a - b).abs());
                }
                clipped += i32::from(a >= 1.0);
            }
        }
        assert!(worst < 0.06 && clipped > 50, "{worst} {clipped}");
    }

    /// Against the pixels of each cell, added up by themselves.
    #[test]
    fn cells_hold_the_mean_light_of_their_pixels() {
        let mut source = shot([0.0; 2], [0.0; 2], -1.0, 5);
        source.frame.rgb[90 * SIZE[0] + 120] = [f32::NAN; 3];
        let ceiling = [0.4, 0.5, 0.45];
        // The second reaches beyond the frame.
        for outline in [Outline::circle(130.0, 110.0, 60.0), Outline::circle(30.5, 190.0, 60.0)] {
            let levels = [1.0, 2.0, 4.0];
            let mut grids: Vec<Cells> = levels.iter().map(|cell| Cells::around(&outline, *cell)).collect();
            add_light(&source, &ceiling, &mut grids);
            let mut known = 0;
            for (i, mean, cells) in
                grids.iter().flat_map(|g| g.means().into_iter().enumerate().map(move |(i, m)| (i, m, g)))
            {
                let [x, y] = [i % cells.count, i / cells.count].map(|v| (v * cells.side) as i64);
                let pixels = (0..cells.side * cells.side).map(|p| {
                    let at = [x + (p % cells.side) as i64, y + (p / cells.side) as i64];
                    source.frame.pixel(at[0] + cells.corner[0], at[1] + cells.corner[1])
                });
                let lights: Option<Vec<f64>> = pixels
                    .map(|rgb| {
                        let rgb = rgb.filter(|rgb| rgb[0].is_finite())?;
                        Some((0..3).map(|c| (2.0 * f64::from(rgb[c])).min(ceiling[c])).sum::<f64>() / 3.0)
                    })
                    .collect();
                match lights {
                    None => assert!(mean.is_nan()),
                    Some(lights) => {
                        let expected = lights.iter().sum::<f64>() / lights.len() as f64;
                        assert!((f64::from(mean) - expected).abs() < 1e-6 * expected);
                        known += 1;
                    }
                }
            }
            assert!(known > 5000, "{known}");
        }
    }

    #[test]
    fn a_plain_sphere_gives_nothing_or_says_how_little_it_knows() {
        let plain = |stops: f64| {
            let picture = frame(SIZE, |_, _| [0.2 * stops.exp2(); 3]);
            BracketFrame { frame: picture, stops: Stops(stops) }
        };
        let found = measure_shifts(&[plain(0.0), plain(1.0)], 0, &Outline::circle(130.0, 110.0, 70.0));
        assert_eq!(found[1], None);
    }
}
