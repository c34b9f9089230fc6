//! The second number of `exposure`: what a subject at the sphere's place receives, lamps included.

use std::f64::consts::LN_2;

use nalgebra::Vector3;

use super::{Judged, common_uncertainties, usual_luminance};
use crate::base::units::{Estimate, Stops};
use crate::check::key_fill_ratio::{MAX_CLIPPED_SHARE, is_sane_gain};
use crate::check::{VARIES, combined, main_uncertainty};
use crate::colour::luminance;
use crate::compare::Comparison;
use crate::compare::sphere_measurement::SphereMeasurement;
use crate::compare::uncertainty::{blind_cone, outline, rim, surroundings, tone_curve};
use crate::findings::Verdict;
use crate::light::lights::Light;
use crate::light::radiance::{CapWeight, Source, cap_mean_rgb};

/// Unevenness of the grid of directions over all patches, stops: half of what one patch has.
const GRID_SD_STOPS: f64 = 0.01;

/// A clipped CG gives less light than it should; above this share it matters.
const MAX_CLIPPED_CG_SHARE: f64 = 0.01;

/// What it is of, in words.
pub(crate) const WHAT: &str = "what a subject receives";

/// log2 of the ratio of mean patch illuminance over the cap, CG over mirror.
pub(crate) fn stops(mirror: &SphereMeasurement, cg: &SphereMeasurement) -> Option<f64> {
    Stops::from_ratio(cap_mean(cg, &cg.sources), cap_mean(mirror, &mirror.sources)).map(|s| s.0)
}

/// Mean luminance × sr of patches over the cap.
fn cap_mean(side: &SphereMeasurement, sources: &[Source]) -> f64 {
    luminance(cap_mean_rgb(sources, &side.geometry.towards_camera()))
}

/// The number with all its doubts, and the verdict where clipping decides it; `None` where one side is black.
pub(super) fn judged(pair: &Comparison, tolerance: f64) -> Option<Judged> {
    let cg = pair.cg_on_equal_terms();
    let value = stops(&pair.mirror, cg)?;
    let mut uncertainties = common_uncertainties(pair);
    uncertainties.extend([
        (
            own_sd(pair, &pair.mirror).hypot(own_sd(pair, cg)).hypot(filled_sd(pair, cg)),
            "the strength of the lamps, and light that the sphere cannot show, are not known well enough",
        ),
        (scatter_sd(pair, cg), VARIES),
        (hidden_sd_stops(pair, cap_mean), "part of the photographed sphere may be hidden"),
        (rim_sd(pair), "a light is on the rim of the photographed sphere, where most of it may be lost"),
        (
            pair.limiting_sd_stops(|side| Some(cap_mean(side, &side.sources).log2())),
            "the photograph clips a light only a few pixels wide, so blur decides how much is lost",
        ),
        (pair.surface_blur_sd(stops), "the mirror sphere blurs the light"),
        (pair.fov_sd(value, stops), "the field of view is not known; give focal length and sensor"),
    ]);
    let estimate = Estimate::new(value, combined(&uncertainties));
    let verdict = clipped(pair, estimate.sd, tolerance);
    Some(Judged { what: WHAT, stops: estimate, uncertainty: main_uncertainty(&uncertainties), verdict })
}

/// Beyond [`MAX_CLIPPED_SHARE`] the photograph gives a lower bound, so that the error has an upper one.
fn clipped(pair: &Comparison, sd: f64, tolerance: f64) -> Option<(Verdict, String)> {
    let share = pair.mirror.clipped_share();
    let percent = |share: f64| format!("{:.0} %", 100.0 * share);
    if pair.cg_limited.is_some() && share > MAX_CLIPPED_SHARE {
        let bound = stops(&pair.mirror, &pair.cg)?;
        return Some(if bound + 2.0 * sd < -tolerance {
            let reason = format!("the CG is {:.2} stops too dark even compared with the clipped photograph", -bound);
            (Verdict::Mismatch, reason)
        } else {
            let why = "clipped highlights carry at least";
            (Verdict::Unsure, format!("{why} {} of the light on a patch that faces them", percent(share)))
        });
    }
    let of_cg = pair.cg.clipped_share();
    (of_cg > MAX_CLIPPED_CG_SHARE).then(|| {
        let why = "the CG picture is clipped: what is left of its highlights is";
        (Verdict::Unsure, format!("{why} {} of the light on a patch that faces them", percent(of_cg)))
    })
}

/// One sd of one side's number beside what is common to all and what is filled in, stops.
fn own_sd(pair: &Comparison, side: &SphereMeasurement) -> f64 {
    let all = cap_mean(side, &side.sources).max(1e-30);
    let part = |light: &Light| (light.flux_sd * on_cap(side, light) / all / LN_2).powi(2);
    let lit = side.lights.all.iter().map(part).sum::<f64>();
    let placed = outline::light_sd(side, |sources| Some(cap_mean(side, sources).max(1e-30).log2()));
    lit.sqrt().hypot(placed).hypot(GRID_SD_STOPS).hypot(curve_sd(pair, side, all))
}

/// How far the difference hangs on single parts of the surroundings.
fn scatter_sd(pair: &Comparison, cg: &SphereMeasurement) -> f64 {
    let by_cosine = CapWeight::new();
    let weight = |side: &SphereMeasurement| {
        let (towards, by_cosine) = (side.geometry.towards_camera(), &by_cosine);
        move |direction: &Vector3<f64>| [by_cosine.at(direction.dot(&towards))]
    };
    let number = |[[mirror], [cg]]: [[f64; 1]; 2]| Stops::from_ratio(cg, mirror).map(|s| s.0);
    surroundings::sd(pair, cg, [&weight(&pair.mirror), &weight(cg)], number)
}

/// What an unknown tone curve does to the lamps, against the surroundings that it was judged at.
fn curve_sd(pair: &Comparison, side: &SphereMeasurement, all: f64) -> f64 {
    if !tone_curve::is_uncertain(side.trust) {
        return 0.0;
    }
    let usual = usual_luminance(&pair.mirror).max(1e-30);
    let of = |light: &Light| {
        let mean = light.illuminance.value / (std::f64::consts::PI * light.reach_rad.sin().powi(2)).max(1e-9);
        let share = light.illuminance.value * on_cap(side, light) / all;
        share * tone_curve::contrast_sd_stops(side.trust, (mean / usual).max(1.0).log2())
    };
    side.lights.all.iter().map(of).sum()
}

/// What filled-in directions do to the difference: they are filled in alike on both sides.
fn filled_sd(pair: &Comparison, cg: &SphereMeasurement) -> f64 {
    let part = |side: &SphereMeasurement| {
        let guessed = side.sources.iter().filter(|s| s.filled > 0.0 && s.luminance > 0.0);
        let share = |s: &Source| Source { light: s.light.map(|l| l * s.filled / s.luminance), ..*s };
        let filled: Vec<Source> = guessed.map(share).collect();
        cap_mean(side, &filled) / cap_mean(side, &side.sources).max(1e-30)
    };
    let sd = pair.common_mode(cg).filled_sd_stops(blind_cone::FILL_SD_STOPS);
    sd * part(&pair.mirror).max(part(cg)).clamp(0.0, 1.0)
}

fn rim_sd(pair: &Comparison) -> f64 {
    let mirror = &pair.mirror;
    let moved = rim::restored(mirror, &pair.cg).map(|sources| cap_mean(mirror, &sources));
    moved.and_then(|m| Stops::from_ratio(m, cap_mean(mirror, &mirror.sources))).map_or(0.0, |s| s.0.abs())
}

/// How far a number of the photographed light would move if the directions that may be hidden held the CG's light.
pub(super) fn hidden_sd_stops(pair: &Comparison, number: impl Fn(&SphereMeasurement, &[Source]) -> f64) -> f64 {
    let hidden = pair.hidden();
    if hidden.is_empty() {
        return 0.0;
    }
    let undone = number(&pair.mirror, &hidden.sources(&pair.mirror));
    Stops::from_ratio(undone, number(&pair.mirror, &pair.mirror.sources)).map_or(0.0, |s| s.0.abs())
}

/// What a patch of the cap receives on the mean of a light that gives one unit to a patch facing it.
fn on_cap(side: &SphereMeasurement, light: &Light) -> f64 {
    let unit = Source { direction: light.direction, light: [1.0; 3], luminance: 1.0, filled: 0.0, clipped: 0.0 };
    cap_mean(side, &[unit])
}

/// The gain of all CG lamps that makes a subject receive what the photographed one does once the surroundings, off by
/// `surroundings_stops`, are mended; `None` where no sane gain does.
pub(super) fn lamp_gain(pair: &Comparison, surroundings_stops: f64) -> Option<f64> {
    let cg = pair.cg_on_equal_terms();
    let lamps: f64 = cg.lights.all.iter().map(|light| light.illuminance.value * on_cap(cg, light)).sum();
    let rest = (cap_mean(cg, &cg.sources) - lamps).max(0.0);
    let off = if surroundings_stops.abs() <= pair.tolerances.exposure.stops { 0.0 } else { surroundings_stops };
    let wanted = cap_mean(&pair.mirror, &pair.mirror.sources) - rest * Stops(-off).ratio();
    let gain = wanted / lamps;
    is_sane_gain(gain).then_some(gain)
}
