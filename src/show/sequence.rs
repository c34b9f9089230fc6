//! Shots that move, and takes in which the sphere is carried from mark to mark: sampled, and reported by their worst
//! frame with the curve over time.

use std::collections::BTreeMap;
use std::path::PathBuf;
use std::sync::Arc;

use crate::findings::{
    Attachment, CheckId, Concerns, Finding, FrameReport, FrameValue, Report, SequenceReport, ShotVerdict, Verdict,
    detail,
};
use crate::image::MoviePass;
use crate::report::fixes;
use crate::report::picture::render_curves;
use crate::sheet::{ImageSpec, ShotSheet};
use crate::shot::{RunOptions, ShotOutcome, check_shot};
use crate::{Error, ErrorKind, Result};

use super::Options;

/// Where nothing else is said, a moving shot is sampled about so many times.
const SAMPLES: u32 = 20;

/// What follows name and version in the file of a curve.
const CURVE_ENDING: &str = "curve.png";

/// More samples of one shot are a mistake.
const MAX_SAMPLES: usize = 100_000;

/// Checks one shot, still or moving. Never fails: what went wrong is in the report.
pub fn check(sheet: &ShotSheet, options: Options) -> ShotOutcome {
    let mut result = still_or_moving(sheet, options);
    if options.fixes {
        result.attachments.extend(fixes::files(&result.report));
    }
    result
}

fn still_or_moving(sheet: &ShotSheet, options: Options) -> ShotOutcome {
    let numbers = match frame_numbers(sheet, options.every) {
        Ok(Some(numbers)) => numbers,
        Ok(None) => return still(sheet, options, None),
        Err(error) => {
            let report = Report::failed(&sheet.shot, sheet.cg.version.clone(), &error);
            return ShotOutcome::of_report(report);
        }
    };
    moving(sheet, &numbers, options)
}

fn still(sheet: &ShotSheet, options: Options, of_frame: Option<u32>) -> ShotOutcome {
    let options = RunOptions {
        picture: options.picture,
        from_inside: options.from_inside,
        predict: options.predict,
        fixes: options.fixes,
        of_frame,
    };
    check_shot(sheet, options)
}

/// The sheet with a pass planned over every movie of which more than one frame will be asked for.
fn with_passes(sheet: &ShotSheet, numbers: &[u32]) -> ShotSheet {
    let mut sheet = sheet.clone();
    let base_dir = sheet.base_dir.clone();
    let mut passes: BTreeMap<PathBuf, Arc<MoviePass>> = BTreeMap::new();
    for image in pictures_of_a_frame_mut(&mut sheet).filter(|image| image.is_movie() && range_of(image).is_some()) {
        let Ok(path) = image.path(&base_dir) else { continue };
        let pass = passes.entry(path.clone()).or_insert_with(|| Arc::new(MoviePass::new(path, numbers)));
        image.pass = Some(Arc::clone(pass));
    }
    sheet
}

fn moving(sheet: &ShotSheet, numbers: &[u32], options: Options) -> ShotOutcome {
    let sheet = &with_passes(sheet, numbers);
    let mut frames = Vec::with_capacity(numbers.len());
    let mut first_error = None;
    let mut worst_of_each = WorstOfEach::default();
    for &number in numbers {
        let report = check_shot(&sheet_at(sheet, number), RunOptions::default()).report;
        frames.push(frame_report(number, &report));
        worst_of_each.look_at(number, &report);
        first_error = first_error.or(report.error);
    }
    // Of frames that are equally bad the first counts, so that a rerun says the same.
    let measured = frames.iter().rev().filter(|frame| frame.verdict != ShotVerdict::Error);
    let worst = measured.max_by(|a, b| badness(a).0.cmp(&badness(b).0).then(badness(a).1.total_cmp(&badness(b).1)));
    let worst = worst.or(frames.first()).map_or(0, |frame| frame.frame);
    let mut result = still(&sheet_at(sheet, worst), options, Some(worst));
    worst_of_each.put_into(&mut result.report, worst);
    result.report.warnings.extend(left_out(sheet, numbers));
    if let Some(error) = first_error {
        (result.report.verdict, result.report.error) = (ShotVerdict::Error, Some(error));
    }
    let [first, last] = [numbers.first(), numbers.last()].map(|number| number.copied().unwrap_or(worst));
    let every = numbers.windows(2).map(|pair| pair[1] - pair[0]).max().unwrap_or(1);
    let sequence =
        SequenceReport { first_frame: first, last_frame: last, every_frames: every, worst_frame: worst, frames };
    if options.picture {
        match render_curves(&result.report, &sequence) {
            Ok(bytes) => result.attachments.push(Attachment { ending: CURVE_ENDING.to_owned(), bytes }),
            Err(error) => result.report.warnings.push(format!("the curve over time could not be drawn: {error}")),
        }
    }
    result.report.sequence = Some(sequence);
    result
}

/// Of each check the finding of its own worst frame: the frame that is worst on the whole need not show every fault.
#[derive(Debug, Default)]
struct WorstOfEach(BTreeMap<(CheckId, Option<String>, Concerns), (u32, Finding)>);

impl WorstOfEach {
    fn look_at(&mut self, frame: u32, report: &Report) {
        for finding in report.findings.iter().filter(|f| f.verdict >= Verdict::Unsure) {
            let worse = |(_, known): &(u32, Finding)| rank(finding) > rank(known);
            let known = self.0.get(&key(finding));
            if known.is_none_or(worse) {
                self.0.insert(key(finding), (frame, finding.clone()));
            }
        }
    }

    /// Tells each check by its own worst frame where that is another than the report's.
    fn put_into(&self, report: &mut Report, of_frame: u32) {
        for finding in &mut report.findings {
            let worst =
                self.0.get(&key(finding)).filter(|(frame, worst)| *frame != of_frame && rank(worst) > rank(finding));
            let Some((frame, worst)) = worst else { continue };
            finding.clone_from(worst);
            finding.detail.insert(detail::FRAME.to_owned(), (*frame).into());
            finding.detail.entry(detail::TOLD).or_insert_with(|| format!("this is of frame {frame}").into());
        }
        report.findings.sort_by_key(|f| std::cmp::Reverse((f.verdict, f.waived.is_none())));
    }
}

fn key(finding: &Finding) -> (CheckId, Option<String>, Concerns) {
    (finding.check.clone(), finding.mirror.clone(), finding.concerns)
}

/// Verdict, then how far out.
fn rank(finding: &Finding) -> (Verdict, f64) {
    let out =
        finding.value.filter(|v| v.is_finite() && finding.tolerance > 0.0).map_or(0.0, |v| v.abs() / finding.tolerance);
    (finding.verdict, out)
}

/// Frames that some picture has and others have not, in words.
fn left_out(sheet: &ShotSheet, numbers: &[u32]) -> Vec<String> {
    let (Some(first), Some(last)) = (numbers.first(), numbers.last()) else { return Vec::new() };
    let beyond = |(role, image): &(&str, &ImageSpec)| {
        if !pictures_of_a_frame(sheet).any(|of_shot| std::ptr::eq(of_shot, *image)) {
            return None;
        }
        let [from, to] = range_of(image).filter(|[from, to]| from < first || to > last)?;
        Some(format!(
            "{role} {}: its range {from} to {to} goes beyond the frames that all inputs of the shot share; frames {first} to {last} were checked",
            crate::printable_text(&image.frame)
        ))
    };
    sheet.images().iter().filter_map(|(role, image)| beyond(&(role, image))).collect()
}

fn badness(frame: &FrameReport) -> (ShotVerdict, f64) {
    let out = |value: &FrameValue| match value.value {
        Some(number) if value.tolerance > 0.0 && value.concerns == Concerns::Cg => number.abs() / value.tolerance,
        _ => 0.0,
    };
    (frame.verdict, frame.values.iter().map(out).fold(0.0, f64::max))
}

fn frame_report(frame: u32, report: &Report) -> FrameReport {
    let values = report.findings.iter().map(|finding| FrameValue {
        check: finding.check.clone(),
        mirror: finding.mirror.clone(),
        concerns: finding.concerns,
        verdict: finding.verdict,
        value: finding.value.filter(|value| value.is_finite()),
        value_sd: finding.value_sd.filter(|sd| sd.is_finite()),
        unit: finding.unit.clone(),
        tolerance: finding.tolerance,
    });
    let mut values: Vec<FrameValue> = values.collect();
    // A finding's place changes with its verdict; a curve's must not.
    values.sort_by(|a, b| a.curve().cmp(&b.curve()));
    let why = report.error.as_ref().map(|error| format!("{}: {}", error.file, error.cause));
    FrameReport { frame, verdict: report.verdict, error: why, values }
}

/// The frame numbers at which a moving shot is sampled; `None` for a shot of single frames.
///
/// The numbers that all ranges of the sheet share, from the first on every `every` frames, and the last.
///
/// # Errors
/// Where the ranges share no number, or far too many samples are asked for.
pub fn frame_numbers(sheet: &ShotSheet, every: Option<u32>) -> Result<Option<Vec<u32>>> {
    let ranges: Vec<[u32; 2]> = pictures_of_a_frame(sheet).filter_map(range_of).collect();
    let (Some(first), Some(last)) = (ranges.iter().map(|r| r[0]).max(), ranges.iter().map(|r| r[1]).min()) else {
        return Ok(None);
    };
    let wrong = |cause: String, remedy: &str| Err(Error::new(ErrorKind::Parameter, &sheet.shot, cause, remedy));
    if first > last {
        return wrong("the frame ranges have no frame in common".to_owned(), "give ranges that overlap");
    }
    let step = every.unwrap_or((last - first).div_ceil(SAMPLES)).max(1);
    let mut numbers: Vec<u32> = (first..=last).step_by(step as usize).take(MAX_SAMPLES + 1).collect();
    if numbers.len() > MAX_SAMPLES {
        return wrong(format!("more than {MAX_SAMPLES} samples of one shot"), "check `frame_range`, or raise --every");
    }
    if numbers.last() != Some(&last) {
        numbers.push(last);
    }
    Ok(Some(numbers))
}

/// The pictures that are taken anew for every frame of a moving shot; a clean plate is a take of its own.
fn pictures_of_a_frame(sheet: &ShotSheet) -> impl Iterator<Item = &ImageSpec> {
    let exposures = sheet.mirrors.iter().flat_map(|mirror| &mirror.bracket);
    sheet.plate.iter().chain(exposures).chain(sheet.cg.spheres.iter().map(|sphere| &sphere.image))
}

/// The same, to be changed.
fn pictures_of_a_frame_mut(sheet: &mut ShotSheet) -> impl Iterator<Item = &mut ImageSpec> {
    let exposures = sheet.mirrors.iter_mut().flat_map(|mirror| &mut mirror.bracket);
    sheet.plate.iter_mut().chain(exposures).chain(sheet.cg.spheres.iter_mut().map(|sphere| &mut sphere.image))
}

/// The range of a picture whose number is open.
fn range_of(image: &ImageSpec) -> Option<[u32; 2]> {
    let open = image.frame_number.is_none() && image.timecode.is_none() && image.has_numbers();
    image.frame_range.filter(|range| open && range[1] > range[0])
}

/// The sheet of one frame of a moving shot.
pub(super) fn sheet_at(sheet: &ShotSheet, number: u32) -> ShotSheet {
    let mut sheet = sheet.clone();
    for image in pictures_of_a_frame_mut(&mut sheet) {
        if range_of(image).is_some() {
            image.frame_number = Some(number);
        }
    }
    sheet
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use serde_json::json;

    use super::*;
    use crate::sheet::sheet_from_json;

    fn sheet(plate: [u32; 2], cg: [u32; 2]) -> ShotSheet {
        let value = json!({
            "format": "plateproof-shot/1", "shot": "SF_0500",
            "plate": { "frame": "plate.####.exr", "frame_range": plate },
            "mirrors": ["s.exr"],
            "cg": { "spheres": [{ "frame": "cg.%04d.exr", "frame_range": cg }] },
        });
        sheet_from_json(value, Path::new("shot.json"), Path::new("")).unwrap()
    }

    #[test]
    fn samples_begin_with_the_first_shared_frame_and_end_with_the_last() {
        let numbers = |every| frame_numbers(&sheet([1001, 1030], [995, 1020]), every).unwrap().unwrap();
        assert_eq!(numbers(Some(8)), [1001, 1009, 1017, 1020]);
        assert_eq!(numbers(Some(100)), [1001, 1020]);
        assert_eq!(numbers(None).len(), 20);
        assert!(frame_numbers(&sheet([1, 5], [6, 9]), None).is_err());
        assert!(frame_numbers(&sheet([0, u32::MAX], [0, u32::MAX]), Some(1)).is_err());
    }

    #[test]
    fn one_frame_is_filled_in_everywhere_and_single_frames_stay() {
        let at = sheet_at(&sheet([1001, 1030], [1001, 1030]), 1017);
        let names: Vec<String> = at.images().iter().map(|(_, image)| image.file_name().unwrap()).collect();
        assert_eq!(names, ["plate.1017.exr", "s.exr", "cg.1017.exr"]);
        assert_eq!(frame_numbers(&at, None).unwrap(), None);
        assert!(at.not_used().is_empty(), "{:?}", at.not_used());
    }
}
