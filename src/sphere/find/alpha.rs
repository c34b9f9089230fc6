//! The outline from a CG frame's alpha: where coverage crosses one half, to a fraction of a pixel.

use nalgebra::{Matrix3, Vector3};

use super::flat::{Circle, circle_of_cone, cone_of_circle, to_flat};
use crate::camera::View;
use crate::image::Frame;
use crate::sphere::{SphereCone, cone_through};

/// Coverage at which the edge of a shape runs through the middle between two pixel centres.
const HALF: f64 = 0.5;
/// Fraction of the frame that must be uncovered for alpha to outline anything.
const LEAST_UNCOVERED: f64 = 0.01;
/// Fewest crossings of a round object of useful size.
const LEAST_CROSSINGS: usize = 40;

/// The round object that alpha outlines.
#[derive(Debug, Clone)]
pub(super) struct AlphaOutline {
    /// Its cone under the frame's view.
    pub cone: SphereCone,
    /// Covariance of two tangent angles and the half-angle, rad².
    pub cone_cov: Matrix3<f64>,
    /// Scatter of the crossings about the outline, px.
    pub edge_sd_px: f64,
    /// Fraction of the outline without crossings.
    pub unseen_fraction: f64,
}

/// Finds the largest round outline in alpha; `None` where alpha is absent, covers everything, or outlines nothing
/// round.
pub(super) fn outline_in_alpha(frame: &Frame, view: &View) -> Option<AlphaOutline> {
    let alpha = frame.alpha.as_ref()?;
    let open = alpha.iter().filter(|a| f64::from(**a) < HALF).count();
    if (open as f64) < LEAST_UNCOVERED * alpha.len() as f64 || open == alpha.len() {
        return None;
    }
    let crossings = crossings(frame, alpha);
    if crossings.len() < LEAST_CROSSINGS {
        return None;
    }
    let flat: Vec<[f64; 2]> = crossings.iter().map(|c| to_flat(view, *c)).collect();
    let circle = common_circle(&flat)?;
    settle(view, &crossings, &circle)
}

/// Frame positions where alpha crosses one half between neighbouring pixels, along rows and columns.
///
/// With area coverage, an edge that crosses the line between two pixel centres less steeply than 45° does so, to
/// second order, where linear interpolation says; each crossing is therefore taken only along the axis that is closer
/// to the edge's normal.
fn crossings(frame: &Frame, alpha: &[f32]) -> Vec<[f64; 2]> {
    let (width, height) = (frame.data.width, frame.data.height);
    let (left, top) = (frame.data.x as f64 + 0.5, frame.data.y as f64 + 0.5);
    let at = |x: usize, y: usize| f64::from(alpha[y * width + x]);
    let mut found = Vec::new();
    for y in 1..height.saturating_sub(1) {
        for x in 1..width.saturating_sub(1) {
            let here = at(x, y);
            let slope_x = at(x + 1, y) - at(x - 1, y);
            let slope_y = at(x, y + 1) - at(x, y - 1);
            let next = if slope_x.abs() >= slope_y.abs() { at(x + 1, y) } else { at(x, y + 1) };
            if (here < HALF) == (next < HALF) || !(here + next).is_finite() {
                continue;
            }
            let share = (HALF - here) / (next - here);
            found.push(if slope_x.abs() >= slope_y.abs() {
                [left + x as f64 + share, top + y as f64]
            } else {
                [left + x as f64, top + y as f64 + share]
            });
        }
    }
    found
}

/// The circle through most crossings, from circles through three of them (a fixed, evenly spread set of triples).
fn common_circle(points: &[[f64; 2]]) -> Option<Circle> {
    const TRIPLES: usize = 600;
    let count = points.len();
    let sample: Vec<[f64; 2]> = points.iter().step_by((count / 400).max(1)).copied().collect();
    let tolerance = 1.0;
    let score = |c: &Circle| {
        let near = |p: &&[f64; 2]| ((p[0] - c.x).hypot(p[1] - c.y) - c.radius).abs() < tolerance;
        sample.iter().filter(near).count()
    };
    let mut state = 0x9E37_79B9_u64;
    let mut next = |limit: usize| {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        ((state >> 33) as usize) % limit
    };
    let mut best: Option<(usize, Circle)> = None;
    for _ in 0..TRIPLES {
        let triple = [next(count), next(count), next(count)].map(|i| points[i]);
        let Some(circle) = circle_through(triple) else { continue };
        let votes = score(&circle);
        if best.is_none_or(|b| votes > b.0) {
            best = Some((votes, circle));
        }
    }
    let (votes, circle) = best?;
    (votes * 4 > sample.len() || votes as f64 > 0.3 * sample.len() as f64).then_some(circle)
}

/// The circle through three points; `None` where they are close together or in line.
fn circle_through([a, b, c]: [[f64; 2]; 3]) -> Option<Circle> {
    let (bx, by, cx, cy) = (b[0] - a[0], b[1] - a[1], c[0] - a[0], c[1] - a[1]);
    let twice_area = 2.0 * (bx * cy - by * cx);
    if twice_area.abs() < 50.0 {
        return None;
    }
    let (b2, c2) = (bx * bx + by * by, cx * cx + cy * cy);
    let (x, y) = ((cy * b2 - by * c2) / twice_area, (bx * c2 - cx * b2) / twice_area);
    Some(Circle { x: a[0] + x, y: a[1] + y, radius: x.hypot(y) })
}

/// Fits the cone to the crossings near the circle, dropping those that a stand or another object makes.
fn settle(view: &View, crossings: &[[f64; 2]], start: &Circle) -> Option<AlphaOutline> {
    let mut cone = cone_of_circle(view, start)?;
    let px_per_rad = view.focal_px / cone.axis.z.powi(2);
    let mut limit_px = 1.5;
    for _ in 0..6 {
        let weighted = crossings.iter().map(|p| {
            let off = residual_px(view, &cone, *p, px_per_rad) / limit_px;
            (*p, if off.abs() < 1.0 { (1.0 - off * off).powi(2) } else { 0.0 })
        });
        cone = cone_through(view, weighted)?;
        limit_px = (limit_px * 0.6).max(0.25);
    }
    let residuals: Vec<f64> = crossings.iter().map(|p| residual_px(view, &cone, *p, px_per_rad)).collect();
    let mut kept: Vec<f64> = residuals.iter().copied().filter(|r| r.abs() < 0.5).collect();
    kept.sort_by(|a, b| a.abs().total_cmp(&b.abs()));
    let seen = seen_fraction(view, crossings, &residuals, &cone);
    if kept.len() < LEAST_CROSSINGS || seen < 0.3 {
        return None;
    }
    let edge_sd_px = (kept[kept.len() * 2 / 3].abs()).max(0.01);
    Some(AlphaOutline {
        cone_cov: covariance(view, crossings, &residuals, &cone, edge_sd_px, px_per_rad)?,
        cone,
        edge_sd_px,
        unseen_fraction: 1.0 - seen,
    })
}

fn residual_px(view: &View, cone: &SphereCone, point: [f64; 2], px_per_rad: f64) -> f64 {
    let ray = view.ray(point);
    (ray.cross(&cone.axis).norm().atan2(ray.dot(&cone.axis)) - cone.half_angle_rad) * px_per_rad
}

/// Fraction of 90 sectors about the outline in which a crossing lies on it.
fn seen_fraction(view: &View, crossings: &[[f64; 2]], residuals: &[f64], cone: &SphereCone) -> f64 {
    const SECTORS: usize = 90;
    let circle = circle_of_cone(view, cone);
    let mut seen = [false; SECTORS];
    for (point, residual) in crossings.iter().zip(residuals) {
        if residual.abs() < 0.5 {
            let [x, y] = to_flat(view, *point);
            let turn = (y - circle.y).atan2(x - circle.x) / std::f64::consts::TAU + 0.5;
            seen[(turn * SECTORS as f64) as usize % SECTORS] = true;
        }
    }
    seen.iter().filter(|s| **s).count() as f64 / SECTORS as f64
}

/// Covariance from the scatter of the crossings on the outline.
fn covariance(
    view: &View,
    crossings: &[[f64; 2]],
    residuals: &[f64],
    cone: &SphereCone,
    sd_px: f64,
    px_per_rad: f64,
) -> Option<Matrix3<f64>> {
    let across = crate::sphere::tangents(&cone.axis);
    let mut normal = Matrix3::zeros();
    for (point, residual) in crossings.iter().zip(residuals) {
        if residual.abs() < 0.5 {
            let ray = view.ray(*point);
            let (x, y) = (ray.dot(&across[0]), ray.dot(&across[1]));
            let length = x.hypot(y).max(1e-12);
            let row = Vector3::new(x / length, y / length, 1.0) * px_per_rad;
            normal += row * row.transpose();
        }
    }
    let statistical = normal.try_inverse()? * sd_px * sd_px;
    // Renderers differ in their pixel filter: a common shift of all edges cannot be seen in the scatter.
    let common = (COMMON_SHIFT_PX / px_per_rad).powi(2);
    Some(statistical + Matrix3::from_diagonal(&Vector3::new(0.25 * common, 0.25 * common, common)))
}

/// Doubt about the edge's place that no number of crossings removes, px.
const COMMON_SHIFT_PX: f64 = 0.01;
