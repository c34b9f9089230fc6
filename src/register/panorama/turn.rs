//! How one exposure of all directions is turned against another: a pole held by hand sways, and a camera on it looks elsewhere each time.
//!
//! Both are compared in the logarithm of their light without its coarse part, so that exposure and tone curve hardly count. A search
//! over turns on a coarse level is refined level by level by Gauss–Newton on the sphere (Lucas & Kanade 1981, with turns in the place
//! of shifts), and what does not fit (people who moved) loses its weight.

use nalgebra::{Matrix3, Matrix5, Rotation3, Vector3, Vector5};

use crate::base::parallel;
use crate::image::encoding::Encoding;
use crate::image::{Frame, Size};
use crate::light::environment::{Convention, LatLong, direction};

/// Directions that are compared.
const POINTS: usize = 6000;
/// Turns beyond this are no sway, rad (12 deg; common practice, no source).
const LARGEST_RAD: f64 = 0.21;
/// Steps of the search to either side, and their size, rad.
const STEPS: i32 = 4;
const STEP_RAD: f64 = 0.03;
/// Blur of each level, rad, coarse to fine.
const BLURS_RAD: [f64; 4] = [0.05, 0.025, 0.0125, 0.0062];
/// Blur of the coarse part that is taken out, rad: the coarsest that an environment is kept at.
const COARSE_RAD: f64 = 0.1;
/// Columns of the picture of that coarse part, and the rings of a disc of it: radius, and directions on it, about equal areas each.
const COARSE_COLUMNS: usize = 512;
const DISC: [(f64, usize); 4] = [(0.0, 1), (0.38, 6), (0.68, 12), (0.93, 18)];
/// Light is not taken for darker than this before its logarithm.
const DARKEST: f64 = 1e-9;
/// So much of what a direction is compared by has to be well exposed.
const MOSTLY: f64 = 0.85;
/// Rounds of a level.
const ROUNDS: usize = 12;
/// A turn that changes less than this is settled, rad.
const SETTLED_RAD: f64 = 1e-6;
/// Tukey's biweight loses 5 % of efficiency at this many standard deviations.
const TUKEY_SD: f64 = 4.685;
const SD_PER_MAD: f64 = 1.4826;
/// Directions that both show well; fewer tell no turn.
const LEAST_POINTS: usize = 300;
/// Pictures of one place correlate by more than this once they lie on each other (common practice, no source).
const LEAST_CORRELATION: f64 = 0.5;
/// Codes of an 8-bit picture below this are compression and noise.
const DARKEST_CODE: f64 = 8.0;

/// A turn with its uncertainty.
#[derive(Debug, Clone)]
pub struct Turn {
    /// From directions of the reference to those of the turned exposure.
    pub rotation: Rotation3<f64>,
    /// One standard deviation about each axis, rad.
    pub sd_rad: f64,
}

/// One exposure as it is compared.
pub(super) struct Shown {
    light: LatLong,
    /// The logarithm of the light without detail. It is averaged about every direction alike: an average over the picture's own
    /// coarse pixels would keep the pattern of their grid, which does not turn with the camera.
    coarse: LatLong,
    /// 1 where it is neither clipped nor dark, 0 elsewhere.
    usable: LatLong,
}

impl Shown {
    /// Of a lat-long frame.
    pub(super) fn of(frame: &Frame) -> Self {
        let clip = frame.clip_level.unwrap_or([f32::INFINITY; 3]);
        let floor = dark_level(frame);
        let is_usable = |rgb: &[f32; 3]| {
            let clipped = (0..3).any(|c| rgb[c] >= 0.9 * clip[c]);
            rgb[0].is_finite() && !clipped && rgb[1] > floor
        };
        let mut mask = frame.clone();
        parallel::each(&mut mask.rgb, |_, rgb| *rgb = [f32::from(u8::from(is_usable(rgb))); 3]);
        let light = LatLong::of(frame, 1.0);
        let coarse = coarse(&light);
        Self { light, coarse, usable: LatLong::of(&mask, 1.0) }
    }

    /// The logarithm of light without its coarse part; `None` where little of it can be used.
    fn detail(&self, direction: &Vector3<f64>, blur_rad: f64) -> Option<f64> {
        let is_whole = |blur: f64| self.usable.radiance(direction, blur)[1] > MOSTLY;
        if !is_whole(blur_rad) || !is_whole(COARSE_RAD) {
            return None;
        }
        Some(log_of(self.light.radiance(direction, blur_rad)) - self.coarse.radiance(direction, 0.0)[0])
    }
}

fn log_of(rgb: [f64; 3]) -> f64 {
    crate::colour::luminance(rgb).max(DARKEST).ln()
}

/// Logarithm of the light averaged over discs of [`COARSE_RAD`], for directions so close together that between them it is straight.
fn coarse(light: &LatLong) -> LatLong {
    let convention = Convention::PixelPatches;
    let size = Size { width: COARSE_COLUMNS, height: COARSE_COLUMNS / 2 };
    let mean = |i: usize| {
        let at = [(i % size.width) as f64, (i / size.width) as f64];
        let [lon, lat] = convention.longitude_latitude(at, [size.width, size.height]);
        let centre = direction(lon, lat);
        let [first, second] = tangents(&centre);
        let sum: f64 = DISC
            .iter()
            .flat_map(|&(reach, count)| around(count).map(move |angle| (reach, angle)))
            .map(|(reach, angle)| {
                let aside = COARSE_RAD * reach * (first * angle.cos() + second * angle.sin());
                crate::colour::luminance(light.radiance(&(centre + aside).normalize(), COARSE_RAD / 4.0))
            })
            .sum();
        let count: usize = DISC.iter().map(|ring| ring.1).sum();
        [(sum / count as f64).max(DARKEST).ln() as f32; 3]
    };
    LatLong::of(&Frame::computed("coarse", size, parallel::map(size.width * size.height, mean)), 1.0)
}

fn around(count: usize) -> impl Iterator<Item = f64> {
    (0..count).map(move |i| std::f64::consts::TAU * i as f64 / count as f64)
}

/// Two directions at right angles to one and to each other.
fn tangents(direction: &Vector3<f64>) -> [Vector3<f64>; 2] {
    let helper = if direction.y.abs() < 0.9 { Vector3::y() } else { Vector3::x() };
    let first = direction.cross(&helper).normalize();
    [first, direction.cross(&first)]
}

/// Below it a picture says nothing about shapes.
fn dark_level(frame: &Frame) -> f32 {
    match Encoding::parse(&frame.record.encoding) {
        Some(encoding) if frame.eight_bit => encoding.decode(DARKEST_CODE / 255.0) as f32,
        _ => {
            let mut values: Vec<f32> =
                frame.rgb.iter().step_by(97).map(|rgb| rgb[1]).filter(|v| v.is_finite()).collect();
            values.sort_by(f32::total_cmp);
            values.get(values.len() / 2).map_or(0.0, |median| 1e-3 * median.max(0.0))
        }
    }
}

/// Directions spread evenly (Fibonacci lattice, from memory).
fn spread(count: usize) -> Vec<Vector3<f64>> {
    let golden = std::f64::consts::PI * (3.0 - 5.0_f64.sqrt());
    let one = |i: usize| {
        let y = 1.0 - (2.0 * i as f64 + 1.0) / count as f64;
        let around = golden * i as f64;
        let radius = (1.0 - y * y).max(0.0).sqrt();
        Vector3::new(radius * around.cos(), y, radius * around.sin())
    };
    (0..count).map(one).collect()
}

/// How `moving` is turned against `fixed`; `None` where they have too little in common.
pub(super) fn measure(fixed: &Shown, moving: &Shown) -> Option<Turn> {
    let points = spread(POINTS);
    let mut rotation = search(fixed, moving, &points)?;
    let mut last = None;
    for blur_rad in BLURS_RAD {
        let wanted = wanted(fixed, &points, blur_rad);
        for _ in 0..ROUNDS {
            let Some(step) = Step::of(&wanted, moving, &rotation, blur_rad) else { break };
            rotation = Rotation3::new(step.turn) * rotation;
            let settled = step.turn.norm() < SETTLED_RAD;
            last = Some(step);
            if settled {
                break;
            }
        }
    }
    let last = last.filter(|step| step.correlation > LEAST_CORRELATION && rotation.angle() < LARGEST_RAD)?;
    Some(Turn { rotation, sd_rad: last.sd_rad })
}

type Wanted = Vec<(Vector3<f64>, f64)>;

fn wanted(fixed: &Shown, points: &[Vector3<f64>], blur_rad: f64) -> Wanted {
    points.iter().filter_map(|d| Some((*d, fixed.detail(d, blur_rad)?))).collect()
}

/// The best of a grid of turns on the coarsest level.
fn search(fixed: &Shown, moving: &Shown, points: &[Vector3<f64>]) -> Option<Rotation3<f64>> {
    let blur_rad = BLURS_RAD[0];
    let few: Vec<Vector3<f64>> = points.iter().step_by(4).copied().collect();
    let wanted = wanted(fixed, &few, blur_rad);
    let steps: Vec<f64> = (-STEPS..=STEPS).map(|i| f64::from(i) * STEP_RAD).collect();
    let turns: Vec<Vector3<f64>> =
        steps.iter().flat_map(|x| steps.iter().flat_map(|y| steps.iter().map(|z| Vector3::new(*x, *y, *z)))).collect();
    let likeness = parallel::map_each(&turns, |turn| {
        let rotation = Rotation3::new(*turn);
        let pairs: Vec<[f64; 2]> =
            wanted.iter().filter_map(|(d, g)| Some([*g, moving.detail(&(rotation * d), blur_rad)?])).collect();
        if pairs.len() >= LEAST_POINTS / 4 { correlation(&pairs) } else { f64::NEG_INFINITY }
    });
    let best = (0..turns.len()).max_by(|a, b| likeness[*a].total_cmp(&likeness[*b]))?;
    likeness[best].is_finite().then(|| Rotation3::new(turns[best]))
}

fn correlation(pairs: &[[f64; 2]]) -> f64 {
    let mean = |i: usize| pairs.iter().map(|pair| pair[i]).sum::<f64>() / pairs.len() as f64;
    let means = [mean(0), mean(1)];
    let sum = |i: usize, j: usize| pairs.iter().map(|p| (p[i] - means[i]) * (p[j] - means[j])).sum::<f64>();
    sum(0, 1) / (sum(0, 0) * sum(1, 1)).sqrt().max(1e-12)
}

/// One round of Gauss–Newton.
struct Step {
    turn: Vector3<f64>,
    correlation: f64,
    sd_rad: f64,
}

impl Step {
    fn of(wanted: &Wanted, moving: &Shown, rotation: &Rotation3<f64>, blur_rad: f64) -> Option<Self> {
        let rows: Vec<(f64, f64, Vector3<f64>)> = parallel::filter_map(wanted.len(), |i| {
            let (direction, value) = wanted[i];
            let there = rotation * direction;
            Some((value, moving.detail(&there, blur_rad)?, slope(moving, &there, blur_rad)?))
        });
        if rows.len() < LEAST_POINTS {
            return None;
        }
        // The contrast of the two may differ, as their tone curves do.
        let pairs: Vec<[f64; 2]> = rows.iter().map(|row| [row.0, row.1]).collect();
        let mut unknowns = Vector5::new(0.0, 0.0, 0.0, 1.0, 0.0);
        let mut weights = vec![1.0; rows.len()];
        let mut normal = Matrix5::zeros();
        let mut sd = 1.0;
        for _ in 0..3 {
            let gain = unknowns[3];
            let row_of = |row: &(f64, f64, Vector3<f64>)| {
                Vector5::new(gain * row.2.x, gain * row.2.y, gain * row.2.z, row.1, 1.0)
            };
            normal = Matrix5::zeros();
            let mut right = Vector5::zeros();
            for (row, weight) in rows.iter().zip(&weights) {
                let j = row_of(row);
                normal += *weight * j * j.transpose();
                right += *weight * row.0 * j;
            }
            unknowns = normal.cholesky()?.solve(&right);
            let residuals: Vec<f64> = rows.iter().map(|row| row.0 - row_of(row).dot(&unknowns)).collect();
            let mut sizes: Vec<f64> = residuals.iter().map(|r| r.abs()).collect();
            sizes.sort_by(f64::total_cmp);
            sd = (SD_PER_MAD * sizes[sizes.len() / 2]).max(1e-9);
            weights = residuals.iter().map(|r| (1.0 - (r / (TUKEY_SD * sd)).powi(2)).max(0.0).powi(2)).collect();
        }
        let turn = Vector3::new(unknowns[0], unknowns[1], unknowns[2]);
        // Neighbouring directions share their noise: no more count than patches of the blur cover the sphere.
        let patches = (4.0 * std::f64::consts::PI / (blur_rad * blur_rad)).min(rows.len() as f64);
        let shared = (rows.len() as f64 / patches).max(1.0);
        let covariance: Matrix3<f64> = normal.try_inverse()?.fixed_view::<3, 3>(0, 0).into_owned();
        let sd_rad = sd * (covariance.trace().max(0.0) / 3.0 * shared).sqrt();
        // A step no larger than the level can see.
        let turn = turn * (1.0_f64).min(2.0 * blur_rad / turn.norm().max(1e-12));
        Some(Self { turn, correlation: correlation(&pairs), sd_rad })
    }
}

/// Change of the detail by turns about the three axes.
fn slope(moving: &Shown, there: &Vector3<f64>, blur_rad: f64) -> Option<Vector3<f64>> {
    let [first, second] = tangents(there);
    let reach = 0.5 * blur_rad;
    let along = |tangent: &Vector3<f64>| {
        let at = |sign: f64| moving.detail(&(there + sign * reach * tangent).normalize(), blur_rad);
        Some((at(1.0)? - at(-1.0)?) / (2.0 * reach))
    };
    let gradient = first * along(&first)? + second * along(&second)?;
    Some(there.cross(&gradient))
}
