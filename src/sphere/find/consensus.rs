//! The cone that most rays agree on, against outliers, with its covariance.

use std::f64::consts::TAU;

use nalgebra::{Matrix4, Vector4};

use super::rays::{Hypothesis, Probed};
use crate::base::parallel;
use crate::base::statistics::{median, weighted_median};
use crate::optics::camera::View;
use crate::sphere::{RimGap, SphereCone, cone_of_outline, outline_of_cone, tangents};

/// Prior sd of ln(focal length) where the field of view is assumed: the contract's 18 to 75° about 40°.
const ASSUMED_LN_FOCAL_SD: f64 = 0.45;
/// Prior sd of ln(focal length) where it is known: keeps the parameter out of the fit.
const KNOWN_LN_FOCAL_SD: f64 = 1e-6;
/// Tukey's biweight constant for 95 % efficiency under normal errors (Beaton & Tukey 1974).
const TUKEY: f64 = 4.685;
/// The same towards the inside, where a mirror's squeezed reflections add outliers on one side only.
const TUKEY_INSIDE: f64 = 3.0;

/// Rays without support that one with support outweighs in a gap: one in five may be another thing's edge.
const SEEN_COSTS: f64 = 4.0;

/// A cone seen through a view whose focal length may itself be in doubt.
#[derive(Debug, Clone)]
pub(super) struct Aim {
    /// The view under which `cone` draws the outline.
    pub view: View,
    /// The cone.
    pub cone: SphereCone,
}

/// The outcome of one robust fit.
#[derive(Debug, Clone)]
pub(super) struct Consensus {
    /// The fitted cone and view.
    pub aim: Aim,
    /// Covariance of (axis along the first tangent, along the second, half-angle, ln focal length), rad and 1.
    pub covariance: Matrix4<f64>,
    /// Robust sd of the supporting edges about the fit, frame px.
    pub edge_sd_px: f64,
    /// Weighted fraction of the rays in the frame that support the fit.
    pub support: f64,
    /// The same of all rays, whether the frame shows them or not.
    pub covered: f64,
    /// Longest run of rays in the frame without support, as a fraction of those that can speak ([`speaking`]). It goes on where
    /// the outline comes back into the frame: nobody knows what lies between.
    pub longest_gap: f64,
    /// The stretch of the outline on which hardly a ray supports the fit.
    pub gap: Option<RimGap>,
    /// Log-likelihood ratio of the outline against edges that lie anywhere.
    pub evidence: f64,
    /// Blur of the edges (1 sd), frame px.
    pub blur: f64,
    /// Frame px per sample of the plane it was fitted on.
    pub samples_px: f64,
    /// Its edges were weighed by where a rim is likely, so that those beside them tell nothing more.
    pub is_weighed: bool,
}

impl Consensus {
    /// The same, doubted as far as it lies from another outline. `None` where that is none of a sphere.
    pub(super) fn doubted_against(mut self, other: &Aim) -> Option<Self> {
        let outline = outline_of_cone(&other.view, &other.cone)?;
        let there = cone_of_outline(&self.aim.view, &outline)?;
        let here = &self.aim.cone;
        let [right, up] = tangents(&here.axis).map(|t| t.dot(&there.axis));
        let off = [right, up, there.half_angle_rad - here.half_angle_rad];
        off.iter().enumerate().for_each(|(i, off)| self.covariance[(i, i)] += off.powi(2));
        Some(self)
    }
}

/// One ray's row: its possible edges and how its offset depends on the four parameters.
struct Row {
    phi_rad: f64,
    is_in_frame: bool,
    edges: Vec<Edge>,
    slope: Vector4<f64>,
}

impl Row {
    fn stronger_than(&self, least_gain: f64) -> Self {
        Self { edges: self.edges.iter().filter(|e| e.gain >= least_gain).copied().collect(), ..*self }
    }
}

/// A hypothesis with what the fit asks of it again and again.
#[derive(Clone, Copy)]
struct Edge {
    offset_px: f64,
    variance_px2: f64,
    gain: f64,
    ln_gain: f64,
}

impl Edge {
    fn of(hypothesis: &Hypothesis) -> Self {
        let Hypothesis { offset_px, sd_px, gain } = *hypothesis;
        Self { offset_px, variance_px2: sd_px * sd_px, gain, ln_gain: gain.ln() }
    }

    /// How far it is believed to be one: 0 without, 1 from a tenfold reduction of the misfit.
    fn trust(&self) -> f64 {
        (self.ln_gain / std::f64::consts::LN_10).clamp(0.0, 1.0)
    }
}

struct Chosen {
    row: usize,
    residual: f64,
    variance: f64,
    weight: f64,
    trust: f64,
}

/// Fits the cone to the rays' hypotheses. `reach_px` bounds how far the outline may lie from the start, `floor_px` is
/// the smallest scatter believed. Several radii are tried: inside the rim run other edges along it, and of several
/// outlines the one with the best evidence is meant. `None` where too few rays agree.
pub(super) fn agree(start: &Aim, probed: &[Probed], reach_px: f64, floor_px: f64) -> Option<Consensus> {
    let prior_sd = if start.view.is_assumed() { ASSUMED_LN_FOCAL_SD } else { KNOWN_LN_FOCAL_SD };
    let prior = Matrix4::from_diagonal(&Vector4::new(0.0, 0.0, 0.0, prior_sd.powi(-2)));
    let all = rows(start, probed)?;
    let sets: Vec<Vec<Row>> =
        LEAST_GAINS.iter().map(|least| all.iter().map(|r| r.stronger_than(*least)).collect()).collect();
    let costs: Vec<OutsideCost> = sets.iter().map(|rows| OutsideCost::new(rows, reach_px)).collect();
    let rad_per_px = median(all.iter().map(|r| r.slope[2].recip()))?;
    let fits = parallel::filter_map(sets.len() * FIRST_OFFSETS.len(), |index| {
        let (set, offset) = (index / FIRST_OFFSETS.len(), FIRST_OFFSETS[index % FIRST_OFFSETS.len()]);
        let rows = &sets[set];
        let begin = Vector4::new(0.0, 0.0, offset * reach_px * rad_per_px, 0.0);
        let settled = settle(rows, begin, prior, reach_px, floor_px)?;
        let evidence = evidence(rows, &settled, reach_px);
        let worth = evidence - costs[set].of(rows, &settled, reach_px, floor_px);
        let fair = if LEAST_GAINS[set] > 1.0 { STRONG_ONLY_SHARE * worth } else { worth };
        Some((fair, evidence, set, settled))
    });
    let (_, evidence, set, settled) = fits.into_iter().max_by(|a, b| a.0.total_cmp(&b.0))?;
    finish(start, &sets[set], &settled, prior, evidence, floor_px)
}

/// Radii from which a fit begins, as fractions of the reach beyond the start's.
const FIRST_OFFSETS: [f64; 6] = [-0.4, 0.0, 0.2, 0.4, 0.6, 0.8];

/// Edges weaker than these are left out, in turns: in noise only the strong ones tell the rim.
const LEAST_GAINS: [f64; 2] = [1.0, 6.0];
/// A fit to the strong edges alone must be clearly better to be preferred.
const STRONG_ONLY_SHARE: f64 = 0.75;

/// Rays that can speak for an outline or against it: those in the frame. Where it leaves most of the outline out, the others
/// count in part, so that a short arc does not stand for a sphere.
fn speaking(rows: &[Row]) -> f64 {
    /// A sphere of which a third of the diameter lies beyond the frame's edge shows 61 % of its outline (2 acos ⅓ is hidden).
    const LEAST_PART: f64 = 0.55;
    let in_frame = rows.iter().filter(|r| r.is_in_frame).count() as f64;
    in_frame.max(LEAST_PART * rows.len() as f64)
}

/// What it costs an outline to leave edges outside it.
///
/// A mirror squeezes its reflections against the rim, so edges along the rim are dense inside and as rare outside as in
/// the surround. An outline drawn too small leaves some of the dense ones outside; each costs the log ratio of the two
/// densities.
struct OutsideCost {
    /// Edges per ray and px in the surround.
    surround: f64,
    /// ln of the density inside over that in the surround; 0 where the inside is no denser.
    log_ratio: f64,
}

impl OutsideCost {
    fn new(rows: &[Row], reach_px: f64) -> Self {
        let (inner, outer) = (-0.2 * reach_px, 0.6 * reach_px);
        let offsets = || rows.iter().flat_map(|r| r.edges.iter().map(|e| e.offset_px));
        let rays = rows.len().max(1) as f64;
        let inside = offsets().filter(|o| *o < inner).count() as f64 / (rays * 0.8 * reach_px);
        let surround = offsets().filter(|o| *o > outer).count() as f64 / (rays * 0.4 * reach_px);
        let floor = 0.02 / reach_px;
        Self { surround, log_ratio: ((inside + floor) / (surround + floor)).ln().max(0.0) }
    }

    fn of(&self, rows: &[Row], settled: &Settled, reach_px: f64, floor_px: f64) -> f64 {
        let clear = 2.0 * settled.scatter + CLEAR_FLOORS * floor_px;
        let (mut edges, mut length) = (0.0, 0.0);
        for row in rows {
            let first = row.slope.dot(&settled.step) + clear;
            edges += row.edges.iter().filter(|e| e.offset_px > first).count() as f64;
            length += (reach_px - first).max(0.0);
        }
        (edges - self.surround * length).max(0.0) * self.log_ratio * INDEPENDENT_SHARE
    }
}

/// Edges this many floors outside an outline, beyond its scatter, are not its own.
const CLEAR_FLOORS: f64 = 20.0;

/// Smallest scatter believed on the frame itself, px.
pub(super) const FRAME_FLOOR_PX: f64 = 0.02;

/// The robust fit starts from a scatter of at most this many floors.
const FIRST_SCATTER: f64 = 37.5;

/// A settled robust fit.
struct Settled {
    step: Vector4<f64>,
    chosen: Vec<Chosen>,
    scatter: f64,
}

/// Iteratively reweighted least squares with a scatter that only shrinks.
fn settle(rows: &[Row], begin: Vector4<f64>, prior: Matrix4<f64>, reach_px: f64, floor_px: f64) -> Option<Settled> {
    let mut step = begin;
    let mut scatter = (reach_px * 0.25).min(FIRST_SCATTER * floor_px).max(floor_px);
    let mut chosen = Vec::new();
    for _ in 0..12 {
        chosen = choose(rows, &step, scatter);
        let (normal, right_side) = normal_equations(rows, &chosen, &step);
        step = (normal + prior).try_inverse()? * right_side;
        let measured = robust_scatter(&choose(rows, &step, scatter), scatter);
        scatter = measured.clamp(0.6 * scatter, scatter).max(floor_px);
    }
    Some(Settled { step, chosen, scatter })
}

/// Log-likelihood ratio of "a rim runs here" against "the edges on these lines lie anywhere", over independent rays.
fn evidence(rows: &[Row], settled: &Settled, reach_px: f64) -> f64 {
    let mut supported = vec![false; rows.len()];
    for c in &settled.chosen {
        supported[c.row] = c.residual.abs() < 2.0 * settled.scatter + 1e-9;
    }
    let edges: usize = rows.iter().map(|r| r.edges.len()).sum();
    let own = supported.iter().filter(|s| **s).count();
    let rays = speaking(rows);
    let density = (edges - own.min(edges)) as f64 / (rays * 2.0 * reach_px);
    let chance = (1.0 - (-density * 4.0 * settled.scatter).exp()).clamp(0.02, 0.98);
    let share = (own as f64 / rays).clamp(0.01, 0.99);
    let per_ray = share * (share / chance).ln() + (1.0 - share) * ((1.0 - share) / (1.0 - chance)).ln();
    let signed = if share > chance { per_ray } else { -per_ray };
    signed * rays * INDEPENDENT_SHARE
}

/// Neighbouring rays see the same straight edge: about this share of them are independent.
const INDEPENDENT_SHARE: f64 = 0.5;

fn rows(start: &Aim, probed: &[Probed]) -> Option<Vec<Row>> {
    const LN_FOCAL_STEP: f64 = 0.02;
    let outline = outline_of_cone(&start.view, &start.cone)?;
    let other = View { focal_px: start.view.focal_px * LN_FOCAL_STEP.exp(), ..start.view.clone() };
    let refitted = cone_of_outline(&other, &outline)?;
    let row = |p: &Probed| {
        let k = p.ray.rad_per_px;
        let angle = angle_between(&other.ray(p.ray.point), &refitted.axis);
        let k_other = k * start.view.focal_px / other.focal_px;
        let bend = -(angle - refitted.half_angle_rad) / k_other / LN_FOCAL_STEP;
        let slope = Vector4::new(p.ray.phi_rad.cos() / k, p.ray.phi_rad.sin() / k, 1.0 / k, bend);
        Row {
            phi_rad: p.ray.phi_rad,
            is_in_frame: p.is_in_frame,
            edges: p.hypotheses.iter().map(Edge::of).collect(),
            slope,
        }
    };
    Some(probed.iter().map(row).collect())
}

fn angle_between(a: &nalgebra::Vector3<f64>, b: &nalgebra::Vector3<f64>) -> f64 {
    a.cross(b).norm().atan2(a.dot(b))
}

/// For every ray the hypothesis that explains the current outline best, weighted by how well.
fn choose(rows: &[Row], step: &Vector4<f64>, scatter: f64) -> Vec<Chosen> {
    let scatter2 = scatter * scatter;
    let cost = |e: &Edge, expected: f64| (e.offset_px - expected).powi(2) / (e.variance_px2 + scatter2) - e.ln_gain;
    rows.iter()
        .enumerate()
        .filter_map(|(row, r)| {
            let expected = r.slope.dot(step);
            let costs = r.edges.iter().map(|e| (cost(e, expected), e));
            let (_, best) = costs.min_by(|a, b| a.0.total_cmp(&b.0))?;
            let residual = best.offset_px - expected;
            let variance = best.variance_px2 + scatter2;
            let cut = if residual < 0.0 { TUKEY_INSIDE } else { TUKEY };
            let u = residual / (cut * variance.sqrt());
            let trust = best.trust();
            let weight = if u.abs() < 1.0 { (1.0 - u * u).powi(2) * trust } else { 0.0 };
            Some(Chosen { row, residual, variance, weight, trust })
        })
        .collect()
}

fn normal_equations(rows: &[Row], chosen: &[Chosen], step: &Vector4<f64>) -> (Matrix4<f64>, Vector4<f64>) {
    let mut normal = Matrix4::zeros();
    let mut right_side = Vector4::zeros();
    for c in chosen {
        let slope = rows[c.row].slope;
        let weight = c.weight / c.variance;
        normal += slope * slope.transpose() * weight;
        right_side += slope * ((c.residual + slope.dot(step)) * weight);
    }
    (normal, right_side)
}

/// Scatter of the supporting edges: their weighted median residual within the core, brought to a standard deviation.
/// The narrow core and the weights keep a uniform background of chance edges from inflating it.
fn robust_scatter(chosen: &[Chosen], scatter: f64) -> f64 {
    /// Normal errors cut at 2.2 sd have their median modulus at 0.654 sd.
    const CORE: f64 = 2.2;
    const CORE_MEDIAN: f64 = 0.654;
    let core = chosen.iter().filter(|c| c.residual.abs() < CORE * scatter).map(|c| (c.residual.abs(), c.trust));
    weighted_median(core.collect()).map_or(0.0, |median| median / CORE_MEDIAN)
}

/// What the scatter of edges about a mirror's rim leaves in doubt however many there are, as a share of it: squeezed
/// reflections pull all of them inwards. Measured on ray-traced shots (see `tests/pictures/finder.rs`)
/// and on made-up ones (`benches/coverage.rs`).
const RADIUS_SHARE: f64 = 0.5;
/// The same for each coordinate of the centre.
const CENTRE_SHARE: f64 = 0.3;
/// Edges that scatter this much, px, are half reflections that run along the rim: the shares double.
const DOUBTFUL_SCATTER_PX: f64 = 1.0;
/// Outlines supported by less than this fraction of the rays leave more doubt, by the square of the ratio (of all rays), and
/// are placed by all lines together (of those in the frame).
pub(super) const FULL_SUPPORT: f64 = 0.75;

fn finish(
    start: &Aim,
    rows: &[Row],
    settled: &Settled,
    prior: Matrix4<f64>,
    evidence: f64,
    floor_px: f64,
) -> Option<Consensus> {
    let Settled { step, chosen, scatter } = settled;
    let supporting: Vec<&Chosen> = chosen.iter().filter(|c| c.weight > 0.05).collect();
    if supporting.len() < 12 {
        return None;
    }
    let (normal, _) = normal_equations(rows, chosen, step);
    let misfit: f64 = chosen.iter().map(|c| c.weight * c.residual.powi(2) / c.variance).sum();
    let total: f64 = chosen.iter().map(|c| c.weight).sum();
    let inflation = (misfit / (total - 3.0).max(1.0)).max(1.0) * correlation_inflation(rows.len(), &supporting);
    let mut covariance = (normal / inflation + prior).try_inverse()?;
    let rad_per_px = median(rows.iter().map(|r| r.slope[2].recip()))?;
    let weights = supporting.iter().map(|c| c.weight).sum::<f64>();
    let (support, covered) = (weights / speaking(rows), weights / rows.len() as f64);
    let sparse = (FULL_SUPPORT / covered.max(0.1)).powi(2).max(1.0);
    let doubtful = 1.0 + scatter / DOUBTFUL_SCATTER_PX;
    for (i, share) in [CENTRE_SHARE, CENTRE_SHARE, RADIUS_SHARE].into_iter().enumerate() {
        covariance[(i, i)] += (rad_per_px * share * doubtful * sparse * scatter.max(floor_px)).powi(2);
    }
    let seen = seen(rows, &supporting);
    Some(Consensus {
        aim: start.stepped(&if start.view.is_assumed() {
            *step
        } else {
            Vector4::new(step[0], step[1], step[2], 0.0)
        })?,
        covariance,
        edge_sd_px: *scatter,
        evidence,
        support,
        covered,
        longest_gap: longest_gap(rows, &seen),
        gap: mostly_unseen(rows, &seen),
        blur: 0.0,
        samples_px: 1.0,
        is_weighed: false,
    })
}

impl Aim {
    /// Moved by (axis along the first tangent, along the second, half-angle, ln focal length). A change of focal length
    /// keeps the outline and refits the cone. `None` where nothing sensible is left.
    pub(super) fn stepped(&self, step: &Vector4<f64>) -> Option<Self> {
        let mut aim = self.clone();
        if step[3] != 0.0 {
            let outline = outline_of_cone(&self.view, &self.cone)?;
            aim.view.focal_px *= step[3].clamp(-0.8, 0.8).exp();
            aim.cone = cone_of_outline(&aim.view, &outline)?;
        }
        let [right, up] = tangents(&aim.cone.axis);
        let axis = (aim.cone.axis + right * step[0] + up * step[1]).normalize();
        let half_angle_rad = aim.cone.half_angle_rad + step[2];
        let sensible = half_angle_rad > 0.0 && half_angle_rad < 1.2 && axis.z < 0.0;
        sensible.then_some(Self { cone: SphereCone { axis, half_angle_rad }, ..aim })
    }
}

/// How much neighbouring rays err together: 1 + 2 Σ autocorrelation of the residuals over the next rays.
fn correlation_inflation(count: usize, supporting: &[&Chosen]) -> f64 {
    let mut residuals = vec![None; count];
    for c in supporting {
        residuals[c.row] = Some(c.residual / c.variance.sqrt());
    }
    let power: f64 = supporting.iter().map(|c| c.residual.powi(2) / c.variance).sum::<f64>() / supporting.len() as f64;
    let mut inflation = 1.0;
    for lag in 1..=(count / 12).min(12) {
        let pairs: Vec<f64> = (0..count).filter_map(|i| Some(residuals[i]? * residuals[(i + lag) % count]?)).collect();
        let correlation = pairs.iter().sum::<f64>() / pairs.len().max(1) as f64 / power.max(1e-12);
        if correlation < 0.05 {
            break;
        }
        inflation += 2.0 * correlation;
    }
    inflation
}

/// Which rays support the fit.
fn seen(rows: &[Row], supporting: &[&Chosen]) -> Vec<bool> {
    let mut seen = vec![false; rows.len()];
    for c in supporting {
        seen[c.row] = true;
    }
    seen
}

fn longest_gap(rows: &[Row], seen: &[bool]) -> f64 {
    let count = seen.len();
    let (mut longest, mut run) = (0_usize, 0_usize);
    for i in (0..2 * count).filter(|i| rows[i % count].is_in_frame) {
        run = if seen[i % count] { 0 } else { run + 1 };
        longest = longest.max(run.min(count));
    }
    (longest as f64 / speaking(rows)).min(1.0)
}

/// The stretch of most unseen rays less [`SEEN_COSTS`] for each seen one: something else's edge that crosses it by chance
/// does not end it.
fn mostly_unseen(rows: &[Row], seen: &[bool]) -> Option<RimGap> {
    let count = seen.len();
    let (mut start, mut sum) = (0_usize, 0.0_f64);
    let (mut best, mut found) = (0.0, None);
    for i in 0..2 * count {
        if sum <= 0.0 || i - start >= count {
            (start, sum) = (i, 0.0);
        }
        sum += if seen[i % count] { -SEEN_COSTS } else { 1.0 };
        if sum > best {
            (best, found) = (sum, Some((start, i + 1 - start)));
        }
    }
    let (start, rays) = found?;
    let rad_per_ray = TAU / count as f64;
    Some(RimGap { from_rad: rows.get(start % count)?.phi_rad, length_rad: rays as f64 * rad_per_ray })
}
