//! Surface blur: how much a worn or brushed mirror sphere blurs the light.
//!
//! It makes lights softer on the photographed sphere than on the CG's. Blur by the surface has the same angular size
//! everywhere on the sphere. Defocus has the same size in pixels, which cover more degrees towards the rim. A lamp
//! that is larger than the CG's still has a sharp edge and says nothing about other lamps. So surface blur is
//! reported only where two or more lights agree, or the sun, whose size is known, shows it, and defocus does not
//! explain it.

mod kernel;
mod rim;
mod whole;
mod witness;

use std::f64::consts::PI;

use nalgebra::{Matrix2, Vector2, Vector3};

use crate::base::parallel;
use crate::base::units::Estimate;
use crate::compare::pairing::{Pairing, pair_sides};
use crate::compare::sphere_measurement::SphereMeasurement;
use crate::image::Frame;
use crate::light::lights::Light;
use crate::light::radiance::CELLS;
use crate::sphere::angle_between_rad;
use kernel::Shape;
use witness::{Pair, Seen, Witness, witness};

/// Largest number of lights that are examined, strongest first.
const MAX_WITNESSES: usize = 8;

/// Fewest lights that must show the blur: a single one may simply be a larger lamp.
const MIN_WITNESSES: usize = 2;

/// The sun counts as this many: its radius of 0.27 deg is far below what spheres resolve, so it cannot be a larger
/// lamp.
const SUN_COUNTS: usize = 2;

/// A light is taken for the sun within this angle of where the sun should be, deg, which is as well as compass and
/// tilt are known.
const SUN_NEAR_DEG: f64 = 8.0;

/// Blur of a lens in use against a render, variance in px² and its sd: from 0.4 to 1.6 px (common practice, no source).
const DEFOCUS_PX2: f64 = 1.0;
const DEFOCUS_SD_PX2: f64 = 1.2;

/// Surface blur is reported when its square is this many sd above zero.
const CERTAIN_SD: f64 = 3.0;

/// Lights that disagree by more than this (χ² per degree of freedom) do not show the blur of one surface.
const MAX_DISAGREEMENT: f64 = 5.0;

/// Long tails are assumed, as brushed and worn metals have them (Walter et al. 2007), unless normally distributed
/// slopes fit better by this ratio of squared residuals. Where neither fits that much better, half of the difference
/// is uncertainty.
const NORMAL_IS_BETTER: f64 = 2.0;

/// Relative error of the blur that all lights share: real surfaces have neither of the two shapes exactly (from
/// memory). Light beyond the profiles adds to it.
const SHAPE_SD: f64 = 0.06;

/// Where a CG light of at least this share has no partner, the whole picture is asked for blur that hides it.
const MATTERS: f64 = 0.10;

/// What the photographed sphere does to the light of a point.
#[derive(Debug, Clone, Copy)]
pub struct SurfaceBlur {
    /// Half of a point's light is mirrored within this angle (rad), where the sphere faces camera and light.
    pub half_light_rad: Estimate,
    /// Lights that showed it; none where the whole picture did.
    pub witnesses: usize,
    /// Only the sun showed it: haze in the sky may be part of it.
    pub by_sun_alone: bool,
    shape: Shape,
}

impl SurfaceBlur {
    /// Estimates it; `None` where the sphere is clear or the lights do not show it. `sun` is the direction in which
    /// the sun should stand, camera axes, where place, time and heading are known.
    pub fn estimate(
        mirror: &SphereMeasurement,
        cg: &SphereMeasurement,
        frames: [&Frame; 2],
        sun: Option<Vector3<f64>>,
    ) -> Option<Self> {
        let pairing = pair_sides(mirror, cg);
        Self::of_lights(mirror, cg, &pairing, frames, sun).or_else(|| {
            let unpaired = pairing.only_cg.iter().any(|i| cg.lights.all[*i].share.value >= MATTERS);
            if unpaired { whole::blur_of(mirror, cg) } else { None }
        })
    }

    fn of_lights(
        mirror: &SphereMeasurement,
        cg: &SphereMeasurement,
        pairing: &Pairing,
        frames: [&Frame; 2],
        sun: Option<Vector3<f64>>,
    ) -> Option<Self> {
        let pairs: Vec<(&Light, &Light)> = pairing
            .pairs
            .iter()
            .map(|(m, c)| (&mirror.lights.all[*m], &cg.lights.all[*c]))
            .filter(|(ours, theirs)| !ours.clipped && !theirs.clipped)
            .take(MAX_WITNESSES)
            .collect();
        let sun = sun.and_then(|sun| nearest(&pairs, &sun));
        let seen: Vec<(Pair, bool)> = parallel::filter_map(pairs.len(), |i| {
            Some((Pair::of((mirror, pairs[i].0), (cg, pairs[i].1))?, sun == Some(i)))
        });
        let (seen, suns): (Vec<Pair>, Vec<bool>) = seen.into_iter().unzip();
        if !are_enough(parallel::map_each(&seen, Pair::may_speak).into_iter().zip(&suns)) {
            return None;
        }
        let told: Vec<Witness> = parallel::map_each(&seen, witness);
        let under = |shape: Shape| told.iter().map(|w| w.under(shape)).collect::<Vec<Seen>>();
        let (normal, long_tailed) = (under(Shape::Normal), under(Shape::LongTailed));
        let better = misfit(&long_tailed) / misfit(&normal);
        let (shape, told, other) = if better > NORMAL_IS_BETTER {
            (Shape::Normal, normal, long_tailed)
        } else {
            (Shape::LongTailed, long_tailed, normal)
        };
        let witnesses = told.iter().filter(|w| w.speaks).count();
        if !are_enough(told.iter().map(|w| w.speaks).zip(&suns)) {
            return None;
        }
        let defocus_px2 = defocus(mirror, cg, frames);
        let agreed = agreed(&told, defocus_px2)?;
        let doubtful = (1.0 / NORMAL_IS_BETTER..=NORMAL_IS_BETTER * NORMAL_IS_BETTER).contains(&better);
        let apart = solve(&other, defocus_px2).filter(|_| doubtful);
        let apart = apart.map_or(0.0, |s| 0.5 * (s.0.max(0.0).sqrt() - agreed.value));
        let beyond = told.iter().map(|w| w.beyond).fold(0.0, f64::max);
        let common = agreed.value * SHAPE_SD.hypot(beyond);
        let half_light_rad = agreed.widened(apart).widened(common);
        Some(Self { half_light_rad, witnesses, by_sun_alone: witnesses < MIN_WITNESSES, shape })
    }

    /// A point's light per steradian at an angle from its mirrored direction, as a mean over a cell of the grid, so that
    /// blur finer than the cells is summed right.
    pub fn density(&self, angle_rad: f64) -> f64 {
        let half = 0.5 * (4.0 * PI / CELLS as f64).sqrt();
        let (inner, outer) = ((angle_rad - half).max(0.0), angle_rad + half);
        (self.energy_within(outer) - self.energy_within(inner)) / (inner.cos() - outer.cos()).max(1e-12)
    }

    /// The part of a point's light that is mirrored within an angle.
    pub fn energy_within(&self, angle_rad: f64) -> f64 {
        self.shape.energy_within(angle_rad / self.half_light_rad.value.max(1e-9))
    }
}

/// The light that stands nearest to where the sun should, if near enough to be it.
fn nearest(pairs: &[(&Light, &Light)], sun: &Vector3<f64>) -> Option<usize> {
    let off_rad = pairs.iter().map(|(photographed, _)| angle_between_rad(sun, &photographed.direction));
    let near = off_rad.enumerate().filter(|(_, off)| *off < SUN_NEAR_DEG.to_radians());
    near.min_by(|a, b| a.1.total_cmp(&b.1)).map(|(i, _)| i)
}

/// Whether enough lights show the blur; each comes with whether it is the sun.
fn are_enough<'a>(lights: impl Iterator<Item = (bool, &'a bool)>) -> bool {
    let counts = lights.filter(|(speaks, _)| *speaks).map(|(_, sun)| if *sun { SUN_COUNTS } else { 1 });
    counts.sum::<usize>() >= MIN_WITNESSES
}

/// Geometric mean of the squared residuals.
fn misfit(told: &[Seen]) -> f64 {
    let sum: f64 = told.iter().map(|w| w.residual.max(1e-30).ln()).sum();
    (sum / told.len().max(1) as f64).exp()
}

/// Splits the blur of the lights into surface blur (one angle) and defocus (one size in px) by least squares of the
/// squared half-light radii. `None` where surface blur is not certain or the lights disagree.
fn agreed(told: &[Seen], defocus_px2: Estimate) -> Option<Estimate> {
    let (squared, variance, chi2) = solve(told, defocus_px2)?;
    let freedom = (told.len() as f64 - 1.0).max(1.0);
    let scatter = (chi2 / freedom).max(1.0);
    let sd = (variance * scatter).sqrt();
    let certain = squared > CERTAIN_SD * sd && scatter < MAX_DISAGREEMENT;
    let radius = squared.max(0.0).sqrt();
    certain.then(|| Estimate::new(radius, sd / (2.0 * radius.max(1e-9))))
}

/// How much more the photograph is defocused than the CG, as a variance in px² of the photograph: from the rims of
/// both spheres, else as typical of lenses in use.
fn defocus(mirror: &SphereMeasurement, cg: &SphereMeasurement, [photographed, rendered]: [&Frame; 2]) -> Estimate {
    let (ours, theirs) = (&mirror.fit.outline, &cg.fit.outline);
    let scale = (ours.mean_radius() / theirs.mean_radius().max(1e-9)).powi(2);
    let told = rim::blur_px2(photographed, ours)
        .zip(rim::blur_px2(rendered, theirs))
        .map(|(ours, theirs)| Estimate::new(ours.value - scale * theirs.value, ours.sd.hypot(scale * theirs.sd)));
    told.unwrap_or(Estimate::new(DEFOCUS_PX2, DEFOCUS_SD_PX2))
}

/// Square of the surface blur, its variance, and χ².
fn solve(told: &[Seen], defocus_px2: Estimate) -> Option<(f64, f64, f64)> {
    let prior = defocus_px2.sd.max(1e-6).powi(-2);
    let mut normal = Matrix2::new(0.0, 0.0, 0.0, prior);
    let mut right = Vector2::new(0.0, defocus_px2.value * prior);
    for w in told {
        let row = Vector2::new(w.surface_part, w.defocus_rad2);
        normal += row * row.transpose() * weight(w);
        right += row * (weight(w) * excess(w));
    }
    let covariance = normal.try_inverse()?;
    let found = covariance * right;
    let left = |w: &Seen| excess(w) - w.surface_part * found[0] - w.defocus_rad2 * found[1];
    let off_prior = (found[1] - defocus_px2.value).powi(2) * prior;
    let chi2 = off_prior + told.iter().map(|w| weight(w) * left(w).powi(2)).sum::<f64>();
    Some((found[0], covariance[(0, 0)], chi2))
}

fn excess(w: &Seen) -> f64 {
    w.half_light_rad * w.half_light_rad - w.cells_rad2
}

fn weight(w: &Seen) -> f64 {
    // The square of a small radius is uncertain by the square of its sd.
    let sd = (2.0 * w.half_light_rad * w.sd_rad).hypot(w.sd_rad * w.sd_rad);
    sd.max(1e-12).powi(-2)
}
