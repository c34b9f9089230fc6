//! What a perfect measurement of a recipe would say, by the definitions of the report, from the scenes themselves. No
//! rendered pixel is read.

use std::f64::consts::{PI, TAU};

use nalgebra::Vector3;
use plateproof::colour::cct_ohno2013::cct_duv_from_working_rgb;
use plateproof::colour::luminance;
use plateproof::demo::render::MirrorSphere;
use plateproof::demo::scene::{DiscLight, Scene};
use plateproof::sphere::{angle_between_rad, tangents};

use super::frames::cg_scene;
use super::recipe::{Kept, Recipe};

/// Directions over which surroundings are summed.
const DIRECTIONS: usize = 12_000;

/// Patches count within this angle of the line to the camera, degrees.
const CAP_DEG: f64 = 75.0;

/// Lights and this margin are left out of the exposure, degrees.
const LIGHT_MARGIN_DEG: f64 = 8.0;

/// Lights within so many stops of the strongest share the place of the key.
const CO_KEY_STOPS: f64 = 1.0 / 3.0;

/// One lamp as one side has it.
#[derive(Debug, Clone)]
pub(crate) struct LampTruth {
    /// Which lamp of the rig it is.
    of_rig: usize,
    pub(crate) direction: Vector3<f64>,
    pub(crate) radius_deg: f64,
    pub(crate) illuminance: f64,
    pub(crate) share: f64,
    pub(crate) rgb: [f64; 3],
}

/// One side.
#[derive(Debug)]
pub(crate) struct SideTruth {
    /// Strongest first.
    pub(crate) lamps: Vec<LampTruth>,
    pub(crate) key_fill_stops: f64,
    /// The same where no channel is beyond what the photograph could hold.
    pub(crate) key_fill_held_stops: f64,
    cap_mean: [f64; 3],
}

/// The whole shot.
#[derive(Debug)]
pub(crate) struct Perfect {
    pub(crate) mirror: SideTruth,
    pub(crate) cg: SideTruth,
    pub(crate) direction_deg: f64,
    /// The strongest light that only one side has, as a share.
    pub(crate) unpaired_share: f64,
    pub(crate) exposure_stops: f64,
    /// By the mean illuminance on patches, where too few directions are left.
    pub(crate) illuminance_stops: f64,
    /// Each channel, both sides divided by their luminance.
    pub(crate) channel_stops: [f64; 3],
    pub(crate) mired: Option<f64>,
    /// The largest part that light beyond the photograph's ceiling gives of what a patch receives.
    pub(crate) clipped_share: f64,
}

impl Perfect {
    /// `reaches_ceiling`: some pixel of the photograph does.
    pub(crate) fn of(recipe: &Recipe, reaches_ceiling: bool) -> Self {
        let set = recipe.rig.set(recipe.crew, recipe.tilt_deg);
        let (unturned, cg) = (recipe.rig.cg_unturned(&recipe.errors, recipe.tilt_deg), cg_scene(recipe));
        let sphere = MirrorSphere::at(&recipe.view(), recipe.centre_px, recipe.radius_px, [1.0; 3]);
        let to_camera = -sphere.cone.axis;
        let recorded = recorded(&set, recipe);
        let ceiling = if reaches_ceiling { ceiling_in_use(&recorded, ceiling(recipe)) } else { [f64::INFINITY; 3] };
        let set_side = side(&set, &recorded, None, &to_camera, &ceiling);
        let cg_side = side(&cg, &cg, recipe.errors.missing, &to_camera, &ceiling);
        let seen = |d: &Vector3<f64>| angle_between_rad(d, &sphere.cone.axis) > sphere.cone.half_angle_rad;
        let [overall_set, overall_cg] = overall(&set, &recorded, &unturned, &ceiling, &seen);
        let channel = |c: usize| stops(overall_cg[c] / luminance(overall_cg), overall_set[c] / luminance(overall_set));
        let mired = |rgb| cct_duv_from_working_rgb(rgb).and_then(|c| c.cct.to_mired()).map(|m| m.0);
        Self {
            direction_deg: direction_error(&set_side, &cg_side),
            unpaired_share: recipe.errors.missing.map_or(0.0, |_| missing_share(&set_side, &cg_side)),
            exposure_stops: median_ratio(&set, &unturned, &ceiling, &seen),
            illuminance_stops: stops(luminance(cg_side.cap_mean), luminance(set_side.cap_mean)),
            channel_stops: [channel(0), channel(1), channel(2)],
            mired: mired(overall_cg).zip(mired(overall_set)).map(|(c, s)| c - s),
            clipped_share: clipped_share(&set, &recorded, &to_camera, &ceiling),
            mirror: set_side,
            cg: cg_side,
        }
    }

    /// The largest part of any patch's light that is lost above the photograph's ceiling.
    pub(crate) fn lost_share(recipe: &Recipe) -> f64 {
        let set = recipe.rig.set(recipe.crew, recipe.tilt_deg);
        let sphere = MirrorSphere::at(&recipe.view(), recipe.centre_px, recipe.radius_px, [1.0; 3]);
        lost_share(&set, &recorded(&set, recipe), &-sphere.cone.axis, &ceiling(recipe))
    }

    pub(crate) fn key_fill_stops(&self) -> f64 {
        self.cg.key_fill_stops - self.mirror.key_fill_stops
    }

    pub(crate) fn key_fill_held_stops(&self) -> f64 {
        self.cg.key_fill_held_stops - self.mirror.key_fill_held_stops
    }

    pub(crate) fn largest_channel(&self) -> f64 {
        self.channel_stops.into_iter().max_by(|a, b| a.abs().total_cmp(&b.abs())).unwrap_or(0.0)
    }
}

fn stops(value: f64, reference: f64) -> f64 {
    (value / reference).log2()
}

/// The radiance per channel at which the photograph clips.
fn ceiling(recipe: &Recipe) -> [f64; 3] {
    let exposure = recipe.plate_drift_stops.unwrap_or(0.0).exp2();
    [0, 1, 2].map(|c| match recipe.kept {
        Kept::HalfFloat => recipe.clip_level / exposure / recipe.reflectance[c],
        Kept::Jpeg { gain_stops, contrast, red_stops, blue_stops, .. } => {
            // Code 255 of the development in `frames`: the shoulder rounds to white at 1.97.
            let scene = 0.18 * (1.97_f64 / 0.18).powf(1.0 / contrast);
            scene / (gain_stops + [red_stops, 0.0, blue_stops][c]).exp2() / recipe.reflectance[c]
        }
    })
}

/// The set with each lamp as bright as its middle stands in the photograph: blur spreads a small one out below the ceiling.
fn recorded(set: &Scene, recipe: &Recipe) -> Scene {
    // A pixel averages over itself: 1/12 of its square each way.
    let variance_px2 = recipe.blur_px.powi(2) + 1.0 / 12.0;
    let mut recorded = set.clone();
    for (light, seen) in recorded.lights.iter_mut().zip(set.lights_in_camera_axes()) {
        // A sphere of r px shows an angle of one rad as r/2 px in the middle; towards the rim what is lost along the radius
        // is won across it.
        let radius_px = 0.5 * recipe.radius_px * seen.angular_radius_rad;
        let middle = 1.0 - (-0.5 * radius_px * radius_px / variance_px2).exp();
        light.radiance = light.radiance.map(|l| l * middle);
    }
    recorded
}

/// Where nothing in the photograph reaches the ceiling, it is whole, and the CG is compared as it is.
fn ceiling_in_use(set: &Scene, ceiling: [f64; 3]) -> [f64; 3] {
    if rays(set).iter().all(|r| is_held(&r.radiance, &ceiling)) { [f64::INFINITY; 3] } else { ceiling }
}

fn spiral(count: usize) -> impl Iterator<Item = Vector3<f64>> {
    let golden = PI * (3.0 - 5.0_f64.sqrt());
    (0..count).map(move |i| {
        let y = 1.0 - (2 * i + 1) as f64 / count as f64;
        let (sin, cos) = (golden * i as f64).sin_cos();
        Vector3::new(sin * (1.0 - y * y).sqrt(), y, cos * (1.0 - y * y).sqrt())
    })
}

/// A direction with radiance and solid angle.
#[derive(Clone, Copy)]
struct Ray {
    direction: Vector3<f64>,
    radiance: [f64; 3],
    steradian: f64,
}

/// Surroundings on a spiral, each lamp as 240 points of equal solid angle.
fn rays(scene: &Scene) -> Vec<Ray> {
    let lamps = scene.lights_in_camera_axes();
    let mut bare = scene.clone();
    bare.lights.clear();
    let behind_lamp =
        |d: &Vector3<f64>| lamps.iter().any(|l| angle_between_rad(d, &l.direction) < l.angular_radius_rad);
    let steradian = 4.0 * PI / DIRECTIONS as f64;
    let free = spiral(DIRECTIONS).filter(|d| !behind_lamp(d));
    let surroundings = free.map(|direction| Ray { radiance: bare.radiance(&direction), direction, steradian });
    surroundings.chain(lamps.iter().flat_map(lamp_rays)).collect()
}

fn lamp_rays(lamp: &DiscLight) -> impl Iterator<Item = Ray> + '_ {
    const RINGS: usize = 10;
    const SPOKES: usize = 24;
    let [right, up] = tangents(&lamp.direction);
    let steradian = lamp.solid_angle() / (RINGS * SPOKES) as f64;
    (0..RINGS * SPOKES).map(move |index| {
        let share = ((index / SPOKES) as f64 + 0.5) / RINGS as f64;
        let cos = 1.0 - share * (1.0 - lamp.angular_radius_rad.cos());
        let (sin_phi, cos_phi) = (TAU * (index % SPOKES) as f64 / SPOKES as f64).sin_cos();
        let sideways = (right * cos_phi + up * sin_phi) * (1.0 - cos * cos).sqrt();
        Ray { direction: lamp.direction * cos + sideways, radiance: lamp.radiance, steradian }
    })
}

/// The rays of a scene as far as the photograph holds them: what it records of a lamp is cut off, and no more.
fn held_rays(of_scene: &[Ray], recorded: &Scene, ceiling: &[f64; 3]) -> Vec<Ray> {
    let cut = |ray: &Ray, seen: &Ray| {
        let part = |c: usize| (ceiling[c] / seen.radiance[c].max(1e-30)).min(1.0);
        Ray { radiance: [0, 1, 2].map(|c| ray.radiance[c] * part(c)), ..*ray }
    };
    of_scene.iter().zip(&rays(recorded)).map(|(ray, seen)| cut(ray, seen)).collect()
}

fn is_held(radiance: &[f64; 3], ceiling: &[f64; 3]) -> bool {
    radiance.iter().zip(ceiling).all(|(l, c)| l < c)
}

fn illuminance(rays: &[Ray], normal: &Vector3<f64>) -> [f64; 3] {
    rays.iter().fold([0.0; 3], |sum, ray| {
        let weight = ray.direction.dot(normal).max(0.0) * ray.steradian;
        [0, 1, 2].map(|c| sum[c] + ray.radiance[c] * weight)
    })
}

/// `missing` is the lamp of the rig that the scene lacks.
fn side(
    scene: &Scene,
    recorded: &Scene,
    missing: Option<usize>,
    to_camera: &Vector3<f64>,
    ceiling: &[f64; 3],
) -> SideTruth {
    let rays = rays(scene);
    let normals = cap_normals(to_camera);
    let lit: Vec<[f64; 3]> = normals.iter().map(|n| illuminance(&rays, n)).collect();
    let (bright, dark) = extremes(&lit);
    let held_rays = held_rays(&rays, recorded, ceiling);
    let (held_bright, held_dark) = extremes(&normals.iter().map(|n| illuminance(&held_rays, n)).collect::<Vec<_>>());
    let kept = (0..).filter(|of_rig| Some(*of_rig) != missing);
    let lights = scene.lights_in_camera_axes();
    let mut lamps: Vec<LampTruth> = lights.iter().zip(kept).map(|(l, of_rig)| lamp_truth(l, of_rig, &rays)).collect();
    lamps.sort_by(|a, b| b.illuminance.total_cmp(&a.illuminance));
    SideTruth {
        lamps,
        key_fill_stops: stops(bright, dark),
        key_fill_held_stops: stops(held_bright, held_dark),
        cap_mean: [0, 1, 2].map(|c| lit.iter().map(|rgb| rgb[c]).sum::<f64>() / lit.len() as f64),
    }
}

fn extremes(lit: &[[f64; 3]]) -> (f64, f64) {
    let levels = || lit.iter().map(|rgb| luminance(*rgb));
    (levels().fold(0.0, f64::max), levels().fold(f64::INFINITY, f64::min))
}

fn lamp_truth(lamp: &DiscLight, of_rig: usize, rays: &[Ray]) -> LampTruth {
    let rgb = lamp.illuminance();
    let total = luminance(illuminance(rays, &lamp.direction));
    LampTruth {
        of_rig,
        direction: lamp.direction,
        radius_deg: lamp.angular_radius_rad.to_degrees(),
        illuminance: luminance(rgb),
        share: luminance(rgb) / total,
        rgb,
    }
}

/// Normals spread evenly over the cap, its rim included.
fn cap_normals(to_camera: &Vector3<f64>) -> Vec<Vector3<f64>> {
    const NORMALS: usize = 420;
    const ON_RIM: usize = 160;
    let [right, up] = tangents(to_camera);
    let rim_cos = CAP_DEG.to_radians().cos();
    let golden = PI * (3.0 - 5.0_f64.sqrt());
    let towards =
        |cos: f64, phi: f64| to_camera * cos + (right * phi.cos() + up * phi.sin()) * (1.0 - cos * cos).max(0.0).sqrt();
    let inside =
        (0..NORMALS).map(|i| towards(1.0 - (i as f64 + 0.5) / NORMALS as f64 * (1.0 - rim_cos), golden * i as f64));
    let rim = (0..ON_RIM).map(|i| towards(rim_cos, TAU * i as f64 / ON_RIM as f64));
    inside.chain(rim).collect()
}

/// The largest angle between a key of either side and the same lamp of the other.
fn direction_error(set: &SideTruth, cg: &SideTruth) -> f64 {
    let keys = |side: &SideTruth| {
        let limit = side.lamps.first().map_or(0.0, |k| k.illuminance) * (-CO_KEY_STOPS).exp2();
        side.lamps.iter().filter(|l| l.illuminance >= limit).map(|l| l.of_rig).collect::<Vec<_>>()
    };
    let direction =
        |side: &SideTruth, of_rig: usize| side.lamps.iter().find(|l| l.of_rig == of_rig).map(|l| l.direction);
    let angle = |of_rig: usize| Some(angle_between_rad(&direction(set, of_rig)?, &direction(cg, of_rig)?).to_degrees());
    keys(set).into_iter().chain(keys(cg)).filter_map(angle).fold(0.0, f64::max)
}

/// Share of the lamp that only the set has.
fn missing_share(set: &SideTruth, cg: &SideTruth) -> f64 {
    let lost = |l: &&LampTruth| cg.lamps.iter().all(|c| c.of_rig != l.of_rig);
    set.lamps.iter().find(lost).map_or(0.0, |l| l.share)
}

/// Mean radiance of both sides over all directions that the sphere shows and the photograph holds. Lamps are summed on
/// points of their own: an even spread of directions meets a small one by chance.
fn overall(
    set: &Scene,
    recorded: &Scene,
    cg: &Scene,
    ceiling: &[f64; 3],
    seen: &impl Fn(&Vector3<f64>) -> bool,
) -> [[f64; 3]; 2] {
    let (ours, theirs) = (set.lights_in_camera_axes(), cg.lights_in_camera_axes());
    let in_any = |d: &Vector3<f64>, lamps: &[DiscLight]| {
        lamps.iter().any(|l| angle_between_rad(d, &l.direction) < l.angular_radius_rad)
    };
    let even = 4.0 * PI / (4 * DIRECTIONS) as f64;
    let between = spiral(4 * DIRECTIONS).filter(|d| !in_any(d, &ours) && !in_any(d, &theirs)).map(|d| (d, even));
    let in_ours = ours.iter().flat_map(lamp_rays).map(|r| (r.direction, r.steradian));
    let in_theirs = theirs.iter().flat_map(lamp_rays).map(|r| (r.direction, r.steradian));
    let in_theirs = in_theirs.filter(|(d, _)| !in_any(d, &ours));
    let mut sums = [[0.0; 3]; 2];
    for (direction, steradian) in between.chain(in_ours).chain(in_theirs).filter(|(d, _)| seen(d)) {
        let (a, b) = (set.radiance(&direction), cg.radiance(&direction));
        if is_held(&recorded.radiance(&direction), ceiling) && is_held(&b, ceiling) {
            for c in 0..3 {
                sums[0][c] += a[c] * steradian;
                sums[1][c] += b[c] * steradian;
            }
        }
    }
    sums
}

/// Median over directions of the ratio of luminances, lights left out, the turn of the whole undone.
fn median_ratio(set: &Scene, cg: &Scene, ceiling: &[f64; 3], seen: &impl Fn(&Vector3<f64>) -> bool) -> f64 {
    let lamps: Vec<DiscLight> = set.lights_in_camera_axes().into_iter().chain(cg.lights_in_camera_axes()).collect();
    let margin = LIGHT_MARGIN_DEG.to_radians();
    let lit =
        |d: &Vector3<f64>| lamps.iter().any(|l| angle_between_rad(d, &l.direction) < l.angular_radius_rad + margin);
    let mut ratios: Vec<f64> = spiral(DIRECTIONS)
        .filter(|d| seen(d) && !lit(d))
        .filter_map(|d| {
            let (ours, theirs) = (set.radiance(&d), cg.radiance(&d));
            let usable = is_held(&ours, ceiling) && is_held(&theirs, ceiling);
            usable.then(|| stops(luminance(theirs), luminance(ours)))
        })
        .collect();
    ratios.sort_by(f64::total_cmp);
    ratios.get(ratios.len() / 2).copied().unwrap_or(f64::NAN)
}

fn clipped_share(set: &Scene, recorded: &Scene, to_camera: &Vector3<f64>, ceiling: &[f64; 3]) -> f64 {
    let all = rays(set);
    let beyond: Vec<Ray> = all
        .iter()
        .zip(&rays(recorded))
        .filter(|(_, seen)| !is_held(&seen.radiance, ceiling))
        .map(|(ray, _)| *ray)
        .collect();
    if beyond.is_empty() {
        return 0.0;
    }
    let share = |n: &Vector3<f64>| luminance(illuminance(&beyond, n)) / luminance(illuminance(&all, n));
    cap_normals(to_camera).iter().map(share).fold(0.0, f64::max)
}

fn lost_share(set: &Scene, recorded: &Scene, to_camera: &Vector3<f64>, ceiling: &[f64; 3]) -> f64 {
    let all = rays(set);
    let kept = held_rays(&all, recorded, ceiling);
    let share = |n: &Vector3<f64>| 1.0 - luminance(illuminance(&kept, n)) / luminance(illuminance(&all, n));
    let normals = cap_normals(to_camera);
    normals.iter().step_by(8).map(share).fold(0.0, f64::max)
}
