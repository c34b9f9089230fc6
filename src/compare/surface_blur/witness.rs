//! One light seen in both spheres: by how much the photographed one is blurred against the CG's.

use nalgebra::Vector3;

use super::kernel::{Profile, Shape};
use crate::compare::sphere_measurement::SphereMeasurement;
use crate::light::lights::Light;
use crate::light::radiance::Sample;

/// Profiles reach this far from a light's edge, or less where another light comes near, degrees.
const REACH_DEG: f64 = 24.0;

/// Steps of a profile at most, and fewest that tell anything.
const MAX_STEPS: usize = 48;
const MIN_STEPS: usize = 8;

/// Half-light radii tried: from this fraction of a step up to the whole profile, in equal ratios.
const SMALLEST_STEPS: f64 = 0.15;
const SIZES: usize = 48;

/// Values below this fraction of the light's peak get less weight: there the surroundings differ, not the blur.
const FLOOR_OF_PEAK: f64 = 0.03;

/// Blur that resampling leaves on clean renders, as a fraction of a step.
const STEP_SD: f64 = 0.25;

/// Relative error of one light's radius however well its profile fits: its surroundings and neighbours are blurred too,
/// and the blur is not round.
const LIGHT_SD: f64 = 0.06;

/// A first look tries only every fourth size …
const LOOK_EVERY: usize = 4;
/// … and goes on where blur fits better by this ratio at one of them. A light that passes [`BETTER_THAN_SHARP`] at a
/// size between two of them passes this too.
const MAY_SPEAK: f64 = 1.3;

/// The photograph with blur fits better than without by at least this ratio of squared residuals.
const BETTER_THAN_SHARP: f64 = 4.0;

/// And better than a merely larger light by at least this ratio.
const BETTER_THAN_LARGER: f64 = 1.5;

/// The blur of one light under either shape.
#[derive(Debug, Clone, Copy)]
pub(super) struct Witness([Seen; 2]);

impl Witness {
    pub(super) fn under(&self, shape: Shape) -> Seen {
        if shape == Shape::ALL[0] { self.0[0] } else { self.0[1] }
    }
}

/// The blur of one light under one shape.
#[derive(Debug, Clone, Copy)]
pub(super) struct Seen {
    /// Half-light radius of the blur, rad, all causes together.
    pub(super) half_light_rad: f64,
    /// One sd of it.
    pub(super) sd_rad: f64,
    /// Part of a point's light that falls beyond the profile.
    pub(super) beyond: f64,
    /// What remains between the profiles.
    pub(super) residual: f64,
    /// Blur explains the difference, and a larger light does not.
    pub(super) speaks: bool,
    /// Part of a surface's blur that its place on the sphere leaves, squared: across the plane of incidence a ray turns
    /// by the cosine of the angle of incidence less.
    pub(super) surface_part: f64,
    /// Half-light radius squared of one px² of defocus, rad².
    pub(super) defocus_rad2: f64,
    /// Half-light radius squared that the photograph's larger cells explain, rad².
    pub(super) cells_rad2: f64,
}

/// Half-light radius squared of a normal distribution of variance 1 each way.
const HALF_LIGHT_OF_VARIANCE: f64 = 2.0 * std::f64::consts::LN_2;

/// One light as both spheres show it.
#[derive(Debug)]
pub(super) struct Pair {
    places: [Place; 2],
    reach: f64,
    photographed: Profile,
    rendered: Profile,
}

impl Pair {
    /// `None` where too little of the light is seen.
    pub(super) fn of(mirror: (&SphereMeasurement, &Light), cg: (&SphereMeasurement, &Light)) -> Option<Self> {
        let places = [Place::of(mirror.0, mirror.1)?, Place::of(cg.0, cg.1)?];
        let step = 0.75 * places[0].cell_rad.max(places[1].cell_rad);
        let reach = reach_rad(mirror, cg);
        let steps = ((reach / step) as usize).min(MAX_STEPS);
        if steps < MIN_STEPS {
            return None;
        }
        let step = (reach / steps as f64).max(step);
        let photographed = profile(mirror.0, &mirror.1.direction, step, steps)?;
        let rendered = profile(cg.0, &cg.1.direction, step, steps)?;
        Some(Self { places, reach, photographed, rendered })
    }

    /// A first look: whether some blur may fit better than none. On a clear sphere it does not, which saves the rest.
    pub(super) fn may_speak(&self) -> bool {
        let fit = Fit::new(&self.photographed);
        let sharp = fit.residual(&self.rendered.values);
        let sizes = || (0..SIZES).step_by(LOOK_EVERY).map(|i| size(&self.rendered, i));
        Shape::ALL
            .iter()
            .any(|shape| sizes().any(|s| sharp > MAY_SPEAK * fit.residual(&self.rendered.spread(*shape, s))))
    }
}

/// Measures a light.
pub(super) fn witness(pair: &Pair) -> Witness {
    let Pair { places, reach, photographed, rendered } = pair;
    let (step, reach) = (rendered.step, *reach);
    let fit = Fit::new(photographed);
    let sharp = fit.residual(&rendered.values);
    let larger = (0..=40).map(|i| fit.residual(&rendered.larger(1.0 + 0.05 * f64::from(i)))).fold(sharp, f64::min);
    let cos_incidence = places[0].cos_incidence;
    Witness(Shape::ALL.map(|shape| {
        let best = best_blur(&fit, rendered, shape);
        let beyond = 1.0 - shape.energy_within(reach / best.half_light_rad.max(1e-9));
        Seen {
            half_light_rad: best.half_light_rad,
            sd_rad: best.sd_rad.hypot(STEP_SD * step).hypot(LIGHT_SD.hypot(beyond) * best.half_light_rad),
            beyond,
            residual: best.residual,
            speaks: sharp > BETTER_THAN_SHARP * best.residual && larger > BETTER_THAN_LARGER * best.residual,
            surface_part: 0.5 * (1.0 + cos_incidence * cos_incidence),
            defocus_rad2: HALF_LIGHT_OF_VARIANCE * (places[0].cell_rad / places[0].block_px).powi(2),
            cells_rad2: HALF_LIGHT_OF_VARIANCE * (places[0].cell_rad.powi(2) - places[1].cell_rad.powi(2)) / 12.0,
        }
    }))
}

/// Where and how finely a side shows a light.
#[derive(Debug)]
struct Place {
    cell_rad: f64,
    block_px: f64,
    cos_incidence: f64,
}

impl Place {
    fn of(side: &SphereMeasurement, light: &Light) -> Option<Self> {
        let near = |s: &&Sample| s.direction.dot(&light.direction);
        let sample = side.image.samples.iter().flatten().max_by(|a, b| near(a).total_cmp(&near(b)))?;
        let seen = side.geometry.reflect(light.point_px?)?;
        Some(Self {
            cell_rad: (sample.extent_rad2 / 2.0).sqrt(),
            block_px: side.image.block_px as f64,
            cos_incidence: (1.0 - seen.sin_incidence * seen.sin_incidence).max(0.0).sqrt(),
        })
    }
}

/// How far profiles may reach before another light disturbs them.
fn reach_rad(mirror: (&SphereMeasurement, &Light), cg: (&SphereMeasurement, &Light)) -> f64 {
    let own = mirror.1.reach_rad.max(cg.1.reach_rad);
    [mirror, cg].into_iter().fold(own + REACH_DEG.to_radians(), |reach, (side, light)| {
        let apart = |l: &Light| crate::sphere::angle_between_rad(&l.direction, &light.direction);
        let others = side.lights.all.iter().filter(|l| apart(l) > 1e-9);
        others.fold(reach, |reach, l| reach.min(0.5 * (apart(l) + own - l.reach_rad)))
    })
}

/// Mean luminance by angle from a direction; `None` where a step holds too little of its ring.
fn profile(side: &SphereMeasurement, centre: &Vector3<f64>, step: f64, steps: usize) -> Option<Profile> {
    let (mut light, mut seen) = (vec![0.0; steps], vec![0.0; steps]);
    let farthest = (step * steps as f64).cos();
    for sample in side.image.samples.iter().flatten().filter(|s| s.direction.dot(centre) > farthest) {
        if sample.clipped {
            return None;
        }
        let angle = crate::sphere::angle_between_rad(&sample.direction, centre);
        let place = ((angle / step) as usize).min(steps - 1);
        light[place] += f64::from(sample.luminance) * sample.steradian;
        seen[place] += sample.steradian;
    }
    let whole = |i: usize| 2.0 * std::f64::consts::PI * ((i as f64 * step).cos() - ((i + 1) as f64 * step).cos());
    // The innermost steps hold a few cells only, which need not fill them.
    if (1..steps).any(|i| seen[i] < if i < 4 { 1e-12 } else { 0.7 * whole(i) }) {
        return None;
    }
    let mut values: Vec<f64> = (0..steps).map(|i| light[i] / seen[i].max(1e-30)).collect();
    if seen[0] <= 0.0 {
        values[0] = values[1];
    }
    Some(Profile { step, values })
}

/// Least squares of the photographed profile by level and gain of another.
struct Fit<'a> {
    values: &'a [f64],
    weights: Vec<f64>,
}

struct Blur {
    half_light_rad: f64,
    sd_rad: f64,
    residual: f64,
}

impl<'a> Fit<'a> {
    fn new(profile: &'a Profile) -> Self {
        let floor = FLOOR_OF_PEAK * profile.values.iter().copied().fold(0.0, f64::max);
        let weights = profile.values.iter().map(|v| (v.max(0.0) + floor).max(1e-30).powi(-2)).collect();
        Self { values: &profile.values, weights }
    }

    /// Mean weighted squared residual after level and gain; a negative gain is none.
    fn residual(&self, model: &[f64]) -> f64 {
        let all: f64 = self.weights.iter().sum();
        let mean = |of: &dyn Fn(usize) -> f64| (0..model.len()).map(|i| self.weights[i] * of(i)).sum::<f64>() / all;
        let (ours, theirs) = (mean(&|i| self.values[i]), mean(&|i| model[i]));
        let square = mean(&|i| (model[i] - theirs).powi(2));
        let cross = mean(&|i| (model[i] - theirs) * (self.values[i] - ours));
        let gain = if square > 0.0 { (cross / square).max(0.0) } else { 0.0 };
        mean(&|i| (self.values[i] - ours - gain * (model[i] - theirs)).powi(2)) * all / model.len() as f64
    }
}

/// The smallest and the largest half-light radius tried.
fn sizes(rendered: &Profile) -> (f64, f64) {
    (SMALLEST_STEPS * rendered.step, rendered.step * rendered.values.len() as f64)
}

fn size(rendered: &Profile, i: usize) -> f64 {
    let (small, large) = sizes(rendered);
    small * (large / small).powf(i as f64 / (SIZES - 1) as f64)
}

/// The half-light radius that fits best, and how far others fit within the noise that the best leaves.
fn best_blur(fit: &Fit<'_>, rendered: &Profile, shape: Shape) -> Blur {
    let (small, large) = sizes(rendered);
    let size = |i: usize| size(rendered, i);
    let tried: Vec<(f64, f64)> =
        (0..SIZES).map(|i| (size(i), fit.residual(&rendered.spread(shape, size(i))))).collect();
    let lowest = (0..SIZES).min_by(|a, b| tried[*a].1.total_cmp(&tried[*b].1)).unwrap_or(0);
    let residual = tried[lowest].1;
    // Neighbouring steps share cells and err alike: count every other one.
    let free = (rendered.values.len() as f64 / 2.0 - 3.0).max(1.0);
    let fits: Vec<f64> = tried.iter().filter(|t| t.1 <= residual * (1.0 + 4.0 / free)).map(|t| t.0).collect();
    let (low, high) = (fits.first().copied().unwrap_or(small), fits.last().copied().unwrap_or(large));
    let low = if low <= small { 0.0 } else { low };
    // Between three tried sizes the residual is a parabola in the logarithm.
    let half_light_rad = match (lowest.checked_sub(1).map(|i| tried[i].1), tried.get(lowest + 1).map(|t| t.1)) {
        (Some(before), Some(after)) if before + after > 2.0 * residual => {
            let shift = 0.5 * (before - after) / (before + after - 2.0 * residual);
            tried[lowest].0 * (large / small).powf(shift / (SIZES - 1) as f64)
        }
        _ => tried[lowest].0,
    };
    Blur { half_light_rad, sd_rad: 0.25 * (high - low), residual }
}
