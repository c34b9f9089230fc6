//! The rim as the circle that most lines across it agree on, for outlines that are soft, dark or hidden in part.
//!
//! On every line the change of lightness across the rim is turned into a vote between 0 and 1; votes are summed over
//! all circles near the candidate, and the circle with the largest sum wins. Contrast beyond "clearly an edge" counts
//! no more, so a bright arc cannot outvote the rest of the rim.

use std::f64::consts::TAU;

use nalgebra::{Matrix3, Vector3};

use super::fitted::{FitNotes, fit_from_cone};
use crate::base::parallel;
use crate::base::statistics::robust_sd;
use crate::image::{Frame, four_around};
use crate::optics::camera::View;
use crate::sphere::{FoundBy, Outline, SphereCone, SphereFit, cone_through, outline_of_cone, tangents};

/// Lines across the rim.
const LINES: usize = 240;
/// Samples on one line; the middle one lies on the candidate.
const SAMPLES: usize = 97;
/// Lines reach this fraction of the radius to either side, and at least 5 px.
const REACH_FRACTION: f64 = 0.10;
/// Centre and radius are searched this far, as a fraction of the reach.
const SEARCH_FRACTION: f64 = 0.6;
/// A vote of this strength counts as seeing the rim.
const SEEN: f64 = 0.35;
/// An edge on a line is that of the rim when it lies this close to the circle, samples.
const CLOSE: f64 = 3.0;
/// Widest scatter of the edges about the circle (1 sd), as a fraction of its radius.
const WIDEST_SCATTER: f64 = 0.006;
/// Tukey's biweight constant for 95 % efficiency under normal errors (Beaton & Tukey 1974).
const TUKEY: f64 = 4.685;
/// Fraction of the edge's own width by which its place is in doubt on all lines alike.
const COMMON_DOUBT: f64 = 0.12;

/// A rim found by votes.
#[derive(Debug, Clone)]
pub(super) struct Contour {
    /// The fit.
    pub fit: SphereFit,
    /// Fraction of lines that see it.
    pub support: f64,
    /// Mean vote on it over mean vote beside it.
    pub contrast: f64,
}

impl Contour {
    /// Edges that scatter more than this about one circle (1 sd, px) are not those of one rim.
    pub(super) fn widest_scatter_px(&self) -> f64 {
        (WIDEST_SCATTER * self.fit.outline.mean_radius()).max(0.3)
    }
}

/// Votes on the lines of one candidate.
struct Votes {
    /// px per sample.
    step_px: f64,
    /// Points of the candidate's outline and outward normals.
    lines: Vec<([f64; 2], [f64; 2])>,
    /// Votes, `LINES` × `SAMPLES`; `NaN` where the frame ends.
    votes: Vec<f32>,
}

/// The rim near `start`; `None` where no circle gathers votes.
pub(super) fn contour(frame: &Frame, view: &View, start: &Outline) -> Option<Contour> {
    let mut outline = *start;
    let mut contrast = 0.0;
    for narrowing in [1.0, 0.5] {
        let votes = Votes::around(frame, &outline, narrowing);
        let shift = votes.best_circle();
        contrast = votes.contrast(shift);
        outline = moved(view, &votes, shift)?;
    }
    let closing = Votes::around(frame, &outline, 0.5);
    let edges = closing.edges(frame, outline.mean_radius());
    let (cone, kept, scatter_px) = robust_cone(view, &edges, closing.step_px)?;
    let support = kept.len() as f64 / LINES as f64;
    let width_px = closing.edge_width_px();
    let cone_cov = covariance(view, &cone, &kept, scatter_px, COMMON_DOUBT * width_px)?;
    let notes = FitNotes {
        found_by: FoundBy::Search,
        unseen_fraction: 1.0 - support,
        gap: None,
        edge_sd_px: scatter_px,
        score: support,
    };
    let fit = fit_from_cone(view, cone, cone_cov, notes)?;
    Some(Contour { fit, support, contrast })
}

/// The votes' outline moved by (x, y, radius) in samples, as a cone of the view.
fn moved(view: &View, votes: &Votes, shift: [f64; 3]) -> Option<Outline> {
    let points = votes.lines.iter().map(|(point, out)| {
        let d = (shift[0] * out[0] + shift[1] * out[1] + shift[2]) * votes.step_px;
        ([point[0] + out[0] * d, point[1] + out[1] * d], 1.0)
    });
    outline_of_cone(view, &cone_through(view, points)?)
}

impl Votes {
    fn around(frame: &Frame, outline: &Outline, narrowing: f64) -> Self {
        let reach_px = (outline.mean_radius() * REACH_FRACTION).max(5.0) * narrowing;
        let step_px = 2.0 * reach_px / (SAMPLES - 1) as f64;
        let lines: Vec<_> = (0..LINES).map(|i| line(outline, TAU * i as f64 / LINES as f64)).collect();
        let changes: Vec<f32> = parallel::flat_map(lines.len(), |i| {
            changes(frame, &lines[i], step_px, outline.mean_radius(), Tone::Lightness)
        });
        let votes = to_votes(&changes);
        Self { step_px, lines, votes }
    }

    fn vote(&self, line: usize, sample: f64) -> Option<f64> {
        let at = sample + (SAMPLES / 2) as f64;
        if at < 0.0 || at >= (SAMPLES - 1) as f64 {
            return None;
        }
        let (i, f) = (at as usize, at - at.floor());
        let row = &self.votes[line * SAMPLES..(line + 1) * SAMPLES];
        let value = f64::from(row[i]) * (1.0 - f) + f64::from(row[i + 1]) * f;
        value.is_finite().then_some(value)
    }

    /// Sum of votes on the circle moved by (x, y, radius) samples.
    fn sum(&self, shift: [f64; 3]) -> f64 {
        let on = |(i, (_, out)): (usize, &([f64; 2], [f64; 2]))| {
            self.vote(i, shift[0] * out[0] + shift[1] * out[1] + shift[2]).unwrap_or(0.0)
        };
        self.lines.iter().enumerate().map(on).sum()
    }

    /// The circle with the most votes: a grid over the search range, then ever smaller steps.
    fn best_circle(&self) -> [f64; 3] {
        let range = (SAMPLES / 2) as f64 * SEARCH_FRACTION;
        let count = 9_i32;
        let grid = |i: i32| f64::from(i - count / 2) * 2.0 * range / f64::from(count - 1);
        let starts: Vec<[f64; 3]> = (0..count.pow(3))
            .map(|i| [grid(i % count) * 0.7, grid(i / count % count) * 0.7, grid(i / count / count)])
            .collect();
        let mut scored: Vec<(f64, usize)> = parallel::map(starts.len(), |i| (self.blurred_sum(starts[i]), i));
        scored.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
        let climbed = parallel::map(scored.len().min(12), |i| self.climb(starts[scored[i].1]));
        let best = climbed.into_iter().max_by(|a, b| a.1.total_cmp(&b.1));
        best.map_or([0.0; 3], |b| b.0)
    }

    /// Votes within a few samples of the circle, so that a coarse grid cannot step over the peak.
    fn blurred_sum(&self, s: [f64; 3]) -> f64 {
        [-4.0, -2.0, 0.0, 2.0, 4.0].iter().map(|d| self.sum([s[0], s[1], s[2] + d])).sum()
    }

    fn climb(&self, start: [f64; 3]) -> ([f64; 3], f64) {
        let mut best = (start, self.sum(start));
        let mut step = 4.0;
        while step > 0.05 {
            let mut improved = false;
            for axis in 0..3 {
                for sign in [1.0, -1.0] {
                    let mut next = best.0;
                    next[axis] += sign * step;
                    let sum = self.sum(next);
                    if sum > best.1 {
                        best = (next, sum);
                        improved = true;
                    }
                }
            }
            if !improved {
                step *= 0.5;
            }
        }
        best
    }

    /// On every line the strongest vote close to the circle, placed at the centroid of the change of light around it:
    /// blur mixes light, not lightness, so only there is the middle of a soft edge the edge.
    fn edges(&self, frame: &Frame, radius_px: f64) -> Vec<([f64; 2], f64)> {
        parallel::filter_map(LINES, |i| self.edge(i, frame, radius_px))
    }

    fn edge(&self, i: usize, frame: &Frame, radius_px: f64) -> Option<([f64; 2], f64)> {
        let middle = SAMPLES / 2;
        let close = (CLOSE * 3.0) as usize;
        let row = &self.votes[i * SAMPLES..(i + 1) * SAMPLES];
        let peak = (middle - close..=middle + close).max_by(|a, b| row[*a].total_cmp(&row[*b]))?;
        let vote = f64::from(row[peak]);
        if !vote.is_finite() || vote < SEEN {
            return None;
        }
        let (point, out) = self.lines[i];
        let light = changes(frame, &self.lines[i], self.step_px, radius_px, Tone::Light);
        let near = peak.saturating_sub(close)..=(peak + close).min(SAMPLES - 1);
        let peak = near.filter(|k| light[*k].is_finite()).max_by(|a, b| light[*a].total_cmp(&light[*b]))?;
        let offset = (centroid(&light, peak) - middle as f64) * self.step_px;
        Some(([point[0] + out[0] * offset, point[1] + out[1] * offset], vote))
    }

    /// Median full width of the votes above half of their peak, px.
    fn edge_width_px(&self) -> f64 {
        let middle = SAMPLES / 2;
        let mut widths: Vec<f64> = (0..LINES)
            .filter_map(|i| {
                let row = &self.votes[i * SAMPLES..(i + 1) * SAMPLES];
                let half = 0.5 * row[middle];
                (f64::from(row[middle]) >= SEEN).then(|| row.iter().filter(|v| **v >= half).count() as f64)
            })
            .collect();
        widths.sort_by(f64::total_cmp);
        widths.get(widths.len() / 2).map_or(1.0, |w| w * self.step_px)
    }

    /// Mean vote on a circle, moved like [`Votes::sum`], over the mean of all votes.
    fn contrast(&self, circle: [f64; 3]) -> f64 {
        let seen: Vec<f64> = self.votes.iter().filter(|v| v.is_finite()).map(|v| f64::from(*v)).collect();
        let mean = seen.iter().sum::<f64>() / seen.len().max(1) as f64;
        self.sum(circle) / LINES as f64 / mean.max(1e-6)
    }
}

fn line(outline: &Outline, t_rad: f64) -> ([f64; 2], [f64; 2]) {
    let step = 1e-4;
    let (a, b) = (outline.point(t_rad - step), outline.point(t_rad + step));
    let along = [b[0] - a[0], b[1] - a[1]];
    let length = along[0].hypot(along[1]).max(1e-300);
    (outline.point(t_rad), [along[1] / length, -along[0] / length])
}

/// What is read along a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Tone {
    /// The cube root of light (that of CIE 1976 L*), in which weak and strong edges count alike.
    Lightness,
    /// Light itself.
    Light,
}

/// Change of light or lightness along a line, averaged over a short arc along the rim so that texture and noise fall.
fn changes(frame: &Frame, line: &([f64; 2], [f64; 2]), step_px: f64, radius_px: f64, tone: Tone) -> Vec<f32> {
    let (point, out) = *line;
    let arc_px = (radius_px * TAU / LINES as f64).clamp(1.0, 8.0);
    let sides = arc_px.ceil() as i32;
    let at = |k: usize| {
        let d = (k as f64 - (SAMPLES / 2) as f64) * step_px;
        let (mut sum, mut count) = (0.0, 0.0);
        for s in 0..sides {
            let side = (f64::from(s) + 0.5) / f64::from(sides) * arc_px - arc_px * 0.5;
            // The arc bends away from its tangent by side² / 2r.
            let sag = side * side / (2.0 * radius_px);
            let place = [point[0] + out[0] * (d - sag) - out[1] * side, point[1] + out[1] * (d - sag) + out[0] * side];
            if let Some(value) = read(frame, place, tone) {
                sum += value;
                count += 1.0;
            }
        }
        if count > 0.0 { sum / count } else { f64::NAN }
    };
    let values: Vec<f64> = (0..SAMPLES).map(at).collect();
    let spread = (0.8 / step_px).max(1.0);
    derivative(&values, spread)
}

/// Derivative of a Gaussian of `spread` samples.
fn derivative(values: &[f64], spread: f64) -> Vec<f32> {
    let reach = (2.5 * spread).ceil() as i64;
    let kernel: Vec<f64> = (-reach..=reach).map(|k| k as f64 * (-0.5 * (k as f64 / spread).powi(2)).exp()).collect();
    let norm: f64 = kernel.iter().map(|k| k.abs()).sum();
    (0..values.len() as i64)
        .map(|i| {
            let sum: f64 = kernel
                .iter()
                .enumerate()
                .map(|(k, w)| w * values[(i + k as i64 - reach).clamp(0, values.len() as i64 - 1) as usize])
                .sum();
            (sum / norm).abs() as f32
        })
        .collect()
}

/// Mean of the channels, bilinear.
fn read(frame: &Frame, point: [f64; 2], tone: Tone) -> Option<f64> {
    let mut sum = 0.0;
    for (column, row, weight) in four_around(point) {
        let [r, g, b] = frame.pixel(column, row)?;
        sum += weight * f64::from((r + g + b) / 3.0).max(0.0);
    }
    Some(match tone {
        Tone::Lightness => sum.cbrt(),
        Tone::Light => sum,
    })
}

/// Changes → votes: half a vote at the level that the strongest change of a typical line reaches half-way.
fn to_votes(changes: &[f32]) -> Vec<f32> {
    let mut strongest: Vec<f32> = changes
        .chunks(SAMPLES)
        .map(|line| line.iter().copied().filter(|v| v.is_finite()).fold(0.0, f32::max))
        .collect();
    strongest.sort_by(f32::total_cmp);
    let half = strongest.get(strongest.len() / 2).copied().unwrap_or(0.0) * 0.4 + 1e-6;
    changes.iter().map(|c| c * c / (c * c + half * half)).collect()
}

/// Centroid of the votes around a peak, out to where they fall below half of it.
fn centroid(row: &[f32], peak: usize) -> f64 {
    let half = 0.5 * row[peak];
    let mut low = peak;
    while low > 0 && row[low - 1] >= half {
        low -= 1;
    }
    let mut high = peak;
    while high + 1 < row.len() && row[high + 1] >= half {
        high += 1;
    }
    let (mut sum, mut weight) = (0.0, 0.0);
    for (at, vote) in row.iter().enumerate().take(high + 1).skip(low) {
        let w = f64::from(*vote - half) + 1e-6;
        sum += w * at as f64;
        weight += w;
    }
    sum / weight
}

/// Iteratively reweighted cone through edge points; the points kept and their scatter.
fn robust_cone(view: &View, edges: &[([f64; 2], f64)], step_px: f64) -> Option<(SphereCone, Vec<[f64; 2]>, f64)> {
    let mut cone = cone_through(view, edges.iter().copied())?;
    let mut scatter = f64::INFINITY;
    for _ in 0..10 {
        let residuals: Vec<f64> = edges.iter().map(|(p, _)| residual_px(view, &cone, *p)).collect();
        scatter = robust_sd(residuals.iter().copied(), 0.0)?.max(0.05 * step_px.max(0.2));
        let weigh = |r: &f64| {
            let u = r / (TUKEY * scatter);
            if u.abs() < 1.0 { (1.0 - u * u).powi(2) } else { 0.0 }
        };
        cone = cone_through(view, edges.iter().zip(&residuals).map(|((p, vote), r)| (*p, vote * weigh(r))))?;
    }
    let limit = 2.5 * scatter;
    let kept: Vec<[f64; 2]> =
        edges.iter().map(|e| e.0).filter(|p| residual_px(view, &cone, *p).abs() < limit).collect();
    (kept.len() >= LINES / 5).then_some((cone, kept, scatter))
}

/// Distance of a point outside the cone's outline, px.
fn residual_px(view: &View, cone: &SphereCone, point: [f64; 2]) -> f64 {
    let ray = view.ray(point);
    let across = (ray - cone.axis * ray.dot(&cone.axis)).norm().atan2(ray.dot(&cone.axis));
    (across - cone.half_angle_rad) * view.focal_px / (ray.z * ray.z)
}

/// Covariance of the two tangent angles and the half-angle: the scatter of independent lines (about every third), and
/// a doubt that all lines share on each half of the rim.
fn covariance(
    view: &View,
    cone: &SphereCone,
    kept: &[[f64; 2]],
    scatter_px: f64,
    common_px: f64,
) -> Option<Matrix3<f64>> {
    let [right, up] = tangents(&cone.axis);
    let mut normal = Matrix3::zeros();
    for point in kept {
        let ray = view.ray(*point);
        let across = (ray - cone.axis * ray.dot(&cone.axis)).try_normalize(1e-15)?;
        let slope = Vector3::new(-across.dot(&right), -across.dot(&up), -1.0);
        normal += slope * slope.transpose();
    }
    let inverse = normal.try_inverse()?;
    let to_rad = 1.0 / view.focal_px;
    let independent = 3.0;
    // A doubt shared by whole stretches of the rim averages over a handful of them only.
    let shared = (kept.len() as f64 / 6.0).max(1.0);
    Some(inverse * (to_rad * to_rad) * (scatter_px.powi(2) * independent + common_px.powi(2) * shared))
}
