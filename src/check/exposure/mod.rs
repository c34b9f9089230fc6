//! `exposure`: is the CG as bright as the plate?

pub(crate) mod illuminance;

use super::{
    Check, CheckDoc, VARIES, blank, combined, decide, drift_cure, main_uncertainty, put, set_value_and_verdict,
};
use crate::base::statistics::weighted_median;
use crate::base::units::{Estimate, Stops};
use crate::compare::Comparison;
use crate::compare::pairing::pair_sides;
use crate::compare::shared::{median_stops, shared_directions};
use crate::compare::sphere_measurement::{SphereMeasurement, Trust};
use crate::compare::uncertainty::{patch, tone_curve, veil};
use crate::findings::detail::DECIDED_BY;
use crate::findings::remedy::{Ask, Step};
use crate::findings::{Finding, Verdict};
use crate::light::lights::Light;
use crate::light::radiance::{DirectionGrid, MapCell, patch_light};
use crate::sheet::Tolerances;

/// With fewer directions than this fraction of all, the median says too little.
const MIN_FRACTION: f64 = 0.30;

/// Error that remains on clean input.
const FLOOR_SD_STOPS: f64 = 0.0015;

/// What is said where the lens's fall-off is the largest uncertainty.
const FALL_OFF: &str = "the lens may darken the plate by an unknown amount where the sphere stands";

/// Typical reflectance of a mirror sphere, where only the order of magnitude counts.
pub(super) const USUAL_REFLECTANCE: f64 = 0.6;

/// The check.
#[derive(Debug)]
pub struct Exposure;

pub use super::docs::exposure::DOC;

impl Check for Exposure {
    fn doc(&self) -> &'static CheckDoc {
        &DOC
    }

    fn tolerance(&self, tolerances: &Tolerances) -> f64 {
        tolerances.exposure.stops
    }

    fn run(&self, pair: &Comparison) -> Finding {
        let mut finding = blank(&DOC, &pair.mirror.name, pair.tolerances.exposure.stops);
        let tolerance = finding.tolerance;
        let numbers = Numbers {
            surroundings: surroundings(pair, &mut finding),
            illuminance: illuminance::judged(pair, tolerance),
        };
        details(&mut finding, pair, &numbers);
        if pair.cg.trust.view_transform {
            return refuse(finding);
        }
        let Some(worse) = numbers.worse(tolerance) else {
            finding.reason = "one of the spheres is black, or the two have no direction in common".to_owned();
            finding.remedy = Ask::EncodingAndLayer.into();
            return finding;
        };
        set_value_and_verdict(&mut finding, worse.stops, worse.uncertainty);
        worse.overrule(&mut finding);
        finding.detail.insert(DECIDED_BY.to_owned(), worse.what.into());
        if finding.verdict == Verdict::Mismatch {
            finding.remedy = remedy(pair, &numbers, &worse).into();
        } else if finding.verdict == Verdict::Unsure && pair.mirror.trust.tone_curve {
            finding.remedy = Ask::LinearOrLogFrame.into();
        } else if finding.verdict == Verdict::Unsure && worse.uncertainty == pair.drift.exposure_words() {
            finding.remedy = drift_cure(&pair.drift).into();
        } else if finding.verdict == Verdict::Unsure && worse.uncertainty == FALL_OFF {
            finding.remedy = Ask::FallOff.into();
        } else if finding.verdict == Verdict::Unsure && worse.verdict.is_some() {
            finding.remedy = Ask::ShorterExposureOrGreySphere.into();
        }
        finding
    }
}

/// One of the two numbers.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Judged {
    /// In words: what it is of.
    pub(super) what: &'static str,
    pub(super) stops: Estimate,
    /// The largest of its uncertainties, in words.
    pub(super) uncertainty: &'static str,
    /// A verdict other than the rule's, with the reason.
    pub(super) verdict: Option<(Verdict, String)>,
}

impl Judged {
    fn verdict(&self, tolerance: f64) -> Verdict {
        self.verdict.as_ref().map_or_else(|| decide(self.stops, tolerance), |v| v.0)
    }

    /// The bound of its size that is nearer to the tolerance's other side: orders two numbers of one verdict.
    fn reach(&self, tolerance: f64) -> f64 {
        let sds = if self.verdict(tolerance) == Verdict::Mismatch { -2.0 } else { 2.0 };
        self.stops.value.abs() + sds * self.stops.sd
    }

    fn overrule(&self, finding: &mut Finding) {
        if let Some((verdict, reason)) = &self.verdict {
            finding.verdict = *verdict;
            reason.clone_into(&mut finding.reason);
        }
        if finding.verdict != Verdict::Match && !finding.reason.is_empty() {
            finding.reason = format!("{}: {}", self.what, finding.reason);
        }
    }
}

/// Both numbers, each where it can be had.
struct Numbers {
    surroundings: Option<Judged>,
    illuminance: Option<Judged>,
}

impl Numbers {
    /// The one that decides: it matches only where both do.
    fn worse(&self, tolerance: f64) -> Option<Judged> {
        let both = [&self.surroundings, &self.illuminance].into_iter().flatten();
        let by = |a: &&Judged, b: &&Judged| {
            a.verdict(tolerance).cmp(&b.verdict(tolerance)).then(a.reach(tolerance).total_cmp(&b.reach(tolerance)))
        };
        both.max_by(by).cloned()
    }

    /// Lamps and surroundings, where they are off by different amounts and clipping does not leave open what the lamps
    /// give. `common_sd` is the part of their uncertainty that moves both alike and does not count here.
    fn differ(&self, common_sd: f64) -> Option<(Estimate, Estimate)> {
        let is_open = |number: &&Judged| matches!(number.verdict, Some((Verdict::Unsure, _)));
        let (s, i) = (self.surroundings.as_ref()?.stops, self.illuminance.as_ref().filter(|i| !is_open(i))?.stops);
        let own = |e: Estimate| (e.sd * e.sd - common_sd * common_sd).max(0.0);
        ((s.value - i.value).abs() > 2.0 * (own(s) + own(i)).sqrt()).then_some((s, i))
    }
}

fn refuse(mut finding: Finding) -> Finding {
    finding.reason =
        "the CG picture seems to have gone through a view transform (a display encoding, or values cut off at display white), so its brightness cannot be judged".to_owned();
    finding.remedy = Ask::LinearRender.into();
    finding
}

fn remedy(pair: &Comparison, numbers: &Numbers, worse: &Judged) -> Step {
    let Some((surroundings, illuminance)) = numbers.differ(combined(&common_uncertainties(pair))) else {
        // The surroundings are known best, where both say the same.
        return Step::Multiply {
            off_stops: numbers.surroundings.as_ref().map_or(worse.stops.value, |s| s.stops.value),
        };
    };
    let are_right = surroundings.value.abs() <= pair.tolerances.exposure.stops;
    Step::LampsAndSurroundings {
        illuminance_stops: illuminance.value,
        surroundings_stops: (!are_right).then_some(surroundings.value),
        lamps_gain: illuminance::lamp_gain(pair, surroundings.value),
    }
}

/// The median over shared directions with all its uncertainties; `None` where too few are shared.
fn surroundings(pair: &Comparison, finding: &mut Finding) -> Option<Judged> {
    let cg = pair.cg_on_equal_terms();
    let shared = pair.shared();
    let fraction = shared.iter().map(|s| s.steradian).sum::<f64>() / (4.0 * std::f64::consts::PI);
    finding.detail.insert("directions_fraction".to_owned(), fraction.into());
    let method = if fraction < MIN_FRACTION { "mean illuminance of patches" } else { "median over directions" };
    finding.detail.insert("method".to_owned(), method.into());
    if fraction < MIN_FRACTION {
        return None;
    }
    if let Some(rotation) = pair.rotation.as_ref() {
        finding.detail.insert("rotation_undone_deg".to_owned(), rotation.angle_deg.value.into());
    }
    let (value, spread_sd) = median_stops(shared)?;
    let mut uncertainties = uncertainties(pair, cg, value, spread_sd);
    uncertainties.push((clipped_veil_sd(pair), "clipped lights may lie over the surroundings as a veil"));
    let stops = Estimate::new(value, combined(&uncertainties));
    Some(Judged { what: "surroundings", stops, uncertainty: main_uncertainty(&uncertainties), verdict: None })
}

/// What the scattered light of clipped lamps may add to the photographed surroundings.
fn clipped_veil_sd(pair: &Comparison) -> f64 {
    let clips = pair.mirror.lights.all.iter().any(|light| light.clipped);
    if clips { veil_sd(pair) } else { 0.0 }
}

/// What the scattered light of all lamps may add to the photographed surroundings.
pub(super) fn veil_sd(pair: &Comparison) -> f64 {
    let here = |light: &Light| pair.rotation.as_ref().map_or(light.direction, |r| r.cg_to_mirror * light.direction);
    let lamps: Vec<_> = pair.cg.lights.all.iter().map(|light| (here(light), light.illuminance.value)).collect();
    veil::sd_stops(pair.shared(), &lamps)
}

fn curve_words(trust: Trust) -> &'static str {
    if trust.recovered_curve {
        "the bracket shows the tone curve, but not where the camera puts middle grey; use linear frames developed from raw"
    } else {
        "a camera file in a display encoding has an unknown tone curve"
    }
}

fn uncertainties(pair: &Comparison, cg: &SphereMeasurement, value: f64, spread_sd: f64) -> Vec<(f64, &'static str)> {
    let quick = |m: &SphereMeasurement, c: &SphereMeasurement| {
        median_stops(&shared_directions(m, c, None)).map(|v| v.0).or_else(|| illuminance::stops(m, c))
    };
    let base = if pair.other_views.is_empty() { value } else { quick(&pair.mirror, cg).unwrap_or(value) };
    let mut uncertainties = common_uncertainties(pair);
    uncertainties.push((spread_sd.hypot(FLOOR_SD_STOPS), VARIES));
    uncertainties.push((pair.surface_blur_sd(quick), "the mirror sphere blurs the light"));
    uncertainties.push((pair.fov_sd(base, quick), "the field of view is not known; give focal length and sensor"));
    uncertainties
}

/// What moves every absolute number of the comparison alike.
fn common_uncertainties(pair: &Comparison) -> Vec<(f64, &'static str)> {
    let reflectance = pair.mirror.reflectance.common_sd_stops.hypot(pair.cg.reflectance.common_sd_stops);
    let recorded = || USUAL_REFLECTANCE * usual_luminance(&pair.mirror);
    let alike = pair.drift.balanced_alike && pair.drift.exposure_stops == 0.0;
    let curve = if alike {
        tone_curve::relative_exposure_sd_stops(pair.mirror.trust, recorded)
    } else {
        tone_curve::exposure_sd_stops(pair.mirror.trust, recorded)
    };
    vec![
        (reflectance, "the sphere's reflectance is not well known; measure it, or give it in the sheet"),
        (curve, curve_words(pair.mirror.trust)),
        (pair.drift.exposure_stops, pair.drift.exposure_words()),
        (pair.fall_off_sd_stops, FALL_OFF),
    ]
}

/// Median luminance over the directions that a sphere shows.
pub(super) fn usual_luminance(side: &SphereMeasurement) -> f64 {
    let grid = DirectionGrid::shared();
    let cells = side.image.map.cells().iter().zip(&grid.steradian).filter(|(c, _)| c.steradian > 0.0);
    let level = |c: &MapCell| crate::colour::luminance(c.light.map(|l| l / c.steradian));
    weighted_median(cells.map(|(c, s)| (level(c), *s)).collect()).unwrap_or(0.0)
}

fn details(finding: &mut Finding, pair: &Comparison, numbers: &Numbers) {
    let cg = pair.cg_on_equal_terms();
    let common = combined(&common_uncertainties(pair));
    for (key, number) in [("surroundings_stops", &numbers.surroundings), ("illuminance_stops", &numbers.illuminance)] {
        if let Some(number) = number {
            put(&mut finding.detail, key, number.stops);
        }
    }
    if let Some(extremes) = pair.mirror.extremes {
        let fill = patch_light(&cg.sources, &extremes.dark_normal).luminance;
        if let Some(stops) = Stops::from_ratio(fill, extremes.dark.luminance) {
            let own = |side: &SphereMeasurement| patch::illuminance_sd_stops(side, &extremes.dark_normal);
            let hidden =
                illuminance::hidden_sd_stops(pair, |_, sources| patch_light(sources, &extremes.dark_normal).luminance);
            let sd = own(&pair.mirror).hypot(own(cg)).hypot(common).hypot(hidden);
            put(&mut finding.detail, "fill_stops", Estimate::new(stops.0, sd));
        }
    }
    key_stops(finding, pair, cg);
}

/// Key against its partner. A clipped key gives only a bound.
fn key_stops(finding: &mut Finding, pair: &Comparison, cg: &SphereMeasurement) {
    let Some((m, c)) = pair.pairing().pairs.iter().find(|p| p.0 == 0) else { return };
    let (key, partner) = (&pair.mirror.lights.all[*m], &cg.lights.all[*c]);
    let relative = |l: &Light| l.illuminance.sd / l.illuminance.value.max(1e-30);
    let own = relative(key).hypot(relative(partner)) / std::f64::consts::LN_2;
    let sd = own.hypot(combined(&common_uncertainties(pair)));
    if partner.clipped && !key.clipped {
        finding.detail.insert("key_stops_bound".to_owned(), "lower".into());
    }
    if let Some(stops) = Stops::from_ratio(partner.illuminance.value, key.illuminance.value) {
        put(&mut finding.detail, "key_stops", Estimate::new(stops.0, sd));
    }
    if key.clipped {
        finding.detail.insert("key_stops_on_equal_terms".to_owned(), true.into());
        let whole = pair_sides(&pair.mirror, &pair.cg);
        let Some((_, c)) = whole.pairs.iter().find(|p| p.0 == 0) else { return };
        if let Some(stops) = Stops::from_ratio(pair.cg.lights.all[*c].illuminance.value, key.illuminance.value) {
            put(&mut finding.detail, "true_key_stops", Estimate::new(stops.0, sd));
            finding.detail.insert("true_key_stops_bound".to_owned(), "upper".into());
        }
    }
}
