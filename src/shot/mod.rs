//! One shot from its sheet to its report.

mod describe;
mod intake;

use std::collections::BTreeMap;

use rayon::prelude::*;

use crate::camera::UNKNOWN_FOV_RANGE_DEG;
use crate::check::{CHECKS, Comparison, blank};
use crate::image::Frame;
use crate::radiance::{Radiometry, RecordingLimit};
use crate::report::{ErrorNote, Finding, Report, ShotVerdict, SphereRole, ToolNote, Verdict};
use crate::rotation::find_rotation;
use crate::sheet::{AlphaKind, CgSphereSpec, MirrorSpec, Reflectance, ShotSheet};
use crate::side::{ReflectanceDoubt, Side, SideRequest, Trust};
use crate::sphere::find::{find_sphere, given_sphere};
use crate::sphere::{MirrorGeometry, SphereFit, SphereSearch, cone_of_outline};
use crate::{Error, ErrorKind, Result};
use crate::camera::View;

/// Reflectance taken where nothing tells it.
const UNKNOWN_REFLECTANCE: f64 = 0.7;

/// Its uncertainty, stops, all channels together.
const UNKNOWN_REFLECTANCE_SD_STOPS: f64 = 0.35;

/// Uncertainty of a given reflectance without one of its own, stops (common practice, no source).
const GIVEN_REFLECTANCE_SD_STOPS: f64 = 0.1;

/// Uncertainty of an outline given by hand, px.
const GIVEN_OUTLINE_SD_PX: f64 = 0.25;

/// How a shot is run.
#[derive(Debug, Clone, Copy, Default)]
pub struct RunOptions {
    /// Make the evidence picture too.
    pub picture: bool,
}

/// A shot's report and picture.
#[derive(Debug, Clone)]
pub struct ShotOutcome {
    /// The report.
    pub report: Report,
    /// The evidence picture as PNG bytes, where asked for and possible.
    pub picture_png: Option<Vec<u8>>,
}

/// Frames of a shot by what they are.
struct Frames {
    plate: Option<Frame>,
    mirrors: BTreeMap<String, Frame>,
    cg: BTreeMap<String, Frame>,
}

/// Checks one shot. Never fails: what went wrong is in the report.
pub fn check_shot(sheet: &ShotSheet, options: &RunOptions) -> ShotOutcome {
    let mut report = empty_report(sheet);
    match run(sheet, options, &mut report) {
        Ok(picture_png) => ShotOutcome { report, picture_png },
        Err(error) => {
            report.verdict = ShotVerdict::Error;
            report.error = Some(note(&error));
            ShotOutcome { report, picture_png: None }
        }
    }
}

/// An error as the report holds it.
pub fn note(error: &Error) -> ErrorNote {
    ErrorNote { file: crate::printable(&error.file), cause: error.cause.clone(), remedy: error.remedy.clone() }
}

fn empty_report(sheet: &ShotSheet) -> Report {
    Report {
        format: crate::report::REPORT_FORMAT.to_owned(),
        tool: ToolNote::current(),
        shot: sheet.shot.clone(),
        version: sheet.cg.version.clone(),
        verdict: ShotVerdict::Unsure,
        spheres: Vec::new(),
        findings: Vec::new(),
        inputs: Vec::new(),
        assumptions: Vec::new(),
        warnings: Vec::new(),
        not_used: sheet.not_used(),
        notes: sheet.notes.clone(),
        error: None,
    }
}

fn run(sheet: &ShotSheet, options: &RunOptions, report: &mut Report) -> Result<Option<Vec<u8>>> {
    let mut frames = open_frames(sheet, report)?;
    let mut pairs = Vec::new();
    for mirror in &sheet.mirrors {
        let Some(cg) = sheet.cg_sphere(&mirror.name) else {
            report.warnings.push(format!("mirror {}: no CG sphere is given for it", mirror.name));
            continue;
        };
        pairs.extend(check_pair(sheet, mirror, cg, &mut frames, report)?);
    }
    conclude(sheet, report);
    if !options.picture {
        return Ok(None);
    }
    pairs.first().map(|pair| evidence::picture(pair, report)).transpose()
}

/// Opens every frame of the shot, all at once; the first error in the sheet's order counts.
fn open_frames(sheet: &ShotSheet, report: &mut Report) -> Result<Frames> {
    let mut jobs: Vec<(String, &'static str, &crate::sheet::ImageSpec)> = Vec::new();
    jobs.extend(sheet.plate.iter().map(|p| (String::new(), "plate", p)));
    for mirror in &sheet.mirrors {
        jobs.extend(mirror.bracket.iter().map(|spec| (mirror.name.clone(), "mirror", spec)));
    }
    jobs.extend(sheet.cg.spheres.iter().map(|s| (s.mirror.clone().unwrap_or_default(), "cg", &s.image)));
    let opened: Vec<Result<Frame>> =
        jobs.par_iter().map(|(_, role, spec)| intake::open_frame(spec, &sheet.base_dir, role, *role == "cg")).collect();
    let mut frames = Frames { plate: None, mirrors: BTreeMap::new(), cg: BTreeMap::new() };
    for ((name, role, spec), frame) in jobs.into_iter().zip(opened) {
        let frame = frame?;
        report.inputs.push(frame.record.clone());
        report.warnings.extend(frame.warnings.iter().map(|w| format!("{}: {w}", frame.record.file)));
        match role {
            "plate" => frames.plate = Some(frame),
            "cg" => drop(frames.cg.insert(name, frame)),
            _ => frames.mirrors.entry(name).or_default().push(Exposure { stops: spec.exposure_stops, frame }),
        }
    }
    Ok(frames)
}
