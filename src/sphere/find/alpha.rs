//! The outline from a CG frame's coverage channel.
//!
//! Coverage says exactly how much of a pixel the sphere fills, so the edge is measured by area, not by contrast: along
//! a line across the rim, the integral of coverage is the length inside.

use std::f64::consts::TAU;

use nalgebra::{Matrix3, Vector3};

use super::fitted::{FitNotes, fit_from_cone};
use crate::base::parallel;
use crate::base::statistics::robust_sd;
use crate::image::{Frame, four_around};
use crate::optics::camera::{UNKNOWN_FOV_RANGE_DEG, View};
use crate::sphere::{
    FoundBy, Outline, SphereCone, SphereFit, angle_between_rad, cone_of_outline, cone_through, outline_of_cone,
    tangents,
};

/// Edge points of the coarse stage, at most.
const MOST_POINTS: usize = 1500;
/// Circles tried through three edge points.
const TRIALS: u64 = 400;
/// Lines across the rim in the fine stage.
const RAYS: usize = 360;
/// Half-length of a line across the rim, px.
const REACH_PX: f64 = 4.0;
/// Steps per px along a line.
const STEPS_PER_PX: f64 = 8.0;
/// At least this fraction of the rim must be a clean edge of the coverage.
const LEAST_SEEN: f64 = 0.5;
/// Edge error that remains on perfect coverage (filters wider than a pixel), px.
const FLOOR_SD_PX: f64 = 0.01;
/// Variance per axis of what smooths coverage as it is read: a pixel's own square (1/12 px²), and the triangle of
/// bilinear reading (1/6 px²).
const READ_VARIANCE_PX2: f64 = 1.0 / 12.0 + 1.0 / 6.0;
/// Render filters are wider than a pixel's square by an unknown part of this, px² per axis (common practice, no source).
const FILTER_VARIANCE_SD_PX2: f64 = 0.15;
/// Radius error that all lines share beside it (steps of the reading, samples of the renderer), px.
const COMMON_SD_PX: f64 = 0.002;
/// Fields of view tried where nothing tells it.
const FOV_STEPS: usize = 57;
/// Smallest sphere, px.
const SMALLEST_RADIUS_PX: f64 = 6.0;

/// The sphere that the frame's coverage outlines; `None` without coverage, where it is opaque all over, or where its
/// edge is not mostly that of a sphere.
pub(crate) fn sphere_of_alpha(frame: &Frame, view: &View) -> Option<SphereFit> {
    frame.alpha.as_ref()?;
    let points = edge_points(frame);
    let start = coarse(view, &points)?;
    let first = outline_of_cone(view, &start)?;
    let (cone, _) = fine(frame, view, &first)?;
    let second = outline_of_cone(view, &cone)?;
    let (cone, crossings) = fine(frame, view, &second)?;
    let seen = crossings.len() as f64 / RAYS as f64;
    let outline = outline_of_cone(view, &cone)?;
    if seen < LEAST_SEEN || outline.semi_b < SMALLEST_RADIUS_PX {
        return None;
    }
    let edge_sd_px = scatter_px(view, &cone, &crossings).max(FLOOR_SD_PX);
    let mut covariance = covariance(view, &cone, &crossings, edge_sd_px)?;
    // All lines have the filter in common.
    let common_px = drawn_in_px(&outline, FILTER_VARIANCE_SD_PX2).hypot(COMMON_SD_PX);
    covariance[(2, 2)] += (common_px / view.focal_px).powi(2);
    let notes =
        FitNotes { found_by: FoundBy::Alpha, unseen_fraction: 1.0 - seen, gap: None, edge_sd_px, score: seen.min(1.0) };
    let mut fit = fit_from_cone(view, cone, covariance, notes)?;
    if view.is_assumed() {
        add_roundness(&mut fit, edge_sd_px);
        if let Some(outline) = outline_of_any_lens(view, &crossings) {
            fit.cone = cone_of_outline(view, &outline)?;
            fit.outline = outline;
        }
    }
    Some(fit)
}

/// Off the axis a sphere draws an ellipse as long as its lens is wide. Where nothing tells the lens, the outline is that under
/// the field of view which the rim fits best, and not what the assumed one makes of it.
fn outline_of_any_lens(view: &View, crossings: &[[f64; 2]]) -> Option<Outline> {
    let [narrow, wide] = UNKNOWN_FOV_RANGE_DEG;
    let under = |step: usize| {
        let view = view.with_horizontal_fov(narrow + (wide - narrow) * step as f64 / FOV_STEPS as f64);
        let cone = cone_through(&view, crossings.iter().map(|p| (*p, 1.0)))?;
        let misfit: f64 = crossings.iter().map(|p| residual_px(&view, &cone, *p).powi(2)).sum();
        Some((misfit, outline_of_cone(&view, &cone)?))
    };
    let tried = (0..=FOV_STEPS).filter_map(under);
    tried.min_by(|a, b| a.0.total_cmp(&b.0)).map(|(_, outline)| outline)
}

/// Under an assumed lens the cone draws an ellipse that is too round or too long: what the points scatter about it is
/// one piece, and lengthens one axis by as much as it shortens the other.
fn add_roundness(fit: &mut SphereFit, sd_px: f64) {
    let variance_px2 = sd_px * sd_px;
    fit.outline_cov[(2, 2)] += variance_px2;
    fit.outline_cov[(3, 3)] += variance_px2;
    fit.outline_cov[(2, 3)] -= variance_px2;
    fit.outline_cov[(3, 2)] -= variance_px2;
}

/// Points where coverage crosses one half between neighbours, thinned evenly.
fn edge_points(frame: &Frame) -> Vec<[f64; 2]> {
    let Some(alpha) = &frame.alpha else { return Vec::new() };
    let rows: Vec<AlphaRow<'_>> = (0..frame.data.height).map(|row| AlphaRow::of(frame, alpha, row)).collect();
    // Coverage in single pixels has more crossings than the frame has pixels: they are counted first.
    let counts = parallel::map_each(&rows, AlphaRow::crossings);
    let stride = counts.iter().sum::<usize>().div_ceil(MOST_POINTS).max(1);
    let mut points = Vec::new();
    let mut before = 0_usize;
    for (row, count) in rows.iter().zip(counts) {
        let first = before.next_multiple_of(stride) - before;
        if first < count {
            points.extend(row.points(frame).skip(first).step_by(stride));
        }
        before += count;
    }
    points
}

/// Coverage of a row and of the one below.
struct AlphaRow<'a> {
    row: usize,
    own: &'a [f32],
    below: &'a [f32],
}

impl<'a> AlphaRow<'a> {
    fn of(frame: &Frame, alpha: &'a [f32], row: usize) -> Self {
        let width = frame.data.width;
        let own = &alpha[row * width..(row + 1) * width];
        Self { row, own, below: alpha.get((row + 1) * width..(row + 2) * width).unwrap_or(own) }
    }

    /// How many crossings it has.
    fn crossings(&self) -> usize {
        // Most rows cross nowhere.
        let covered = |a: &f32| *a >= 0.5;
        let both = || self.own.iter().chain(self.below);
        if both().all(covered) || !both().any(covered) {
            return 0;
        }
        let count = |a: &[f32], b: &[f32]| -> u32 { a.iter().zip(b).map(|(a, b)| u32::from(is_crossed(*a, *b))).sum() };
        (count(self.own, self.own.get(1..).unwrap_or_default()) + count(self.own, self.below)) as usize
    }

    /// Crossings between the pixels of the row, and between them and those below.
    fn points(&self, frame: &Frame) -> impl Iterator<Item = [f64; 2]> {
        let corner = [frame.data.x as f64 + 0.5, frame.data.y as f64 + 0.5];
        let cross = move |a: f32, b: f32, column: usize, along: [f64; 2]| {
            is_crossed(a, b).then(|| {
                let (a, b) = (f64::from(a) - 0.5, f64::from(b) - 0.5);
                let t = a / (a - b);
                [corner[0] + column as f64 + along[0] * t, corner[1] + self.row as f64 + along[1] * t]
            })
        };
        (0..self.own.len()).flat_map(move |column| {
            let right = self.own.get(column + 1).and_then(|right| cross(self.own[column], *right, column, [1.0, 0.0]));
            let down = cross(self.own[column], self.below[column], column, [0.0, 1.0]);
            right.into_iter().chain(down)
        })
    }
}

/// Coverage is one half somewhere between two neighbours.
fn is_crossed(a: f32, b: f32) -> bool {
    (a < 0.5) != (b < 0.5) && a.is_finite() && b.is_finite()
}

/// The cone that most edge points lie on, of all through three of them; larger ones win where points are shared.
fn coarse(view: &View, points: &[[f64; 2]]) -> Option<SphereCone> {
    if points.len() < 12 {
        return None;
    }
    let rays: Vec<Vector3<f64>> = points.iter().map(|p| view.ray(*p)).collect();
    let pixel_rad = 1.0 / view.focal_px;
    let mut state = 0x9E37_79B9_7F4A_7C15_u64;
    let mut draw = || {
        // Linear congruential step (Knuth's MMIX constants): the same draws on every machine.
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        ((state >> 33) as usize) % points.len()
    };
    let mut best: Option<(f64, SphereCone)> = None;
    for _ in 0..TRIALS {
        let three = [draw(), draw(), draw()];
        let Some(cone) = cone_through(view, three.map(|i| (points[i], 1.0))) else { continue };
        if cone.half_angle_rad < SMALLEST_RADIUS_PX * pixel_rad || cone.axis.z >= 0.0 {
            continue;
        }
        let limit = 1.5 * pixel_rad;
        // The angle from the axis lies that close to the half-angle: told by its cosine.
        let (nearest, furthest) = ((cone.half_angle_rad - limit).max(0.0).cos(), (cone.half_angle_rad + limit).cos());
        let count = rays.iter().map(|r| r.dot(&cone.axis)).filter(|c| *c < nearest && *c > furthest).count();
        if best.as_ref().is_none_or(|b| count as f64 > b.0) {
            best = Some((count as f64, cone));
        }
    }
    let (count, cone) = best?;
    let expected = (cone.half_angle_rad / pixel_rad * 8.0).min(points.len() as f64);
    (count >= 0.35 * expected).then_some(cone)
}

/// Measures the rim on lines across an outline and fits the cone anew, twice reweighted against outliers.
fn fine(frame: &Frame, view: &View, outline: &Outline) -> Option<(SphereCone, Vec<[f64; 2]>)> {
    let crossings: Vec<[f64; 2]> =
        (0..RAYS).filter_map(|i| crossing(frame, outline, TAU * i as f64 / RAYS as f64)).collect();
    if crossings.len() < RAYS / 8 {
        return None;
    }
    let mut cone = cone_through(view, crossings.iter().map(|p| (*p, 1.0)))?;
    let mut kept = crossings.clone();
    for _ in 0..4 {
        let scale = scatter_px(view, &cone, &kept).max(0.02);
        kept = crossings.iter().copied().filter(|p| residual_px(view, &cone, *p).abs() < 4.0 * scale).collect();
        cone = cone_through(view, kept.iter().map(|p| (*p, 1.0)))?;
    }
    Some((cone, kept))
}

/// Where a line across the rim leaves the sphere; `None` unless coverage falls from full to none along it.
fn crossing(frame: &Frame, outline: &Outline, t_rad: f64) -> Option<[f64; 2]> {
    let edge = outline.point(t_rad);
    let outward = outward(outline, t_rad);
    let steps = (2.0 * REACH_PX * STEPS_PER_PX) as usize;
    let at = |d: f64| [edge[0] + outward[0] * d, edge[1] + outward[1] * d];
    let mut inside = 0.0;
    for i in 0..steps {
        let d = (i as f64 + 0.5) / STEPS_PER_PX - REACH_PX;
        inside += coverage(frame, at(d))?;
    }
    let clean = coverage(frame, at(-REACH_PX))? > 0.98 && coverage(frame, at(REACH_PX))? < 0.02;
    clean.then(|| at(inside / STEPS_PER_PX - REACH_PX + drawn_in_px(outline, READ_VARIANCE_PX2)))
}

/// Smoothing a disc by a variance σ² per axis takes σ² / 2r from its profile (the Laplacian's part along the rim), px.
fn drawn_in_px(outline: &Outline, variance_px2: f64) -> f64 {
    variance_px2 / (2.0 * outline.mean_radius().max(SMALLEST_RADIUS_PX))
}

/// Unit normal of the outline, outwards.
fn outward(outline: &Outline, t_rad: f64) -> [f64; 2] {
    let step = 1e-4;
    let (a, b) = (outline.point(t_rad - step), outline.point(t_rad + step));
    let along = [b[0] - a[0], b[1] - a[1]];
    let length = along[0].hypot(along[1]).max(1e-300);
    [along[1] / length, -along[0] / length]
}

/// Coverage between pixel centres, bilinear; outside the data window there is none.
fn coverage(frame: &Frame, point: [f64; 2]) -> Option<f64> {
    let value = |(column, row, weight): (i64, i64, f64)| weight * frame.alpha_at(column, row).map_or(0.0, f64::from);
    let sum: f64 = four_around(point).into_iter().map(value).sum();
    sum.is_finite().then_some(sum.clamp(0.0, 1.0))
}

/// Distance of a point outside the cone's outline, px.
fn residual_px(view: &View, cone: &SphereCone, point: [f64; 2]) -> f64 {
    let ray = view.ray(point);
    // One px subtends cos² of the angle to the optical axis over the focal length, near enough.
    (angle_between_rad(&ray, &cone.axis) - cone.half_angle_rad) * view.focal_px / (ray.z * ray.z)
}

/// Robust scatter of the points about the cone, px.
fn scatter_px(view: &View, cone: &SphereCone, points: &[[f64; 2]]) -> f64 {
    robust_sd(points.iter().map(|p| residual_px(view, cone, *p)), 0.0).unwrap_or(f64::INFINITY)
}

/// Covariance of the two tangent angles and the half-angle. Neighbouring lines share pixels, so the number of
/// independent ones is that of the pixels on the rim.
fn covariance(view: &View, cone: &SphereCone, points: &[[f64; 2]], sd_px: f64) -> Option<Matrix3<f64>> {
    let [right, up] = tangents(&cone.axis);
    let mut normal = Matrix3::zeros();
    for point in points {
        let ray = view.ray(*point);
        let across = (ray - cone.axis * ray.dot(&cone.axis)).try_normalize(1e-15)?;
        let slope = Vector3::new(-across.dot(&right), -across.dot(&up), -1.0);
        normal += slope * slope.transpose();
    }
    let rim_px = TAU * cone.half_angle_rad * view.focal_px;
    let independent = (rim_px / RAYS as f64).min(1.0);
    let sd_rad = sd_px / view.focal_px;
    normal.try_inverse().map(|inverse| inverse * (sd_rad * sd_rad / independent))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::image::Size;

    /// Against all crossings, one after the other, of which every so many-th is kept.
    #[test]
    fn crossings_are_thinned_evenly_whatever_their_number() {
        let size = Size { width: 131, height: 77 };
        let mixed = |i: usize| (i as u32).wrapping_mul(2_654_435_761).rotate_left(13).wrapping_mul(2_246_822_519) >> 8;
        let scattered = |i: usize| mixed(i) as f32 / 16_777_216.0;
        let sparse = |i: usize| if i % 400 == 399 { scattered(i) } else { 0.0 };
        let holed = |i: usize| if i % 19 == 3 { f32::NAN } else { scattered(i) };
        let coverages: [&dyn Fn(usize) -> f32; 4] = [&scattered, &sparse, &holed, &|_| 1.0];
        for (coverage, many) in coverages.into_iter().zip([true, false, true, false]) {
            let alpha: Vec<f32> = (0..size.width * size.height).map(coverage).collect();
            let mut frame = Frame::computed("test", size, vec![[0.0; 3]; alpha.len()]);
            frame.alpha = Some(alpha.clone());
            let mut all = Vec::new();
            for (i, a) in alpha.iter().enumerate() {
                let (x, y) = (i % size.width, i / size.width);
                let right = (x + 1 < size.width).then(|| (i + 1, [1.0, 0.0]));
                let down = (y + 1 < size.height).then(|| (i + size.width, [0.0, 1.0]));
                for (next, along) in right.into_iter().chain(down) {
                    let [a, b] = [*a, alpha[next]].map(f64::from);
                    if (a >= 0.5) != (b >= 0.5) && !a.is_nan() && !b.is_nan() {
                        let part = (a - 0.5) / (a - b);
                        all.push([x as f64 + 0.5 + along[0] * part, y as f64 + 0.5 + along[1] * part]);
                    }
                }
            }
            assert_eq!(all.len() > MOST_POINTS, many);
            let stride = all.len().div_ceil(MOST_POINTS).max(1);
            let kept: Vec<[f64; 2]> = all.into_iter().step_by(stride).collect();
            let found = edge_points(&frame);
            assert_eq!(found.len(), kept.len());
            let apart = found.iter().zip(&kept).map(|(a, b)| (a[0] - b[0]).abs().max((a[1] - b[1]).abs()));
            assert!(apart.fold(0.0, f64::max) < 1e-9);
        }
    }
}
