//! A projective map by least squares on the gradients of many patches, robust against patches that went their own way.

use crate::base::parallel;
use crate::base::statistics::SD_PER_MEDIAN_DEVIATION;
use nalgebra::{DMatrix, DVector, Matrix2, Matrix4, Vector2};

use super::patch::{Patch, SIDE, Scatter};
use super::warp::{Covariance, Parameters, Registration, Warp, WarpModel, places};
use super::{LARGEST_SD_PX, LEAST_AGREEMENT, NotRegistered};
use crate::base::robust::{TUKEY_SPREADS, Weighted, weighted_quantile};

/// Steps of the iteration.
const MOST_STEPS: usize = 20;
/// A step that moves no point by more than this many pixels ends the iteration …
pub(super) const SETTLED_PX: f64 = 2e-3;
/// … or than this, where the result is but the start of another.
pub(super) const ROUGHLY_PX: f64 = 0.02;
/// No step moves the picture's points by more than this, px.
const LARGEST_STEP_PX: f64 = 2.0;
/// What cubic interpolation and pixel sampling leave on real detail, px (as for translation).
const METHOD_SD_PX: f64 = 0.008;
/// Patches that move on their own by less than this are not told apart, px.
const OWN_MOTION_PX: f64 = 0.03;
/// A fuller model has to move the picture by this many of its own standard deviations, and by this many pixels.
const EVIDENCE_SDS: f64 = 3.0;
const EVIDENCE_PX: f64 = 0.02;
/// It is not tried where its first step from the simpler model's map would move the picture by less than this many of
/// its standard deviations or this many times what counts as settled.
const CONTENT_SDS: f64 = 2.5;
const CONTENT_STEPS: f64 = 5.0;
/// It may not leave more different than this many times the simpler model does …
const MOST_RESIDUAL: f64 = 1.02;
/// … nor have less detail in common than this part.
const LEAST_IN_COMMON: f64 = 0.97;
/// A map that leaves less than this part of what another leaves different fits better.
const CLEARLY_BETTER: f64 = 0.98;
/// Patches that a model needs for each of its parameters.
const PATCHES_PER_PARAMETER: usize = 2;

/// Cuts the patch at a corner of the fixed picture and at that corner plus an offset of the moving one.
pub(super) type Cut<'a> = dyn Fn([i64; 2], [i64; 2]) -> Option<Patch> + Sync + 'a;

/// One patch with its place.
struct Placed {
    corner: [i64; 2],
    offset: [i64; 2],
    patch: Patch,
}

impl Placed {
    fn cut(cut: &Cut<'_>, corner: [i64; 2], warp: &Warp) -> Option<Self> {
        let offset = warp.displacement(middle(corner)).map(|d| d.round() as i64);
        Some(Self { corner, offset, patch: cut(corner, offset)? })
    }

    /// Both squares half-way towards each other, exactly along the map.
    fn align(&mut self, warp: &Warp) {
        let (corner, offset) = (self.corner.map(|c| c as f64 + 0.5), self.offset.map(|o| o as f64));
        self.patch.align_along(|local| {
            let here = [local[0] + corner[0], local[1] + corner[1]];
            let moved = warp.displacement(here);
            let back = [0, 1].map(|axis| here[axis] - 0.5 * (moved[axis] - offset[axis]));
            let there = warp.apply(back);
            let own = |point: [f64; 2], shift: [f64; 2]| [0, 1].map(|axis| point[axis] - corner[axis] - shift[axis]);
            [own(back, [0.0; 2]), own(there, offset)]
        });
    }

    fn strays(&self, warp: &Warp) -> bool {
        let moved = warp.displacement(middle(self.corner));
        (0..2).any(|axis| (moved[axis] - self.offset[axis] as f64).abs() > 0.75)
    }
}

fn middle(corner: [i64; 2]) -> [f64; 2] {
    corner.map(|c| c as f64 + 0.5 * SIDE as f64)
}

/// Fits the simplest model that the pictures support, from a start that is right to a few pixels, until a step moves
/// nothing by more than `settled_px`.
///
/// # Errors
/// Why the pictures support none.
pub(super) fn fit_warp(
    cut: &Cut<'_>,
    corners: &[[i64; 2]],
    start: &Warp,
    size: [f64; 2],
    settled_px: f64,
) -> Result<Registration, NotRegistered> {
    let plain = Warp::shift(size, start.displacement(start.centre()));
    let seen = seen(corners);
    let refined = |start: &Warp, model: WarpModel| refine_warp(cut, corners, start, model, size, settled_px);
    let mut chosen = refined(&plain, WarpModel::Translation);
    for model in [WarpModel::Similarity, WarpModel::Homography] {
        if corners.len() < PATCHES_PER_PARAMETER * model.basis().len() {
            break;
        }
        let Some(start) = fuller_start(cut, corners, (chosen.as_ref().ok(), start), model, settled_px) else {
            continue;
        };
        let Ok(fuller) = refined(&start, model) else { continue };
        if !chosen.as_ref().is_ok_and(|simpler| !supports(simpler, &fuller, &seen)) {
            chosen = Ok(fuller);
        }
    }
    chosen
}

/// Where to look for a fuller model: at the simpler model's map or at the first guess, whichever fits better. `None`
/// where the fuller model would not leave the simpler one's map: its first step leads nowhere.
fn fuller_start(
    cut: &Cut<'_>,
    corners: &[[i64; 2]],
    (simpler, guess): (Option<&Registration>, &Warp),
    model: WarpModel,
    settled_px: f64,
) -> Option<Warp> {
    let Some(simpler) = simpler else { return Some(*guess) };
    let basis = model.basis();
    let compared = |warp: &Warp| Compared::of(&mut cut_all(cut, corners, warp), warp, &basis, 1.0);
    let Some(at_simpler) = compared(&simpler.warp) else { return Some(*guess) };
    if compared(guess).is_some_and(|at_guess| at_guess.residual_sd < CLEARLY_BETTER * at_simpler.residual_sd) {
        return Some(*guess);
    }
    let [motion, sd] = at_simpler.motion_and_sd(&simpler.warp, &seen(corners))?;
    (motion > CONTENT_STEPS * settled_px && motion > CONTENT_SDS * sd).then_some(simpler.warp)
}

/// Points spread over what the patches span: beyond, a map is not borne out by anything.
fn seen(corners: &[[i64; 2]]) -> Vec<[f64; 2]> {
    let along = |axis: usize| corners.iter().map(move |corner| corner[axis]);
    let low = [0, 1].map(|axis| along(axis).min().unwrap_or(0) as f64);
    let high = [0, 1].map(|axis| along(axis).max().unwrap_or(0) as f64 + SIDE as f64);
    let spread = places([high[0] - low[0], high[1] - low[1]]);
    spread.into_iter().map(|[x, y]| [low[0] + x, low[1] + y]).collect()
}

/// The fuller map leaves the simpler one by more than its own uncertainty, and fits no worse.
fn supports(simpler: &Registration, fuller: &Registration, points: &[[f64; 2]]) -> bool {
    let mut apart = 0.0;
    let mut variance = 0.0;
    for point in points {
        let (a, b) = (simpler.warp.displacement(*point), fuller.displacement(*point));
        apart += (a[0] - b[0].value).powi(2) + (a[1] - b[1].value).powi(2);
        variance += b[0].sd.powi(2) + b[1].sd.powi(2);
    }
    let [apart, sd] = [apart, variance].map(|sum| (sum / points.len() as f64).sqrt());
    let fits =
        fuller.residual < MOST_RESIDUAL * simpler.residual && fuller.agreement > LEAST_IN_COMMON * simpler.agreement;
    apart > EVIDENCE_PX && apart > EVIDENCE_SDS * sd && fits
}

/// Refines one model until a step moves nothing that the patches span by more than `settled_px`.
///
/// # Errors
/// Why the pictures do not support it.
pub(super) fn refine_warp(
    cut: &Cut<'_>,
    corners: &[[i64; 2]],
    start: &Warp,
    model: WarpModel,
    size: [f64; 2],
    settled_px: f64,
) -> Result<Registration, NotRegistered> {
    let seen = seen(corners);
    let mut warp = *start;
    let mut gain = 1.0;
    let mut patches = cut_all(cut, corners, &warp);
    let basis = model.basis();
    for _ in 0..MOST_STEPS {
        if patches.iter().any(|p| p.strays(&warp)) {
            patches = cut_all(cut, corners, &warp);
        }
        let compared = Compared::of(&mut patches, &warp, &basis, gain).ok_or(NotRegistered::NoAgreement)?;
        let (step, gain_step) = compared.step().ok_or(NotRegistered::NoTexture)?;
        let largest = largest_motion(&warp, &step, &seen);
        let share = (LARGEST_STEP_PX / largest.max(1e-9)).min(1.0);
        warp.parameters += step * share;
        gain = (gain + gain_step).clamp(0.2, 5.0);
        if !is_tame(&warp, size) {
            return Err(NotRegistered::NoAgreement);
        }
        if largest < settled_px {
            break;
        }
    }
    Compared::of(&mut patches, &warp, &basis, gain).ok_or(NotRegistered::NoAgreement)?.result(&warp, model)
}

fn cut_all(cut: &Cut<'_>, corners: &[[i64; 2]], warp: &Warp) -> Vec<Placed> {
    parallel::filter_map(corners.len(), |i| Placed::cut(cut, corners[i], warp))
}

fn largest_motion(warp: &Warp, step: &Parameters, points: &[[f64; 2]]) -> f64 {
    points.iter().map(|p| (warp.jacobian(*p) * step).norm()).fold(0.0, f64::max)
}

/// No corner is thrown further than the picture is wide: such a map is no camera's.
fn is_tame(warp: &Warp, size: [f64; 2]) -> bool {
    let reach = size[0].max(size[1]);
    places(size).iter().all(|p| warp.displacement(*p).iter().all(|d| d.is_finite() && d.abs() < reach))
}

/// All patches compared under one map.
struct Compared {
    residual_sd: f64,
    /// Change of a patch's place with each free direction, px.
    slopes: Vec<DMatrix<f64>>,
    /// Reduced scatter of each patch: common gradient x, y, fixed value, residual; weighted.
    reduced: Vec<Matrix4<f64>>,
    /// Products of fixed with moving gradient: the noise of the two drops out.
    shared: Vec<Matrix2<f64>>,
    basis: Vec<Parameters>,
}

impl Compared {
    fn of(patches: &mut [Placed], warp: &Warp, basis: &[Parameters], gain: f64) -> Option<Self> {
        let found: Vec<(f64, Vec<Weighted>)> = parallel::map_each_mut(patches, |placed| {
            placed.align(warp);
            placed.patch.residuals(gain)
        });
        let residual_sd = spread_of_best(&found)?;
        let middles: Vec<f64> = found.iter().map(|(middle, _)| *middle).collect();
        let reach = TUKEY_SPREADS * residual_sd;
        let scatters: Vec<Scatter> =
            parallel::map(patches.len(), |i| patches[i].patch.scatter(gain, middles[i], reach));
        let slopes = patches.iter().map(|placed| slope(warp, middle(placed.corner), basis)).collect();
        let mut compared = Self {
            residual_sd,
            slopes,
            reduced: scatters.iter().map(|s| s.reduced(gain)).collect(),
            shared: scatters.iter().map(|s| shared(s, gain)).collect(),
            basis: basis.to_vec(),
        };
        compared.quieten_strays();
        Some(compared)
    }

    /// Takes the say from patches whose own motion, beyond the common map, lies far outside that of the others.
    fn quieten_strays(&mut self) {
        let own: Vec<f64> = self.reduced.iter().map(own_motion).collect();
        let energies = self.shared.iter().map(|s| s.trace().max(0.0));
        let mut sizes: Vec<Weighted> = own
            .iter()
            .zip(energies)
            .filter(|(motion, _)| motion.is_finite())
            .map(|(value, weight)| Weighted { value: *value, weight: weight.sqrt() })
            .collect();
        let typical = weighted_quantile(&mut sizes, 0.4).unwrap_or(0.0).max(OWN_MOTION_PX);
        for (i, motion) in own.iter().enumerate() {
            let u = motion / (TUKEY_SPREADS * typical);
            let weight = if u < 1.0 { (1.0 - u * u).powi(2) } else { 0.0 };
            self.reduced[i] *= weight;
            self.shared[i] *= weight;
        }
    }

    /// Change of the parameters and of the gain that least squares asks for.
    fn step(&self) -> Option<(Parameters, f64)> {
        let count = self.basis.len() + 1;
        let mut normal = DMatrix::<f64>::zeros(count, count);
        let mut right = DVector::<f64>::zeros(count);
        for (slope, reduced) in self.slopes.iter().zip(&self.reduced) {
            let lever = lever(slope);
            normal += &lever * reduced.fixed_view::<3, 3>(0, 0) * lever.transpose();
            right += &lever * reduced.fixed_view::<3, 1>(0, 3);
        }
        let ridge = 1e-9 * normal.trace();
        let step = (normal + DMatrix::identity(count, count) * ridge).cholesky()?.solve(&right);
        let free = self.spread_over_parameters(&step);
        (step.iter().all(|v| v.is_finite())).then_some((free, step[count - 1]))
    }

    fn spread_over_parameters(&self, step: &DVector<f64>) -> Parameters {
        self.basis.iter().enumerate().map(|(i, direction)| direction * step[i]).sum()
    }

    /// How far the step that least squares asks for moves the points, and the standard deviation of that, both root
    /// mean square, px.
    fn motion_and_sd(&self, warp: &Warp, points: &[[f64; 2]]) -> Option<[f64; 2]> {
        let (step, _) = self.step()?;
        let covariance = self.covariance()?;
        let (mut squared, mut variance) = (0.0, 0.0);
        for point in points {
            let jacobian = warp.jacobian(*point);
            squared += (jacobian * step).norm_squared();
            variance += (jacobian * covariance * jacobian.transpose()).trace();
        }
        Some([squared, variance].map(|sum| (sum / points.len() as f64).sqrt()))
    }

    fn result(&self, warp: &Warp, model: WarpModel) -> Result<Registration, NotRegistered> {
        let shared: Matrix2<f64> = self.shared.iter().sum();
        let own: Matrix2<f64> = self.reduced.iter().map(|r| r.fixed_view::<2, 2>(0, 0).into_owned()).sum();
        let (worst, best) = agreements(&shared, &own);
        if best < LEAST_AGREEMENT {
            return Err(NotRegistered::NoTexture);
        }
        let covariance = self.covariance().ok_or(NotRegistered::OneDirection)?;
        let registration = Registration {
            warp: *warp,
            model,
            residual: self.residual_sd,
            agreement: worst.clamp(0.0, 1.0),
            covariance,
            method_sd_px: METHOD_SD_PX,
        };
        let centre = Self::centre_sd_px(&registration);
        if worst < LEAST_AGREEMENT || centre > LARGEST_SD_PX {
            return Err(NotRegistered::OneDirection);
        }
        Ok(registration)
    }

    fn centre_sd_px(registration: &Registration) -> f64 {
        let [x, y] = registration.displacement(registration.warp.centre());
        x.sd.max(y.sd)
    }

    /// Sandwich covariance with patches as clusters: whatever is correlated inside a patch is counted once.
    fn covariance(&self) -> Option<Covariance> {
        let count = self.basis.len();
        let (mut bread, mut meat) = (DMatrix::<f64>::zeros(count, count), DMatrix::<f64>::zeros(count, count));
        let mut used = 0usize;
        for ((slope, reduced), shared) in self.slopes.iter().zip(&self.reduced).zip(&self.shared) {
            if shared.trace() <= 0.0 {
                continue;
            }
            bread += slope.transpose() * shared * slope;
            let score = slope.transpose() * reduced.fixed_view::<2, 1>(0, 3);
            meat += &score * score.transpose();
            used += 1;
        }
        let inverse = bread.try_inverse()?;
        let small_sample = used as f64 / (used as f64 - 0.5 * count as f64 - 1.0).max(0.5);
        let free = &inverse * meat * inverse.transpose() * small_sample;
        let mut covariance = Covariance::zeros();
        for (i, a) in self.basis.iter().enumerate() {
            for (j, b) in self.basis.iter().enumerate() {
                covariance += a * b.transpose() * free[(i, j)];
            }
        }
        covariance.iter().all(|v| v.is_finite()).then_some(covariance)
    }
}

/// Spread over the half of the patches that fit best for the detail that they have: a contrasty crowd would otherwise
/// set the scale by which it is judged.
fn spread_of_best(found: &[(f64, Vec<Weighted>)]) -> Option<f64> {
    let mut fits: Vec<(f64, &[Weighted])> =
        found.iter().filter_map(|(_, away)| Some((misfit(away)?, away.as_slice()))).collect();
    fits.sort_by(|a, b| a.0.total_cmp(&b.0));
    fits.truncate(fits.len().div_ceil(2));
    spread(fits.iter().flat_map(|(_, away)| away.iter().copied()).collect())
}

/// Typical deviation of a patch in units of its typical gradient: about the pixels that it is off.
fn misfit(away: &[Weighted]) -> Option<f64> {
    let energy = away.iter().map(|v| v.weight).sum::<f64>() / away.len().max(1) as f64;
    let median = weighted_quantile(&mut away.to_vec(), 0.5)?;
    (energy > 0.0).then(|| median / energy.sqrt())
}

/// Robust standard deviation of weighted absolute deviations; `None` where there are too few.
fn spread(mut away: Vec<Weighted>) -> Option<f64> {
    if away.len() < 50 {
        return None;
    }
    let largest = away.iter().map(|v| v.value).fold(0.0, f64::max);
    let median = weighted_quantile(&mut away, 0.5).unwrap_or(0.0);
    Some((SD_PER_MEDIAN_DEVIATION * median).max(1e-4 * largest).max(1e-12))
}

/// How a patch at `place` moves with each free direction, px: two rows.
fn slope(warp: &Warp, place: [f64; 2], basis: &[Parameters]) -> DMatrix<f64> {
    let jacobian = warp.jacobian(place);
    let columns: Vec<DVector<f64>> =
        basis.iter().map(|b| DVector::from_column_slice((jacobian * b).as_slice())).collect();
    DMatrix::from_columns(&columns)
}

/// From (gradient x, y, fixed value) to (free directions, gain), with the signs of `residual = −J·δ + fixed·Δgain`.
fn lever(slope: &DMatrix<f64>) -> DMatrix<f64> {
    let count = slope.ncols();
    let mut lever = DMatrix::zeros(count + 1, 3);
    for i in 0..count {
        (0..2).for_each(|axis| lever[(i, axis)] = -slope[(axis, i)]);
    }
    lever[(count, 2)] = 1.0;
    lever
}

fn shared(scatter: &Scatter, gain: f64) -> Matrix2<f64> {
    let cross = scatter.about_mean.fixed_view::<2, 2>(0, 2).into_owned();
    (cross + cross.transpose()) * (0.5 * gain)
}

/// How far a patch would still like to go by itself, px, along what its gradients can tell.
fn own_motion(reduced: &Matrix4<f64>) -> f64 {
    let gradients = reduced.fixed_view::<2, 2>(0, 0).into_owned();
    let ridge = 0.05 * gradients.trace();
    let score: Vector2<f64> = reduced.fixed_view::<2, 1>(0, 3).into_owned();
    (gradients + Matrix2::identity() * ridge).try_inverse().map_or(f64::INFINITY, |inverse| (inverse * score).norm())
}

/// Share of gradient energy in common along the axis that has least of it, and along the other.
fn agreements(shared: &Matrix2<f64>, own: &Matrix2<f64>) -> (f64, f64) {
    let eigen = shared.symmetric_eigen();
    let along = |axis: usize| {
        let direction = eigen.eigenvectors.column(axis).into_owned();
        let energy = direction.dot(&(own * direction));
        if energy > 0.0 { eigen.eigenvalues[axis] / energy } else { 0.0 }
    };
    let weak = usize::from(eigen.eigenvalues[1] < eigen.eigenvalues[0]);
    (along(weak), along(1 - weak))
}
