//! The mirror sphere that the environment predicts, measured like any other, and what it is compared with.

use serde_json::{Map, Value, json};

use super::super::CHECKS;
use super::super::shot_check::PairEvidence;
use super::Captured;
use crate::compare::rotation::{RotationSearch, Turns, level_axes, search_rotation};
use crate::compare::sphere_measurement::{MeasurementRequest, ReflectanceUncertainty, SphereMeasurement, Trust};
use crate::compare::uncertainty::reflectance;
use crate::compare::{Comparison, Derived};
use crate::findings::{CheckId, Finding, Remedy, SphereRole, Verdict};
use crate::light::environment::{PredictedSphere, Stance, predict_mirror};
use crate::light::radiance::{Radiometry, RecordingLimit};
use crate::optics::camera::FovSource;
use crate::sheet::{MirrorReflectance, Reflectance, ShotSheet};
use crate::wrap_deg;

/// The predicted sphere.
pub(super) struct Predicted {
    pub(super) stance: Stance,
    pub(super) sphere: PredictedSphere,
    pub(super) side: SphereMeasurement,
    /// The same limited to what the photograph could record.
    limited: Option<SphereMeasurement>,
    /// The heading was not given; whether the photographed sphere told it.
    heading_told: bool,
}

/// The five comparisons with the prediction on one side.
pub(super) struct Compared {
    pub(super) comparison: Comparison,
    pub(super) findings: Vec<Finding>,
}

impl Predicted {
    pub(super) fn of(pair: &PairEvidence<'_>, captured: &Captured<'_>) -> Self {
        let [tilt_deg, roll_deg] = pair.comparison.camera_tilt_roll_deg.unwrap_or_default();
        let mut stance = Stance {
            level_axes: level_axes(tilt_deg, roll_deg),
            heading_deg: captured.spec.heading_deg.unwrap_or(0.0),
        };
        let mut heading_told = false;
        if captured.spec.heading_deg.is_none() {
            let (_, side) = mirror_side(pair, captured, &stance, None);
            let search = search_rotation(&pair.comparison.mirror, &side);
            if let Some(search) = search {
                let turn = search.best.as_ref().filter(|b| search.explains(b) && search.rival.is_none());
                if let Some(best) = turn.or(search.near.as_ref().filter(|_| search.alike())) {
                    stance.heading_deg = Turns::of(&best.cg_to_mirror, &stance.level_axes).heading_deg;
                    heading_told = true;
                }
            }
        }
        let (sphere, side) = mirror_side(pair, captured, &stance, None);
        let limited = pair.recording_limit.map(|limit| mirror_side(pair, captured, &stance, Some(limit)).1);
        Self { stance, sphere, side, limited, heading_told }
    }

    pub(super) fn heading_words(&self) -> String {
        if self.heading_told {
            format!(
                "the environment's heading is not given: {:+.1} deg fits the photographed sphere best and is used",
                wrap_deg(self.stance.heading_deg)
            )
        } else {
            "the environment's heading is not given and cannot be found from the photographed sphere: 0 deg is used"
                .to_owned()
        }
    }

    /// Environment minus photograph.
    pub(super) fn against_photograph(&self, sheet: &ShotSheet, pair: &PairEvidence<'_>) -> Compared {
        let known = pair.comparison;
        let mut mirror = known.mirror.clone();
        mirror.reflectance = uncertainty(sheet, &mirror.name);
        let equal = self.limited.as_ref().unwrap_or(&self.side);
        let rotation_search = search_rotation(&mirror, equal);
        compared(Comparison {
            surface_blur: None,
            rotation: rotation_search.as_ref().and_then(RotationSearch::undone),
            rotation_search,
            other_views: known.other_views.iter().map(|(mirror, _)| (mirror.clone(), equal.clone())).collect(),
            mirror,
            cg: self.side.clone(),
            cg_limited: self.limited.clone(),
            camera_tilt_roll_deg: known.camera_tilt_roll_deg,
            fall_off_sd_stops: known.fall_off_sd_stops,
            drift: known.drift,
            place_is_assumed: false,
            tolerances: sheet.tolerances,
            derived: Derived::default(),
        })
    }

    /// CG minus environment.
    pub(super) fn against_cg(&self, sheet: &ShotSheet, pair: &PairEvidence<'_>) -> Compared {
        let known = pair.comparison;
        let mut cg = known.cg.clone();
        let same = sheet.cg_sphere(&cg.name).is_some_and(|s| s.reflectance == Reflectance::SameAsMirror);
        // Numbers that the sheet gives are those that the CG was rendered with; a material's name is not.
        let rendered_so =
            sheet.mirror(&cg.name).is_some_and(|m| matches!(m.reflectance, Some(MirrorReflectance::Rgb(_))));
        if same && !rendered_so {
            cg.reflectance = uncertainty(sheet, &cg.name);
        }
        let mirror = SphereMeasurement { role: SphereRole::Mirror, ..self.side.clone() };
        let rotation_search = search_rotation(&mirror, &cg);
        compared(Comparison {
            surface_blur: None,
            rotation: rotation_search.as_ref().and_then(RotationSearch::undone),
            rotation_search,
            other_views: known.other_views.iter().map(|(_, cg)| (mirror.clone(), cg.clone())).collect(),
            mirror,
            cg,
            cg_limited: None,
            camera_tilt_roll_deg: known.camera_tilt_roll_deg,
            fall_off_sd_stops: 0.0,
            drift: crate::compare::uncertainty::drift::DriftUncertainty::default(),
            place_is_assumed: false,
            tolerances: sheet.tolerances,
            derived: Derived::default(),
        })
    }
}

fn mirror_side(
    pair: &PairEvidence<'_>,
    captured: &Captured<'_>,
    stance: &Stance,
    limit: Option<&RecordingLimit>,
) -> (PredictedSphere, SphereMeasurement) {
    let mirror = &pair.comparison.mirror;
    let sphere = predict_mirror(&captured.light, stance, &mirror.geometry, &mirror.fit.outline);
    // The prediction knows its own view; only the photograph's may be in doubt.
    let mut view = mirror.view.clone();
    view.source = FovSource::Sheet;
    let side = SphereMeasurement::measure(&MeasurementRequest {
        role: SphereRole::Cg,
        name: &mirror.name,
        frame: &sphere.frame(pair.mirror_frame.size, view.pixel_aspect),
        view: &view,
        fit: &mirror.fit,
        radiometry: &Radiometry { premultiplied: true, limit: limit.cloned(), ..Radiometry::default() },
        trust: Trust { view_transform: captured.display_picture, ..Trust::default() },
        reflectance: ReflectanceUncertainty::default(),
    });
    (sphere, side)
}

/// Against an environment the sphere's reflectance does not cancel.
fn uncertainty(sheet: &ShotSheet, mirror: &str) -> ReflectanceUncertainty {
    reflectance::uncertainty(reflectance::told_sd_stops(sheet.mirror(mirror)))
}

fn compared(comparison: Comparison) -> Compared {
    let findings = CHECKS.iter().map(|check| check.run(&comparison)).collect();
    Compared { comparison, findings }
}

impl Compared {
    /// The worst of the five.
    pub(super) fn verdict(&self) -> Verdict {
        self.findings.iter().map(|f| f.verdict).max().unwrap_or(Verdict::Unsure)
    }

    /// The value of one of the five.
    pub(super) fn value_of(&self, check: &CheckId) -> Option<f64> {
        self.findings.iter().find(|f| f.check == *check)?.value
    }

    /// Sets a finding's value: the worst as a multiple of its tolerance.
    pub(super) fn value(&self, finding: &mut Finding) {
        let ratio = |f: &Finding| Some((f.value?.abs() / f.tolerance, f.value_sd? / f.tolerance));
        let worst = self.findings.iter().filter_map(ratio).max_by(|a, b| a.0.total_cmp(&b.0));
        if let Some((value, sd)) = worst.filter(|(v, sd)| v.is_finite() && sd.is_finite()) {
            (finding.value, finding.value_sd) = (Some(value), Some(sd));
        }
    }

    /// The five in a finding's detail.
    pub(super) fn detail(&self) -> Value {
        let entries = self.findings.iter().map(|f| {
            let mut entry = Map::new();
            entry.insert("verdict".to_owned(), json!(f.verdict));
            entry.extend(f.value.map(|v| ("value".to_owned(), v.into())));
            entry.extend(f.value_sd.map(|v| ("value_sd".to_owned(), v.into())));
            entry.insert("unit".to_owned(), f.unit.clone().into());
            entry.insert("tolerance".to_owned(), f.tolerance.into());
            for key in [
                "azimuth_error_deg",
                "elevation_error_deg",
                "correction_heading_deg",
                "correction_tilt_deg",
                "correction_roll_deg",
            ] {
                entry.extend(f.detail.get(key).map(|v| (key.to_owned(), v.clone())));
            }
            if !f.reason.is_empty() {
                entry.insert("reason".to_owned(), f.reason.clone().into());
            }
            (f.check.to_string(), Value::Object(entry))
        });
        Value::Object(entries.collect())
    }

    /// Those that do not match, in words: `exposure -0.60 stops`.
    pub(super) fn off_words(&self) -> String {
        let off = self.findings.iter().filter(|f| f.verdict == self.verdict() && f.verdict != Verdict::Match);
        let words = off.map(|f| match f.value {
            Some(value) if f.unit == "deg" => format!("{} {value:.1} deg", f.check),
            Some(value) => format!("{} {value:+.2} {}", f.check, f.unit),
            None => f.check.to_string(),
        });
        words.collect::<Vec<_>>().join(", ")
    }

    /// Remedies of mismatches. A turn of the whole comes first and makes that of the key unneeded.
    pub(super) fn remedies(&self) -> Vec<&Remedy> {
        let wrong = || self.findings.iter().filter(|f| f.verdict == Verdict::Mismatch && !f.remedy.is_empty());
        let turned = wrong().find(|f| f.check == CheckId::EnvironmentRotation);
        let rest = wrong().filter(|f| {
            f.check != CheckId::EnvironmentRotation && (turned.is_none() || f.check != CheckId::HighlightDirection)
        });
        turned.into_iter().chain(rest).map(|f| &f.remedy).collect()
    }
}
