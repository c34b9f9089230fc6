//! What a perfect measurement of each shot would say, from the scenes themselves.

use std::f64::consts::{PI, TAU};

use nalgebra::{Rotation3, Vector3};

use super::harbour;
use super::scene::{DiscLight, Scene, angle, direction_of};
use super::shot::{MirrorTake, Shot};
use super::shots::shots;
use crate::colour::luminance;
use crate::findings::{ShotVerdict, Verdict};
use crate::sphere::tangents;

/// Patches up to this angle from the line to the camera count (contract).
const CAP_DEG: f64 = 75.0;

/// One light as it was put into a scene.
#[derive(Debug, Clone, PartialEq)]
pub struct LightTruth {
    /// Contract's azimuth, camera axes.
    pub azimuth_deg: f64,
    /// Contract's elevation, camera axes.
    pub elevation_deg: f64,
    /// Radius of the uniform disc.
    pub angular_radius_deg: f64,
    /// Luminance × sr on a plane that faces it.
    pub illuminance: f64,
}

/// One check's true error.
#[derive(Debug, Clone, PartialEq)]
pub struct CheckTruth {
    /// Name of the check.
    pub check: &'static str,
    /// CG minus set (for `reference-drift`: mirror frame minus plate).
    pub error: f64,
    /// `deg`, `stops` or `px`.
    pub unit: &'static str,
    /// The verdict on good input; `None` where the truth lies too near the tolerance, or the input is too poor, to
    /// ask for one.
    pub expected: Option<Verdict>,
}

/// All that is known of a shot.
#[derive(Debug, Clone, PartialEq)]
pub struct ShotTruth {
    /// Name of the shot.
    pub shot: &'static str,
    /// What code put wrong.
    pub built_in: &'static str,
    /// What the shot must come out as.
    pub verdict: ShotVerdict,
    /// Lights on set, strongest first. Soft panels are not among them.
    pub set_lights: Vec<LightTruth>,
    /// Lights in the CG, strongest first.
    pub cg_lights: Vec<LightTruth>,
    /// Turn of the CG's surroundings about the vertical.
    pub heading_deg: f64,
    /// Red against green, CG minus set, of the mean light on the patches.
    pub red_green_stops: f64,
    /// Blue against green.
    pub blue_green_stops: f64,
    /// Errors of the checks.
    pub checks: Vec<CheckTruth>,
}

impl ShotTruth {
    /// The truth of one check.
    pub fn check(&self, name: &str) -> Option<&CheckTruth> {
        self.checks.iter().find(|truth| truth.check == name)
    }
}

/// The truth of every shot, in the order in which [`super::write_show`] writes them.
pub fn truths() -> Vec<ShotTruth> {
    shots().iter().map(truth_of).collect()
}

fn truth_of(shot: &Shot) -> ShotTruth {
    let (set, cg) = (shot.empty_set(), shot.cg_scene());
    let (set_lights, cg_lights) = (strongest_first(&set), strongest_first(&cg));
    let to_camera = -shot.view().ray(shot.sphere_px);
    let (set_patches, cg_patches) = (Patches::of(&set, &to_camera), Patches::of(&cg, &to_camera));
    let colour = |channel: usize| {
        let error = |c: usize| (cg_patches.mean[c] / set_patches.mean[c]).log2();
        error(channel) - error(1)
    };
    let direction_error = angle(&set_lights[0].direction, &cg_lights[0].direction).to_degrees();
    let lost_light = set_lights.len() != cg_lights.len();
    let mut checks = vec![
        CheckTruth {
            check: "highlight-direction",
            error: direction_error,
            unit: "deg",
            expected: if lost_light { Some(Verdict::Mismatch) } else { decided(direction_error, 5.0) },
        },
        stops("key-fill-ratio", cg_patches.ratio_stops() - set_patches.ratio_stops(), 0.33),
        stops("exposure", shot.errors.exposure_stops, 0.25),
        stops("colour-balance", largest_channel(&set_patches.mean, &cg_patches.mean), 0.1),
        stops("reference-drift", shot.drift_stops, 0.25),
        CheckTruth {
            check: "environment-rotation",
            error: turn_deg(shot),
            unit: "deg",
            expected: decided(turn_deg(shot), 5.0),
        },
    ];
    checks.extend(from_set_truths(shot));
    ShotTruth {
        shot: shot.name,
        built_in: shot.built_in,
        verdict: shot.verdict,
        set_lights: set_lights.iter().map(light_truth).collect(),
        cg_lights: cg_lights.iter().map(light_truth).collect(),
        heading_deg: shot.errors.heading_deg,
        red_green_stops: colour(0),
        blue_green_stops: colour(2),
        checks: checks.into_iter().map(|truth| as_far_as_input_allows(shot, truth)).collect(),
    }
}

/// Angle of the turn that was put into the CG.
fn turn_deg(shot: &Shot) -> f64 {
    let about = |axis, deg: f64| Rotation3::from_axis_angle(&axis, deg.to_radians());
    let turn = about(Vector3::x_axis(), shot.errors.tip_deg) * about(Vector3::y_axis(), shot.errors.heading_deg);
    turn.angle().to_degrees()
}

/// The checks of what else came back from set.
fn from_set_truths(shot: &Shot) -> impl Iterator<Item = CheckTruth> {
    let clean = shot.from_set.clean.map(|take| {
        let [x, y] = take.shift_px;
        ("clean-plate", x.hypot(y), 0.5)
    });
    let grid = shot.from_set.corner_error_px().map(|error| ("lens-distortion", error, 1.0));
    let truth = |(check, error, tolerance): (&'static str, f64, f64)| CheckTruth {
        check,
        error,
        unit: "px",
        expected: decided(error, tolerance),
    };
    // The same light falls on both spheres.
    let matte = shot.from_set.matte.then(|| stops("grey-sphere", 0.0, 0.33));
    clean.into_iter().chain(grid).map(truth).chain(matte).chain(sun_truth(shot))
}

/// Angle between the key and the sun at the place, time and heading that were noted.
fn sun_truth(shot: &Shot) -> Option<CheckTruth> {
    let sun = harbour::sun_at(harbour::EVENING_TIME);
    let azimuth_deg = harbour::azimuth_deg(sun.bearing_deg, shot.heading_deg?);
    let error = angle(&strongest_first(&shot.set)[0].direction, &direction_of(azimuth_deg, sun.elevation_deg));
    let error = error.to_degrees();
    Some(CheckTruth { check: "sun", error, unit: "deg", expected: decided(error, 10.0) })
}

/// How much more contrast a grey sphere shows than the mirror sphere in the light of `set`, where it was shot in
/// that of `lit`: between the places that `set` makes brightest and darkest.
pub(super) fn matte_contrast_stops(shot: &Shot, set: &Scene, lit: &Scene) -> f64 {
    let to_camera = -shot.view().ray(shot.sphere_px);
    let level = |sources: &[Source], normal: &Vector3<f64>| luminance(illuminance(sources, normal)).log2();
    let (mirror, matte) = (sources(set), sources(lit));
    let departure = |normal: &Vector3<f64>| level(&matte, normal) - level(&mirror, normal);
    let seen: Vec<(Vector3<f64>, f64)> = disc_normals(&to_camera).map(|normal| (normal, departure(&normal))).collect();
    // The darkest place lies beyond what is looked at of the sphere: the tenth of it that is nearest stands for it.
    let near = |place: &Vector3<f64>| {
        let mut angles: Vec<(f64, f64)> = seen.iter().map(|(normal, d)| (normal.dot(place), *d)).collect();
        angles.sort_by(|a, b| b.0.total_cmp(&a.0));
        let mut nearest: Vec<f64> = angles[..angles.len() / 10].iter().map(|a| a.1).collect();
        nearest.sort_by(f64::total_cmp);
        nearest[nearest.len() / 2]
    };
    let levels: Vec<(Vector3<f64>, f64)> =
        cap_normals(&to_camera).into_iter().map(|n| (n, level(&mirror, &n))).collect();
    let brightest = levels.iter().max_by(|a, b| a.1.total_cmp(&b.1));
    let darkest = levels.iter().min_by(|a, b| a.1.total_cmp(&b.1));
    brightest.zip(darkest).map_or(0.0, |(bright, dark)| near(&bright.0) - near(&dark.0))
}

/// Normals of what is looked at of a grey sphere, within 0.92 of its radius, even in the picture.
fn disc_normals(to_camera: &Vector3<f64>) -> impl Iterator<Item = Vector3<f64>> {
    const STEPS: i32 = 24;
    let [right, up] = tangents(to_camera);
    let to_camera = *to_camera;
    (-STEPS..=STEPS).flat_map(move |row| (-STEPS..=STEPS).map(move |column| (row, column))).filter_map(
        move |(row, column)| {
            let (x, y) = (f64::from(column) / f64::from(STEPS), f64::from(row) / f64::from(STEPS));
            let square = x * x + y * y;
            (square < 0.92 * 0.92).then(|| right * x + up * y + to_camera * (1.0 - square).sqrt())
        },
    )
}

pub(super) fn stops(check: &'static str, error: f64, tolerance: f64) -> CheckTruth {
    CheckTruth { check, error, unit: "stops", expected: decided(error, tolerance) }
}

/// Half the tolerance or less must match, twice or more must not (contract).
pub(super) fn decided(error: f64, tolerance: f64) -> Option<Verdict> {
    match error.abs() / tolerance {
        x if x < 0.5 => Some(Verdict::Match),
        x if x > 2.0 => Some(Verdict::Mismatch),
        _ => None,
    }
}

/// A poor sphere proves nothing, and a drifted reference leaves the exposure open.
fn as_far_as_input_allows(shot: &Shot, mut truth: CheckTruth) -> CheckTruth {
    let poor = matches!(shot.mirror_take, MirrorTake::Poor);
    if poor || (truth.check == "exposure" && shot.drift_stops.abs() > 0.1) {
        truth.expected = None;
    }
    truth
}

/// Largest error of a channel, each side divided by its luminance.
fn largest_channel(set: &[f64; 3], cg: &[f64; 3]) -> f64 {
    let error = |c: usize| ((cg[c] / luminance(*cg)) / (set[c] / luminance(*set))).log2();
    [error(0), error(1), error(2)].into_iter().max_by(|a, b| a.abs().total_cmp(&b.abs())).unwrap_or(0.0)
}

fn strongest_first(scene: &Scene) -> Vec<DiscLight> {
    let mut lights = scene.lights_in_camera_axes();
    lights.sort_by(|a, b| luminance(b.illuminance()).total_cmp(&luminance(a.illuminance())));
    lights
}

fn light_truth(light: &DiscLight) -> LightTruth {
    LightTruth {
        azimuth_deg: light.direction.x.atan2(light.direction.z).to_degrees(),
        elevation_deg: light.direction.y.clamp(-1.0, 1.0).asin().to_degrees(),
        angular_radius_deg: light.angular_radius_rad.to_degrees(),
        illuminance: luminance(light.illuminance()),
    }
}

/// Illuminance of matte patches at the sphere's place.
struct Patches {
    largest: f64,
    smallest: f64,
    /// Mean over the cap, per channel.
    mean: [f64; 3],
}

impl Patches {
    fn of(scene: &Scene, to_camera: &Vector3<f64>) -> Self {
        let sources = sources(scene);
        let normals = cap_normals(to_camera);
        let lit: Vec<[f64; 3]> = normals.iter().map(|normal| illuminance(&sources, normal)).collect();
        let levels = || lit.iter().map(|rgb| luminance(*rgb));
        Self {
            largest: levels().fold(0.0, f64::max),
            smallest: levels().fold(f64::INFINITY, f64::min),
            mean: [0, 1, 2].map(|c| lit.iter().map(|rgb| rgb[c]).sum::<f64>() / lit.len() as f64),
        }
    }

    fn ratio_stops(&self) -> f64 {
        (self.largest / self.smallest).log2()
    }
}

/// A direction with radiance × solid angle.
pub(super) type Source = (Vector3<f64>, [f64; 3]);

/// The scene as point sources: its surroundings on a lat-long grid, each light as rings of equal solid angle.
pub(super) fn sources(scene: &Scene) -> Vec<Source> {
    const ROWS: usize = 60;
    const COLUMNS: usize = 120;
    let lights = scene.lights_in_camera_axes();
    let mut surroundings = scene.clone();
    surroundings.lights.clear();
    let mut sources = Vec::with_capacity(ROWS * COLUMNS + lights.len() * 48);
    for row in 0..ROWS {
        let top = (PI * row as f64 / ROWS as f64).cos();
        let bottom = (PI * (row + 1) as f64 / ROWS as f64).cos();
        let y = f64::midpoint(top, bottom);
        for column in 0..COLUMNS {
            let (sin, cos) = (TAU * (column as f64 + 0.5) / COLUMNS as f64).sin_cos();
            let direction = Vector3::new(sin * (1.0 - y * y).sqrt(), y, cos * (1.0 - y * y).sqrt());
            let solid_angle = (top - bottom) * TAU / COLUMNS as f64;
            sources.push((direction, surroundings.radiance(&direction).map(|l| l * solid_angle)));
        }
    }
    sources.extend(lights.iter().flat_map(light_sources));
    sources
}

fn light_sources(light: &DiscLight) -> Vec<Source> {
    const RINGS: usize = 4;
    const SPOKES: usize = 12;
    let [right, up] = tangents(&light.direction);
    let part = light.radiance.map(|l| l * light.solid_angle() / (RINGS * SPOKES) as f64);
    let place = |index: usize| {
        let share = ((index / SPOKES) as f64 + 0.5) / RINGS as f64;
        let cos = 1.0 - share * (1.0 - light.angular_radius_rad.cos());
        let (sin_phi, cos_phi) = (TAU * (index % SPOKES) as f64 / SPOKES as f64).sin_cos();
        let sideways = right * cos_phi + up * sin_phi;
        (light.direction * cos + sideways * (1.0 - cos * cos).sqrt(), part)
    };
    (0..RINGS * SPOKES).map(place).collect()
}

pub(super) fn illuminance(sources: &[Source], normal: &Vector3<f64>) -> [f64; 3] {
    sources.iter().fold([0.0; 3], |sum, (direction, light)| {
        let cosine = direction.dot(normal).max(0.0);
        [0, 1, 2].map(|c| sum[c] + light[c] * cosine)
    })
}

/// Normals spread evenly over the cap, its rim included.
fn cap_normals(to_camera: &Vector3<f64>) -> Vec<Vector3<f64>> {
    const NORMALS: usize = 300;
    const ON_RIM: usize = 120;
    let [right, up] = tangents(to_camera);
    let rim_cos = CAP_DEG.to_radians().cos();
    let golden_angle = PI * (3.0 - 5.0_f64.sqrt());
    let towards =
        |cos: f64, phi: f64| to_camera * cos + (right * phi.cos() + up * phi.sin()) * (1.0 - cos * cos).max(0.0).sqrt();
    let inside = (0..NORMALS)
        .map(|i| towards(1.0 - (i as f64 + 0.5) / NORMALS as f64 * (1.0 - rim_cos), golden_angle * i as f64));
    let rim = (0..ON_RIM).map(|i| towards(rim_cos, TAU * i as f64 / ON_RIM as f64));
    inside.chain(rim).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::demo::shot::SIZE;
    use crate::sphere::outline_of_cone;

    /// A light of illuminance E at angle θ from the line to the camera over an even surround L: the brightest patch
    /// gets E + πL, the darkest πL where the light is beyond its horizon.
    #[test]
    fn patch_ratio_has_its_closed_form() {
        let light = DiscLight::new(60.0, 0.0, 3.0, [100.0; 3]);
        let (e, surround) = (light.illuminance()[1], PI * 0.2);
        let scene = Scene::plain([0.2; 3]).with_light(light);
        let patches = Patches::of(&scene, &direction_of(0.0, 0.0));
        assert!((patches.ratio_stops() - ((e + surround) / surround).log2()).abs() < 0.01);
    }

    #[test]
    fn every_shot_has_the_error_that_its_name_says() {
        let truths = truths();
        let error = |shot: &str, check: &str| {
            truths.iter().find(|t| t.shot == shot).and_then(|t| t.check(check)).unwrap().error
        };
        for check in &truths[0].checks {
            assert_eq!(check.expected, Some(Verdict::Match), "{}: {}", check.check, check.error);
        }
        assert!(error("SF_0140", "highlight-direction") > 10.0);
        assert!((error("SF_0210", "exposure") + 0.65).abs() < 1e-12 && error("SF_0210", "colour-balance").abs() > 0.2);
        assert!(error("SF_0230", "key-fill-ratio") > 0.66);
        assert_eq!(truths.iter().find(|t| t.shot == "SF_0320").unwrap().cg_lights.len(), 1);
        assert!((error("SF_0410", "reference-drift") - 0.6).abs() < 1e-12);
    }

    /// What is not meant to be wrong is right by less than half its tolerance: each shot shows its one fault.
    #[test]
    fn no_shot_is_wrong_in_a_way_that_it_does_not_mean() {
        let meant = [
            ("SF_0140", "highlight-direction"),
            ("SF_0140", "environment-rotation"),
            ("SF_0210", "exposure"),
            ("SF_0210", "colour-balance"),
            ("SF_0230", "key-fill-ratio"),
            ("SF_0320", "highlight-direction"),
            ("SF_0410", "reference-drift"),
            ("SF_0410", "exposure"),
            ("SF_0430", "key-fill-ratio"),
            ("SF_0430", "colour-balance"),
            ("SF_0440", "exposure"),
            ("SF_0140", "lens-distortion"),
            ("SF_0320", "clean-plate"),
        ];
        for truth in truths().iter().filter(|truth| truth.verdict != ShotVerdict::Unsure) {
            for check in truth.checks.iter().filter(|check| !meant.contains(&(truth.shot, check.check))) {
                assert_eq!(check.expected, Some(Verdict::Match), "{} {}: {}", truth.shot, check.check, check.error);
            }
        }
    }

    #[test]
    fn spheres_lie_well_inside_their_frames() {
        for shot in shots() {
            let sphere = crate::demo::frames::sphere(&shot, [1.0; 3]);
            let outline = outline_of_cone(&shot.view(), &sphere.cone).unwrap();
            let radius = outline.semi_a;
            assert!(outline.centre_x > 1.5 * radius && outline.centre_x < SIZE.width as f64 - 1.5 * radius);
            assert!((outline.mean_radius() - shot.sphere_radius_px).abs() < 1.0, "{}", shot.name);
        }
    }
}
