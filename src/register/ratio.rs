//! Cell by cell how much brighter the mirror frame is than the plate, and the one number most cells agree on.

use super::backdrop::{Backdrop, luminance};
use crate::base::parallel;
use crate::base::robust::{Consensus, Weighted, consensus};
use crate::{Estimate, Stops};

/// The frame is divided in this many columns and rows of regions; cells of one region are not independent.
const REGIONS: [usize; 2] = [8, 6];
/// Variance in stops² below which one cell is no better than another: moved shadows and foliage, not noise, decide.
const LEAST_CELL_VARIANCE: f64 = 0.02 * 0.02;
/// A cell noisier than this many stops is left out: the logarithm of noise is biased.
const NOISIEST_CELL_STOPS: f64 = 0.25;
/// Differences below this many stops are not told apart.
const FINEST_STOPS: f64 = 1e-4;
/// What no number of cells averages away (interpolation, half-float rounding), stops.
const METHOD_SD_STOPS: f64 = 0.0015;
/// Fewer cells than this in a region say nothing about it.
const LEAST_REGION_CELLS: usize = 5;
/// Neighbouring cells share interpolated values and texture: this many count as one.
const CELLS_PER_INDEPENDENT: f64 = 4.0;

/// One cell seen in both frames.
#[derive(Debug, Clone, Copy)]
pub(super) struct Cell {
    region: usize,
    /// Mirror frame over plate, luminance, log2.
    stops: f64,
    variance: f64,
    /// Mirror frame over plate of red/green and blue/green, log2, with their variances.
    colour: Option<[(f64, f64); 2]>,
    /// Log2 luminance, mean of both.
    level: f64,
    /// Change of the plate's log2 luminance per cell to the right and down.
    slope: [f64; 2],
}

/// What the cells agree on.
#[derive(Debug, Clone, Copy)]
pub(super) struct Pooled {
    /// The common value, with the standard deviation that the scatter between regions gives.
    pub(super) estimate: Estimate,
    /// How much regions differ beyond their own noise, standard deviation.
    pub(super) uneven: f64,
    /// Share of the weight that agrees.
    pub(super) agreeing: f64,
    /// Cells that agree.
    pub(super) cells: usize,
    /// The distance of a second value that nearly as many cells agree on.
    pub(super) rival: Option<f64>,
    kept: Consensus,
}

/// Compares the two frames at a shift in cells, given for each cell by its column and row.
///
/// Both are read half-way towards each other, so that interpolation dampens their detail alike and cannot pass for a
/// brightness difference.
pub(super) fn compare(
    plate: &Backdrop,
    mirror: &Backdrop,
    shift_cells: &(dyn Fn([usize; 2]) -> [f64; 2] + Sync),
    sd_cells: f64,
) -> Vec<Cell> {
    let step = step(plate);
    let row = |y: usize| -> Vec<Cell> {
        let cell = |x: usize| {
            let (p, m) = both_at(plate, mirror, [x, y], shift_cells([x, y]))?;
            let region = (y * REGIONS[1] / plate.height) * REGIONS[0] + x * REGIONS[0] / plate.width;
            Cell::new(plate, mirror, p, m, region, slope_at(plate, x, y), sd_cells)
        };
        (0..plate.width).step_by(step).filter_map(cell).collect()
    };
    parallel::flat_map(plate.height.div_ceil(step), |i| row(i * step))
}

/// Colour of a cell of the plate and of the place in the other frame a shift away, both read half-way.
pub(super) fn both_at(
    plate: &Backdrop,
    other: &Backdrop,
    [x, y]: [usize; 2],
    shift_cells: [f64; 2],
) -> Option<([f32; 3], [f32; 3])> {
    let whole = shift_cells.map(f64::round);
    let half = [0, 1].map(|axis| (0.5 * (shift_cells[axis] - whole[axis])) as f32);
    let (column, row) = (x as i64, y as i64);
    let p = plate.sample(column, row, [-half[0], -half[1]])?;
    let m = other.sample(column + whole[0] as i64, row + whole[1] as i64, half)?;
    Some((p, m))
}

/// Cells that [`compare`] looks at: how many there would be if all could be compared.
pub(super) fn looked_at(plate: &Backdrop) -> usize {
    let step = step(plate);
    plate.width.div_ceil(step) * plate.height.div_ceil(step)
}

/// On a large grid every second or third column and row says as much: neighbours are not independent.
fn step(plate: &Backdrop) -> usize {
    const ENOUGH_CELLS: usize = 20_000;
    (plate.width * plate.height / ENOUGH_CELLS).isqrt() + 1
}

/// Change of log2 luminance per cell; zero at the border of what is usable.
fn slope_at(plate: &Backdrop, x: usize, y: usize) -> [f64; 2] {
    let (x, y) = (x as i64, y as i64);
    let at = |x: i64, y: i64| plate.sample(x, y, [0.0; 2]).map(|rgb| f64::from(luminance(&rgb)));
    let along = |low: Option<f64>, high: Option<f64>| {
        low.zip(high).and_then(|(low, high)| Stops::from_ratio(high, low)).map_or(0.0, |s| 0.5 * s.0)
    };
    [along(at(x - 1, y), at(x + 1, y)), along(at(x, y - 1), at(x, y + 1))]
}

impl Cell {
    fn new(
        plate: &Backdrop,
        mirror: &Backdrop,
        p: [f32; 3],
        m: [f32; 3],
        region: usize,
        slope: [f64; 2],
        sd_cells: f64,
    ) -> Option<Self> {
        let (yp, ym) = (f64::from(luminance(&p)), f64::from(luminance(&m)));
        let stops = Stops::from_ratio(ym, yp)?.0;
        let (vp, vm) = (plate.variances(p), mirror.variances(m));
        let noise = stops_variance(vp[3], yp) + stops_variance(vm[3], ym);
        if noise > NOISIEST_CELL_STOPS.powi(2) {
            return None;
        }
        // A tenth of a cell stands for what bilinear interpolation leaves of steep detail.
        let misplaced = slope[0].hypot(slope[1]) * sd_cells.hypot(0.1);
        let variance = LEAST_CELL_VARIANCE + noise + misplaced.powi(2);
        let ratio = |c: usize| channel_ratio(p, m, vp, vm, c);
        let against_green = |c: usize| {
            let ((value, var), (green, green_var)) = (ratio(c)?, ratio(1)?);
            let total = var + green_var;
            (total < NOISIEST_CELL_STOPS.powi(2))
                .then_some((value - green, LEAST_CELL_VARIANCE + total + 0.1 * misplaced.powi(2)))
        };
        let colour = against_green(0).zip(against_green(2)).map(|(r, b)| [r, b]);
        Some(Self { region, stops, variance, colour, level: 0.5 * (yp.log2() + ym.log2()), slope })
    }
}

/// Stops from plate to mirror frame in one channel, with variance.
fn channel_ratio(p: [f32; 3], m: [f32; 3], vp: [f64; 4], vm: [f64; 4], c: usize) -> Option<(f64, f64)> {
    let (p, m) = (f64::from(p[c]), f64::from(m[c]));
    Some((Stops::from_ratio(m, p)?.0, stops_variance(vp[c], p) + stops_variance(vm[c], m)))
}

/// Variance in stops² of a value with the given variance.
fn stops_variance(variance: f64, value: f64) -> f64 {
    variance / (value * std::f64::consts::LN_2).powi(2)
}

/// The luminance stops that the cells agree on. `hint` decides between two values that nearly as many cells support.
/// `None` without cells.
pub(super) fn pool_stops(cells: &[Cell], hint: Option<f64>) -> Option<Pooled> {
    let items: Vec<Item> =
        cells.iter().map(|c| Item { region: c.region, value: c.stops, weight: c.variance.recip() }).collect();
    pool(&items, hint)
}

/// The red/green (0) or blue/green (1) stops over the cells whose luminance agreed.
pub(super) fn pool_colour(cells: &[Cell], luminance: &Pooled, which: usize) -> Option<Pooled> {
    let item = |c: &Cell| {
        let (value, variance) = c.colour?[which];
        luminance.kept.holds(c.stops).then(|| Item { region: c.region, value, weight: variance.recip() })
    };
    let items: Vec<Item> = cells.iter().filter_map(item).collect();
    pool(&items, None)
}

/// Mean change of log2 luminance per cell over the cells that agreed: what a wrong shift would cost in stops.
pub(super) fn mean_slope(cells: &[Cell], pooled: &Pooled) -> [f64; 2] {
    let (mut sum, mut weight) = ([0.0; 2], 0.0);
    for cell in cells.iter().filter(|c| pooled.kept.holds(c.stops)) {
        let w = cell.variance.recip();
        (0..2).for_each(|axis| sum[axis] += w * cell.slope[axis]);
        weight += w;
    }
    if weight > 0.0 { sum.map(|s| s / weight) } else { [0.0; 2] }
}

/// How much the stops change over the usual range of brightness (one standard deviation), where that is beyond
/// chance: a tone curve, flare or black level that differs.
pub(super) fn change_with_level(cells: &[Cell], pooled: &Pooled) -> Option<f64> {
    let kept: Vec<&Cell> = cells.iter().filter(|c| pooled.kept.holds(c.stops)).collect();
    let sum = |f: &dyn Fn(&Cell) -> f64| kept.iter().map(|c| f(c) / c.variance).sum::<f64>();
    let weight = sum(&|_| 1.0);
    let (level, stops) = (sum(&|c| c.level) / weight, sum(&|c| c.stops) / weight);
    let level_variance = sum(&|c| (c.level - level).powi(2)) / weight;
    let slope = sum(&|c| (c.level - level) * (c.stops - stops)) / weight / level_variance;
    let change = slope * level_variance.sqrt();
    let chance = pooled.kept.spread * (CELLS_PER_INDEPENDENT * 4.0 / kept.len().max(1) as f64).sqrt();
    (change.is_finite() && change.abs() > 4.0 * chance).then_some(change)
}

/// One value with its region and weight.
#[derive(Clone, Copy)]
struct Item {
    region: usize,
    value: f64,
    weight: f64,
}

fn pool(items: &[Item], hint: Option<f64>) -> Option<Pooled> {
    let weighted: Vec<Weighted> = items.iter().map(|i| Weighted { value: i.value, weight: i.weight }).collect();
    let kept = settle(&weighted, hint)?;
    let total: f64 = items.iter().map(|i| i.weight).sum();
    let inliers: Vec<Item> = items.iter().filter(|i| kept.holds(i.value)).copied().collect();
    let agreeing = inliers.iter().map(|i| i.weight).sum::<f64>() / total;
    let regions = regions(&inliers);
    let (sd, uneven) = scatter_between(&regions, kept.centre);
    // One or two regions cannot show how they differ.
    let few = if regions.len() < 4 { 0.02 } else { 0.0 };
    let estimate = Estimate::new(kept.centre, sd.hypot(METHOD_SD_STOPS).hypot(few));
    let rival = kept.rival.map(|r| (r - kept.centre).abs());
    Some(Pooled { estimate, uneven, agreeing, cells: inliers.len(), rival, kept })
}

/// The consensus, or the rival one where the hint clearly favours it.
fn settle(values: &[Weighted], hint: Option<f64>) -> Option<Consensus> {
    let first = consensus(values, FINEST_STOPS)?;
    let Some((rival, hint)) = first.rival.zip(hint) else { return Some(first) };
    if (rival - hint).abs() + 0.1 >= (first.centre - hint).abs() {
        return Some(Consensus { rival: None, ..first });
    }
    let reach = 0.5 * (rival - first.centre).abs();
    let near: Vec<Weighted> = values.iter().filter(|v| (v.value - rival).abs() < reach).copied().collect();
    consensus(&near, FINEST_STOPS)
}

/// Weight, weighted mean and variance of that mean of one region.
struct Region {
    weight: f64,
    mean: f64,
    mean_variance: f64,
}

fn regions(inliers: &[Item]) -> Vec<Region> {
    let mut groups: Vec<Vec<Item>> = vec![Vec::new(); REGIONS[0] * REGIONS[1]];
    for item in inliers {
        if let Some(group) = groups.get_mut(item.region) {
            group.push(*item);
        }
    }
    groups.iter().filter(|g| g.len() >= LEAST_REGION_CELLS).map(|g| Region::of(g)).collect()
}

impl Region {
    fn of(items: &[Item]) -> Self {
        let weight: f64 = items.iter().map(|i| i.weight).sum();
        let mean = items.iter().map(|i| i.weight * i.value).sum::<f64>() / weight;
        let scatter: f64 = items.iter().map(|i| (i.weight * (i.value - mean)).powi(2)).sum();
        Self { weight, mean, mean_variance: CELLS_PER_INDEPENDENT * scatter / (weight * weight) }
    }
}

/// Standard deviation of the common value from the scatter between regions, and how much of that scatter is more
/// than the regions' own noise.
fn scatter_between(regions: &[Region], centre: f64) -> (f64, f64) {
    if regions.len() < 2 {
        return (0.0, 0.0);
    }
    let n = regions.len() as f64;
    let total: f64 = regions.iter().map(|r| r.weight).sum();
    let about = |r: &Region| (r.mean - centre).powi(2);
    let of_mean: f64 = regions.iter().map(|r| (r.weight / total).powi(2) * about(r)).sum();
    let between: f64 = regions.iter().map(|r| r.weight / total * about(r)).sum();
    let within: f64 = regions.iter().map(|r| r.weight / total * r.mean_variance).sum();
    ((of_mean * n / (n - 1.0)).sqrt(), (between - within).max(0.0).sqrt())
}
