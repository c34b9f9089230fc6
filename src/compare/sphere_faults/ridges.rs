//! Which great circles may show a line: every place of the picture where a line runs votes for the one circle through
//! it along that line (a Hough transform).

use nalgebra::{Matrix2, Vector2, Vector3};

use super::cells::Cells;
use super::circle::{Circle, Surface};

/// A line's direction in a few cells is known to about this angle, rad.
const ASTRAY_RAD: f64 = 0.25;

/// Half of the votes for a direction that far astray.
const VOTES_ASIDE: i32 = 3;

/// Bins of plane normals: cells of a square laid over the half sphere of normals towards the camera by equal areas.
const BINS: usize = 48;

/// Circles that are counted more finely, and those of them that are handed on.
const PEAKS: usize = 8;
const CANDIDATES: usize = 4;

/// Bins on each side of the finer count around a candidate, and how far it reaches, rad.
const FINE: i32 = 10;
const FINE_REACH_RAD: f64 = 0.08;

/// Places of one sign that vote, at most: bounds the time on busy pictures.
const MOST_RIDGES: usize = 2000;

/// A place where a thin line runs.
pub(super) struct Ridge {
    normal: Vector3<f64>,
    /// Normal of the plane of the great circle along the line.
    plane: Vector3<f64>,
}

/// Every place where a line of one sign runs (+1 bright, −1 dark).
pub(super) fn ridges(surface: &Surface<'_>, cells: &Cells) -> [Vec<Ridge>; 2] {
    let smooth = smoothed(cells);
    let mut places = [Vec::new(), Vec::new()];
    let width = cells.log.side;
    for row in 3..width.saturating_sub(3) {
        for column in 3..width - 3 {
            let Some(bend) = Bend::at(&smooth, width, row * width + column) else { continue };
            places[usize::from(bend.depth < 0.0)].push((column, row, bend.across));
        }
    }
    places.map(|places| {
        // Every so many of them are as telling as all.
        let stride = places.len().div_ceil(MOST_RIDGES).max(1);
        let told = places.iter().step_by(stride);
        told.filter_map(|(column, row, across)| ridge(surface, cells.centre_px(*column, *row), *across)).collect()
    })
}

/// The great circle through a frame point at right angles to `across`.
fn ridge(surface: &Surface<'_>, point_px: [f64; 2], across: [f64; 2]) -> Option<Ridge> {
    let normal = surface.normal_at(point_px).filter(|normal| surface.is_inside(normal))?;
    // Along the line in the picture, y down, and on the surface, with the camera far away.
    let along = surface.right * -across[1] - surface.up * across[0];
    let tangent = along - surface.towards * (normal.dot(&along) / normal.dot(&surface.towards));
    Some(Ridge { normal, plane: normal.cross(&tangent).try_normalize(1e-12)? })
}

/// How the picture bends across a line.
struct Bend {
    /// Unit vector across the line.
    across: [f64; 2],
    /// + bright, − dark.
    depth: f32,
}

impl Bend {
    /// `None` where no line has its middle.
    fn at(smooth: &[f32], width: usize, index: usize) -> Option<Self> {
        let at = |dx: isize, dy: isize| smooth[(index as isize + dy * width as isize + dx) as usize];
        let here = at(0, 0);
        let xx = at(2, 0) + at(-2, 0) - 2.0 * here;
        let yy = at(0, 2) + at(0, -2) - 2.0 * here;
        let xy = 0.5 * (at(2, 2) + at(-2, -2) - at(2, -2) - at(-2, 2)) * 0.5;
        let apart = (0.5 * (xx - yy)).hypot(xy);
        let mean = 0.5 * (xx + yy);
        let bend = if mean < 0.0 { mean - apart } else { mean + apart };
        let along = if mean < 0.0 { mean + apart } else { mean - apart };
        if !(bend.abs() > 1e-4 && along.abs() < 0.7 * bend.abs()) {
            return None;
        }
        let angle = 0.5 * xy.atan2(0.5 * (xx - yy)) + if mean < 0.0 { std::f32::consts::FRAC_PI_2 } else { 0.0 };
        let (sin, cos) = angle.sin_cos();
        let step = |s: f32| at((s * cos).round() as isize, (s * sin).round() as isize);
        let sign = -bend.signum();
        let top = sign * here >= sign * step(1.0) && sign * here >= sign * step(-1.0);
        let edge = (step(3.0) - step(-3.0)).abs() > 1.5 * bend.abs();
        (top && !edge).then(|| Self { across: [f64::from(cos), f64::from(sin)], depth: -bend })
    }
}

/// Means of 3 by 3 cells.
fn smoothed(cells: &Cells) -> Vec<f32> {
    let (width, height) = (cells.log.side, cells.log.side);
    let mut rows = vec![f32::NAN; width * height];
    for (line, out) in cells.log.values.chunks_exact(width).zip(rows.chunks_exact_mut(width)) {
        for (three, mean) in line.windows(3).zip(&mut out[1..width - 1]) {
            *mean = three[0] + three[1] + three[2];
        }
    }
    let mut both = vec![f32::NAN; width * height];
    for index in width..width * (height - 1) {
        both[index] = (rows[index - width] + rows[index] + rows[index + width]) / 9.0;
    }
    both
}

/// Circles with the most votes, the most first.
pub(super) fn candidates(
    ridges: &[Ridge],
    surface: &Surface<'_>,
    judged: &dyn Fn(&Vector3<f64>) -> bool,
) -> Vec<Circle> {
    let axes = Axes::new(&surface.towards);
    let mut votes = vec![0_u32; BINS * BINS];
    let turns: Vec<f64> =
        (-VOTES_ASIDE..=VOTES_ASIDE).map(|i| (ASTRAY_RAD * f64::from(i) / f64::from(VOTES_ASIDE)).tan()).collect();
    for ridge in ridges {
        let aside = ridge.normal.cross(&ridge.plane);
        for turn in &turns {
            votes[axes.bin(&((ridge.plane + aside * *turn) / turn.hypot(1.0)))] += 1;
        }
    }
    let mut best: Vec<(u32, Circle)> = Vec::new();
    let mut order: Vec<usize> = (0..votes.len()).filter(|bin| votes[*bin] > 0).collect();
    order.sort_unstable_by(|a, b| votes[*b].cmp(&votes[*a]).then(a.cmp(b)));
    let mut taken: Vec<Vector3<f64>> = Vec::new();
    for bin in order {
        let plane = axes.plane(bin);
        if !judged(&plane) || taken.iter().any(|other| other.dot(&plane).abs() > 0.99) {
            continue;
        }
        taken.push(plane);
        best.extend(refined(ridges, plane, surface));
        if taken.len() == PEAKS {
            break;
        }
    }
    best.sort_by_key(|found| std::cmp::Reverse(found.0));
    best.truncate(CANDIDATES);
    best.into_iter().filter_map(|(_, circle)| settled(ridges, circle, surface)).collect()
}

/// The circle near `plane` that most ridges lie on, about to a cell, with their number.
fn refined(ridges: &[Ridge], plane: Vector3<f64>, surface: &Surface<'_>) -> Option<(u32, Circle)> {
    let circle = Circle::new(plane, &surface.towards)?;
    let step = FINE_REACH_RAD / f64::from(FINE);
    let side = 2 * FINE + 1;
    let mut votes = vec![0_u32; (side * side) as usize];
    let least_alike = (ASTRAY_RAD + FINE_REACH_RAD).cos();
    for ridge in ridges {
        let off = ridge.normal.dot(&plane);
        if off.abs() > 1.5 * FINE_REACH_RAD || ridge.plane.dot(&plane).abs() < least_alike {
            continue;
        }
        // Turns (a, b) for which the ridge lies on the circle: off + a·x + b·y = 0.
        let (x, y) = (ridge.normal.dot(&circle.nearest), ridge.normal.dot(&circle.onward));
        let steep = x.abs() >= y.abs();
        for i in -FINE..=FINE {
            let free = f64::from(i) * step;
            let other = if steep { -(off + free * y) / x } else { -(off + free * x) / y };
            let j = (other / step).round();
            if j.abs() > f64::from(FINE) {
                continue;
            }
            let (a, b) = if steep { (j as i32, i) } else { (i, j as i32) };
            votes[((a + FINE) * side + b + FINE) as usize] += 1;
        }
    }
    let best = (0..votes.len()).max_by(|a, b| votes[*a].cmp(&votes[*b]).then(b.cmp(a)))?;
    let place = best as i32;
    let turn = [place / side - FINE, place % side - FINE].map(|i| f64::from(i) * step);
    Some((votes[best], circle.turned(turn, &surface.towards)?))
}

/// The same by least squares over the ridges near it, which are taken from ever closer by.
fn settled(ridges: &[Ridge], mut circle: Circle, surface: &Surface<'_>) -> Option<Circle> {
    for near_cells in [3.0, 2.0, 1.5] {
        let near = near_cells / surface.radius_cells;
        let (mut normal, mut right) = (Matrix2::zeros(), Vector2::zeros());
        for ridge in ridges {
            let off = ridge.normal.dot(&circle.plane);
            if off.abs() > near || ridge.plane.dot(&circle.plane).abs() < ASTRAY_RAD.cos() {
                continue;
            }
            let row = Vector2::new(ridge.normal.dot(&circle.nearest), ridge.normal.dot(&circle.onward));
            normal += row * row.transpose();
            right -= row * off;
        }
        let turn = normal.try_inverse()? * right;
        circle = circle.turned([turn.x, turn.y], &surface.towards)?;
    }
    Some(circle)
}

/// The half sphere of plane normals, as a square of equal areas.
struct Axes {
    towards: Vector3<f64>,
    right: Vector3<f64>,
    up: Vector3<f64>,
}

impl Axes {
    fn new(towards: &Vector3<f64>) -> Self {
        let [right, up] = crate::sphere::tangents(&-towards);
        Self { towards: *towards, right, up }
    }

    /// Lambert's equal-area plane, scaled to −1 … 1.
    fn bin(&self, plane: &Vector3<f64>) -> usize {
        let facing = plane.dot(&self.towards);
        let plane = if facing < 0.0 { -plane } else { *plane };
        let scale = 1.0 / (1.0 + facing.abs()).sqrt();
        let at = |axis: &Vector3<f64>| {
            let place = 0.5 * (plane.dot(axis) * scale + 1.0) * BINS as f64;
            (place as usize).min(BINS - 1)
        };
        at(&self.up) * BINS + at(&self.right)
    }

    fn plane(&self, bin: usize) -> Vector3<f64> {
        let at = |i: usize| 2.0 * (i as f64 + 0.5) / BINS as f64 - 1.0;
        let (x, y) = (at(bin % BINS), at(bin / BINS));
        let squared = (x * x + y * y).min(1.0);
        let flat = (2.0 - squared).sqrt();
        (self.right * (x * flat) + self.up * (y * flat) + self.towards * (1.0 - squared)).normalize()
    }
}
