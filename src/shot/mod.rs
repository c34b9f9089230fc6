//! One shot from its sheet to its report.

mod bracket;
mod describe;
mod evidence;
mod ignore;
mod intake;
mod mirror;
mod pair;
mod query;
mod reconcile;
mod reflectance;
mod rest;

pub use query::{SphereOutcome, SphereQuery, measure_sphere};
pub use reflectance::{MeasuredReflectance, ReflectanceQuery, measure_reflectance};

use std::collections::BTreeMap;

use rayon::prelude::*;
use serde_json::json;

use crate::Result;
use crate::camera::View;
use crate::check::FileNote;
use crate::image::Frame;
use crate::report::{Attachment, ErrorNote, Report, ShotVerdict, ToolNote, Verdict};
use crate::sheet::{ImageSpec, IsoDate, ShotSheet};
use crate::sphere::find::{find_sphere, given_sphere};
use crate::sphere::{Outline, SphereSearch};

/// How a shot is run.
#[derive(Debug, Clone, Copy, Default)]
pub struct RunOptions {
    /// Make the evidence picture too.
    pub picture: bool,
    /// Make pictures of the spheres that the environment predicts, as attachments.
    pub predict: bool,
}

/// A shot's report and picture.
#[derive(Debug, Clone)]
pub struct ShotOutcome {
    /// The report.
    pub report: Report,
    /// The evidence picture as PNG bytes, where asked for and possible.
    pub picture_png: Option<Vec<u8>>,
    /// Further files that checks made, to be written beside the report.
    pub attachments: Vec<Attachment>,
}

/// Frames of a shot by what they are.
struct Frames {
    plate: Option<Frame>,
    mirrors: BTreeMap<String, Vec<Exposure>>,
    cg: BTreeMap<String, Frame>,
    /// What each file says about itself, in the sheet's order.
    notes: Vec<FileNote>,
}

/// One frame of a mirror's bracket with the stops that the sheet states for it.
struct Exposure {
    stops: Option<f64>,
    frame: Frame,
}

/// Checks one shot. Never fails: what went wrong is in the report.
pub fn check_shot(sheet: &ShotSheet, options: RunOptions) -> ShotOutcome {
    let mut report = empty_report(sheet);
    let mut attachments = Vec::new();
    match run(sheet, options, &mut report, &mut attachments) {
        Ok(picture_png) => ShotOutcome { report, picture_png, attachments },
        Err(error) => {
            report.verdict = ShotVerdict::Error;
            report.error = Some(note(&error));
            ShotOutcome { report, picture_png: None, attachments: Vec::new() }
        }
    }
}

/// An error as the report holds it.
pub fn note(error: &crate::Error) -> ErrorNote {
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
        sequence: None,
        provenance: None,
        error: None,
    }
}

fn run(
    sheet: &ShotSheet,
    options: RunOptions,
    report: &mut Report,
    attachments: &mut Vec<Attachment>,
) -> Result<Option<Vec<u8>>> {
    let mut frames = open_frames(sheet, report)?;
    assumptions(report);
    let mut pairs = Vec::new();
    for mirror in &sheet.mirrors {
        let Some(cg) = sheet.cg_sphere(&mirror.name) else {
            report.warnings.push(format!("mirror {}: no CG sphere is given for it", mirror.name));
            continue;
        };
        pairs.extend(pair::check(sheet, mirror, cg, &mut frames, report)?);
    }
    attachments.extend(rest::check(sheet, &frames, &pairs, options.predict, report));
    conclude(sheet, report, IsoDate::today_utc());
    if !options.picture {
        return Ok(None);
    }
    pairs.first().map(|pair| evidence::picture(pair, report)).transpose()
}

/// Opens every frame of the shot, all at once; the first error in the sheet's order counts.
fn open_frames(sheet: &ShotSheet, report: &mut Report) -> Result<Frames> {
    let mut jobs: Vec<(String, &'static str, &ImageSpec)> = Vec::new();
    jobs.extend(sheet.plate.iter().map(|p| (String::new(), "plate", p)));
    for mirror in &sheet.mirrors {
        jobs.extend(mirror.bracket.iter().map(|spec| (mirror.name.clone(), "mirror", spec)));
    }
    jobs.extend(sheet.cg.spheres.iter().map(|s| (s.mirror.clone().unwrap_or_default(), "cg", &s.image)));
    let opened: Vec<Result<Frame>> =
        jobs.par_iter().map(|(_, role, spec)| intake::open_frame(spec, &sheet.base_dir, role, *role == "cg")).collect();
    let plate_clip = sheet.plate.as_ref().and_then(|p| p.clip_level);
    let mut frames = Frames { plate: None, mirrors: BTreeMap::new(), cg: BTreeMap::new(), notes: Vec::new() };
    for ((name, role, spec), frame) in jobs.into_iter().zip(opened) {
        let mut frame = frame?;
        if role == "mirror" && frame.clip_level.is_none() {
            // The sphere is shot with the plate's camera, so it clips where the plate does.
            frame.clip_level = plate_clip.map(|level| [level as f32; 3]);
        }
        report.inputs.push(frame.record.clone());
        frames.notes.push(file_note(role, &name, &frame));
        report.warnings.extend(frame.warnings.iter().map(|w| format!("{}: {w}", frame.record.file)));
        match role {
            "plate" => frames.plate = Some(frame),
            "cg" => drop(frames.cg.insert(name, frame)),
            _ => frames.mirrors.entry(name).or_default().push(Exposure { stops: spec.exposure_stops, frame }),
        }
    }
    Ok(frames)
}

fn file_note(role: &'static str, mirror: &str, frame: &Frame) -> FileNote {
    FileNote {
        role,
        mirror: (!mirror.is_empty()).then(|| mirror.to_owned()),
        file: frame.record.file.clone(),
        size: frame.size,
        meta: frame.meta.clone(),
    }
}

/// The conventions that the numbers stand on.
fn assumptions(report: &mut Report) {
    report.assumptions = [
        "directions are in camera axes: azimuth 0 from the camera side, +90 frame right, 180 from behind; elevation + above",
        "errors are CG minus plate side; turns are seen from above",
        "key/fill is the largest over the smallest illuminance of a small matte patch within 75 deg of the line to the camera; it is not the set's key-to-fill lamp ratio",
        "luminance and colour in linear light with BT.709 primaries and D65 white; colour temperature as balanced in the file",
    ]
    .map(str::to_owned)
    .to_vec();
}

/// Honours waivers, sorts the findings worst first and sets the shot's verdict: the worst of what concerns the CG.
fn conclude(sheet: &ShotSheet, report: &mut Report, today: IsoDate) {
    for finding in &mut report.findings {
        let waiver = sheet.waivers.iter().find(|w| w.covers(&finding.check, today));
        if let Some(w) = waiver.filter(|_| finding.verdict == Verdict::Mismatch) {
            finding.waived = Some(json!({ "by": w.by, "why": w.why, "until": w.until }));
        } else if finding.verdict == Verdict::Mismatch
            && let Some(w) = sheet.waivers.iter().find(|w| w.check == finding.check)
        {
            let ended =
                format!("the waiver of {} by {} ({}) ended on {} and counts no more", w.check, w.by, w.why, w.until);
            if !report.warnings.contains(&ended) {
                report.warnings.push(ended);
            }
        }
    }
    report.findings.sort_by_key(|f| std::cmp::Reverse((f.verdict, f.waived.is_none())));
    let counted = report.findings.iter().filter(|f| f.concerns == "cg").filter_map(|f| match f.verdict {
        Verdict::NotGiven => None,
        Verdict::Mismatch if f.waived.is_some() => Some(ShotVerdict::Match),
        Verdict::Mismatch => Some(ShotVerdict::Mismatch),
        Verdict::Unsure => Some(ShotVerdict::Unsure),
        Verdict::Match => Some(ShotVerdict::Match),
    });
    let counted = counted.max().unwrap_or(ShotVerdict::Unsure);
    report.verdict = if report.error.is_some() { ShotVerdict::Error } else { counted };
}

/// Uncertainty of an outline given by hand, px (common practice, no source).
const GIVEN_OUTLINE_SD_PX: f64 = 0.25;

/// The sphere of a frame: as given, else found.
fn find(frame: &Frame, view: &View, given: Option<Outline>) -> Result<SphereSearch> {
    match given {
        Some(outline) => {
            let best = given_sphere(frame, view, &outline, GIVEN_OUTLINE_SD_PX)?;
            Ok(SphereSearch { best, rivals: Vec::new() })
        }
        None => find_sphere(frame, view),
    }
}
