//! Checks: each in its own file, each a row of [`CHECKS`].

pub mod camera;
pub mod clean_plate;
pub mod colour_balance;
pub mod docs;
pub mod environment;
pub mod exposure;
pub mod highlight_direction;
pub mod key_fill_ratio;
pub mod light_gains;
pub mod matte_sphere;
pub mod near_lights;
pub mod reference_drift;
pub mod rotation;
pub mod scale;
pub mod set_notes;
mod shot_check;
pub mod straight_lines;
pub mod sun;

pub use docs::CheckDoc;
pub use shot_check::{Addition, FileNote, PairEvidence, ShotCheck, ShotEvidence, blank_of_shot};

use serde_json::{Map, Value};

use crate::report::wording::number_words;
use crate::report::{Finding, Verdict};
use crate::rotation::{Rotation, RotationSearch};
use crate::sheet::Tolerances;
use crate::side::Side;
use crate::uncertainty::haze::HazeDoubt;
use crate::uncertainty::hidden::Hidden;
use crate::uncertainty::likeness::Likeness;
use crate::uncertainty::{clipping, optics};
use crate::units::Estimate;

/// Two sides of one mirror, ready to be compared.
#[derive(Debug)]
pub struct Comparison {
    /// The photographed sphere.
    pub mirror: Side,
    /// The rendered sphere as it is.
    pub cg: Side,
    /// The rendered sphere limited to what the photograph could record; `None` where nothing is clipped.
    pub cg_limited: Option<Side>,
    /// The same pair under the smallest and the largest field of view, where it is unknown.
    pub other_views: Vec<(Side, Side)>,
    /// The rotation that best maps the CG's light on the mirror's, where it is well determined.
    pub rotation: Option<Rotation>,
    /// All that the search over rotations found; `None` where there is nothing to hold on to.
    pub rotation_search: Option<RotationSearch>,
    /// Blur of the photographed sphere; `None` where it is clear.
    pub haze: Option<HazeDoubt>,
    /// Tilt and roll of the plate's camera, where the sheet tells its tilt: they say where up is.
    pub camera_tilt_roll_deg: Option<[f64; 2]>,
    /// What the reference drift adds to the uncertainty.
    pub drift: reference_drift::Doubt,
    /// Tolerances.
    pub tolerances: Tolerances,
}

impl Comparison {
    /// The rendered sphere on equal terms with the photograph.
    pub fn cg_on_equal_terms(&self) -> &Side {
        self.cg_limited.as_ref().unwrap_or(&self.cg)
    }

    /// Tells which fractions of the photographed and the rendered sphere were taken out on purpose.
    #[must_use]
    pub(crate) fn with_ignored(mut self, [mirror, cg]: [f64; 2]) -> Self {
        self.mirror = self.mirror.with_ignored(mirror);
        self.cg = self.cg.with_ignored(cg);
        self
    }

    /// The same where plate and mirror frame may differ by this much.
    pub(crate) fn with_drift_doubt(self, drift: reference_drift::Doubt) -> Self {
        Self { drift, ..self }
    }

    /// The directions that something before the photographed sphere may hide.
    pub fn hidden(&self) -> Hidden {
        Hidden::find(&self.mirror, self.cg_on_equal_terms(), self.rotation.as_ref())
    }

    /// What limiting the CG to the photograph's ceiling may do wrong to a number of it, stops.
    pub(crate) fn limiting_sd_stops(&self, stops: impl Fn(&Side) -> Option<f64>) -> f64 {
        let Some(limited) = self.cg_limited.as_ref().and_then(&stops) else { return 0.0 };
        let effect = stops(&self.cg).map_or(0.0, |whole| whole - limited);
        let outline = &self.mirror.fit.outline;
        let sphere_px = std::f64::consts::PI * outline.semi_a * outline.semi_b;
        let areas = self.mirror.lights.all.iter().filter(|light| light.clipped).count();
        clipping::equal_terms_sd_stops(effect, self.mirror.image.clipped_fraction * sphere_px, areas)
    }

    /// How alike the surroundings of the two spheres are, seen from the camera.
    pub fn likeness(&self, cg: &Side) -> Likeness {
        let shared = exposure::shared_directions(&self.mirror, cg, None);
        let levels = shared.iter().map(|s| ([s.mirror.luminance.log2(), s.cg.luminance.log2()], s.steradian));
        Likeness::of(&levels.collect::<Vec<_>>())
    }

    /// One standard deviation of a quantity from not knowing the field of view: how far it moves over the range
    /// tried, taken as uniform. Zero where the field of view is known.
    pub fn fov_sd(&self, base: f64, quantity: impl Fn(&Side, &Side) -> Option<f64>) -> f64 {
        optics::even_sd(base, self.other_views.iter().filter_map(|(mirror, cg)| quantity(mirror, cg)))
    }
}

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
    &rotation::Rotated,
];

/// Every check of what else came from set, in the order of `explain`.
pub static SHOT_CHECKS: &[&dyn ShotCheck] = &[
    &environment::Environment,
    &camera::Camera,
    &scale::Scale,
    &set_notes::SetNotes,
    &clean_plate::CleanPlate,
    &straight_lines::StraightLines,
    &matte_sphere::MatteSphere,
    &near_lights::NearLights,
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
/// use plateproof::{Estimate, check::decide, report::Verdict};
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
    Finding { mirror: Some(mirror.to_owned()), ..blank_of_shot(doc, "cg", tolerance) }
}

/// Sets value, uncertainty and the verdict that follows from them, with a reason where it is unsure.
pub(crate) fn settle(finding: &mut Finding, value: Estimate, main_doubt: &str) {
    finding.value = Some(value.value);
    finding.value_sd = Some(value.sd);
    finding.verdict = decide(value, finding.tolerance);
    if finding.verdict == Verdict::Unsure {
        finding.reason = format!(
            "{} {} cannot be told from the tolerance of {} {}: {main_doubt}",
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

/// The largest of several named doubts, in words.
pub(crate) fn main_doubt<'a>(doubts: &[(f64, &'a str)]) -> &'a str {
    doubts.iter().max_by(|a, b| a.0.total_cmp(&b.0)).map_or("", |d| d.1)
}

/// Root of the sum of squares.
pub(crate) fn combined(doubts: &[(f64, &str)]) -> f64 {
    doubts.iter().map(|d| d.0 * d.0).sum::<f64>().sqrt()
}
