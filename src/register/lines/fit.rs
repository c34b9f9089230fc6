//! Lens distortion by straightness alone: the parameters under which all edges become straight.
//!
//! A pinhole camera images every straight line as a straight line (Devernay & Faugeras 2001, Machine Vision and
//! Applications 13(1)), whatever the perspective.

use nalgebra::{DMatrix, DVector};

use super::trace::line_through;
use super::{Distortion, DistortionModel, Edge};
use crate::Estimate;
use crate::base::statistics::{median, robust_sd};

/// Edges needed, and how many of them away from the centre.
const LEAST_EDGES: usize = 4;
const LEAST_OFF_CENTRE: usize = 3;
/// An edge tells about the lens where its distance from the centre, times half its length, reaches this share of the
/// half diagonal squared: an edge through the centre stays straight through every radial lens.
const LEAST_LEVER: f64 = 0.02;
/// Residual below which edges are not told apart, px.
const FINEST_PX: f64 = 0.02;
/// An edge that stays this many times as crooked as the typical one is no straight thing.
const CROOKED: f64 = 4.0;
/// Edges that stay more crooked than this under every lens are no straight things, px.
const LARGEST_RESIDUAL_PX: f64 = 1.0;
/// Robust weights fall off from this many spreads (Cauchy; 2.385 gives 95 % efficiency, Holland & Welsch 1977).
const CAUCHY: f64 = 2.385;
/// Numbers that one edge contributes to the choice of the model: its points lie on one thing and err together.
const INDEPENDENT_PER_EDGE: f64 = 4.0;
const ROUNDS: usize = 6;
const STEPS: usize = 25;

/// A lens fitted to edges.
#[derive(Debug, Clone, PartialEq)]
pub struct LensFit {
    /// The distortion.
    pub distortion: Distortion,
    /// Standard deviations of k1 and k2.
    pub k_sd: [f64; 2],
    /// Pull at the frame's corner, percent; negative = barrel.
    pub pull_percent: Estimate,
    /// Pull at the frame's corner, px.
    pub pull_px: Estimate,
    /// Root mean square distance from straight after the fit, px.
    pub residual_px: f64,
    /// The same without any correction.
    pub bent_px: f64,
    /// The same under the best fit of each form: polynomial, division.
    pub residual_by_model_px: [f64; 2],
    /// The centre of the distortion was fitted too.
    pub centre_fitted: bool,
    /// Edges used.
    pub edges: usize,
    /// Edges that stayed crooked and were left out.
    pub left_out: usize,
    /// Largest radius that the edges reach, as a share of the half diagonal.
    pub reach: f64,
}

/// Why no lens could be fitted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NoLensFit {
    /// So many long straight edges were found, too few.
    TooFew(usize),
    /// All of them pass near the centre, where a radial lens bends nothing.
    AllThroughCentre(usize),
    /// No parameters make them straight.
    NotStraight,
}

impl NoLensFit {
    /// The reason in words.
    pub fn reason(self) -> String {
        match self {
            Self::TooFew(found) => {
                format!("only {found} long straight edges were found; at least {LEAST_EDGES} are needed")
            }
            Self::AllThroughCentre(found) => format!(
                "of {found} long edges fewer than {LEAST_OFF_CENTRE} pass away from the centre of the frame, and a line \
                 through the centre stays straight through every lens"
            ),
            Self::NotStraight => {
                "no lens distortion makes these edges straight: they are probably not straight in reality".to_owned()
            }
        }
    }
}

/// Fits the lens of a frame of that size.
///
/// # Errors
/// Why the edges do not tell.
pub fn fit_lens(edges: &[Edge], size: [f64; 2]) -> Result<LensFit, NoLensFit> {
    if edges.len() < LEAST_EDGES {
        return Err(NoLensFit::TooFew(edges.len()));
    }
    if edges.iter().filter(|e| has_lever(e, size)).count() < LEAST_OFF_CENTRE {
        return Err(NoLensFit::AllThroughCentre(edges.len()));
    }
    let forms = [Form { free: 1, ..Form::POLYNOMIAL }, Form::POLYNOMIAL, Form::DIVISION];
    let fitted: Vec<Fitted> = forms.iter().filter_map(|form| Fitted::of(edges, size, *form)).collect();
    let none = Fitted::unbent(edges, size);
    let mut best = fitted.iter().chain([&none]).min_by(|a, b| a.score().total_cmp(&b.score())).cloned();
    if let Some(plain) = &best
        && plain.form.free > 0
        && let Some(moved) = Fitted::of(edges, size, Form { centre: true, ..plain.form })
        && moved.score() < plain.score() - 6.0
    {
        best = Some(moved);
    }
    let best = best
        .filter(|b| b.kept() >= LEAST_EDGES && b.residual_px < LARGEST_RESIDUAL_PX)
        .ok_or(NoLensFit::NotStraight)?;
    let bent_px = rms_of_kept(edges, &Distortion::none(size), &best.keep);
    Ok(best.summed_up(&fitted, size, bent_px))
}

/// Distance from the centre times half the length, in units of the half diagonal squared.
fn has_lever(edge: &Edge, size: [f64; 2]) -> bool {
    let (middle, direction) = line_through(&edge.points);
    let away = [middle[0] - 0.5 * size[0], middle[1] - 0.5 * size[1]];
    let distance = (away[0] * direction[1] - away[1] * direction[0]).abs();
    let half_diagonal = 0.5 * size[0].hypot(size[1]);
    distance * 0.5 * edge.length() > LEAST_LEVER * half_diagonal * half_diagonal
}

/// What is fitted.
#[derive(Debug, Clone, Copy)]
struct Form {
    model: DistortionModel,
    /// Coefficients fitted.
    free: usize,
    /// The centre is fitted too.
    centre: bool,
}

impl Form {
    const POLYNOMIAL: Self = Self { model: DistortionModel::Polynomial, free: 2, centre: false };
    const DIVISION: Self = Self { model: DistortionModel::Division, free: 1, centre: false };

    fn count(self) -> usize {
        self.free + if self.centre { 2 } else { 0 }
    }

    fn distortion(self, parameters: &DVector<f64>, size: [f64; 2]) -> Distortion {
        let mut lens = Distortion { model: self.model, ..Distortion::none(size) };
        lens.k1 = if self.free > 0 { parameters[0] } else { 0.0 };
        lens.k2 = if self.free > 1 { parameters[1] } else { 0.0 };
        if self.centre {
            (0..2).for_each(|axis| lens.centre_px[axis] += lens.radius_px * parameters[self.free + axis]);
        }
        lens
    }
}

/// A fit with everything that its uncertainty needs.
#[derive(Debug, Clone)]
struct Fitted {
    form: Form,
    distortion: Distortion,
    parameters: DVector<f64>,
    covariance: DMatrix<f64>,
    residual_px: f64,
    keep: Vec<bool>,
    reach: f64,
    size: [f64; 2],
}

impl Fitted {
    fn unbent(edges: &[Edge], size: [f64; 2]) -> Self {
        let form = Form { free: 0, ..Form::POLYNOMIAL };
        let parameters = DVector::zeros(0);
        let distortion = form.distortion(&parameters, size);
        let keep = straight_ones(edges, &distortion);
        let residual_px = rms_of_kept(edges, &distortion, &keep);
        let covariance = DMatrix::zeros(0, 0);
        Self { form, distortion, parameters, covariance, residual_px, reach: reach(edges, &keep, size), keep, size }
    }

    fn of(edges: &[Edge], size: [f64; 2], form: Form) -> Option<Self> {
        let mut keep = vec![true; edges.len()];
        let mut parameters = DVector::zeros(form.count());
        for _ in 0..ROUNDS {
            parameters = solve(edges, &keep, size, form, parameters)?;
            let next = straight_ones(edges, &form.distortion(&parameters, size));
            if next == keep {
                break;
            }
            keep = next;
        }
        let distortion = form.distortion(&parameters, size);
        let covariance = covariance(edges, &keep, size, form, &parameters)?;
        let residual_px = rms_of_kept(edges, &distortion, &keep);
        let reach = reach(edges, &keep, size);
        Some(Self { form, distortion, parameters, covariance, residual_px, keep, reach, size })
    }

    fn kept(&self) -> usize {
        self.keep.iter().filter(|k| **k).count()
    }

    /// Schwarz's criterion (BIC) on what the edges say independently; edges left out count with the residual at which
    /// they would still be kept, so that a model cannot win by leaving out what it does not explain.
    fn score(&self) -> f64 {
        let count = INDEPENDENT_PER_EDGE * self.keep.len() as f64;
        let out = (self.keep.len() - self.kept()) as f64 / self.keep.len() as f64;
        let kept = self.residual_px.max(FINEST_PX).powi(2);
        let variance = kept * (1.0 - out) + CROOKED * CROOKED * kept * out;
        count * variance.ln() + self.form.count() as f64 * count.ln()
    }

    /// Uncertainty of a quantity of the lens, by its slope over the parameters.
    fn sd_of(&self, quantity: impl Fn(&Distortion) -> f64) -> f64 {
        let here = quantity(&self.distortion);
        let slope = DVector::from_fn(self.parameters.len(), |i, _| {
            let step = 1e-6;
            let mut other = self.parameters.clone();
            other[i] += step;
            (quantity(&self.form.distortion(&other, self.size)) - here) / step
        });
        (slope.transpose() * &self.covariance * slope)[(0, 0)].max(0.0).sqrt()
    }

    fn summed_up(&self, all: &[Self], size: [f64; 2], bent_px: f64) -> LensFit {
        // The two forms differ where the edges do not reach: what they disagree by at the corner is open.
        let others = all.iter().filter(|f| f.residual_px < 1.5 * self.residual_px.max(FINEST_PX));
        let disagreement = |quantity: &dyn Fn(&Distortion) -> f64| {
            let apart = others.clone().map(|f| (quantity(&f.distortion) - quantity(&self.distortion)).abs());
            0.5 * apart.fold(0.0, f64::max)
        };
        let estimate = |quantity: &dyn Fn(&Distortion) -> f64| {
            Estimate::new(quantity(&self.distortion), self.sd_of(quantity)).widened(disagreement(quantity))
        };
        let by_model = |model: DistortionModel| {
            let of_model = all.iter().filter(|f| f.form.model == model).map(|f| f.residual_px);
            of_model.fold(f64::INFINITY, f64::min)
        };
        LensFit {
            distortion: self.distortion,
            k_sd: [self.sd_of(|d| d.k1), self.sd_of(|d| d.k2)],
            pull_percent: estimate(&|d| d.corner_pull_percent(size)),
            pull_px: estimate(&|d| d.corner_pull_px(size)),
            residual_px: self.residual_px,
            bent_px,
            residual_by_model_px: [DistortionModel::Polynomial, DistortionModel::Division].map(by_model),
            centre_fitted: self.form.centre,
            edges: self.kept(),
            left_out: self.keep.len() - self.kept(),
            reach: self.reach,
        }
    }
}

/// Signed distances of an edge's straightened points from their line, in pixels of the recorded frame.
fn distances(edge: &Edge, lens: &Distortion) -> Vec<f64> {
    let points: Vec<[f64; 2]> = edge.points.iter().map(|p| lens.straightened(*p)).collect();
    let (middle, direction) = line_through(&points);
    // A lens that shrinks the picture would shrink the residuals with it.
    let scale = stretch(edge, &points);
    points.iter().map(|p| ((p[1] - middle[1]) * direction[0] - (p[0] - middle[0]) * direction[1]) / scale).collect()
}

fn stretch(edge: &Edge, straightened: &[[f64; 2]]) -> f64 {
    let (Some(a), Some(b)) = (straightened.first(), straightened.last()) else { return 1.0 };
    let after = (a[0] - b[0]).hypot(a[1] - b[1]);
    (after / edge.length().max(1e-9)).clamp(0.05, 20.0)
}

fn rms(values: &[f64]) -> f64 {
    (values.iter().map(|v| v * v).sum::<f64>() / values.len().max(1) as f64).sqrt()
}

fn rms_of_kept(edges: &[Edge], lens: &Distortion, keep: &[bool]) -> f64 {
    let all: Vec<f64> = edges.iter().zip(keep).filter(|(_, k)| **k).flat_map(|(e, _)| distances(e, lens)).collect();
    rms(&all)
}

fn reach(edges: &[Edge], keep: &[bool], size: [f64; 2]) -> f64 {
    let none = Distortion::none(size);
    let radius = |p: &[f64; 2]| (p[0] - none.centre_px[0]).hypot(p[1] - none.centre_px[1]) / none.radius_px;
    let kept = edges.iter().zip(keep).filter(|(_, k)| **k).flat_map(|(e, _)| &e.points);
    kept.map(radius).fold(0.0, f64::max)
}

/// Which edges are as straight as the others under a lens.
fn straight_ones(edges: &[Edge], lens: &Distortion) -> Vec<bool> {
    let crooked: Vec<f64> = edges.iter().map(|e| rms(&distances(e, lens))).collect();
    let typical = median(crooked.iter().copied()).unwrap_or(0.0).max(FINEST_PX);
    crooked.iter().map(|c| *c <= CROOKED * typical).collect()
}

/// Residuals of all kept edges, with the index of the first of each edge.
fn residuals(edges: &[Edge], keep: &[bool], lens: &Distortion) -> (DVector<f64>, Vec<usize>) {
    let mut all = Vec::new();
    let mut starts = Vec::new();
    for (edge, _) in edges.iter().zip(keep).filter(|(_, k)| **k) {
        starts.push(all.len());
        all.extend(distances(edge, lens));
    }
    starts.push(all.len());
    (DVector::from_vec(all), starts)
}

fn jacobian(edges: &[Edge], keep: &[bool], size: [f64; 2], form: Form, at: &DVector<f64>) -> DMatrix<f64> {
    let columns: Vec<DVector<f64>> = (0..at.len())
        .map(|i| {
            let step = 1e-5;
            let moved = |sign: f64| {
                let mut other = at.clone();
                other[i] += sign * step;
                residuals(edges, keep, &form.distortion(&other, size)).0
            };
            (moved(1.0) - moved(-1.0)) / (2.0 * step)
        })
        .collect();
    DMatrix::from_columns(&columns)
}

/// Levenberg-Marquardt with Cauchy weights.
fn solve(edges: &[Edge], keep: &[bool], size: [f64; 2], form: Form, start: DVector<f64>) -> Option<DVector<f64>> {
    let mut at = start;
    let mut damping = 1e-3;
    let cost = |parameters: &DVector<f64>, spread: f64| -> f64 {
        let (r, _) = residuals(edges, keep, &form.distortion(parameters, size));
        r.iter().map(|v| (v / (CAUCHY * spread)).powi(2).ln_1p()).sum()
    };
    for _ in 0..STEPS {
        let (r, _) = residuals(edges, keep, &form.distortion(&at, size));
        if r.is_empty() {
            return None;
        }
        let spread = spread(&r);
        let weights = r.map(|v| 1.0 / (1.0 + (v / (CAUCHY * spread)).powi(2)));
        let j = jacobian(edges, keep, size, form, &at);
        let weighted = DMatrix::from_fn(j.nrows(), j.ncols(), |i, k| j[(i, k)] * weights[i]);
        let normal = weighted.transpose() * &j;
        let right = -(weighted.transpose() * &r);
        let mut damped = normal.clone();
        (0..normal.nrows()).for_each(|i| damped[(i, i)] += damping * normal[(i, i)].max(1e-12));
        let step = damped.cholesky()?.solve(&right);
        let next = &at + &step;
        let tame = next.iter().all(|v| v.is_finite() && v.abs() < 2.0);
        if tame && cost(&next, spread) <= cost(&at, spread) {
            at = next;
            damping = (damping * 0.3_f64).max(1e-9);
            if step.norm() < 1e-9 {
                break;
            }
        } else {
            damping *= 10.0;
            if damping > 1e9 {
                break;
            }
        }
    }
    Some(at)
}

fn spread(r: &DVector<f64>) -> f64 {
    robust_sd(r.iter().copied(), 0.0).unwrap_or(0.0).max(FINEST_PX / 4.0)
}

/// Sandwich covariance with edges as clusters.
fn covariance(edges: &[Edge], keep: &[bool], size: [f64; 2], form: Form, at: &DVector<f64>) -> Option<DMatrix<f64>> {
    let (r, starts) = residuals(edges, keep, &form.distortion(at, size));
    let j = jacobian(edges, keep, size, form, at);
    let spread = spread(&r);
    let weights = r.map(|v| 1.0 / (1.0 + (v / (CAUCHY * spread)).powi(2)));
    let count = at.len();
    let (mut bread, mut meat) = (DMatrix::<f64>::zeros(count, count), DMatrix::<f64>::zeros(count, count));
    for ends in starts.windows(2) {
        let mut score = DVector::<f64>::zeros(count);
        for i in ends[0]..ends[1] {
            let row = j.row(i).transpose();
            bread += &row * row.transpose() * weights[i];
            score += row * (weights[i] * r[i]);
        }
        meat += &score * score.transpose();
    }
    let clusters = starts.len() as f64 - 1.0;
    let small_sample = clusters / (clusters - count as f64).max(0.5);
    let inverse = bread.try_inverse()?;
    let found = &inverse * meat * &inverse * small_sample;
    found.iter().all(|v| v.is_finite()).then_some(found)
}
