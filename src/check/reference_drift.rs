//! `reference-drift`: was the sphere frame shot as the plate was?

use super::{blank, put, set_value_and_verdict};
use crate::base::units::{Estimate, Stops};
use crate::compare::uncertainty::drift::DriftUncertainty;
use crate::findings::detail::TOLD;
use crate::findings::remedy::{self, Step};
use crate::findings::{Concerns, Finding, Verdict};
use crate::register::{Drift, DriftOutcome, WarpModel};
use crate::sheet::Tolerances;

pub use super::docs::reference_drift::DOC;

/// One click of a camera's dial, stops (common practice, no source).
const UNMEASURED_SD_STOPS: f64 = 1.0 / 3.0;

/// Less than this is not a stated difference of exposure, stops.
const STATED_STOPS: f64 = 0.005;

/// What is known about the sphere frame as a reference for the plate.
#[derive(Debug, Clone)]
pub struct Reference {
    /// Measured against the plate; `None` without a plate.
    pub drift: Option<DriftOutcome>,
    /// Stops that were stated for the frame and are taken out already.
    pub applied_stops: Stops,
    /// The sheet asks for the drift to be corrected.
    pub corrected: bool,
    /// The plate is the sphere frame itself: what one frame shows cannot drift.
    pub is_plate: bool,
}

impl Reference {
    /// Drift beyond what was stated.
    fn beyond_stated(&self, drift: &Drift) -> Estimate {
        Estimate::new(drift.stops.value - self.applied_stops.0, drift.stops.sd)
    }

    /// The drift that is undone: where the sheet asks for it, and something shows that both frames look at the same
    /// background.
    pub fn corrected_drift(&self) -> Option<&Drift> {
        match &self.drift {
            Some(DriftOutcome::Measured(drift)) if self.corrected && !drift.featureless => Some(drift),
            _ => None,
        }
    }
}

/// The finding of one mirror.
pub fn run(mirror: &str, reference: &Reference, tolerances: &Tolerances) -> Finding {
    let mut finding = blank(&DOC, mirror, tolerances.reference_drift.stops);
    finding.concerns = Concerns::Reference;
    match &reference.drift {
        None => {
            finding.verdict = Verdict::NotGiven;
            finding.reason =
                "no plate is given, so it is not known whether the sphere frame was exposed like it".to_owned();
        }
        Some(DriftOutcome::NotMeasurable(reason)) => finding.reason.clone_from(reason),
        Some(DriftOutcome::Measured(drift)) => measured(&mut finding, reference, drift),
    }
    finding
}

fn measured(finding: &mut Finding, reference: &Reference, drift: &Drift) {
    let value = reference.beyond_stated(drift);
    let detail = &mut finding.detail;
    put(detail, "measured_stops", drift.stops);
    detail.insert("stated_stops".to_owned(), reference.applied_stops.0.into());
    put(detail, "red_green_stops", drift.red_green_stops);
    put(detail, "blue_green_stops", drift.blue_green_stops);
    detail.insert("used_fraction".to_owned(), drift.used_fraction.into());
    detail.insert("corrected".to_owned(), reference.corrected_drift().is_some().into());
    if let Some(shift) = &drift.shift {
        put(detail, "shift_x_px", shift.dx_px);
        put(detail, "shift_y_px", shift.dy_px);
        let (x, y) = (shift.dx_px, shift.dy_px);
        put(detail, "misregistration_px", Estimate::new(x.value.hypot(y.value), x.sd.hypot(y.sd)));
    }
    if let Some(registration) = drift.registration.as_ref().filter(|r| r.model != WarpModel::Translation) {
        detail.insert("registered_by".to_owned(), registration.model.word().into());
        put(detail, "roll_deg", registration.roll_deg());
        put(detail, "zoom_percent", registration.zoom_percent());
    }
    if let Some(focus) = drift.focus {
        put(detail, "blur_px", focus.blur_px());
    }
    if let Some(stops) = drift.metadata_stops {
        detail.insert("metadata_stops".to_owned(), stops.into());
    }
    if let Some(agrees) = drift.consistent_with_metadata {
        detail.insert("agrees_with_metadata".to_owned(), agrees.into());
    }
    set_value_and_verdict(finding, value, "the background that both frames show is too noisy, too plain or moved");
    if reference.is_plate {
        let told = "the plate is the sphere frame itself: it does not show how the shot's other frames were exposed";
        finding.detail.insert(TOLD.to_owned(), told.into());
        add(&mut finding.reason, "the plate and the sphere frame are the same picture, which cannot drift");
    }
    if drift.featureless {
        finding.verdict = Verdict::Unsure;
        finding.reason = "nothing shows that both frames look at the same background".to_owned();
        if reference.corrected {
            add(&mut finding.reason, "so the drift was not corrected, although the sheet asks for it");
        }
    }
    if finding.verdict == Verdict::Mismatch {
        finding.remedy = Step::Drifted(way_of(reference, value.value)).into();
    }
    for warning in &drift.warnings {
        add(&mut finding.reason, warning);
    }
}

fn add(reason: &mut String, more: &str) {
    if !reason.is_empty() {
        reason.push_str("; ");
    }
    reason.push_str(more);
}

/// How a drift of so many stops beyond what was stated was dealt with.
fn way_of(reference: &Reference, stops: f64) -> remedy::Drift {
    let stated_stops = reference.applied_stops.0;
    if reference.corrected {
        remedy::Drift::Corrected { stops }
    } else if stated_stops.abs() > STATED_STOPS {
        remedy::Drift::Stated { measured_stops: stops + stated_stops, stated_stops }
    } else {
        remedy::Drift::Uncorrected { stops }
    }
}

/// What the drift adds to the uncertainty of exposure and of colour, stops: its own uncertainty where it was corrected.
/// Where nothing was corrected, all of it where the check failed; what was measured beyond its own doubt where it did
/// not; nothing where the frames agree. Where a plate is given and the drift could not be measured, it may well be a
/// click of the camera's dial.
pub fn uncertainty(reference: &Reference, tolerances: &Tolerances) -> DriftUncertainty {
    let drift = match &reference.drift {
        None => return DriftUncertainty::default(),
        Some(DriftOutcome::NotMeasurable(_)) => {
            let colour_stops = 0.5 * tolerances.colour.stops;
            return DriftUncertainty {
                exposure_stops: UNMEASURED_SD_STOPS,
                colour_stops,
                unmeasured: true,
                ..DriftUncertainty::default()
            };
        }
        Some(DriftOutcome::Measured(drift)) => drift,
    };
    let colour = if drift.red_green_stops.value.abs() > drift.blue_green_stops.value.abs() {
        drift.red_green_stops
    } else {
        drift.blue_green_stops
    };
    let stops = reference.beyond_stated(drift);
    let verdicts =
        [super::decide(stops, tolerances.reference_drift.stops), super::decide(colour, tolerances.colour.stops)];
    let measured = DriftUncertainty {
        proven: verdicts.contains(&Verdict::Mismatch),
        balanced_alike: verdicts[1] == Verdict::Match && !drift.featureless,
        ..DriftUncertainty::default()
    };
    if reference.corrected_drift().is_some() {
        return DriftUncertainty { exposure_stops: stops.sd, colour_stops: colour.sd, ..measured };
    }
    let beyond = |e: Estimate, tolerance: f64| {
        let failed = drift.featureless || super::decide(e, tolerance) != Verdict::Match;
        let measured = e.value.abs() > 2.0 * e.sd;
        if failed {
            e.value.hypot(e.sd)
        } else if measured {
            e.value.abs()
        } else {
            0.0
        }
    };
    DriftUncertainty {
        exposure_stops: beyond(stops, tolerances.reference_drift.stops),
        colour_stops: beyond(colour, tolerances.colour.stops),
        ..measured
    }
}
