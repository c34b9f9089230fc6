//! One shot from its sheet to its report.

mod bracket;
mod candidates;
mod ceiling;
mod crop;
mod describe;
mod drawn;
mod encoded_light;
mod evidence;
mod ignore;
mod implausible;
mod intake;
mod mirror;
mod pair;
mod part;
mod plan;
mod query;
mod reconcile;
mod reflectance;
mod rest;
mod set;
mod sought;
mod stops;
mod together;

use candidates::Help;
use part::Scope;
pub use query::{SphereOutcome, SphereQuery, measure_sphere, outlines_to_weigh};
pub use reflectance::{MeasuredReflectance, ReflectanceQuery, measure_reflectance};
pub use set::{LightDistance, PhotographedSet, SetMirror, measure_set};

use std::collections::BTreeMap;

use serde_json::json;

use crate::Result;
use crate::base::date::IsoDate;
use crate::base::parallel;
use crate::check::FileNote;
use crate::compare::uncertainty::clipping;
use crate::findings::{Attachment, Concerns, ErrorNote, Report, ShotVerdict, Verdict, detail};
use crate::image::{Frame, Opened, Wanted};
use crate::light::radiance::DirectionGrid;
use crate::report::wording::undecided;
use crate::report::write::CANDIDATES_ENDING;
use crate::sheet::{ImageSpec, ShotSheet};

/// How a shot is run.
#[derive(Debug, Clone, Copy, Default)]
#[allow(clippy::struct_excessive_bools, reason = "each is a switch of its own")]
pub struct RunOptions {
    /// Make the evidence picture too.
    pub picture: bool,
    /// Draw its panels by direction as a lat-long map seen from inside.
    pub from_inside: bool,
    /// Make pictures of the spheres that the environment predicts, as attachments.
    pub predict: bool,
    /// Hand over files that mend or complete what came from set, as attachments.
    pub fixes: bool,
    /// The frame of a moving shot, told in the picture.
    pub of_frame: Option<u32>,
}

/// A shot's report and pictures.
#[derive(Debug, Clone)]
pub struct ShotOutcome {
    /// The report; of a moving shot that of its worst frame.
    pub report: Report,
    /// The evidence picture as PNG bytes, where asked for and possible.
    pub picture_png: Option<Vec<u8>>,
    /// Further files to be written beside the report; of a moving shot the curve over time too.
    pub attachments: Vec<Attachment>,
}

impl ShotOutcome {
    /// A report without pictures or other files.
    pub fn of_report(report: Report) -> Self {
        Self { report, picture_png: None, attachments: Vec::new() }
    }
}

/// Frames of a shot by what they are.
struct Frames {
    plate: Option<Frame>,
    mirrors: BTreeMap<String, Vec<Exposure>>,
    cg: BTreeMap<String, Frame>,
    /// What each file says about itself, in the sheet's order.
    notes: Vec<FileNote>,
    /// Where the spheres stand, where plate or mirror frames were read in part only.
    places: Option<part::Places>,
    /// Plate or mirror frames were read in part.
    set_in_part: bool,
    /// What was read in part leaves doubt: everything has to be read.
    in_doubt: bool,
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
            // The other files belong to numbers that the report does not hold.
            attachments.retain(|file| file.ending == CANDIDATES_ENDING);
            ShotOutcome { report, picture_png: None, attachments }
        }
    }
}

/// An error as the report holds it.
pub fn note(error: &crate::Error) -> ErrorNote {
    error.into()
}

fn empty_report(sheet: &ShotSheet) -> Report {
    Report {
        not_used: sheet.not_used(),
        notes: sheet.notes.clone(),
        ..Report::begun(&sheet.shot, sheet.cg.version.clone())
    }
}

/// Checks the shot on the parts of its frames that it takes, and on whole frames where those leave doubt.
fn run(
    sheet: &ShotSheet,
    options: RunOptions,
    report: &mut Report,
    attachments: &mut Vec<Attachment>,
) -> Result<Option<Vec<u8>>> {
    let scope = Scope::first_for(sheet);
    let first = attempt(sheet, options, scope, report, attachments)?;
    let outcome = match first {
        Attempt::InDoubt => {
            *report = empty_report(sheet);
            attempt(sheet, options, Scope::Whole, report, attachments)?
        }
        Attempt::Done(_) => first,
    };
    match outcome {
        Attempt::Done(picture_png) => Ok(picture_png),
        Attempt::InDoubt => Ok(None),
    }
}

/// How one pass over a shot ended.
enum Attempt {
    /// The report is complete; with the picture, where asked for and possible.
    Done(Option<Vec<u8>>),
    /// What was decoded leaves doubt.
    InDoubt,
}

/// One pass over the shot. Never in doubt where everything is decoded.
fn attempt(
    sheet: &ShotSheet,
    options: RunOptions,
    scope: Scope,
    report: &mut Report,
    attachments: &mut Vec<Attachment>,
) -> Result<Attempt> {
    let mut frames = open_frames(sheet, scope, report)?;
    if frames.in_doubt {
        return Ok(Attempt::InDoubt);
    }
    assumptions(report, frames.places.is_some());
    let mut pairs = Vec::new();
    for mirror in &sheet.mirrors {
        let Some(cg) = sheet.cg_sphere(&mirror.name) else {
            pair::without_cg(sheet, mirror, report);
            continue;
        };
        let help = Help { picture: options.picture, attachments };
        pairs.extend(pair::check((sheet, mirror, cg), &mut frames, report, help)?);
        if frames.in_doubt {
            return Ok(Attempt::InDoubt);
        }
    }
    attachments.extend(rest::check(sheet, &frames, &pairs, options, report));
    conclude(sheet, report, IsoDate::today_utc());
    together::in_order(&mut report.findings);
    together::by_the_capture(&mut report.findings);
    plan::order_fixes(report, &pairs);
    let names: Vec<&str> = pairs.iter().map(|pair| pair.comparison.mirror.name.as_str()).collect();
    let picture = if options.picture {
        evidence::picture(&pairs, worst_mirror(report, &names), report, options.of_frame, options.from_inside)?
    } else {
        None
    };
    Ok(Attempt::Done(picture))
}

/// Which of several mirrors the picture shows large: the one with the worst finding on the CG, the first where none is worse.
fn worst_mirror(report: &Report, names: &[&str]) -> usize {
    let of_cg = report.findings.iter().filter(|finding| finding.concerns == Concerns::Cg && finding.waived.is_none());
    let place = |name: &Option<String>| names.iter().position(|n| Some(*n) == name.as_deref());
    // The findings stand worst first.
    let mut placed = of_cg.filter_map(|finding| Some((finding, place(&finding.mirror)?)));
    let Some((worst, mirror)) = placed.next() else { return 0 };
    placed.take_while(|(other, _)| other.verdict == worst.verdict).map(|(_, place)| place).fold(mirror, usize::min)
}

/// One image of the sheet: the mirror that it belongs to, its role and its entry.
type Job<'a> = (&'a str, &'static str, &'a ImageSpec);

/// Every image that is opened for plate, mirrors and CG, in the order of the report.
fn jobs(sheet: &ShotSheet) -> Vec<Job<'_>> {
    let mut jobs: Vec<Job<'_>> = Vec::new();
    jobs.extend(sheet.plate.iter().map(|p| ("", "plate", p)));
    for mirror in &sheet.mirrors {
        jobs.extend(mirror.bracket.iter().map(|spec| (mirror.name.as_str(), "mirror", spec)));
    }
    jobs.extend(sheet.cg.spheres.iter().map(|s| (s.mirror.as_deref().unwrap_or_default(), "cg", &s.image)));
    jobs
}

/// Opens every frame of the shot: the CG first, since it may tell which part of the others is needed. The first error
/// in the sheet's order counts.
fn open_frames(sheet: &ShotSheet, scope: Scope, report: &mut Report) -> Result<Frames> {
    let jobs = jobs(sheet);
    let (cg_jobs, set_jobs): (Vec<&Job<'_>>, Vec<&Job<'_>>) = jobs.iter().partition(|job| job.1 == "cg");
    let open_cg = |job: &&Job<'_>| part::open(sheet, job.2, job.1, &|header| scope.of_cg(header));
    let cg: Vec<Result<Opened>> = parallel::map_each(&cg_jobs, open_cg);
    let named = cg_jobs.iter().zip(&cg).filter_map(|(job, opened)| Some((job.0, opened.as_ref().ok()?)));
    let named = Some(named.collect()).filter(|_| scope == Scope::Part);
    // What every comparison needs is made meanwhile: one core looks for the places, which takes no more.
    let ((places, set), _) = parallel::both(
        || {
            let places = named.and_then(|cg| part::places(sheet, &cg));
            let part = |job: &Job<'_>, header: &Frame| {
                places.as_ref().map_or(Wanted::All, |p| part_for(sheet, p, job, header))
            };
            let open = |job: &&Job<'_>| part::open(sheet, job.2, job.1, &|header| part(job, header));
            let set: Vec<Result<Opened>> = parallel::map_each(&set_jobs, open);
            (places, set)
        },
        DirectionGrid::shared,
    );
    gather(sheet, jobs.iter().zip(set.into_iter().chain(cg)), places, report)
}

/// The part of plate and mirror frames: around the sphere of the mirror that a frame belongs to, or around all.
fn part_for(sheet: &ShotSheet, places: &part::Places, job: &Job<'_>, header: &Frame) -> Wanted {
    let given = sheet.mirrors.iter().find(|m| job.1 == "mirror" && m.name == job.0).and_then(|m| m.told().about());
    let wanted = places.iter().filter(|(name, _)| job.1 == "plate" || *name == job.0).map(|(_, place)| place);
    part::around(header, sheet, wanted, given)
}

/// Sorts the opened frames by what they are and notes each in the report.
fn gather<'a>(
    sheet: &ShotSheet,
    opened: impl Iterator<Item = (&'a Job<'a>, Result<Opened>)>,
    places: Option<part::Places>,
    report: &mut Report,
) -> Result<Frames> {
    let plate_clip = sheet.plate.as_ref().and_then(|p| p.clip_level);
    let mut frames = Frames {
        plate: None,
        mirrors: BTreeMap::new(),
        cg: BTreeMap::new(),
        notes: Vec::new(),
        places: None,
        set_in_part: false,
        in_doubt: false,
    };
    let mut cg_in_part = false;
    for ((name, role, spec), opened) in opened {
        let Opened { mut frame, complete } = opened?;
        if *role == "mirror" && frame.clip_level.is_none() {
            // The sphere is shot with the plate's camera, so it clips where the plate does.
            frame.clip_level = plate_clip.map(|level| [level as f32; 3]);
        }
        frame.clip_level = frame.clip_level.map(|level| clipping::recorded_ceiling(level, frame.format));
        report.inputs.push(frame.record.clone());
        frames.notes.push(file_note(role, name, &frame));
        report.warnings.extend(frame.warnings.iter().map(|w| format!("{}: {w}", frame.record.file)));
        let in_part = if *role == "cg" { &mut cg_in_part } else { &mut frames.set_in_part };
        *in_part |= !complete;
        match *role {
            "plate" => frames.plate = Some(frame),
            "cg" => drop(frames.cg.insert((*name).to_owned(), frame)),
            _ => frames
                .mirrors
                .entry((*name).to_owned())
                .or_default()
                .push(Exposure { stops: spec.exposure_stops, frame }),
        }
    }
    if let Some(error) = frames.cg.values().find_map(|cg| given_as_cg(cg, frames.plate.as_ref())) {
        return Err(error);
    }
    // Coverage was there but outlines no sphere: that takes a search of the whole render. Frames of a bracket that
    // tell of different lenses show different parts.
    let uneven = |bracket: &Vec<Exposure>| bracket.iter().any(|e| e.frame.data != bracket[0].frame.data);
    frames.in_doubt = (cg_in_part && places.is_none()) || (frames.set_in_part && frames.mirrors.values().any(uneven));
    frames.places = places.filter(|_| frames.set_in_part || cg_in_part);
    Ok(frames)
}

fn file_note(role: &'static str, mirror: &str, frame: &Frame) -> FileNote {
    FileNote {
        role,
        mirror: (!mirror.is_empty()).then(|| mirror.to_owned()),
        file: frame.record.file.clone(),
        size: frame.size,
        content: frame.record.content(),
        meta: frame.meta.clone(),
    }
}

/// The plate given as the CG is a slip of the hand; no sphere in it says anything.
fn given_as_cg(cg: &Frame, plate: Option<&Frame>) -> Option<crate::Error> {
    let plate = plate.filter(|plate| plate.record.is_same_picture(&cg.record))?;
    let cause = format!("is given as the CG but is the plate, {}, itself", plate.record.file);
    let remedy = "give the rendered sphere as the CG";
    Some(crate::Error::new(crate::ErrorKind::Parameter, &cg.path, cause, remedy))
}

/// The conventions that the numbers stand on.
fn assumptions(report: &mut Report, in_part: bool) {
    report.assumptions = [
        "directions are in camera axes: azimuth 0 from the camera side, +90 frame right, 180 from behind; elevation + above",
        "errors are CG minus photographed; turns are seen from above",
        "key/fill is the brightest against the darkest side of a matt ball as the camera sees it (patches within 75 deg of the line to the camera); it is not the ratio of the lamps",
        "luminance and colour in linear light with BT.709 primaries and D65 white; colour temperature as balanced in the file",
    ]
    .map(str::to_owned)
    .to_vec();
    if in_part {
        report.assumptions.push(
            "of large files only the part around the spheres was decoded; the photographed sphere was searched for where the CG sphere is".to_owned(),
        );
    }
}

/// Honours waivers, sorts the findings worst first and sets the shot's verdict: the worst of what concerns the CG.
fn conclude(sheet: &ShotSheet, report: &mut Report, today: IsoDate) {
    for finding in &mut report.findings {
        let waiver = sheet.waivers.iter().find(|w| w.covers(&finding.check, today));
        if let Some(w) = waiver.filter(|_| finding.verdict == Verdict::Mismatch) {
            finding.waived = Some(json!({ "by": w.by, "why": w.why, "until": w.until }));
        } else if finding.verdict == Verdict::Mismatch
            && let Some(w) = sheet.waivers.iter().find(|w| finding.check == w.check.as_str())
        {
            let ended =
                format!("the waiver for {} by {} ({}) ended on {} and no longer counts", w.check, w.by, w.why, w.until);
            finding.detail.entry(detail::TOLD).or_insert_with(|| json!(ended));
            if !report.warnings.contains(&ended) {
                report.warnings.push(ended);
            }
        }
    }
    report.findings.sort_by_key(|f| std::cmp::Reverse((f.verdict, f.waived.is_none())));
    let counted = report.findings.iter().filter(|f| f.concerns == Concerns::Cg).filter_map(|f| match f.verdict {
        Verdict::NotGiven => None,
        Verdict::Mismatch if f.waived.is_some() => Some(ShotVerdict::Match),
        Verdict::Mismatch => Some(ShotVerdict::Mismatch),
        Verdict::Unsure => Some(ShotVerdict::Unsure),
        Verdict::Match => Some(ShotVerdict::Match),
    });
    let mut counted = counted.max().unwrap_or(ShotVerdict::Unsure);
    report.required_undecided = undecided(&sheet.require, report.findings.iter().map(|f| (&f.check, f.verdict)));
    if !report.required_undecided.is_empty() {
        counted = counted.max(ShotVerdict::Unsure);
    }
    report.verdict = if report.error.is_some() { ShotVerdict::Error } else { counted };
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::findings::sample;

    #[test]
    fn of_several_mirrors_the_worst_is_shown_and_of_equals_the_first() {
        let mut report = sample::mismatch();
        let one = report.findings.iter().find(|f| f.mirror.is_some()).unwrap().clone();
        let finding = |mirror: &str, verdict: Verdict| {
            let mut finding = one.clone();
            (finding.mirror, finding.verdict, finding.waived) = (Some(mirror.to_owned()), verdict, None);
            finding
        };
        let names = ["m1", "m2"];
        report.findings = vec![finding("m2", Verdict::Mismatch), finding("m1", Verdict::Unsure)];
        assert_eq!(worst_mirror(&report, &names), 1);
        report.findings[0].waived = Some(json!({}));
        assert_eq!(worst_mirror(&report, &names), 0);
        report.findings = vec![finding("m2", Verdict::Match), finding("m1", Verdict::Match)];
        assert_eq!(worst_mirror(&report, &names), 0);
        report.findings.clear();
        assert_eq!(worst_mirror(&report, &names), 0);
    }
}
