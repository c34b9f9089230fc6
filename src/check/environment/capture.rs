//! The reference's half: is the capture itself sound, and does it agree with the photographed sphere?

use nalgebra::Vector3;
use serde_json::{Value, json};

use super::Captured;
use super::prediction::{Compared, Predicted};
use crate::base::statistics::median;
use crate::base::units::Stops;
use crate::compare::Comparison;
use crate::compare::pairing::pair_sides;
use crate::findings::remedy::{Ask, Subject};
use crate::findings::{CheckId, Finding, Remedy, Verdict};
use crate::light::environment::{Seam, Survey};
use crate::light::radiance::{COMPARISON_FWHM_DEG, DirectionGrid};
use crate::sphere::azimuth_elevation_deg;
use crate::wrap_deg;

/// A lat-long picture is twice as wide as high within this fraction.
const ASPECT_SLACK: f64 = 0.01;

/// Black or masked directions are reported from this fraction on.
const TOLD_EMPTY: f64 = 1e-3;

/// Two spheres show different things where their difference departs from its median by this many stops.
const STRANGE_STOPS: f64 = 1.0;

/// A difference is reported from this solid angle on, sr (a disc of about 10° across).
const STRANGE_STERADIAN: f64 = 0.024;

/// The brightest light is whole if no more than this is missing, stops.
const WHOLE_STOPS: f64 = 0.2;

/// Cells this near belong to the same thing, rad.
const TOUCHING_RAD: f64 = 0.08;

/// The picture's own faults, where no sphere can be compared.
pub(super) fn judge_picture_alone(finding: &mut Finding, survey: &Survey) {
    finding.detail.extend(picture_detail(survey));
    let (faults, notes) = (faults(survey), notes(survey));
    "no sphere could be compared with the environment".clone_into(&mut finding.reason);
    if !faults.is_empty() {
        finding.verdict = Verdict::Mismatch;
    }
    say(finding, &faults, &notes);
}

pub(super) fn judge(
    finding: &mut Finding,
    captured: &Captured<'_>,
    predicted: &Predicted,
    photograph: &Compared,
    cg: &Compared,
) {
    let survey = &captured.survey;
    photograph.value(finding);
    finding.verdict = photograph.verdict();
    finding.detail.extend(picture_detail(survey));
    finding.detail.insert("heading_deg".to_owned(), wrap_deg(predicted.stance.heading_deg).into());
    finding.detail.insert("predicted_against_photographed".to_owned(), photograph.detail());
    let off = photograph.off_words();
    if !off.is_empty() {
        finding.reason = format!("the sphere it predicts, compared with the photographed one: {off}");
    }
    if finding.verdict == Verdict::Mismatch {
        // The checks speak of the CG; here the environment stands in its place.
        finding.remedy = Remedy::of_all(photograph.remedies(), Subject::Environment);
        if cg.verdict() == Verdict::Match {
            push(&mut finding.reason, "the CG follows this environment, so the capture is what is wrong");
        }
    }
    let (faults, mut notes) = (faults(survey), notes(survey));
    let exposure_stops = photograph.value_of(&CheckId::Exposure).unwrap_or(0.0);
    notes.extend(brightest(finding, survey, &photograph.comparison, exposure_stops));
    notes.extend(stranger(finding, &photograph.comparison));
    if !faults.is_empty() {
        finding.verdict = Verdict::Mismatch;
    }
    say(finding, &faults, &notes);
}

fn say(finding: &mut Finding, faults: &[(String, Ask)], notes: &[String]) {
    for (fault, remedy) in faults {
        push(&mut finding.reason, fault);
        finding.remedy.add(*remedy);
    }
    for note in notes {
        push(&mut finding.reason, note);
    }
}

fn push(text: &mut String, more: &str) {
    if !text.is_empty() {
        text.push_str("; ");
    }
    text.push_str(more);
}

/// Faults of the picture with their remedies.
fn faults(survey: &Survey) -> Vec<(String, Ask)> {
    let mut faults = Vec::new();
    let mut fault = |what: String, remedy: Ask| faults.push((what, remedy));
    if !survey.is_float {
        fault(
            "the picture is stored as integers: it has little range and probably a view transform".to_owned(),
            Ask::FloatCapture,
        );
    }
    if (survey.aspect / 2.0 - 1.0).abs() > ASPECT_SLACK {
        fault(format!("it is {:.2} times as wide as high, not 2", survey.aspect), Ask::WholeCapture);
    }
    if let Some(seam) = survey.edge_seam {
        fault(format!("its left and right edges do not join up: {}", seam_words(&seam)), Ask::StitchedCapture);
    }
    for (pole, name) in survey.pole_spread.iter().zip(["top", "bottom"]) {
        if let Some(seam) = pole {
            fault(
                format!(
                    "its {name} row should be uniform, because it is a single direction, but varies: {}",
                    seam_words(seam)
                ),
                Ask::CaptureProjection,
            );
        }
    }
    faults
}

fn seam_words(seam: &Seam) -> String {
    format!("{:.2} stops where neighbours differ by {:.2}", seam.stops, seam.usual_stops)
}

/// What the reader should know without its being a fault.
fn notes(survey: &Survey) -> Vec<String> {
    let mut notes = Vec::new();
    if survey.empty_fraction > TOLD_EMPTY {
        notes.push(format!("{:.1} % of all directions are black or missing", 100.0 * survey.empty_fraction));
    }
    if let Some(deg) = survey.nadir_patch_deg {
        notes.push(format!("a round patch of about {deg:.0} deg radius covers the nadir"));
    }
    if let Some(stops) = survey.nadir_dark_stops {
        notes.push(format!("the nadir is {stops:.1} stops darker than the ground around it: a tripod, or its shadow"));
    }
    notes
}

fn picture_detail(survey: &Survey) -> serde_json::Map<String, Value> {
    let mut detail = serde_json::Map::new();
    let mut insert = |key: &str, value: Value| drop(detail.insert(key.to_owned(), value));
    insert("is_float", survey.is_float.into());
    insert("aspect", survey.aspect.into());
    insert("clipped_sr", survey.clipping.steradian.into());
    insert("empty_fraction", survey.empty_fraction.into());
    if let Some(stops) = survey.range_stops {
        insert("dynamic_range_stops", stops.into());
    }
    if let Some(level) = survey.clipping.plateau {
        insert("suspected_ceiling", level.into());
        insert("suspected_ceiling_sr", survey.clipping.plateau_steradian.into());
    }
    if let Some(seam) = survey.edge_seam {
        insert("edge_seam_stops", seam.stops.into());
    }
    for (pole, key) in survey.pole_spread.iter().zip(["top_row_spread_stops", "bottom_row_spread_stops"]) {
        if let Some(seam) = pole {
            insert(key, seam.stops.into());
        }
    }
    if let Some(deg) = survey.nadir_patch_deg {
        insert("nadir_patch_deg", deg.into());
    }
    if let Some(stops) = survey.nadir_dark_stops {
        insert("nadir_dark_stops", stops.into());
    }
    detail
}

/// The sun or brightest light: whole, or what the photographed sphere says it should give.
fn brightest(finding: &mut Finding, survey: &Survey, comparison: &Comparison, exposure_stops: f64) -> Option<String> {
    let (mirror, environment) = (&comparison.mirror.lights, &comparison.cg.lights);
    let key = mirror.key()?;
    let pairing = pair_sides(&comparison.mirror, &comparison.cg);
    let partner = pairing.pairs.iter().find(|p| p.0 == 0).map(|p| &environment.all[p.1]);
    // Beyond what the whole environment is over or under.
    let missing = partner
        .and_then(|p| Stops::from_ratio(key.illuminance.value, p.illuminance.value))
        .map(|stops| stops.0 + exposure_stops);
    let cut = missing.is_none_or(|stops| stops > WHOLE_STOPS);
    let [azimuth, elevation] = azimuth_elevation_deg(&key.direction);
    finding.detail.insert(
        "brightest_light".to_owned(),
        json!({ "azimuth_deg": azimuth, "elevation_deg": elevation, "whole": !cut && !key.clipped,
                "recoverable": !key.clipped }),
    );
    if let Some(stops) = missing {
        finding.detail.insert("brightest_light_missing_stops".to_owned(), stops.into());
    }
    let ceiling = match (survey.clipping.steradian > 0.0, survey.clipping.plateau) {
        (true, _) => "the environment is clipped".to_owned(),
        (false, Some(level)) => {
            format!("many pixels have exactly the largest value, {level}: it is probably clipped there")
        }
        (false, None) => return None,
    };
    match (key.clipped, missing) {
        (true, _) => Some(format!(
            "{ceiling}; the photographed sphere clips too, so the brightest light cannot be recovered from it; a shorter exposure or a grey sphere would help"
        )),
        (false, None) => Some(format!(
            "{ceiling}, and the brightest light is missing; the photographed sphere shows all of it: add it by hand"
        )),
        (false, Some(stops)) if cut => Some(format!(
            "{ceiling}; its brightest light can be recovered from the photographed sphere, which shows it {:.2} times as strong",
            stops.exp2()
        )),
        // An evenly lit lamp looks like a clip level too; nothing is missing.
        (false, Some(_)) => None,
    }
}

/// The largest thing that only one of the two shows: crew, a tripod, something moved.
fn stranger(finding: &mut Finding, comparison: &Comparison) -> Option<String> {
    let grid = DirectionGrid::shared();
    let differences = differences(comparison);
    let mut left: Vec<bool> = differences.iter().map(|d| d.abs() > STRANGE_STOPS).collect();
    let mut largest = (0.0, Vector3::zeros(), 0.0);
    for start in 0..left.len() {
        if !left[start] {
            continue;
        }
        let (mut open, mut steradian, mut sum, mut stops) = (vec![start], 0.0, Vector3::zeros(), 0.0);
        left[start] = false;
        while let Some(cell) = open.pop() {
            let sr = grid.steradian[cell];
            steradian += sr;
            sum += grid.directions[cell] * sr;
            stops += differences[cell] * sr;
            for (other, angle) in grid.neighbours(cell) {
                let other = usize::from(*other);
                let alike = differences[other] * differences[cell] > 0.0;
                if left[other] && alike && f64::from(*angle) < TOUCHING_RAD {
                    left[other] = false;
                    open.push(other);
                }
            }
        }
        if steradian > largest.0 {
            largest = (steradian, sum, stops / steradian);
        }
    }
    let (steradian, sum, stops) = largest;
    if steradian < STRANGE_STERADIAN {
        return None;
    }
    let [azimuth, elevation] = azimuth_elevation_deg(&sum.try_normalize(1e-9)?);
    finding.detail.insert(
        "differs_most_at".to_owned(),
        json!({ "azimuth_deg": azimuth, "elevation_deg": elevation, "steradian": steradian, "stops": stops }),
    );
    let than = if stops > 0.0 { "brighter" } else { "darker" };
    Some(format!(
        "around azimuth {azimuth:.0}, elevation {elevation:.0} deg it is {:.1} stops {than} than the photographed sphere over {steradian:.2} sr: crew, a tripod, or something that moved",
        stops.abs()
    ))
}

/// log2 of environment over photograph about its median, by direction; 0 where either is unseen, clipped or a light.
fn differences(comparison: &Comparison) -> Vec<f64> {
    let grid = DirectionGrid::shared();
    let (mirror, environment) = (&comparison.mirror, comparison.cg_on_equal_terms());
    let ours = mirror.image.map.compared();
    let theirs = environment.image.map.compared();
    let margin = (1.5 * COMPARISON_FWHM_DEG).to_radians();
    let ratio = |cell: usize| {
        let direction = &grid.directions[cell];
        let source = comparison.rotation.as_ref().map_or(*direction, |r| r.back(direction));
        let (a, b) = (ours[cell]?, theirs[grid.cell(&source)]?);
        let free = !mirror.lights.covers(direction, margin) && !environment.lights.covers(&source, margin);
        let usable = free && a.clipped < 0.01 && b.clipped < 0.01;
        Stops::from_ratio(b.luminance, a.luminance).filter(|_| usable).map(|s| s.0)
    };
    let all: Vec<Option<f64>> = (0..grid.directions.len()).map(ratio).collect();
    let usual = median(all.iter().flatten().copied()).unwrap_or(0.0);
    all.into_iter().map(|d| d.map_or(0.0, |d| d - usual)).collect()
}
