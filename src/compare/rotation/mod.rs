//! The one rotation that best maps the CG sphere's light on the photographed sphere's.
//!
//! Both sides are blurred and taken as logarithms, so that a bright light does not decide alone. The correlation over
//! all directions is searched over the whole rotation group; the best places are then refined on the radiance itself.

mod coarse;
mod field;
mod refine;
mod turns;

use nalgebra::{Matrix3, Rotation3, UnitQuaternion, Vector3};

use crate::base::parallel;
use crate::base::units::Estimate;
use crate::compare::sphere_measurement::SphereMeasurement;
use crate::light::radiance::DirectionGrid;
use coarse::coarse_starts;
use field::LogField;
use refine::{Refined, refine};

pub use turns::{Turns, level_axes};

/// Smallest correlation at which a rotation counts as explaining the difference.
const MIN_CORRELATION: f64 = 0.9;

/// With this correlation no rotation worth undoing is left, and the search is spared.
const ALREADY_ALIKE: f64 = 0.985;

/// Rotations smaller than this are not undone: they are within the error of the search.
const MIN_ANGLE_DEG: f64 = 1.0;

/// A rotation must raise the correlation over no rotation by this fraction of what is missing to 1.
const MIN_GAIN: f64 = 0.5;

/// Steps of the turn tried with left and right exchanged.
const FLOP_STEP_DEG: f64 = 3.0;

/// Least correlation at which left and right count as exchanged (common practice, no source).
const MIN_FLOPPED: f64 = 0.85;

/// A turn this close to half a circle about an axis this close to the line of sight turns a picture upside down.
const HALF_ROLL_WITHIN_DEG: f64 = 15.0;
const HALF_ROLL_AXIS_DEG: f64 = 35.0;

/// Optima closer than this are one.
const SAME_OPTIMUM_DEG: f64 = 10.0;

/// An optimum whose correlation is this close to the best's, counted in what is missing to 1, is its rival.
const RIVAL_FACTOR: f64 = 1.3;

/// A well-determined rotation, CG → mirror.
#[derive(Debug, Clone)]
pub struct Rotation {
    /// Takes a direction of the CG's light to where the photograph has it.
    pub cg_to_mirror: Rotation3<f64>,
    /// Its angle.
    pub angle_deg: Estimate,
    /// Correlation of the logarithms after it is applied.
    pub correlation: f64,
    /// Correlation without it.
    pub correlation_before: f64,
}

impl Rotation {
    /// Where the light that the photograph has at `direction` lies in the CG.
    pub fn back(&self, direction: &Vector3<f64>) -> Vector3<f64> {
        self.cg_to_mirror.inverse() * direction
    }
}

/// One place of the rotation group at which the two spheres agree better than around it.
#[derive(Debug, Clone)]
pub struct Optimum {
    /// Takes a direction of the CG's light to where the photograph has it.
    pub cg_to_mirror: Rotation3<f64>,
    /// Covariance of its rotation vector in camera axes, rad²: picture and both outlines.
    pub cov: Matrix3<f64>,
    /// Correlation of the logarithms of luminance after it is applied.
    pub correlation: f64,
}

impl Optimum {
    /// Angle with its uncertainty. An angle cannot be negative: near zero its error is that of the larger component.
    pub fn angle_deg(&self) -> Estimate {
        let vector = self.cg_to_mirror.scaled_axis();
        let rms = (self.cov.trace() / 3.0).sqrt();
        let along = vector.try_normalize(1e-9).map_or(rms, |t| (t.transpose() * self.cov * t)[(0, 0)].max(0.0).sqrt());
        let sd = if vector.norm() < 3.0 * rms { along.max(rms) } else { along };
        Estimate::new(vector.norm().to_degrees(), sd.to_degrees())
    }
}

/// What the search over all rotations found.
#[derive(Debug, Clone)]
pub struct RotationSearch {
    /// Correlation of the logarithms of luminance without any rotation.
    pub before: f64,
    /// The optimum next to no rotation; `None` where the light has no structure that would hold it.
    pub near: Option<Optimum>,
    /// The best of all; `None` where the spheres are alike as they are and nothing was searched.
    pub best: Option<Optimum>,
    /// Another optimum that is about as good as the best.
    pub rival: Option<Optimum>,
    /// The best fit with left and right of the CG exchanged; `None` where it was not searched.
    pub flopped: Option<Flopped>,
}

/// How well the two spheres agree once left and right of the CG's light are exchanged and the rest is turned home.
#[derive(Debug, Clone, Copy)]
pub struct Flopped {
    /// Correlation of the logarithms of luminance.
    pub correlation: f64,
    /// The turn that follows the exchange.
    pub turn: Rotation3<f64>,
}

impl Flopped {
    /// Left and right exchanged followed by a roll of half a turn: top and bottom are exchanged.
    pub fn is_top_to_bottom(&self) -> bool {
        is_half_roll(&self.turn)
    }
}

impl RotationSearch {
    /// This optimum makes the two spheres alike where they were not.
    pub fn explains(&self, optimum: &Optimum) -> bool {
        optimum.correlation >= MIN_CORRELATION && optimum.correlation - self.before > MIN_GAIN * (1.0 - self.before)
    }

    /// The spheres are alike without a rotation.
    pub fn alike(&self) -> bool {
        self.before > ALREADY_ALIKE
    }

    /// Exchanging left and right makes the two spheres alike, while neither a rotation nor no change does.
    pub fn exchanged(&self) -> Option<Flopped> {
        // Where the surroundings agree as they are, nothing is exchanged.
        let flopped = self.flopped.filter(|f| f.correlation >= MIN_FLOPPED && self.before < MIN_CORRELATION)?;
        let otherwise = self.best.as_ref().map_or(self.before, |best| best.correlation.max(self.before));
        (flopped.correlation - otherwise > MIN_GAIN * (1.0 - otherwise)).then_some(flopped)
    }

    /// The CG's light is upside down: a roll by half a turn makes the spheres agree.
    pub fn is_upside_down(&self) -> bool {
        let turned = self.best.as_ref().filter(|best| self.explains(best) && self.rival.is_none());
        turned.is_some_and(|best| is_half_roll(&best.cg_to_mirror))
    }

    /// The best rotation, where it is well determined, explains the difference, and is not negligible.
    pub fn undone(&self) -> Option<Rotation> {
        let best = self.best.as_ref().filter(|best| self.explains(best) && self.rival.is_none())?;
        if self.exchanged().is_some() {
            return None;
        }
        let angle_deg = best.angle_deg();
        (angle_deg.value >= MIN_ANGLE_DEG).then_some(Rotation {
            cg_to_mirror: best.cg_to_mirror,
            angle_deg,
            correlation: best.correlation,
            correlation_before: self.before,
        })
    }
}

/// Searches every rotation; `None` where too little is seen on both spheres or one of them is even all over.
pub fn search_rotation(mirror: &SphereMeasurement, cg: &SphereMeasurement) -> Option<RotationSearch> {
    let (target, source) = parallel::both(|| LogField::of(mirror), || LogField::of(cg));
    let identity = UnitQuaternion::identity();
    let before = correlation(&target.luminance, &source.luminance, &identity, 1)?;
    let outlines = outline_cov(mirror) + outline_cov(cg);
    let optimum = |refined: Refined| optimum(&target, &source, &refined, &outlines);
    let searched = before <= ALREADY_ALIKE;
    let (near, starts) = parallel::both(
        || refine(&target, &source, identity).and_then(optimum),
        || if searched { coarse_starts(&target, &source) } else { Vec::new() },
    );
    if !searched {
        return Some(RotationSearch { before, near, best: None, rival: None, flopped: None });
    }
    let mut found: Vec<Optimum> =
        parallel::filter_map(starts.len(), |i| refine(&target, &source, starts[i]).and_then(optimum));
    found.extend(near.clone());
    found.sort_by(|a, b| b.correlation.total_cmp(&a.correlation));
    let best = found.first().cloned();
    let rival = best.as_ref().and_then(|best| rival_of(best, &found));
    let fits = best.as_ref().is_some_and(|best| best.correlation > ALREADY_ALIKE);
    let turned_home = best.as_ref().map_or(identity, |b| UnitQuaternion::from_rotation_matrix(&b.cg_to_mirror));
    let flopped = if fits { None } else { best_flopped(&target, &source) };
    let flopped = flopped.filter(|f| shows_without_lights(&target, &source, f, &[identity, turned_home]));
    Some(RotationSearch { before, near, best, rival, flopped })
}

/// A turn by half a circle about the line of sight, nearly.
fn is_half_roll(turn: &Rotation3<f64>) -> bool {
    let angle_deg = turn.angle().to_degrees();
    let along = turn.axis().map_or(0.0, |axis| axis.z.abs());
    angle_deg > 180.0 - HALF_ROLL_WITHIN_DEG && along > HALF_ROLL_AXIS_DEG.to_radians().cos()
}

/// The best fit with left and right of the source exchanged: first over turns about the vertical, because an
/// environment is flopped about one of its own vertical planes, then over all rotations.
fn best_flopped(target: &LogField, source: &LogField) -> Option<Flopped> {
    let source = LogField { luminance: flopped(&source.luminance), coarse: flopped(&source.coarse), local: Vec::new() };
    let steps = (360.0 / FLOP_STEP_DEG) as usize;
    let about_vertical =
        |step: usize| UnitQuaternion::from_axis_angle(&Vector3::y_axis(), (step as f64 * FLOP_STEP_DEG).to_radians());
    let mut turns: Vec<UnitQuaternion<f64>> = (0..steps).map(about_vertical).collect();
    turns.extend(coarse_starts(target, &source));
    let fit = |i: usize| {
        let correlation = correlation(&target.luminance, &source.luminance, &turns[i], 1)?;
        Some(Flopped { correlation, turn: turns[i].to_rotation_matrix() })
    };
    parallel::filter_map(turns.len(), fit).into_iter().max_by(|a, b| a.correlation.total_cmp(&b.correlation))
}

/// Whether the surroundings alone show the exchange, with the brightest directions cut off at one level: if only a
/// single light is on the other side, the light was moved and nothing was flopped.
fn shows_without_lights(
    target: &LogField,
    source: &LogField,
    exchange: &Flopped,
    otherwise: &[UnitQuaternion<f64>],
) -> bool {
    let (target, source) = (without_lights(&target.luminance), without_lights(&source.luminance));
    let agree = |source: &[f64], turn: &UnitQuaternion<f64>| correlation(&target, source, turn, 1);
    let exchanged = agree(&flopped(&source), &UnitQuaternion::from_rotation_matrix(&exchange.turn));
    let best = otherwise.iter().filter_map(|turn| agree(&source, turn)).fold(-1.0, f64::max);
    exchanged.is_some_and(|exchanged| exchanged - best > MIN_GAIN * (1.0 - best))
}

/// Lights are cut off at the level below which this share of the directions lies.
const BELOW_LIGHTS: f64 = 0.85;

fn without_lights(field: &[f64]) -> Vec<f64> {
    let mut known: Vec<f64> = field.iter().copied().filter(|v| !v.is_nan()).collect();
    known.sort_by(f64::total_cmp);
    let level = known.get((BELOW_LIGHTS * known.len() as f64) as usize).copied().unwrap_or(f64::INFINITY);
    // `f64::min` would turn unknown values (NaN) into the level.
    field.iter().map(|v| if *v > level { level } else { *v }).collect()
}

/// A field with left and right exchanged.
fn flopped(field: &[f64]) -> Vec<f64> {
    let grid = DirectionGrid::shared();
    grid.directions.iter().map(|d| field[grid.cell(&Vector3::new(-d.x, d.y, d.z))]).collect()
}

/// The rotation next to a known one, for another view of the same spheres.
pub(crate) fn rotation_near(
    mirror: &SphereMeasurement,
    cg: &SphereMeasurement,
    start: &Rotation3<f64>,
) -> Option<Optimum> {
    let (target, source) = parallel::both(|| LogField::of(mirror), || LogField::of(cg));
    let refined = refine(&target, &source, UnitQuaternion::from_rotation_matrix(start))?;
    optimum(&target, &source, &refined, &(outline_cov(mirror) + outline_cov(cg)))
}

fn optimum(target: &LogField, source: &LogField, refined: &Refined, outlines: &Matrix3<f64>) -> Option<Optimum> {
    Some(Optimum {
        cg_to_mirror: refined.rotation.to_rotation_matrix(),
        cov: refined.cov + outlines,
        correlation: correlation(&target.luminance, &source.luminance, &refined.rotation, 1)?,
    })
}

/// Effect of a wrong outline: a centre that is off by a fraction of the radius turns everything seen in the sphere by
/// about twice that fraction (rad).
fn outline_cov(side: &SphereMeasurement) -> Matrix3<f64> {
    let cov = &side.fit.cone_cov;
    let turn = 2.0 / side.fit.cone.half_angle_rad.max(1e-9);
    Matrix3::identity() * (turn * turn * cov[(0, 0)].max(cov[(1, 1)]).max(0.0))
}

fn rival_of(best: &Optimum, found: &[Optimum]) -> Option<Optimum> {
    let apart = |other: &Optimum| best.cg_to_mirror.angle_to(&other.cg_to_mirror).to_degrees();
    let limit = 1.0 - RIVAL_FACTOR * (1.0 - best.correlation).max(1e-4);
    found.iter().find(|other| other.correlation >= limit && apart(other) > SAME_OPTIMUM_DEG).cloned()
}

/// Correlation of two fields over directions both know, every `stride`-th direction.
fn correlation(target: &[f64], source: &[f64], rotation: &UnitQuaternion<f64>, stride: usize) -> Option<f64> {
    let grid = DirectionGrid::shared();
    let back = rotation.inverse().to_rotation_matrix();
    let (mut n, mut sx, mut sy, mut sxx, mut syy, mut sxy) = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0);
    for cell in (0..target.len()).step_by(stride) {
        let x = target[cell];
        if x.is_nan() {
            continue;
        }
        let y = source[grid.cell(&(back * grid.directions[cell]))];
        if y.is_nan() {
            continue;
        }
        n += 1.0;
        sx += x;
        sy += y;
        sxx += x * x;
        syy += y * y;
        sxy += x * y;
    }
    let (vx, vy) = (sxx - sx * sx / n, syy - sy * sy / n);
    (n > 50.0 && vx > 1e-9 && vy > 1e-9).then(|| (sxy - sx * sy / n) / (vx * vy).sqrt())
}
