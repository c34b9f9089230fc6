//! `grey-sphere`: does the grey sphere agree with the mirror sphere?

mod outline;
mod point;
mod recover;
mod shading;

use serde_json::{Map, Value, json};

use super::{
    Addition, CheckDoc, PairEvidence, ShotCheck, ShotEvidence, blank_of_shot, combined, main_uncertainty, put,
    set_value_and_verdict,
};
use crate::Result;
use crate::base::units::{Estimate, Stops};
use crate::check::key_fill_ratio::ratio_sd_stops;
use crate::compare::sphere_measurement::SphereMeasurement;
use crate::findings::remedy::{Ask, Step};
use crate::findings::{Concerns, Finding, Verdict};
use crate::image::Frame;
use crate::register::bracket::{BracketFrame, merge, stops_from_metadata};
use crate::sheet::{MatteSpec, ShotSheet};
use crate::sphere::azimuth_elevation_deg;
use crate::sphere::find::told_sphere;

pub use super::docs::grey_sphere::DOC;
use outline::matte_outline;
pub use point::ShadedPoint;
pub use recover::{RecoveredLight, recover};
pub use shading::{Agreement, agreement, shaded_points};

/// No paint is a perfect matt one: contrast and colour differ by this much (common practice, no source).
const PAINT_SD_STOPS: f64 = 0.05;

/// Reflectance taken where the sheet gives none.
const USUAL_GREY: f64 = 0.18;

/// The check.
#[derive(Debug)]
pub struct GreySphere;

impl ShotCheck for GreySphere {
    fn doc(&self) -> &'static CheckDoc {
        &DOC
    }

    fn is_asked(&self, sheet: &ShotSheet) -> bool {
        !sheet.grey_spheres.is_empty()
    }

    fn needs(&self) -> &'static str {
        "no grey sphere is given; add \"grey_spheres\" with a frame and its reflectance"
    }

    fn run(&self, shot: &ShotEvidence<'_>) -> Result<Addition> {
        let mut addition = Addition::default();
        for matte in &shot.sheet.grey_spheres {
            one(shot, matte, &mut addition)?;
        }
        Ok(addition)
    }
}

fn one(shot: &ShotEvidence<'_>, matte: &MatteSpec, addition: &mut Addition) -> Result<()> {
    let mut finding = blank_of_shot(&DOC, Concerns::Reference, shot.sheet.tolerances.key_fill.stops);
    finding.detail.insert("matte".to_owned(), matte.name.clone().into());
    let Some(pair) = shot.pairs.first() else {
        finding.reason = "no mirror sphere could be measured to compare it with".to_owned();
        addition.findings.push(finding);
        return Ok(());
    };
    let points = points_of(shot, matte, &pair.comparison.mirror, addition)?;
    finding.mirror = Some(pair.comparison.mirror.name.clone());
    judge(&mut finding, pair, &points, matte.reflectance.is_some());
    addition.findings.push(finding);
    Ok(())
}

/// The points of a grey sphere that is as told, or else shaded as the mirror's light says.
///
/// # Errors
/// Where a frame cannot be opened, or no sphere in it is found.
pub(crate) fn points_of(
    shot: &ShotEvidence<'_>,
    matte: &MatteSpec,
    mirror: &SphereMeasurement,
    addition: &mut Addition,
) -> Result<Vec<ShadedPoint>> {
    let frame = open(shot, matte, addition)?;
    let view = (shot.view)(&frame);
    let who = format!("matte {}", matte.name);
    let fit = match told_sphere(&frame, &view, matte.told(), &who, &mut addition.warnings)? {
        Some(fit) => fit,
        None => matte_outline(&frame, &view, mirror)?,
    };
    note_measured_frame(matte, &frame, addition);
    let reflectance = matte.reflectance.unwrap_or([USUAL_GREY; 3]);
    if matte.reflectance.is_none() {
        addition.assumptions.push(format!(
            "matte {}: reflectance unknown, {USUAL_GREY} assumed; levels and recovered strengths depend on it",
            matte.name
        ));
    }
    Ok(shaded_points(&frame, &view, &fit, reflectance))
}

/// Which exposure of a bracket a told place is held against.
fn note_measured_frame(matte: &MatteSpec, merged: &Frame, addition: &mut Addition) {
    let Some(key) = matte.told().key().filter(|_| matte.bracket.len() > 1) else { return };
    addition.assumptions.push(format!(
        "matte {}: {key} is measured in {}, the frame of the bracket exposed most like the plate; the others are used without moving them",
        matte.name, merged.record.file
    ));
}

/// Opens the grey sphere's exposures and merges them.
fn open(shot: &ShotEvidence<'_>, matte: &MatteSpec, addition: &mut Addition) -> Result<Frame> {
    let mut exposures = Vec::new();
    for spec in &matte.bracket {
        let frame = (shot.open)(spec, "matte")?;
        addition.inputs.push(frame.record.clone());
        addition.warnings.extend(frame.warnings.iter().map(|w| format!("{}: {w}", frame.record.file)));
        let metadata = || shot.plate.and_then(|plate| stops_from_metadata(&plate.meta, &frame.meta));
        let stops = spec.exposure_stops.map(Stops).or_else(metadata).unwrap_or(Stops(0.0));
        exposures.push(BracketFrame { frame, stops });
    }
    merge(exposures)
}

/// Holds the points against the mirror's light and fills the finding.
fn judge(finding: &mut Finding, pair: &PairEvidence<'_>, points: &[ShadedPoint], reflectance_known: bool) {
    let mirror = &pair.comparison.mirror;
    let recovered = recover(mirror, points, reflectance_known);
    let Some(agreement) = agreement(mirror, points, &recovered) else {
        finding.reason = "too little of the grey sphere is visible and unclipped".to_owned();
        finding.remedy = Ask::WholeGreySphere.into();
        return;
    };
    put(&mut finding.detail, "level_stops", agreement.level_stops.widened(mirror.reflectance.common_sd_stops));
    put(&mut finding.detail, "red_green_stops", agreement.red_green_stops.widened(PAINT_SD_STOPS));
    put(&mut finding.detail, "blue_green_stops", agreement.blue_green_stops.widened(PAINT_SD_STOPS));
    finding.detail.insert("points".to_owned(), points.len().into());
    finding.detail.insert("reflectance_known".to_owned(), reflectance_known.into());
    if !recovered.is_empty() {
        let list: Vec<Value> = recovered.iter().map(|light| entry(mirror, light)).collect();
        finding.detail.insert("recovered_lights".to_owned(), list.into());
    }
    let uncertainties = [
        (agreement.contrast_stops.sd, "the grey sphere is uneven"),
        (PAINT_SD_STOPS, "no paint is perfectly matt"),
        (ratio_sd_stops(mirror), "part of the mirror's light had to be estimated, because it cannot show it"),
    ];
    set_value_and_verdict(
        finding,
        Estimate::new(agreement.contrast_stops.value, combined(&uncertainties)),
        main_uncertainty(&uncertainties),
    );
    if finding.verdict == Verdict::Mismatch {
        finding.remedy = Step::GreyContrast { more_stops: agreement.contrast_stops.value }.into();
    }
}

/// A recovered light in the finding's detail.
fn entry(mirror: &SphereMeasurement, light: &RecoveredLight) -> Value {
    let seen = &mirror.lights.all[light.light];
    let [azimuth_deg, elevation_deg] = azimuth_elevation_deg(&seen.direction);
    let mut entry = Map::new();
    entry.insert("light".to_owned(), json!(light.light + 1));
    entry.insert("azimuth_deg".to_owned(), json!(azimuth_deg));
    entry.insert("elevation_deg".to_owned(), json!(elevation_deg));
    put(&mut entry, "illuminance", light.illuminance);
    entry.insert("illuminance_rgb".to_owned(), json!(light.illuminance_rgb));
    if let Some(stops) = Stops::from_ratio(light.illuminance.value, seen.illuminance.value) {
        put(&mut entry, "above_clipped_stops", Estimate::new(stops.0, light.stops_sd()));
    }
    Value::Object(entry)
}
