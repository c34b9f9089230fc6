//! `environment-rotation`: is the whole environment turned?

use nalgebra::{Matrix3, Rotation3, Vector3};
use serde_json::{Map, json};

use super::key_fill_ratio::ratio_stops;
use super::{Check, CheckDoc, blank, put, set_value_and_verdict};
use crate::base::units::{Estimate, Stops};
use crate::compare::Comparison;
use crate::compare::rotation::{Optimum, Rotation, RotationSearch, Turns, level_axes, rotation_near};
use crate::compare::shared::{median_stops, shared_directions};
use crate::compare::sphere_measurement::SphereMeasurement;
use crate::findings::remedy::{Ask, Remaining, Step, turn_words};
use crate::findings::{Finding, Verdict};
use crate::light::radiance::{Source, extremes};
use crate::sheet::Tolerances;
use crate::sphere::angle_between_rad;

/// Below this correlation the two spheres do not show the same surroundings at all.
const UNLIKE: f64 = 0.6;

/// A tilt or roll below this is not worth dialling in, degrees.
const NEGLIGIBLE_DEG: f64 = 0.5;

/// The check.
#[derive(Debug)]
pub struct EnvironmentRotation;

pub use super::docs::environment_rotation::DOC;

impl Check for EnvironmentRotation {
    fn doc(&self) -> &'static CheckDoc {
        &DOC
    }

    fn tolerance(&self, tolerances: &Tolerances) -> f64 {
        tolerances.environment_rotation.deg
    }

    fn run(&self, pair: &Comparison) -> Finding {
        let mut finding = blank(&DOC, &pair.mirror.name, pair.tolerances.environment_rotation.deg);
        let Some(search) = &pair.rotation_search else {
            "the light is even on all sides, or too little of it is visible: no turn can be measured"
                .clone_into(&mut finding.reason);
            return finding;
        };
        finding.detail.insert("correlation_before".to_owned(), search.before.into());
        match called_for(search) {
            Some(best) => judge_best(&mut finding, pair, search, best),
            None => judge_near(&mut finding, pair, search),
        }
        finding
    }
}

/// The best rotation, where it explains a difference.
fn called_for(search: &RotationSearch) -> Option<&Optimum> {
    search.best.as_ref().filter(|best| search.explains(best))
}

/// A rotation makes the spheres alike: how large is it?
fn judge_best(finding: &mut Finding, pair: &Comparison, search: &RotationSearch, best: &Optimum) {
    let angle = angle_with_uncertainty(pair, best);
    set_value_and_verdict(finding, angle, "the surroundings determine this turn only roughly");
    let left = describe(finding, pair, best);
    if let Some(rival) = &search.rival {
        finding.verdict = Verdict::Unsure;
        finding.reason = format!(
            "two turns fit about equally: {}, or {}",
            turn_words(angles_deg(&advised(pair, best))),
            turn_words(angles_deg(&advised(pair, rival)))
        );
        finding.remedy = Ask::LookAtBothTurns.into();
    } else if finding.verdict != Verdict::Match {
        finding.remedy =
            Step::TurnEnvironment { turn: angles_deg(&advised(pair, best)), up: which_up(pair), leaves: left }.into();
    }
}

/// No rotation is called for: the small one next to none is held against the tolerance.
fn judge_near(finding: &mut Finding, pair: &Comparison, search: &RotationSearch) {
    if search.before < UNLIKE {
        finding.reason = format!(
            "no rotation explains the difference: the spheres' surroundings have little in common ({})",
            correlation_words(search)
        );
        finding.remedy = Ask::OwnCgSphere.into();
        return;
    }
    let Some(near) = &search.near else {
        "the light has too little structure to measure a turn".clone_into(&mut finding.reason);
        return;
    };
    set_value_and_verdict(
        finding,
        angle_with_uncertainty(pair, near),
        "the surroundings determine a turn only roughly",
    );
    describe(finding, pair, near);
    if search.alike() {
        return;
    }
    if finding.verdict == Verdict::Mismatch {
        finding.verdict = Verdict::Unsure;
    }
    finding.reason = format!(
        "cannot tell whether the environment is turned: no rotation explains the difference ({})",
        correlation_words(search)
    );
}

fn correlation_words(search: &RotationSearch) -> String {
    let best = search.best.as_ref().map_or(search.before, |b| b.correlation);
    format!("correlation {:.2} as it is, {best:.2} at the best turn", search.before)
}

/// The angle with the doubt of an unknown field of view.
fn angle_with_uncertainty(pair: &Comparison, optimum: &Optimum) -> Estimate {
    let angle = optimum.angle_deg();
    let under = |mirror: &SphereMeasurement, cg: &SphereMeasurement| {
        rotation_near(mirror, cg, &optimum.cg_to_mirror).map(|o| o.angle_deg().value)
    };
    angle.widened(pair.fov_sd(angle.value, under)).widened(pair.surface_blur_sd(under))
}

/// The world's level axes in camera axes; the camera's own where its tilt is unknown.
fn level(pair: &Comparison) -> Matrix3<f64> {
    let [tilt_deg, roll_deg] = pair.camera_tilt_roll_deg.unwrap_or_default();
    level_axes(tilt_deg, roll_deg)
}

/// What to dial in: a heading alone, where tilt and roll are negligible.
fn advised(pair: &Comparison, optimum: &Optimum) -> Turns {
    let turns = Turns::of(&optimum.cg_to_mirror, &level(pair));
    let worth = |degrees: f64| if degrees.abs() < NEGLIGIBLE_DEG { 0.0 } else { degrees };
    Turns { tilt_deg: worth(turns.tilt_deg), roll_deg: worth(turns.roll_deg), ..turns }
}

fn angles_deg(turns: &Turns) -> [f64; 3] {
    [turns.heading_deg, turns.tilt_deg, turns.roll_deg]
}

/// Writes turns and what would remain into the detail; returns what would remain.
fn describe(finding: &mut Finding, pair: &Comparison, optimum: &Optimum) -> Remaining {
    let level = level(pair);
    let turns = Turns::of(&optimum.cg_to_mirror, &level);
    let sd = |axis: usize| {
        let axis = level.column(axis).into_owned();
        (axis.transpose() * optimum.cov * axis)[(0, 0)].max(0.0).sqrt().to_degrees()
    };
    put(&mut finding.detail, "correction_heading_deg", Estimate::new(turns.heading_deg, sd(1)));
    put(&mut finding.detail, "correction_tilt_deg", Estimate::new(turns.tilt_deg, sd(0)));
    put(&mut finding.detail, "correction_roll_deg", Estimate::new(turns.roll_deg, sd(2)));
    finding.detail.insert("up".to_owned(), which_up(pair).into());
    finding.detail.insert("correlation".to_owned(), optimum.correlation.into());
    let advised = advised(pair, optimum);
    let left = remaining(pair, &advised.rotation(&level), optimum.correlation);
    finding.detail.insert("remaining".to_owned(), to_detail(&left).into());
    left
}

/// What turns about up are about: the camera's up where its tilt is not known.
fn which_up(pair: &Comparison) -> &'static str {
    if pair.camera_tilt_roll_deg.is_some() { "world" } else { "camera" }
}

/// Errors after a rotation is undone.
fn remaining(pair: &Comparison, rotation: &Rotation3<f64>, correlation: f64) -> Remaining {
    let (mirror, cg) = (&pair.mirror, pair.cg_on_equal_terms());
    let key_deg = mirror
        .lights
        .key()
        .zip(pair.cg.lights.key())
        .map(|(a, b)| angle_between_rad(&a.direction, &(rotation * b.direction)).to_degrees());
    let undone = Rotation {
        cg_to_mirror: *rotation,
        angle_deg: Estimate::new(rotation.angle().to_degrees(), 0.0),
        correlation,
        correlation_before: correlation,
    };
    let turned = |source: &Source| Source { direction: rotation * source.direction, ..*source };
    let sources: Vec<Source> = cg.sources.iter().map(turned).collect();
    let towards: Vector3<f64> = cg.geometry.towards_camera();
    let turned_stops = extremes(&sources, &towards)
        .and_then(|e| Stops::from_ratio(e.bright.luminance, e.dark.luminance))
        .map(|stops| stops.0);
    Remaining {
        key_deg,
        exposure_stops: median_stops(&shared_directions(mirror, cg, Some(&undone))).map(|m| m.0),
        key_fill_stops: turned_stops.zip(ratio_stops(mirror)).map(|(c, m)| c - m),
        colour_stops: None,
    }
}

fn to_detail(left: &Remaining) -> Map<String, serde_json::Value> {
    let numbers = [
        ("key_angle_deg", left.key_deg),
        ("exposure_stops", left.exposure_stops),
        ("key_fill_stops", left.key_fill_stops),
    ];
    let known = numbers.into_iter().filter_map(|(key, value)| Some((key, value.filter(|v| v.is_finite())?)));
    known.map(|(key, value)| (key.to_owned(), json!(value))).collect()
}
