//! What is said of the written light: how much of it is measured, and every light, as plain data.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::SetLight;
use super::emitter::{Emitter, Shape, is_broad};
use super::map::{Kind, SetMap};
use crate::base::units::Stops;
use crate::check::grey_sphere::RecoveredLight;
use crate::check::key_fill_ratio::MAX_CLIPPED_SHARE;
use crate::colour::luminance;
use crate::compare::uncertainty::{blind_cone::FILL_SD_STOPS, optics, outline, tone_curve};
use crate::findings::{ErrorNote, InputRecord, ToolNote};
use crate::light::lights::Light;
pub use crate::report::SET_LIGHT_FORMAT;
use crate::report::report_stem;
use crate::shot::SetMirror;
use crate::sphere::azimuth_elevation_deg;

/// Mid grey, at which a tone curve's gain is asked for.
const MID_GREY: f64 = 0.18;

/// What `set-light` says of one shot.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SetLightDocument {
    /// Always `plateproof-set-light/1`.
    #[schemars(extend("const" = SET_LIGHT_FORMAT))]
    pub format: String,
    /// The program that wrote it.
    pub tool: ToolNote,
    /// The shot's name.
    pub shot: String,
    /// Axes of the maps and of the stage, one sentence. Directions below are camera axes.
    pub frame_of_reference: String,
    /// One entry per mirror sphere that could be measured, in the sheet's order.
    pub mirrors: Vec<SetLightRecord>,
    /// Every file that was read.
    pub inputs: Vec<InputRecord>,
    /// Conventions and assumptions behind the numbers, one sentence each.
    pub assumptions: Vec<String>,
    /// Things the reader should know, one sentence each.
    pub warnings: Vec<String>,
    /// Why a mirror, or the whole shot, could not be measured; null if all were.
    pub error: Option<ErrorNote>,
}

/// The written light of one mirror sphere.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SetLightRecord {
    /// Name of the mirror sphere.
    pub mirror: String,
    /// The map with all light: lat-long OpenEXR.
    pub map_file: String,
    /// The map without the lights that the stage holds as lights of their own.
    pub dome_file: String,
    /// The OpenUSD layer: the dome and the lights.
    pub stage_file: String,
    /// How much of all directions each kind of pixel covers, fractions that add up to 1.
    pub of_directions: Parts,
    /// How much of the light each kind gives, fractions that add up to 1: luminance summed over solid angle, which is
    /// four times the illuminance on a small sphere.
    pub of_light: Parts,
    /// Luminance summed over all directions, radiance × sr, in the plate's units.
    pub light: f64,
    /// One standard deviation of `light`, stops: filled-in directions, restored lights, the sphere's reflectance, the
    /// tone curve, and how the sphere frame was exposed against the plate.
    pub light_sd_stops: f64,
    /// `lower` if part of the light is at the recording's ceiling and nothing told how much is missing.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub light_bound: Option<String>,
    /// Part of `light_sd_stops` that comes from the sphere's reflectance; it concerns all directions alike.
    pub reflectance_sd_stops: f64,
    /// Half-angle of the cone behind the sphere that it cannot show, degrees, its blurred rim left aside.
    pub blind_half_angle_deg: f64,
    /// Half of a point's light is mirrored within this angle, degrees, where the sphere's surface measurably blurs: the
    /// map is as soft as that. Only a CG sphere tells it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub surface_blur_deg: Option<f64>,
    /// One standard deviation of it, degrees.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub surface_blur_deg_sd: Option<f64>,
    /// The grey sphere that told the strength of clipped lights.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub restored_from: Option<String>,
    /// Every light that was measured, most illuminance first, restored ones as restored.
    pub lights: Vec<LightRecord>,
}

/// Fractions by what a pixel stands on.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Parts {
    /// The sphere showed it.
    pub measured: f64,
    /// Only another mirror sphere of the shot showed it.
    pub other_mirror: f64,
    /// At the recording's ceiling; a grey sphere told what is missing.
    pub restored: f64,
    /// At the recording's ceiling: a lower bound.
    pub bounded: f64,
    /// Nothing showed it; continued from what is around it.
    pub filled: f64,
}

/// One light.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LightRecord {
    /// Its prim in the stage; absent where it stays in the dome.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub prim: Option<String>,
    /// Why it stays in the dome.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub in_dome_because: Option<String>,
    /// `DistantLight` or `SphereLight`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub kind: Option<String>,
    /// Direction to it, camera axes: 0 = from the camera's side, + = frame right, degrees.
    pub azimuth_deg: f64,
    /// The same: + = above, degrees.
    pub elevation_deg: f64,
    /// One standard deviation of the direction, degrees.
    pub direction_sd_deg: f64,
    /// Radius of the even disc that it is written as, degrees.
    pub angular_radius_deg: f64,
    /// `upper` if the picture does not resolve it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub angular_radius_deg_bound: Option<String>,
    /// What it gives to a surface that faces it, luminance × sr, in the plate's units.
    pub illuminance: f64,
    /// One standard deviation of it.
    pub illuminance_sd: f64,
    /// `lower` if it is clipped and nothing told how much is missing.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub illuminance_bound: Option<String>,
    /// The same per channel, linear BT.709.
    pub illuminance_rgb: [f64; 3],
    /// Some of its pixels are at the recording's ceiling.
    pub clipped: bool,
    /// By how much a clipped light is brighter than its picture, as a grey sphere told, stops.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub restored_stops: Option<f64>,
    /// One standard deviation of it, stops.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub restored_stops_sd: Option<f64>,
    /// Where it lies on the blurred rim of the sphere, part of it may be missing.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub on_rim: bool,
    /// Distance, mm, where a second mirror tells.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub distance_mm: Option<f64>,
    /// One standard deviation of it, mm.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub distance_mm_sd: Option<f64>,
    /// `lower` if two mirrors only tell that it is no nearer.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub distance_mm_bound: Option<String>,
}

/// The published schema of [`SetLightDocument`].
pub fn set_light_schema() -> serde_json::Value {
    let mut schema = schemars::schema_for!(SetLightDocument).to_value();
    schema["title"] = "plateproof light of the set".into();
    schema
}

impl Parts {
    fn of(of_kind: impl Fn(Kind) -> f64) -> Self {
        Self {
            measured: of_kind(Kind::Measured),
            other_mirror: of_kind(Kind::OtherMirror),
            restored: of_kind(Kind::Restored),
            bounded: of_kind(Kind::Bounded),
            filled: of_kind(Kind::Filled),
        }
    }
}

impl SetLightRecord {
    /// A light is clipped and nobody knows by how much, or more than a tenth of the light is a bound or filled in: a
    /// start, but no measurement.
    pub fn is_unsure(&self) -> bool {
        let is_bound = |light: &LightRecord| light.illuminance_bound.is_some();
        self.lights.iter().any(is_bound) || self.of_light.bounded + self.of_light.filled > MAX_CLIPPED_SHARE
    }

    /// Gives the files their names: after the shot, and after the mirror where there are several.
    pub(super) fn name_files(&mut self, shot: &str, several: bool) {
        let stem = report_stem(shot, several.then_some(self.mirror.as_str()));
        self.map_file = format!("{stem}.set-light.exr");
        self.dome_file = format!("{stem}.set-light.dome.exr");
        self.stage_file = format!("{stem}.set-light.usda");
    }
}

/// What is said of one mirror's light.
pub(super) fn of(mirror: &SetMirror, light: &SetLight) -> SetLightRecord {
    let all = Total::of(&light.map);
    let blur = mirror.surface_blur_rad;
    let bounded = all.of_light.bounded > 0.0;
    SetLightRecord {
        mirror: light.mirror.clone(),
        map_file: String::new(),
        dome_file: String::new(),
        stage_file: String::new(),
        of_directions: all.of_directions,
        of_light: all.of_light,
        light: all.light,
        light_sd_stops: light_sd_stops(mirror, &all),
        light_bound: bounded.then(|| "lower".to_owned()),
        reflectance_sd_stops: mirror.reflectance_sd_stops,
        blind_half_angle_deg: mirror.side.geometry.blind_half_angle_rad().to_degrees(),
        surface_blur_deg: blur.map(|blur| blur.value.to_degrees()),
        surface_blur_deg_sd: blur.map(|blur| blur.sd.to_degrees()),
        restored_from: mirror.recovered_from.clone(),
        lights: light_records(mirror, light),
    }
}

/// Sums over the map.
struct Total {
    of_directions: Parts,
    of_light: Parts,
    light: f64,
}

impl Total {
    fn of(map: &SetMap) -> Self {
        let kinds = [Kind::Measured, Kind::OtherMirror, Kind::Restored, Kind::Bounded, Kind::Filled];
        let amounts = kinds.map(|kind| (kind, map.amount(kind)));
        let of = |kind: Kind| amounts.iter().find(|(k, _)| *k == kind).map_or((0.0, 0.0), |(_, amount)| *amount);
        let light: f64 = amounts.iter().map(|(_, (_, light))| light).sum();
        Self {
            of_directions: Parts::of(|kind| of(kind).0),
            of_light: Parts::of(|kind| of(kind).1 / light.max(1e-30)),
            light,
        }
    }
}

fn light_sd_stops(mirror: &SetMirror, all: &Total) -> f64 {
    let restored = mirror.recovered.iter().map(RecoveredLight::stops_sd);
    let causes = [
        FILL_SD_STOPS * all.of_light.filled,
        restored.fold(0.0, f64::max) * all.of_light.restored,
        mirror.reflectance_sd_stops,
        mirror.drift.exposure_stops,
        tone_curve::exposure_sd_stops(mirror.side.trust, || MID_GREY),
    ];
    causes.iter().map(|sd| sd * sd).sum::<f64>().sqrt()
}

fn light_records(mirror: &SetMirror, light: &SetLight) -> Vec<LightRecord> {
    let order = mirror.by_strength();
    order.iter().enumerate().map(|(place, listed)| light_record(mirror, light, (place, *listed))).collect()
}

/// One light by its place among the record's lights and in the mirror's list.
fn light_record(mirror: &SetMirror, light: &SetLight, (place, listed): (usize, usize)) -> LightRecord {
    let seen = &mirror.side.lights.all[listed];
    let emitter = light.emitters.iter().find(|emitter| emitter.place == place);
    let recovered = mirror.recovered_light(listed);
    let distance = mirror.distance_of(listed);
    let far = distance.and_then(|d| d.distance_mm);
    let [azimuth_deg, elevation_deg] = azimuth_elevation_deg(&seen.direction);
    let illuminance_rgb = illuminance_rgb(seen, emitter, recovered.map(|r| r.illuminance_rgb));
    let illuminance = luminance(illuminance_rgb);
    let restored = recovered.and_then(|r| Some((Stops::from_ratio(r.illuminance.value, seen.illuminance.value)?.0, r)));
    LightRecord {
        prim: emitter.map(|_| format!("/SetLight/Light_{}", place + 1)),
        in_dome_because: emitter.is_none().then(|| in_dome_because(seen)),
        kind: emitter.map(|emitter| kind_word(emitter).to_owned()),
        azimuth_deg,
        elevation_deg,
        direction_sd_deg: direction_sd_deg(mirror, seen),
        angular_radius_deg: emitter.map_or(seen.seen_radius_rad(), |emitter| emitter.radius_rad).to_degrees(),
        angular_radius_deg_bound: seen.angular_radius_deg.is_err().then(|| "upper".to_owned()),
        illuminance,
        illuminance_sd: illuminance * relative_sd(mirror, seen, recovered.map(|r| r.illuminance)),
        illuminance_bound: (seen.clipped && recovered.is_none()).then(|| "lower".to_owned()),
        illuminance_rgb,
        clipped: seen.clipped,
        restored_stops: restored.map(|(stops, _)| stops),
        restored_stops_sd: restored.map(|(_, recovered)| recovered.stops_sd()),
        on_rim: mirror.side.straddles_rim(&seen.direction, seen.reach_rad),
        distance_mm: distance.map(|d| far.map_or(d.at_least_mm, |mm| mm.value)),
        distance_mm_sd: far.map(|mm| mm.sd),
        distance_mm_bound: (distance.is_some() && far.is_none()).then(|| "lower".to_owned()),
    }
}

/// As written; for a light that stays in the dome as measured there.
fn illuminance_rgb(seen: &Light, emitter: Option<&Emitter>, recovered: Option<[f64; 3]>) -> [f64; 3] {
    emitter.map_or_else(|| recovered.unwrap_or(seen.illuminance_rgb), |emitter| emitter.irradiance_rgb)
}

fn in_dome_because(seen: &Light) -> String {
    if is_broad(seen) {
        "it is so broad that an even disc would not look like it".to_owned()
    } else {
        "nothing of it stands out above what is around it".to_owned()
    }
}

fn kind_word(emitter: &Emitter) -> &'static str {
    match emitter.shape {
        Shape::Distant => "DistantLight",
        Shape::Ball { .. } => "SphereLight",
    }
}

fn direction_sd_deg(mirror: &SetMirror, light: &Light) -> f64 {
    let cov = outline::direction_cov(&mirror.side, light) + optics::direction_cov(&mirror.side, light);
    (cov.trace() / 2.0).max(0.0).sqrt().to_degrees()
}

/// Of the light itself, and of what concerns every light of the sphere alike.
fn relative_sd(mirror: &SetMirror, seen: &Light, recovered: Option<crate::Estimate>) -> f64 {
    let own = recovered.unwrap_or(seen.illuminance);
    let relative = own.sd / own.value.max(1e-30);
    let alike = mirror.reflectance_sd_stops.hypot(mirror.drift.exposure_stops);
    relative.hypot(alike * std::f64::consts::LN_2)
}
