//! Checks: each in its own file, each a row of [`CHECKS`].

pub mod clean_plate;
pub mod colour_balance;
pub mod docs;
pub mod environment;
pub mod environment_rotation;
pub mod exposure;
pub mod field_of_view;
pub mod grey_sphere;
pub mod highlight_direction;
pub mod key_fill_ratio;
pub mod lens_distortion;
pub mod light_gains;
pub mod reference_drift;
pub mod scale;
pub mod set_notes;
mod shot_check;
pub mod sphere_place;
pub mod sun;

pub use docs::CheckDoc;
pub use shot_check::{Addition, FileNote, PairEvidence, ShotCheck, ShotEvidence, blank_of_shot};

use serde_json::{Map, Value};

use crate::base::units::Estimate;
use crate::compare::Comparison;
use crate::compare::uncertainty::drift::DriftUncertainty;
use crate::findings::numbers::number_words;
use crate::findings::remedy::Ask;
use crate::findings::{Concerns, Finding, Verdict};
use crate::sheet::Tolerances;

/// A check of the CG sphere against the photographed one.
pub trait Check: Sync {
    /// What `explain` tells of it.
    fn doc(&self) -> &'static CheckDoc;
    /// Its tolerance among those of the shot, in the check's unit.
    fn tolerance(&self, tolerances: &Tolerances) -> f64;
    /// Compares; never fails, but may be unsure.
    fn run(&self, pair: &Comparison) -> Finding;
}

/// Every check of a CG sphere against its mirror sphere, in the order of `explain`.
pub static CHECKS: &[&dyn Check] = &[
    &highlight_direction::HighlightDirection,
    &key_fill_ratio::KeyFillRatio,
    &exposure::Exposure,
    &colour_balance::ColourBalance,
    &environment_rotation::EnvironmentRotation,
];

/// Every check of what else came from set, in the order of `explain`.
pub static SHOT_CHECKS: &[&dyn ShotCheck] = &[
    &environment::Environment,
    &field_of_view::FieldOfView,
    &scale::Scale,
    &set_notes::SetNotes,
    &clean_plate::CleanPlate,
    &lens_distortion::LensDistortion,
    &grey_sphere::GreySphere,
    &sphere_place::SpherePlace,
    &light_gains::LightGains,
    &sun::Sun,
];

/// What every check says about itself, in the order of `explain`.
pub fn docs() -> impl Iterator<Item = &'static CheckDoc> {
    let spheres = CHECKS.iter().map(|check| check.doc());
    let shots = SHOT_CHECKS.iter().map(|check| check.doc());
    spheres.chain(std::iter::once(&reference_drift::DOC)).chain(shots)
}

/// The contract's rule: `mismatch` if |value| − 2 sd > tolerance, else `match` if |value| + 2 sd ≤ 1.1 tolerance,
/// else `unsure`.
///
/// ```
/// use plateproof::{Estimate, check::decide, findings::Verdict};
/// assert_eq!(decide(Estimate::new(0.1, 0.05), 0.25), Verdict::Match);
/// assert_eq!(decide(Estimate::new(-0.4, 0.05), 0.25), Verdict::Mismatch);
/// assert_eq!(decide(Estimate::new(0.2, 0.05), 0.25), Verdict::Unsure);
/// ```
pub fn decide(value: Estimate, tolerance: f64) -> Verdict {
    let size = value.value.abs();
    if !size.is_finite() || !value.sd.is_finite() {
        Verdict::Unsure
    } else if size - 2.0 * value.sd > tolerance {
        Verdict::Mismatch
    } else if size + 2.0 * value.sd <= 1.1 * tolerance {
        Verdict::Match
    } else {
        Verdict::Unsure
    }
}

/// A finding with nothing measured yet.
pub(crate) fn blank(doc: &CheckDoc, mirror: &str, tolerance: f64) -> Finding {
    Finding { mirror: Some(mirror.to_owned()), ..blank_of_shot(doc, Concerns::Cg, tolerance) }
}

/// Sets value, uncertainty and the verdict that follows from them, with a reason where it is unsure.
pub(crate) fn set_value_and_verdict(finding: &mut Finding, value: Estimate, main_uncertainty: &str) {
    finding.value = Some(value.value);
    finding.value_sd = Some(value.sd);
    finding.verdict = decide(value, finding.tolerance);
    if finding.verdict == Verdict::Unsure {
        finding.reason = format!(
            "{} {} is too uncertain to judge against the tolerance of {} {}: {main_uncertainty}",
            number_words(value.value, Some(value.sd), &finding.unit, finding.unit != "deg"),
            finding.unit,
            finding.tolerance,
            finding.unit
        );
    }
}

/// Writes a measured number and its uncertainty into a finding's detail.
pub(crate) fn put(detail: &mut Map<String, Value>, key: &str, number: Estimate) {
    if number.value.is_finite() && number.sd.is_finite() {
        detail.insert(key.to_owned(), number.value.into());
        detail.insert(format!("{key}_sd"), number.sd.into());
    }
}

/// What would cure the doubt that the drift leaves.
pub(crate) fn drift_cure(drift: &DriftUncertainty) -> Ask {
    if drift.unmeasured { Ask::SameBackground } else { Ask::ShotLikePlate }
}

/// Why a number is uncertain where its parts by direction do not agree.
pub(crate) const VARIES: &str = "the difference varies over the sphere";

/// The words of the largest of several uncertainties.
pub(crate) fn main_uncertainty<'a>(uncertainties: &[(f64, &'a str)]) -> &'a str {
    uncertainties.iter().max_by(|a, b| a.0.total_cmp(&b.0)).map_or("", |d| d.1)
}

/// Root of the sum of squares.
pub(crate) fn combined(uncertainties: &[(f64, &str)]) -> f64 {
    uncertainties.iter().map(|d| d.0 * d.0).sum::<f64>().sqrt()
}
