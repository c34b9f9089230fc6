//! `key-fill-ratio`: is the contrast of the light the same?

mod gains;

pub(crate) use gains::is_sane_gain;

use nalgebra::Vector3;

use super::{Check, CheckDoc, VARIES, blank, combined, exposure, main_uncertainty, put, set_value_and_verdict};
use crate::base::units::{Estimate, Stops};
use crate::compare::Comparison;
use crate::compare::sphere_measurement::SphereMeasurement;
use crate::compare::uncertainty::{blind_cone, outline, rim, surroundings, tone_curve};
use crate::findings::remedy::{Ask, ContrastCure, Step, Waits};
use crate::findings::{Finding, Verdict};
use crate::light::radiance::{Extremes, PatchLight, Source, extremes, patch_light};
use crate::sheet::Tolerances;

/// Beyond this share of clipped light in the brightest patch nothing can be called a match.
pub(crate) const MAX_CLIPPED_SHARE: f64 = 0.10;

/// Error that remains on clean input on each side: the grid of directions and glare, and the effect of one pixel at
/// the rim, to be divided by the sphere's radius in px (measured on made-up shots).
const FLOOR_SD_STOPS: f64 = 0.0082;
const RIM_SD_STOPS_PX: f64 = 0.47;

/// The check.
#[derive(Debug)]
pub struct KeyFillRatio;

pub use super::docs::key_fill_ratio::DOC;

impl Check for KeyFillRatio {
    fn doc(&self) -> &'static CheckDoc {
        &DOC
    }

    fn tolerance(&self, tolerances: &Tolerances) -> f64 {
        tolerances.key_fill.stops
    }

    fn run(&self, pair: &Comparison) -> Finding {
        let mut finding = blank(&DOC, &pair.mirror.name, pair.tolerances.key_fill.stops);
        let cg = pair.cg_on_equal_terms();
        let Some(value) = difference_stops(&pair.mirror, cg) else {
            finding.reason = "a patch on one of the spheres receives no light at all, so there is no ratio".to_owned();
            finding.remedy = Ask::FullEnvironment.into();
            return finding;
        };
        let uncertainties = uncertainties(pair, value);
        set_value_and_verdict(
            &mut finding,
            Estimate::new(value, combined(&uncertainties)),
            main_uncertainty(&uncertainties),
        );
        same_patches(&mut finding, pair, cg);
        clipped(&mut finding, pair);
        flattened(&mut finding, pair);
        clipped_cg(&mut finding, pair);
        remedy(&mut finding, value, pair);
        finding
    }
}

/// log2 of largest over smallest patch illuminance of one side.
pub(crate) fn ratio_stops(side: &SphereMeasurement) -> Option<f64> {
    Stops::from_ratio(side.extremes?.bright.luminance, side.extremes?.dark.luminance).map(|s| s.0)
}

/// CG minus mirror.
pub(crate) fn difference_stops(mirror: &SphereMeasurement, cg: &SphereMeasurement) -> Option<f64> {
    Some(ratio_stops(cg)? - ratio_stops(mirror)?)
}

/// Uncertainty of one side's ratio, stops.
pub(crate) fn ratio_sd_stops(side: &SphereMeasurement) -> f64 {
    let Some(e) = side.extremes else { return 0.0 };
    let guess = blind_cone::patch_sd_stops(&e.dark).hypot(blind_cone::patch_sd_stops(&e.bright));
    guess.hypot(beside_filled_sd_stops(side))
}

/// The same without what is filled in.
fn beside_filled_sd_stops(side: &SphereMeasurement) -> f64 {
    let curve = tone_curve::contrast_sd_stops(side.trust, ratio_stops(side).unwrap_or(0.0));
    let curve = curve.hypot(toe_sd_stops(side));
    let rim = RIM_SD_STOPS_PX / side.fit.outline.mean_radius().max(1.0);
    FLOOR_SD_STOPS.hypot(rim).hypot(curve).hypot(key_sd_stops(side)).hypot(outline_sd_stops(side))
}

/// The darkest patch of a camera file lies in the toe of its curve where the surroundings do.
fn toe_sd_stops(side: &SphereMeasurement) -> f64 {
    tone_curve::toe_sd_stops(side.trust, || exposure::USUAL_REFLECTANCE * exposure::usual_luminance(side))
}

/// Uncertainty from the position of the outline. The patches stay where they are: at an extreme a small move changes
/// nothing.
fn outline_sd_stops(side: &SphereMeasurement) -> f64 {
    let Some(e) = side.extremes else { return 0.0 };
    let at = |sources: &[Source], normal: &Vector3<f64>| patch_light(sources, normal).luminance;
    let stops = |sources: &[Source]| Stops::from_ratio(at(sources, &e.bright_normal), at(sources, &e.dark_normal));
    outline::light_sd(side, |sources| stops(sources).map(|s| s.0))
}

/// What filled-in directions do to the difference: they are filled in alike on both sides.
fn filled_sd_stops(pair: &Comparison, sides: [&SphereMeasurement; 2]) -> f64 {
    let [Some(a), Some(b)] = sides.map(|side| side.extremes) else { return 0.0 };
    let part = |a: &PatchLight, b: &PatchLight| blind_cone::filled_part(a).max(blind_cone::filled_part(b));
    let sd = pair.common_mode(sides[1]).filled_sd_stops(blind_cone::FILL_SD_STOPS);
    sd * part(&a.dark, &b.dark).hypot(part(&a.bright, &b.bright))
}

/// What the key's own uncertainty does to the brightest patch.
fn key_sd_stops(side: &SphereMeasurement) -> f64 {
    let Some(key) = side.lights.key() else { return 0.0 };
    key.share.value * key.flux_sd / key.illuminance.value.max(1e-30) / std::f64::consts::LN_2
}

fn uncertainties(pair: &Comparison, value: f64) -> Vec<(f64, &'static str)> {
    let curve = pair.mirror.trust.tone_curve || pair.cg.trust.view_transform;
    let sides = [&pair.mirror, &pair.cg];
    let beside = sides.map(beside_filled_sd_stops);
    let own = filled_sd_stops(pair, sides).hypot(beside[0]).hypot(beside[1]);
    let why = if curve {
        "a camera file in a display encoding has an unknown tone curve; use a linear frame developed from raw, or a bracket"
    } else {
        "part of the light had to be estimated, because the sphere cannot show it"
    };
    let view = if pair.cg.trust.view_transform { 0.8 } else { 0.0 };
    vec![
        (own, why),
        (scatter_sd_stops(pair), VARIES),
        (
            pair.limiting_sd_stops(ratio_stops),
            "the photograph clips a light only a few pixels wide, so blur decides how much is lost",
        ),
        (veil_sd_stops(pair), "light of the lamps may lie over the surroundings as a veil"),
        (
            hidden_sd_stops(pair),
            "part of the photographed sphere is much darker or brighter than the CG's: something hides it, or the CG is wrong there",
        ),
        (rim_sd_stops(pair), "a light is on the rim of the photographed sphere, where most of it may be lost"),
        (
            view,
            "the CG picture seems to have gone through a view transform (a display encoding, or values cut off at display white); render scene-linear OpenEXR",
        ),
        (pair.surface_blur_sd(difference_stops), "the mirror sphere blurs the light"),
        (pair.fov_sd(value, difference_stops), "the field of view is not known; give focal length and sensor"),
    ]
}

/// How far the difference hangs on single parts of the surroundings; the patches stay where they are.
fn scatter_sd_stops(pair: &Comparison) -> f64 {
    let cg = pair.cg_on_equal_terms();
    let [Some(ours), Some(theirs)] = [pair.mirror.extremes, cg.extremes] else { return 0.0 };
    let on = |e: &Extremes, d: &Vector3<f64>| [e.bright_normal, e.dark_normal].map(|n| n.dot(d).max(0.0));
    let ratio = |[bright, dark]: [f64; 2]| Stops::from_ratio(bright, dark).map(|s| s.0);
    let number = |[mirror, cg]: [[f64; 2]; 2]| Some(ratio(cg)? - ratio(mirror)?);
    surroundings::sd(pair, cg, [&|d| on(&ours, d), &|d| on(&theirs, d)], number)
}

/// Light that lens and surface scatter from the lamps brightens the darkest patch most.
fn veil_sd_stops(pair: &Comparison) -> f64 {
    exposure::veil_sd(pair)
}

/// Only part of what hides the sphere is recognised: all of it moves the ratio by about this factor more (measured on
/// made-up shots).
const HIDDEN_FACTOR: f64 = 1.5;

/// How far the photographed ratio would move if the directions that may be hidden held the CG's light.
fn hidden_sd_stops(pair: &Comparison) -> f64 {
    let hidden = pair.hidden();
    if hidden.is_empty() {
        return 0.0;
    }
    HIDDEN_FACTOR * moved_stops(&pair.mirror, &hidden.sources(&pair.mirror))
}

/// How far the photographed ratio would move if its lights on the rim were as strong as the CG's.
fn rim_sd_stops(pair: &Comparison) -> f64 {
    rim::restored(&pair.mirror, &pair.cg).map_or(0.0, |sources| moved_stops(&pair.mirror, &sources))
}

/// How far a side's ratio would move if its light were these sources.
fn moved_stops(side: &SphereMeasurement, sources: &[Source]) -> f64 {
    let moved = extremes(sources, &side.geometry.towards_camera());
    let stops = moved.and_then(|e| Stops::from_ratio(e.bright.luminance, e.dark.luminance));
    stops.zip(ratio_stops(side)).map_or(0.0, |(moved, seen)| (moved.0 - seen).abs())
}

/// Both ratios at the mirror's two normals: tells contrast from direction.
fn same_patches(finding: &mut Finding, pair: &Comparison, cg: &SphereMeasurement) {
    let Some(extremes) = pair.mirror.extremes else { return };
    let at = |side: &SphereMeasurement, normal: &Vector3<f64>| patch_light(&side.sources, normal).luminance;
    let (bright, dark) = (&extremes.bright_normal, &extremes.dark_normal);
    let Some(cg_stops) = Stops::from_ratio(at(cg, bright), at(cg, dark)) else { return };
    let Some(mirror_stops) = Stops::from_ratio(at(&pair.mirror, bright), at(&pair.mirror, dark)) else { return };
    let sd = finding.value_sd.unwrap_or(0.0);
    put(&mut finding.detail, "same_patches_stops", Estimate::new((cg_stops - mirror_stops).0, sd));
    if let Some(stops) = ratio_stops(&pair.mirror) {
        let sd = ratio_sd_stops(&pair.mirror).hypot(pair.limiting_sd_stops(ratio_stops)).hypot(hidden_sd_stops(pair));
        put(&mut finding.detail, "mirror_key_fill_stops", Estimate::new(stops, sd));
        if pair.mirror.clipped_share() > 0.0 {
            finding.detail.insert("mirror_key_fill_stops_bound".to_owned(), "lower".into());
        }
    }
    if let Some(stops) = ratio_stops(&pair.cg) {
        put(&mut finding.detail, "cg_key_fill_stops", Estimate::new(stops, ratio_sd_stops(&pair.cg)));
    }
    let (m, c) = (extremes.bright.luminance, at(cg, bright));
    detail_stops(finding, "brightest_patch_stops", c, m, sd);
    detail_stops(finding, "darkest_patch_stops", at(cg, dark), extremes.dark.luminance, sd);
}

fn detail_stops(finding: &mut Finding, key: &str, cg: f64, mirror: f64, sd: f64) {
    if let Some(stops) = Stops::from_ratio(cg, mirror) {
        put(&mut finding.detail, key, Estimate::new(stops.0, sd));
    }
}

/// The contract's rule under clipping: the photographed ratio is a lower bound, so the error is an upper bound.
fn clipped(finding: &mut Finding, pair: &Comparison) {
    let share = pair.mirror.clipped_share();
    if share > 0.0 {
        finding.detail.insert("clipped_share".to_owned(), share.into());
    }
    let Some(true_bound) = difference_stops(&pair.mirror, &pair.cg).filter(|_| pair.cg_limited.is_some()) else {
        return;
    };
    let sd = finding.value_sd.unwrap_or(0.0);
    put(&mut finding.detail, "true_difference_stops", Estimate::new(true_bound, sd));
    finding.detail.insert("true_difference_stops_bound".to_owned(), "upper".into());
    if share <= MAX_CLIPPED_SHARE {
        return;
    }
    if true_bound + 2.0 * sd < -finding.tolerance {
        finding.verdict = Verdict::Mismatch;
        finding.reason =
            format!("the CG is {:.2} stops too flat even compared with the clipped photograph", -true_bound);
    } else {
        finding.verdict = Verdict::Unsure;
        finding.reason = format!(
            "clipped highlights carry at least {:.0} % of the light on a patch that faces them, so the photographed ratio is only a lower bound",
            100.0 * share
        );
    }
}

/// An unknown tone curve darkens lights most, and the picture does not show by how much. Compared with such a camera
/// file a CG can be found too flat, but not too contrasty.
fn flattened(finding: &mut Finding, pair: &Comparison) {
    let too_contrasty = finding.verdict == Verdict::Mismatch && finding.value.is_some_and(|value| value > 0.0);
    if pair.mirror.trust.tone_curve && too_contrasty {
        finding.verdict = Verdict::Unsure;
        finding.value_bound = Some("upper".to_owned());
        finding.reason =
            "a camera's tone curve flattens lights most, so the photographed ratio is only a lower bound".to_owned();
        finding.remedy = Ask::LinearFrame.into();
    }
}

/// A clipped CG picture shows less than its true ratio, so the error is a lower bound.
fn clipped_cg(finding: &mut Finding, pair: &Comparison) {
    let share = pair.cg.clipped_share();
    if share <= MAX_CLIPPED_CG_SHARE {
        return;
    }
    finding.detail.insert("cg_clipped_share".to_owned(), share.into());
    let too_contrasty = finding.value.is_some_and(|v| v - 2.0 * finding.value_sd.unwrap_or(0.0) > finding.tolerance);
    if too_contrasty && pair.cg_limited.is_none() {
        finding.value_bound = Some("lower".to_owned());
        return;
    }
    finding.verdict = Verdict::Unsure;
    finding.reason = format!(
        "the CG picture is clipped: what is left of its highlights is {:.0} % of the light on a patch that faces them, and how much was cut off is not known; its ratio is only a lower bound",
        100.0 * share
    );
    finding.remedy = Ask::UnclippedRender.into();
}

/// A render need not be clipped; above this share of the brightest patch, too much of it is unknown.
const MAX_CLIPPED_CG_SHARE: f64 = 0.01;

fn remedy(finding: &mut Finding, value: f64, pair: &Comparison) {
    match finding.verdict {
        Verdict::Mismatch => {}
        _ if !finding.remedy.is_empty() => return,
        Verdict::Unsure if finding.detail.contains_key("true_difference_stops") => {
            finding.remedy = Ask::ShorterExposureForBracket.into();
            return;
        }
        _ => return,
    }
    let same = finding.detail.get("same_patches_stops").and_then(serde_json::Value::as_f64).unwrap_or(value);
    if same.abs() <= finding.tolerance {
        finding.remedy = Step::Wait(Waits::ContrastByDirection).into();
        return;
    }
    // Where no gains can be told, which of the two patches is off.
    let off = |key: &str| finding.detail.get(key).and_then(serde_json::Value::as_f64).unwrap_or(0.0);
    let patches = || ContrastCure::Patches {
        brightest_stops: off("brightest_patch_stops"),
        darkest_stops: off("darkest_patch_stops"),
    };
    let (with_exposure, cure) = gains::cure(pair, pair.cg_on_equal_terms()).unwrap_or_else(|| (false, patches()));
    finding.remedy = Step::Contrast { off_stops: value, with_exposure, cure }.into();
}
