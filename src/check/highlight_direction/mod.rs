//! `highlight-direction`: does the key come from the same side?

mod below_ceiling;

use std::f64::consts::LN_2;

use nalgebra::{Matrix3, Vector3};
use serde_json::{Map, Value, json};

use super::{Check, CheckDoc, blank, put, set_value_and_verdict};
use crate::base::units::{Estimate, Stops, wrap_deg};
use crate::compare::Comparison;
use crate::compare::pairing::{MAX_PAIR_DEG, Pairing, pair_turned};
use crate::compare::shared::median_stops;
use crate::compare::sphere_measurement::SphereMeasurement;
use crate::compare::uncertainty::hidden::Hidden;
use crate::compare::uncertainty::{blended_lights, optics, outline, tone_curve};
use crate::compare::visibility::{is_cut, shows};
use crate::findings::detail::LIGHTS_AMISS;
use crate::findings::numbers::place_words;
use crate::findings::remedy::{Ask, Step, Strength, Turn};
use crate::findings::{Finding, LightSeen, Place, Remedy, Verdict};
use crate::light::lights::{CO_KEY_STOPS, Light, isotropic_cov};
use crate::sheet::Tolerances;
use crate::sphere::{angle_between_rad, azimuth_elevation_deg, azimuth_elevation_sd_rad};

/// An unpaired light that gives at least this share is a mismatch, and a cut one may be the key.
const UNPAIRED_SHARE: f64 = 0.10;

/// A light wider than this hardly stands out once a tone curve has flattened it (seen on made-up shots).
const BROAD_RAD: f64 = 0.26;

/// A light that gives less than this fraction of the CG key's illuminance is not the whole of that key (1.5 stops, as
/// for pairs).
const FAINT_PARTNER: f64 = 0.35;

/// A clipped area with a radius above this, rad, has no usable direction: it covers most of that side of the sphere
/// (common practice, no source).
const WIDEST_CLIPPED_RADIUS_RAD: f64 = 0.7;

/// A light may be hidden where, out to this distance from its edge, at least this fraction of the directions is
/// hidden.
const HIDING_RAD: f64 = 0.3;
const HIDING_PART: f64 = 0.2;

/// A gap of the photographed outline from which on something may stand there, rad, and how much deeper than its chord
/// that may reach, in radii (common practice, no source).
const LEAST_GAP_RAD: f64 = 0.4;
const GAP_DEEPER: f64 = 0.25;

/// What a light lights up close beside itself, or blur carries there, is no sign of anything else, rad.
const BESIDE_LIGHT_RAD: f64 = 0.15;

/// Another pair that may be the keys disagrees with them when its angle is this many standard deviations away.
const RIVAL_SDS: f64 = 2.0;

/// The check.
#[derive(Debug)]
pub struct HighlightDirection;

pub use super::docs::highlight_direction::DOC;

/// Error of one pair of lights.
struct PairError {
    angle_deg: Estimate,
    /// The part of its standard deviation that is there because one of the lights is blended with another.
    blended_deg: f64,
    azimuth_deg: Estimate,
    elevation_deg: Estimate,
}

impl Check for HighlightDirection {
    fn doc(&self) -> &'static CheckDoc {
        &DOC
    }

    fn tolerance(&self, tolerances: &Tolerances) -> f64 {
        tolerances.direction.deg
    }

    fn run(&self, pair: &Comparison) -> Finding {
        let mut finding = blank(&DOC, &pair.mirror.name, pair.tolerances.direction.deg);
        // A light's direction does not depend on the clip level, and its true strength tells which one is the key.
        let cg = &pair.cg;
        let pairing = pair_turned(&pair.mirror, cg, pair.rotation.as_ref());
        let pull_share = pair.common_mode(cg).share();
        list_lights(&mut finding.detail, &pairing, (&pair.mirror, cg), pull_share);
        if let Some((key, there)) = key_turned_away(&pairing, pair, cg) {
            turned_away(&mut finding, pair, key, &there);
            unpaired(&mut finding, &pairing, pair, cg);
            return finding;
        }
        match worst_key(&pairing, &pair.mirror, cg) {
            Some(keys) => key_finding(&mut finding, &pairing, (pair, cg), &keys, pull_share),
            None => no_key(&mut finding, &pair.mirror, cg),
        }
        unpaired(&mut finding, &pairing, pair, cg);
        too_weak(&mut finding, &pairing, pair, cg);
        finding
    }
}

/// Where the photograph is clipped and the CG stays below the clip level, the CG may lack the light: it may show the
/// panel and not the lamp in front of it.
fn too_weak(finding: &mut Finding, pairing: &Pairing, pair: &Comparison, cg: &SphereMeasurement) {
    let lights = pairing.pairs.iter().map(|(m, c)| (&pair.mirror.lights.all[*m], &cg.lights.all[*c]));
    let cut_off: Vec<(&Light, &Light)> = lights.filter(|(light, other)| light.clipped && !other.clipped).collect();
    if finding.verdict != Verdict::Match || cut_off.is_empty() || cg.trust.view_transform {
        return;
    }
    let Some(exposure) = median_stops(pair.shared()) else { return };
    for (light, other) in cut_off {
        let Some(part) = below_ceiling::part_of_ceiling(pair, (light, other), cg, exposure) else { continue };
        finding.verdict = Verdict::Unsure;
        let cut = format!(
            "the photograph is clipped at {}, and the CG reaches only {part:.2} of that level there: a light may be missing",
            place_of(light)
        );
        push(&mut finding.reason, &cut);
        finding.remedy.add(Step::LookForLamp { at: seen(light).at });
    }
}

/// The photographed key and its direction in the CG after the environment is turned, if the CG sphere cannot show
/// that direction.
fn key_turned_away<'a>(
    pairing: &Pairing,
    pair: &'a Comparison,
    cg: &SphereMeasurement,
) -> Option<(&'a Light, Vector3<f64>)> {
    let key = pair.mirror.lights.key().filter(|_| pairing.only_mirror.contains(&0))?;
    let there = pair.rotation.as_ref()?.back(&key.direction);
    is_cut(cg, key, &there).then_some((key, there))
}

/// Whether something in front of the photographed sphere may hide the CG's key: no visible light can be its
/// counterpart.
fn key_may_be_hidden(pairing: &Pairing, pair: &Comparison, cg: &SphereMeasurement) -> bool {
    let Some(key) = cg.lights.key() else { return false };
    let partner = pairing.pairs.iter().find(|p| p.1 == 0).map(|p| &pair.mirror.lights.all[p.0]);
    if partner.is_some_and(|p| p.clipped || p.illuminance.value > FAINT_PARTNER * key.illuminance.value) {
        return false;
    }
    let place = pair.rotation.as_ref().map_or(key.direction, |r| r.cg_to_mirror * key.direction);
    may_be_hidden(pair.hidden(), pair, key, &place)
}

/// Why two keys that have no partner each need not be one light in two places: one of them may simply not be shown by the
/// other sphere.
fn excuse_of_key(pairing: &Pairing, pair: &Comparison, cg: &SphereMeasurement) -> Option<(&'static str, Option<Ask>)> {
    if !pairing.only_mirror.contains(&0) || !pairing.only_cg.contains(&0) {
        return None;
    }
    let hidden = pair.hidden();
    let excuse = Excuse::of(pair, cg, OnlyOn::Cg, 0, hidden);
    Some(match excuse.or_else(|| Excuse::of(pair, cg, OnlyOn::Mirror, 0, hidden))? {
        Excuse::Hidden => (
            "the CG's key is where something may hide the photographed sphere, so the photographed key is not known",
            Some(Ask::UncoveredSphere),
        ),
        Excuse::Blurred => ("the photographed sphere blurs so much that it may not show the key", None),
        Excuse::Flattened => ("a camera's tone curve may flatten so broad a key", None),
        Excuse::Drowned => ("the photograph is clipped where its key may be", Some(Ask::ShorterExposure)),
        Excuse::Unseen => ("one sphere shows little of the direction of the other's key", None),
        Excuse::Faint => ("no light is strong enough to be called the key", None),
    })
}

/// The angle by which the turn moves the key; nothing in the CG's picture can be held against it.
fn turned_away(finding: &mut Finding, pair: &Comparison, key: &Light, there: &Vector3<f64>) {
    let turn_sd_deg = pair.rotation.as_ref().map_or(0.0, |r| r.angle_deg.sd);
    let own = (outline::direction_cov(&pair.mirror, key).trace() / 2.0).max(0.0).sqrt().to_degrees();
    let angle = Estimate::new(angle_between_rad(&key.direction, there).to_degrees(), turn_sd_deg.hypot(own));
    let ([az_a, el_a], [az_b, el_b]) = (azimuth_elevation_deg(&key.direction), azimuth_elevation_deg(there));
    put(&mut finding.detail, "azimuth_error_deg", Estimate::new(wrap_deg(az_b - az_a), angle.sd));
    put(&mut finding.detail, "elevation_error_deg", Estimate::new(el_b - el_a, angle.sd));
    finding.detail.insert("key_unseen_in_cg".to_owned(), true.into());
    set_value_and_verdict(finding, angle, "the turn of the environment that brings the key there is uncertain");
    push(
        &mut finding.reason,
        "the CG's key is where its sphere shows nothing: its place follows from the turn of the whole environment",
    );
    if finding.verdict == Verdict::Mismatch {
        turn_key(finding, &key.direction, there);
    }
}

/// The two lights that are held against each other as the keys.
struct Keys<'a> {
    mirror: &'a Light,
    cg: &'a Light,
    /// The pairing takes them for one light; else they are each side's own key.
    paired: bool,
}

/// The keys to hold against each other. Where no single key stands out on a side, the paired co-keys with the largest
/// angle. A light that is clipped, or of which a sphere shows only a part, may be the key whatever it seems to give:
/// where the other side's key is its partner, they are held against each other.
fn worst_key<'a>(pairing: &Pairing, mirror: &'a SphereMeasurement, cg: &'a SphereMeasurement) -> Option<Keys<'a>> {
    let (mirror_key, cg_key) = (mirror.lights.key()?, cg.lights.key()?);
    let pair = |(m, c): (usize, usize)| Keys { mirror: &mirror.lights.all[m], cg: &cg.lights.all[c], paired: true };
    let may_be_key = |side: &SphereMeasurement, light: &Light| light.clipped || is_cut(side, light, &light.direction);
    let all = || pairing.pairs.iter().chain(&pairing.carried);
    let with_cg_key = all().find(|p| p.1 == 0);
    if let Some(p) = with_cg_key.filter(|p| may_be_key(mirror, &mirror.lights.all[p.0])) {
        return Some(pair(*p));
    }
    let with_mirror_key = all().find(|p| p.0 == 0);
    if let Some(p) = with_mirror_key.filter(|p| may_be_key(cg, &cg.lights.all[p.1])) {
        return Some(pair(*p));
    }
    let own = Keys { mirror: mirror_key, cg: cg_key, paired: all().any(|p| *p == (0, 0)) };
    let mirror_keys = mirror.lights.co_keys().len();
    let cg_keys = cg.lights.co_keys().len();
    if mirror_keys < 2 && cg_keys < 2 {
        return Some(own);
    }
    let angle =
        |p: &(usize, usize)| angle_between_rad(&mirror.lights.all[p.0].direction, &cg.lights.all[p.1].direction);
    let co_keys = all().filter(|p| p.0 < mirror_keys || p.1 < cg_keys);
    let worst = co_keys.max_by(|a, b| angle(a).total_cmp(&angle(b)));
    Some(worst.map_or(own, |p| pair(*p)))
}

fn key_finding(
    finding: &mut Finding,
    pairing: &Pairing,
    (pair, cg): (&Comparison, &SphereMeasurement),
    keys: &Keys<'_>,
    pull_share: f64,
) {
    let mirror = &pair.mirror;
    let error = pair_error(mirror, keys.mirror, cg, keys.cg, pull_share);
    let rival_deg = rival_deg(&error, pairing, (mirror, cg), pull_share, finding.tolerance);
    let clipped = mirror.lights.all.iter().filter(|l| l.clipped).count();
    let fills_the_sphere = keys.mirror.clipped && keys.mirror.seen_radius_rad() > WIDEST_CLIPPED_RADIUS_RAD;
    let key_unknown = (clipped > 1 || fills_the_sphere) && !keys.paired;
    let hidden = !keys.paired && key_may_be_hidden(pairing, pair, cg);
    let excuse = if keys.paired { None } else { excuse_of_key(pairing, pair, cg) };
    let (uncertainty, way_out) = if hidden {
        (
            "the CG's key is where something may hide the photographed sphere, so the photographed key is not known",
            Some(Ask::UncoveredSphere),
        )
    } else if key_unknown && fills_the_sphere {
        (
            "so much of the photographed sphere is clipped that the place of its key is not known",
            Some(Ask::ShorterExposure),
        )
    } else if key_unknown {
        ("several lights in the photograph are clipped, and any of them may be the key", Some(Ask::ShorterExposure))
    } else if let Some((excuse, ask)) = excuse {
        (excuse, ask)
    } else if rival_deg > 0.0 {
        ("another light, clipped or only partly visible, may be the key, and its angle is different", None)
    } else if 2.0 * error.blended_deg.powi(2) > error.angle_deg.sd.powi(2) {
        (
            "one of the two lights is much larger than the other: clipped, or merged with what is beside it",
            Some(Ask::ShorterExposureOfSeparateLight),
        )
    } else if mirror.view.is_assumed() || cg.view.is_assumed() {
        ("the field of view is not known; give focal length and sensor", Some(Ask::ViewOfBoth))
    } else {
        ("the spheres' outlines or highlights are not sharp enough", None)
    };
    if key_unknown || hidden || excuse.is_some() {
        // Which light is the key is open, so that the angle between two of them says nothing of it.
        finding.verdict = Verdict::Unsure;
        uncertainty.clone_into(&mut finding.reason);
    } else {
        put(&mut finding.detail, "azimuth_error_deg", error.azimuth_deg);
        put(&mut finding.detail, "elevation_error_deg", error.elevation_deg);
        set_value_and_verdict(finding, error.angle_deg.widened(rival_deg), uncertainty);
    }
    match finding.verdict {
        Verdict::Mismatch => key_remedy(finding, pairing, (mirror, cg), keys),
        Verdict::Unsure => finding.remedy = way_out.map(Remedy::from).unwrap_or_default(),
        _ => {}
    }
    if mirror.lights.no_single_key() || cg.lights.no_single_key() {
        finding.detail.insert("no_single_key".to_owned(), true.into());
        let note = format!(
            "no single key: several lights are within {CO_KEY_STOPS:.2} stops of each other; the worst pair is given"
        );
        finding.reason = [finding.reason.as_str(), note.as_str()]
            .into_iter()
            .filter(|s| !s.is_empty())
            .collect::<Vec<_>>()
            .join("; ");
    }
}

/// What to do about a key that is elsewhere. If a key has no counterpart while the other side's key has one, nothing
/// was turned: turning the other key would move a light that is right.
fn key_remedy(
    finding: &mut Finding,
    pairing: &Pairing,
    (mirror, cg): (&SphereMeasurement, &SphereMeasurement),
    keys: &Keys<'_>,
) {
    let (lost, new) = (pairing.only_mirror.contains(&0), pairing.only_cg.contains(&0));
    if keys.paired || (lost && new) {
        turn_key(finding, &keys.mirror.direction, &keys.cg.direction);
        return;
    }
    let step = match (lost, new) {
        (true, _) => Step::AddKey { light: seen(keys.mirror) },
        (_, true) => Step::RemoveKey { light: seen(keys.cg) },
        _ => Step::KeyGains(gains_of_keys(pairing, (mirror, cg))),
    };
    finding.remedy = step.into();
    finding.detail.insert(LIGHTS_AMISS.to_owned(), true.into());
}

fn place_of(light: &Light) -> String {
    place_words(azimuth_elevation_deg(&light.direction))
}

/// The places and gains of the CG's lights that are one of the keys or paired with one.
fn gains_of_keys(pairing: &Pairing, (mirror, cg): (&SphereMeasurement, &SphereMeasurement)) -> Vec<(Place, f64)> {
    let of_keys = pairing.pairs.iter().filter(|p| p.0 == 0 || p.1 == 0);
    let gain = of_keys.filter_map(|(m, c)| {
        let (ours, theirs) = (&mirror.lights.all[*m], &cg.lights.all[*c]);
        let stops = Stops::from_ratio(ours.illuminance.value, theirs.illuminance.value)?;
        Some((seen(theirs).at, stops.ratio()))
    });
    gain.collect()
}

fn seen(light: &Light) -> LightSeen {
    LightSeen::new(azimuth_elevation_deg(&light.direction).into(), light.share.value)
}

/// A light that a sphere shows only in part may be the key, however weak it seems, and so may one that the photograph cuts
/// off; the latter counts where the keys agree and its angle is the larger. Largest difference between the angle of such a
/// pair and that of the keys; 0 where they agree within their uncertainty.
fn rival_deg(
    keys: &PairError,
    pairing: &Pairing,
    (mirror, cg): (&SphereMeasurement, &SphereMeasurement),
    pull_share: f64,
    tolerance_deg: f64,
) -> f64 {
    // What is off beyond the tolerance already is no better for another light that is off further.
    let keys_fit = keys.angle_deg.value <= tolerance_deg;
    let matters = |l: &Light| l.share.value + 2.0 * l.share.sd >= UNPAIRED_SHARE;
    let pairs = pairing.pairs.iter().map(|(m, c)| (&mirror.lights.all[*m], &cg.lights.all[*c]));
    let apart = pairs.filter(|(m, c)| matters(m) || matters(c)).filter_map(|(m, c)| {
        let is_part = is_cut(mirror, m, &m.direction) || is_cut(cg, c, &c.direction);
        let rival = pair_error(mirror, m, cg, c, pull_share).angle_deg;
        let further = rival.value - keys.angle_deg.value;
        let apart = if is_part { further.abs() } else { further };
        let counts = (is_part || m.clipped && keys_fit) && apart > RIVAL_SDS * rival.sd.hypot(keys.angle_deg.sd);
        counts.then_some(apart)
    });
    apart.fold(0.0, f64::max)
}

/// Neither side, or only one, shows a light: compare where most light comes from, coarsely.
fn no_key(finding: &mut Finding, mirror: &SphereMeasurement, cg: &SphereMeasurement) {
    let (Some(a), Some(b)) = (net_flow(mirror), net_flow(cg)) else {
        finding.reason = "no light stands out on the photographed sphere or on the CG sphere".to_owned();
        finding.remedy = Ask::LookAtSoftLight.into();
        return;
    };
    let angle = angle_between_rad(&a.0, &b.0).to_degrees();
    let estimate = Estimate::new(angle, 3.0 / a.1.min(b.1).max(0.02));
    if mirror.clipped_share() >= UNPAIRED_SHARE {
        // The clipped light may come from anywhere in the clipped area.
        let uncertainty = "no light stands out from the clipped area, so the main direction of light is not known";
        set_value_and_verdict(finding, estimate.widened(angle), uncertainty);
        if finding.verdict == Verdict::Unsure {
            finding.remedy = Ask::ShorterExposure.into();
        }
    } else {
        set_value_and_verdict(
            finding,
            estimate,
            "no light stands out, so only the overall direction of light can be compared",
        );
    }
    finding.detail.insert("compared".to_owned(), "flow of all light".into());
    if finding.verdict == Verdict::Mismatch {
        turn_key(finding, &a.0, &b.0);
    }
}

/// Mean direction of all light, and its strength (1 = all from one side).
fn net_flow(side: &SphereMeasurement) -> Option<(Vector3<f64>, f64)> {
    let sum: Vector3<f64> = side.sources.iter().map(|s| s.direction * s.luminance).sum();
    let total: f64 = side.sources.iter().map(|s| s.luminance).sum();
    (total > 0.0).then(|| sum.try_normalize(1e-15).map(|d| (d, sum.norm() / total))).flatten()
}

/// Angle, azimuth and elevation of CG minus mirror with their uncertainties. `pull_share` of what uneven surroundings
/// do to each does not cancel.
fn pair_error(
    mirror: &SphereMeasurement,
    mirror_light: &Light,
    cg: &SphereMeasurement,
    cg_light: &Light,
    pull_share: f64,
) -> PairError {
    let (a, b) = (&mirror_light.direction, &cg_light.direction);
    let fov = optics::difference_move((mirror, mirror_light), (cg, cg_light));
    let pull_rad = pull_share * mirror_light.pull_sd_rad.hypot(cg_light.pull_sd_rad);
    let blended_rad = blended_lights::sd_rad((mirror_light, cg_light), cg);
    let mirror_cov = outline::direction_cov_beside_pull(mirror, mirror_light);
    let cg_cov = outline::direction_cov_beside_pull(cg, cg_light) + isotropic_cov(b, pull_rad);
    let cg_cov = cg_cov + isotropic_cov(b, blended_rad) + fov * fov.transpose();
    let cov = mirror_cov + cg_cov;
    let angle_rad = angle_between_rad(a, b);
    let rms = (cov.trace() / 2.0).sqrt();
    let along = sd_along_rad((a, &mirror_cov), (b, &cg_cov)).unwrap_or(rms);
    // An angle cannot be negative: near zero its error is that of the larger component, not of the one it happens to
    // point along.
    let sd = if angle_rad < 3.0 * rms { along.max(rms) } else { along };
    let [az_a, el_a] = azimuth_elevation_deg(a);
    let [az_b, el_b] = azimuth_elevation_deg(b);
    let [azimuth_sd, elevation_sd] = azimuth_elevation_sd_rad(b, &cov);
    PairError {
        angle_deg: Estimate::new(angle_rad.to_degrees(), sd.to_degrees()),
        blended_deg: blended_rad.to_degrees(),
        azimuth_deg: Estimate::new(wrap_deg(az_b - az_a), azimuth_sd.to_degrees()),
        elevation_deg: Estimate::new(el_b - el_a, elevation_sd.to_degrees()),
    }
}

/// One sd of the angle between two directions, along the great circle through them; `None` where there is no such one.
fn sd_along_rad((a, a_cov): (&Vector3<f64>, &Matrix3<f64>), (b, b_cov): (&Vector3<f64>, &Matrix3<f64>)) -> Option<f64> {
    let from_a = (b - a * a.dot(b)).try_normalize(1e-9)?;
    let into_b = (b * a.dot(b) - a).try_normalize(1e-9)?;
    let variance = from_a.dot(&(a_cov * from_a)) + into_b.dot(&(b_cov * into_b));
    Some(variance.max(0.0).sqrt())
}

fn turn_key(finding: &mut Finding, mirror: &Vector3<f64>, cg: &Vector3<f64>) {
    finding.remedy = Step::TurnKey(Turn { from: *cg, to: *mirror }).into();
}

fn list_lights(
    detail: &mut Map<String, Value>,
    pairing: &Pairing,
    (mirror, cg): (&SphereMeasurement, &SphereMeasurement),
    pull_share: f64,
) {
    let pairs: Vec<Value> = pairing.pairs.iter().map(|(m, c)| pair_entry(mirror, *m, cg, *c, pull_share)).collect();
    detail.insert("lights".to_owned(), pairs.into());
    detail.insert(
        "missing_in_cg".to_owned(),
        pairing.only_mirror.iter().map(|i| light_entry(&mirror.lights.all[*i])).collect(),
    );
    detail.insert("extra_in_cg".to_owned(), pairing.only_cg.iter().map(|i| light_entry(&cg.lights.all[*i])).collect());
}

fn pair_entry(mirror: &SphereMeasurement, m: usize, cg: &SphereMeasurement, c: usize, pull_share: f64) -> Value {
    let (a, b) = (&mirror.lights.all[m], &cg.lights.all[c]);
    let error = pair_error(mirror, a, cg, b, pull_share);
    let mut entry = Map::new();
    entry.insert("mirror_light".to_owned(), (m + 1).into());
    entry.insert("cg_light".to_owned(), (c + 1).into());
    put(&mut entry, "angle_deg", error.angle_deg);
    put(&mut entry, "azimuth_error_deg", error.azimuth_deg);
    put(&mut entry, "elevation_error_deg", error.elevation_deg);
    if let Some(stops) = Stops::from_ratio(b.illuminance.value, a.illuminance.value) {
        let relative = |l: &Light| l.illuminance.sd / l.illuminance.value.max(1e-30);
        let sd = relative(a).hypot(relative(b)) / LN_2;
        put(&mut entry, "illuminance_error_stops", Estimate::new(stops.0, sd));
    }
    Value::Object(entry)
}

fn light_entry(light: &Light) -> Value {
    let [azimuth, elevation] = azimuth_elevation_deg(&light.direction);
    json!({ "azimuth_deg": azimuth, "elevation_deg": elevation, "direction_sd_deg": light.picture_sd_rad.to_degrees(),
            "share": light.share.value, "share_sd": light.share.sd })
}

/// Which side shows a light that the other does not.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum OnlyOn {
    Mirror,
    Cg,
}

/// Why a light that only one side shows need not be a fault of the CG.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Excuse {
    /// Something may stand in front of the photographed sphere there.
    Hidden,
    /// The photographed sphere blurs it away.
    Blurred,
    /// A tone curve flattens it.
    Flattened,
    /// The photograph is clipped all over, and shows no light at all.
    Drowned,
    /// The other sphere shows little of that direction.
    Unseen,
    /// It may be too weak to matter.
    Faint,
}

impl Excuse {
    /// For light `index` of its side; `None` where the other side should show it and does not.
    fn of(pair: &Comparison, cg: &SphereMeasurement, only_on: OnlyOn, index: usize, hidden: &Hidden) -> Option<Self> {
        let mirror = &pair.mirror;
        let (side, other_side) = match only_on {
            OnlyOn::Mirror => (mirror, cg),
            OnlyOn::Cg => (cg, mirror),
        };
        let light = &side.lights.all[index];
        let there = place_on_other_side(pair, only_on, light);
        let extra = only_on == OnlyOn::Cg;
        let drowned = || mirror.lights.all.is_empty() && mirror.clipped_share() >= UNPAIRED_SHARE;
        if extra && may_be_hidden(hidden, pair, light, &there) {
            Some(Self::Hidden)
        } else if extra && pair.surface_blur.as_ref().is_some_and(|blur| blur.may_hide(light)) {
            Some(Self::Blurred)
        } else if other_side.trust.tone_curve && light.seen_radius_rad() > BROAD_RAD {
            Some(Self::Flattened)
        } else if extra && drowned() {
            Some(Self::Drowned)
        } else if is_cut(other_side, light, &there) {
            Some(Self::Unseen)
        } else {
            let share_sd = light.share.sd.hypot(share_curve_sd(side, light));
            (light.share.value - 2.0 * share_sd < UNPAIRED_SHARE).then_some(Self::Faint)
        }
    }

    fn words(self) -> &'static str {
        match self {
            Self::Hidden => "something may hide it on the photographed sphere",
            Self::Blurred => "the photographed sphere blurs by more than the light's width and may not show it",
            Self::Flattened => "a camera's tone curve may flatten so broad a light",
            Self::Drowned => "the photograph is clipped over so large an area that it shows no single light",
            Self::Unseen => {
                "the other sphere shows little of that direction: it is behind the sphere or beyond its rim"
            }
            Self::Faint => "it may be too weak to matter",
        }
    }
}

/// The direction in which the other side should show a light.
fn place_on_other_side(pair: &Comparison, only_on: OnlyOn, light: &Light) -> Vector3<f64> {
    match (&pair.rotation, only_on) {
        (None, _) => light.direction,
        (Some(rotation), OnlyOn::Mirror) => rotation.back(&light.direction),
        (Some(rotation), OnlyOn::Cg) => rotation.cg_to_mirror * light.direction,
    }
}

/// Lights without a partner that matter are a mismatch of their own.
fn unpaired(finding: &mut Finding, pairing: &Pairing, pair: &Comparison, cg: &SphereMeasurement) {
    let mirror = &pair.mirror;
    let of = |only_on: OnlyOn| match only_on {
        OnlyOn::Mirror => (mirror, cg, &pairing.only_mirror),
        OnlyOn::Cg => (cg, mirror, &pairing.only_cg),
    };
    let hidden = pair.hidden();
    let key_mended = finding.verdict == Verdict::Mismatch;
    for only_on in [OnlyOn::Mirror, OnlyOn::Cg] {
        let (side, other, indices) = of(only_on);
        for index in indices.iter().copied() {
            let light = &side.lights.all[index];
            if shows(other, (side, light), &place_on_other_side(pair, only_on, light), None) {
                continue;
            }
            let share_sd = light.share.sd.hypot(share_curve_sd(side, light));
            // What is clipped gives at least its share, and nobody knows how much more.
            if light.share.value + 2.0 * share_sd < UNPAIRED_SHARE && !light.clipped {
                continue;
            }
            let excuse = Excuse::of(pair, cg, only_on, index, hidden);
            if excuse.is_none() {
                finding.verdict = Verdict::Mismatch;
                // The keys have been reported already.
                if !(key_mended && index == 0) {
                    finding.remedy.add(match only_on {
                        OnlyOn::Mirror => Step::AddLight { light: seen(light), strength: strength(mirror, index) },
                        OnlyOn::Cg => Step::RemoveLight { light: seen(light) },
                    });
                    finding.detail.insert(LIGHTS_AMISS.to_owned(), true.into());
                }
            } else if finding.verdict == Verdict::Match {
                finding.verdict = Verdict::Unsure;
            }
            let what = match only_on {
                OnlyOn::Mirror => "missing in the CG",
                OnlyOn::Cg => "extra in the CG",
            };
            let (place, share) = (place_of(light), 100.0 * light.share.value);
            push(
                &mut finding.reason,
                &format!("a light is {what}: {place}, {share:.0} % of what a surface facing it receives"),
            );
            if let Some(excuse) = excuse.filter(|excuse| *excuse != Excuse::Faint) {
                push(&mut finding.reason, excuse.words());
            }
        }
    }
    if !pairing.pairs.is_empty() || finding.value.is_some() {
        finding.detail.insert("pairs_over_deg_count_as_unpaired".to_owned(), MAX_PAIR_DEG.into());
    }
}

/// How strong and of which colour a photographed light is: held against the photographed key, unless it is that.
fn strength(mirror: &SphereMeasurement, index: usize) -> Strength {
    let (light, key) = (&mirror.lights.all[index], &mirror.lights.all[0]);
    Strength {
        times_key: (index > 0 && !key.clipped).then(|| light.illuminance.value / key.illuminance.value),
        at_least: light.clipped,
        kelvin: light.cct.filter(|_| !light.clipped).map(|colour| colour.cct.0),
    }
}

/// What an unknown tone curve does to a light's share of what a surface facing it receives.
fn share_curve_sd(side: &SphereMeasurement, light: &Light) -> f64 {
    let share = light.share.value.clamp(1e-6, 1.0 - 1e-6);
    // A uniform disc of radius ρ gives π L sin² ρ, everything else about π times its mean luminance.
    let over_rest = share / (1.0 - share) / light.reach_rad.sin().powi(2).max(1e-9);
    let stops = tone_curve::contrast_sd_stops(side.trust, over_rest.log2());
    share * (1.0 - share) * (LN_2 * stops).min(1.0)
}

/// Something stands where the photographed sphere would show the light, or beside it.
fn may_be_hidden(hidden: &Hidden, pair: &Comparison, light: &Light, direction: &Vector3<f64>) -> bool {
    let fit = &pair.mirror.fit;
    let in_gap =
        |point| fit.gap.is_some_and(|g| g.length_rad > LEAST_GAP_RAD && g.may_reach(&fit.outline, point, GAP_DEEPER));
    if pair.mirror.geometry.locate(direction).is_some_and(in_gap) {
        return true;
    }
    hidden.part_about(direction, light.reach_rad + HIDING_RAD) > HIDING_PART
        || hidden.shows_something_else(direction, light.reach_rad + BESIDE_LIGHT_RAD)
}

fn push(text: &mut String, more: &str) {
    if !text.is_empty() {
        text.push_str("; ");
    }
    text.push_str(more);
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two independent errors of the same size each way add up to √2 of it, however far apart the directions are.
    #[test]
    fn the_angle_is_as_unsure_for_any_angle() {
        for degrees in [1.0_f64, 30.0, 90.0, 150.0, 178.0] {
            let (sin, cos) = degrees.to_radians().sin_cos();
            let (a, b) = (Vector3::z(), Vector3::new(sin, 0.0, cos));
            let sd = sd_along_rad((&a, &isotropic_cov(&a, 0.02)), (&b, &isotropic_cov(&b, 0.02))).unwrap();
            approx::assert_relative_eq!(sd, 0.02 * 2.0_f64.sqrt(), max_relative = 1e-9);
        }
        assert!(sd_along_rad((&Vector3::z(), &Matrix3::zeros()), (&Vector3::z(), &Matrix3::zeros())).is_none());
    }
}
