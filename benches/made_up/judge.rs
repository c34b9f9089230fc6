//! Runs a recipe through the library and holds the report against the truth.

use std::path::Path;

use plateproof::Result;
use plateproof::colour::cct_ohno2013::cct_duv_from_working_rgb;
use plateproof::findings::{Finding, LightReport, Report, SphereReport, SphereRole, Verdict};
use plateproof::shot::{RunOptions, check_shot};
use plateproof::sphere::{angle_between_rad, azimuth_elevation_deg, direction_of_deg, outline_of_cone};
use plateproof::wrap_deg;

use super::frames;
use super::perfect::{LampTruth, Perfect, SideTruth};
use super::recipe::{Kept, Recipe, Told};
use super::score::{Call, Quality, Score};
use super::sheet::sheet;

/// The four comparisons.
pub(crate) const CHECKS: [&str; 4] = ["highlight-direction", "key-fill-ratio", "exposure", "colour-balance"];

/// A reported light within this angle of a lamp is that lamp.
const SAME_LIGHT_DEG: f64 = 8.0;

/// Unpaired lights from this share on are a mismatch.
const UNPAIRED_SHARE: f64 = 0.10;

/// What one shot yields.
pub(crate) struct Judged {
    pub(crate) scores: Vec<Score>,
    pub(crate) calls: Vec<Call>,
    /// Why the shot could not be done.
    pub(crate) refused: Option<String>,
    /// Why it could be done only with the outline given.
    pub(crate) helped: Option<String>,
    pub(crate) qualities: Vec<Quality>,
}

/// Makes, checks and judges one shot in a folder of its own.
pub(crate) fn judge(recipe: &Recipe) -> Result<Judged> {
    let folder = frames_of(recipe)?;
    judge_frames(recipe, folder.path())
}

/// The same; where the sphere is not found, the outline is given as the report asks for.
pub(crate) fn judge_with_help(recipe: &Recipe) -> Result<Judged> {
    let folder = frames_of(recipe)?;
    let alone = judge_frames(recipe, folder.path())?;
    let Some(why) = alone.refused else { return Ok(alone) };
    let helped = Recipe { outline_given: true, ..recipe.clone() };
    Ok(Judged { helped: Some(why), ..judge_frames(&helped, folder.path())? })
}

fn frames_of(recipe: &Recipe) -> Result<tempfile::TempDir> {
    let folder = tempfile::tempdir().map_err(|error| plateproof::Error::io(Path::new("temporary folder"), &error))?;
    frames::write(recipe, folder.path())?;
    Ok(folder)
}

fn judge_frames(recipe: &Recipe, folder: &Path) -> Result<Judged> {
    let report = check_shot(&sheet(recipe, folder)?, RunOptions::default()).report;
    let mut judged = Judged {
        scores: Vec::new(),
        calls: Vec::new(),
        refused: refusal(&report),
        helped: None,
        qualities: Vec::new(),
    };
    if judged.refused.is_some() {
        return Ok(judged);
    }
    let perfect = Perfect::of(recipe, frames::reaches_ceiling(recipe, folder));
    judged.qualities = Quality::all_of(recipe, &perfect);
    for finding in &report.findings {
        comparison(&mut judged, recipe, &perfect, finding);
    }
    for sphere in &report.spheres {
        one_sphere(&mut judged.scores, recipe, &perfect, sphere);
    }
    Ok(judged)
}

/// Why nothing was compared: an error, or no sphere that stands out.
fn refusal(report: &Report) -> Option<String> {
    if let Some(error) = &report.error {
        return Some(error.cause.clone());
    }
    report.spheres.is_empty().then(|| report.findings.first().map_or_else(String::new, |f| f.reason.clone()))
}

fn comparison(judged: &mut Judged, recipe: &Recipe, perfect: &Perfect, finding: &Finding) {
    let t = plateproof::sheet::Tolerances::default();
    let mut held = Held { finding, scores: &mut judged.scores };
    let size = match finding.check.name() {
        "highlight-direction" => {
            held.value("highlight-direction", perfect.direction_deg);
            angles(&mut held, perfect);
            (perfect.direction_deg / t.direction.deg).max(perfect.unpaired_share / UNPAIRED_SHARE)
        }
        "key-fill-ratio" => {
            held.value("key-fill-ratio", perfect.key_fill_held_stops());
            held.detail("mirror_key_fill_stops", "", perfect.mirror.key_fill_held_stops);
            perfect.key_fill_stops() / t.key_fill.stops
        }
        "exposure" => {
            let by_median = finding.detail.get("method").is_none_or(|m| m == "median over directions");
            let truth = if by_median { perfect.exposure_stops } else { perfect.illuminance_stops };
            held.value("exposure", truth);
            held.detail("illuminance_stops", "", perfect.illuminance_stops);
            truth / t.exposure.stops
        }
        "colour-balance" => {
            held.magnitude("colour-balance", perfect.largest_channel());
            let [r, g, b] = perfect.channel_stops;
            held.detail("red_green_stops", "overall", r - g);
            held.detail("blue_green_stops", "overall", b - g);
            held.detail("mired_error", "overall", perfect.mired.unwrap_or(f64::NAN));
            let mired = perfect.mired.map_or(0.0, |m| m.abs() / t.colour.mired);
            (perfect.largest_channel().abs() / t.colour.stops).max(mired)
        }
        _ => return,
    };
    // Under clipping the report may not say `match`, however right the CG is.
    let decidable = perfect.clipped_share < 0.10 || finding.check != "key-fill-ratio";
    let name = CHECKS.into_iter().find(|c| finding.check == *c).unwrap_or_default();
    judged.calls.push(Call::new(name, recipe.seed, size.abs(), decidable, finding.verdict));
}

/// A finding's numbers against truth.
struct Held<'a> {
    finding: &'a Finding,
    scores: &'a mut Vec<Score>,
}

impl Held<'_> {
    fn value(&mut self, name: &'static str, truth: f64) {
        if let (Some(value), Some(sd)) = (self.finding.value, self.finding.value_sd) {
            self.scores.push(Score::new(name, value, sd, truth));
        }
    }

    /// For the largest of several channels: which one it is may change with the noise.
    fn magnitude(&mut self, name: &'static str, truth: f64) {
        if let (Some(value), Some(sd)) = (self.finding.value, self.finding.value_sd) {
            self.scores.push(Score::new(name, value.abs(), sd, truth.abs()));
        }
    }

    fn detail(&mut self, key: &'static str, part: &str, truth: f64) {
        let detail = &self.finding.detail;
        let Some(map) = (if part.is_empty() { Some(detail) } else { detail.get(part).and_then(|v| v.as_object()) })
        else {
            return;
        };
        let read = |key: &str| map.get(key).and_then(serde_json::Value::as_f64);
        if map.contains_key(&format!("{key}_bound")) {
            return;
        }
        if let (Some(value), Some(sd)) = (read(key), read(&format!("{key}_sd"))) {
            self.scores.push(Score::new(key, value, sd, truth));
        }
    }
}

/// Azimuth and elevation error, where there is one key whose truth is plain.
fn angles(held: &mut Held<'_>, perfect: &Perfect) {
    if held.finding.detail.contains_key("no_single_key") {
        return;
    }
    let (Some(m), Some(c)) = (perfect.mirror.lamps.first(), perfect.cg.lamps.first()) else { return };
    let ([az_m, el_m], [az_c, el_c]) = (azimuth_elevation_deg(&m.direction), azimuth_elevation_deg(&c.direction));
    held.detail("azimuth_error_deg", "", wrap_deg(az_c - az_m));
    held.detail("elevation_error_deg", "", el_c - el_m);
}

fn one_sphere(scores: &mut Vec<Score>, recipe: &Recipe, perfect: &Perfect, sphere: &SphereReport) {
    outline(scores, recipe, sphere);
    let (truth, mirror) = match sphere.role {
        SphereRole::Mirror => (&perfect.mirror, true),
        SphereRole::Cg => (&perfect.cg, false),
    };
    let exact = !mirror
        || (matches!(recipe.told, Told::SameAsMirror)
            && matches!(recipe.kept, Kept::HalfFloat)
            && recipe.plate_drift_stops.unwrap_or(0.0) == 0.0
            && recipe.hidden.is_none());
    for light in &sphere.lights {
        if let Some(lamp) = same_lamp(truth, light) {
            one_light(scores, lamp, light, exact);
        }
    }
    if let (Some(value), Some(sd), true, None) =
        (sphere.key_fill_stops, sphere.key_fill_stops_sd, exact && !mirror, &sphere.key_fill_stops_bound)
    {
        scores.push(Score::new("cg sphere: key_fill_stops", value, sd, truth.key_fill_stops));
    }
}

fn outline(scores: &mut Vec<Score>, recipe: &Recipe, sphere: &SphereReport) {
    let made = plateproof::demo::render::MirrorSphere::at(
        &recipe.view(),
        recipe.centre_px,
        recipe.radius_px,
        recipe.reflectance,
    );
    let Some(truth) = outline_of_cone(&recipe.view(), &made.cone) else { return };
    let truth = truth.to_array();
    let names: [&'static str; 3] = match sphere.role {
        SphereRole::Mirror => ["mirror outline: centre x", "mirror outline: centre y", "mirror outline: a"],
        SphereRole::Cg => ["cg outline: centre x", "cg outline: centre y", "cg outline: a"],
    };
    for (i, name) in names.into_iter().enumerate() {
        scores.push(Score::new(name, sphere.outline_px[i], sphere.outline_px_sd[i], truth[i]));
    }
}

fn same_lamp<'a>(truth: &'a SideTruth, light: &LightReport) -> Option<&'a LampTruth> {
    let seen = direction_of_deg(light.azimuth_deg, light.elevation_deg);
    let near =
        |l: &&LampTruth| angle_between_rad(&seen, &l.direction).to_degrees() < SAME_LIGHT_DEG.max(0.7 * l.radius_deg);
    truth.lamps.iter().find(near)
}

fn one_light(scores: &mut Vec<Score>, lamp: &LampTruth, light: &LightReport, exact: bool) {
    let [azimuth, elevation] = azimuth_elevation_deg(&lamp.direction);
    let off = wrap_deg(light.azimuth_deg - azimuth);
    scores.push(Score::new("light: azimuth_deg", off, light.azimuth_deg_sd, 0.0));
    scores.push(Score::new("light: elevation_deg", light.elevation_deg, light.elevation_deg_sd, elevation));
    if light.clipped || !exact {
        return;
    }
    if let (Some(value), Some(sd)) = (light.angular_radius_deg, light.angular_radius_deg_sd) {
        scores.push(Score::new("light: angular_radius_deg", value, sd, lamp.radius_deg));
    }
    let ratio = light.illuminance / lamp.illuminance;
    scores.push(Score::new("light: illuminance (relative)", ratio, light.illuminance_sd / lamp.illuminance, 1.0));
    scores.push(Score::new("light: share", light.share, light.share_sd, lamp.share));
    let Some(colour) = cct_duv_from_working_rgb(lamp.rgb) else { return };
    if let (Some(value), Some(sd)) = (light.cct_kelvin, light.cct_kelvin_sd) {
        scores.push(Score::new("light: cct_kelvin", value, sd, colour.cct.0));
    }
    if let (Some(value), Some(sd)) = (light.duv, light.duv_sd) {
        scores.push(Score::new("light: duv", value, sd, colour.duv));
    }
}

/// A verdict in one letter.
pub(crate) fn letter(verdict: Verdict) -> char {
    match verdict {
        Verdict::Match => 'M',
        Verdict::Mismatch => 'X',
        Verdict::Unsure => '?',
        Verdict::NotGiven => '-',
    }
}
