//! `set-notes`: do the files and notes of one shot contradict each other?

use serde_json::Value;

use super::{Addition, FileNote, PairEvidence, ShotCheck, ShotEvidence, blank_of_shot};
use crate::CaptureTime;
use crate::Result;
use crate::findings::remedy::{Ask, Step};
use crate::findings::{Concerns, Finding, Verdict};
use crate::image::Frame;
use crate::register::bracket::stops_from_metadata;
use crate::register::{Drift, DriftOutcome};
use crate::sheet::ShotSheet;
use crate::sphere::Outline;

pub use super::docs::set_notes::DOC;

/// Exposure settings are marked in thirds of a stop (common practice, no source).
const EXPOSURE_STOPS: f64 = 1.0 / 3.0;

/// The sun moves 15 degrees in an hour (common practice, no source).
const HOUR_S: f64 = 3600.0;

/// A bracket is shot in one go (common practice, no source).
const BRACKET_S: f64 = 600.0;

/// Focal lengths of two files that differ by more are two framings.
const SAME_LENS: f64 = 0.01;

/// A note rounds the focal length (common practice, no source).
const NOTED_LENS: f64 = 0.02;

/// The background's difference varies by more than this only if part of the light changed (common practice, no source).
const UNEVEN_STOPS: f64 = 0.15;

/// Nearly all, or all but few.
const MOSTLY: f64 = 0.95;

/// The check.
#[derive(Debug)]
pub struct SetNotes;

impl ShotCheck for SetNotes {
    fn doc(&self) -> &'static super::CheckDoc {
        &DOC
    }

    fn is_asked(&self, _: &ShotSheet) -> bool {
        true // what files say about themselves needs no key in the sheet
    }

    fn reads_whole_frames(&self) -> bool {
        false
    }

    fn needs(&self) -> &'static str {
        "the files have no metadata"
    }

    fn run(&self, shot: &ShotEvidence<'_>) -> Result<Addition> {
        let mut notes = Notes::default();
        notes.exposures(shot.sheet, shot.files);
        notes.frames(shot.files);
        notes.sheet(shot.sheet, shot.files);
        notes.sensor(shot.sheet, shot.files);
        notes.contents(shot.files);
        for pair in &shot.pairs {
            notes.exchanged(pair);
            if let Some(DriftOutcome::Measured(drift)) = &pair.reference.drift {
                notes.light(&pair.comparison.mirror.name, drift, shot.sheet.tolerances.colour.stops);
            }
        }
        Ok(Addition::of(notes.finding()))
    }
}

/// What was held against what.
#[derive(Debug, Default)]
struct Notes {
    compared: usize,
    contradictions: Vec<String>,
    remedies: Vec<Ask>,
}

impl Notes {
    /// Records that two things were compared, and the outcome.
    fn hold(&mut self, contradicts: bool, words: impl FnOnce() -> String, remedy: Ask) {
        self.compared += 1;
        if contradicts {
            self.contradictions.push(words());
            if !self.remedies.contains(&remedy) {
                self.remedies.push(remedy);
            }
        }
    }

    /// Stops that the sheet states against those of the files' settings: against the plate, else within the bracket.
    fn exposures(&mut self, sheet: &ShotSheet, files: &[FileNote]) {
        let plate = files.iter().find(|file| file.role == "plate");
        for mirror in &sheet.mirrors {
            let frames =
                files.iter().filter(|file| file.mirror.as_deref() == Some(&mirror.name) && file.role == "mirror");
            let stated =
                mirror.bracket.iter().zip(frames).filter_map(|(spec, file)| Some((spec.exposure_stops?, file)));
            let stated: Vec<(f64, &FileNote)> = stated.collect();
            let by_plate = plate.is_some_and(|plate| plate.meta.exposure_stops().is_some());
            let base = plate.filter(|_| by_plate).map(|plate| (0.0, plate)).or_else(|| stated.first().copied());
            let Some((base_stops, base)) = base else { continue };
            for (stops, file) in stated.iter().filter(|(_, file)| file.file != base.file) {
                let Some(by_file) = stops_from_metadata(&base.meta, &file.meta) else { continue };
                let noted = stops - base_stops;
                let words = || {
                    format!(
                        "{}: {noted:+.2} stops against {} in the sheet, {:+.2} according to the files' settings",
                        name(file),
                        name(base),
                        by_file.0
                    )
                };
                self.hold((noted - by_file.0).abs() > EXPOSURE_STOPS, words, Ask::ExposureStops);
            }
        }
    }

    /// Dates, camera and lens of the frames from set, each against the first one (the plate, where there is one).
    fn frames(&mut self, files: &[FileNote]) {
        let on_set: Vec<&FileNote> = files.iter().filter(|file| matches!(file.role, "plate" | "mirror")).collect();
        let Some((first, rest)) = on_set.split_first() else { return };
        for file in rest {
            let bracket = first.role == "mirror" && first.mirror == file.mirror;
            self.dates(first, file, if bracket { BRACKET_S } else { HOUR_S });
            self.camera(first, file);
        }
        for (i, file) in on_set.iter().enumerate().filter(|(_, file)| file.role == "mirror") {
            let before = on_set[..i].iter().find(|other| other.role == "mirror" && other.mirror == file.mirror);
            if let Some(before) = before.filter(|before| before.file != first.file) {
                self.dates(before, file, BRACKET_S);
            }
        }
    }

    fn dates(&mut self, first: &FileNote, file: &FileNote, limit_s: f64) {
        let Some((a, b)) = first.meta.captured.zip(file.meta.captured) else { return };
        let words = || format!("{} was taken {} {}", name(file), apart(b, a), name(first));
        self.hold(b.seconds_after(a).abs() > limit_s, words, Ask::SameTake);
    }

    fn camera(&mut self, first: &FileNote, file: &FileNote) {
        let (a, b) = (&first.meta, &file.meta);
        if let Some((one, other)) = a.focal_length_mm.zip(b.focal_length_mm) {
            let words = || format!("{} was shot at {other:.1} mm, {} at {one:.1} mm", name(file), name(first));
            self.hold((other / one - 1.0).abs() > SAME_LENS, words, Ask::SameCamera);
        }
        let texts = [
            ("camera", &a.camera, &b.camera),
            ("camera serial number", &a.camera_serial, &b.camera_serial),
            ("lens", &a.lens, &b.lens),
            ("lens serial number", &a.lens_serial, &b.lens_serial),
        ];
        for (what, one, other) in texts {
            let Some((one, other)) = one.as_deref().zip(other.as_deref()) else { continue };
            let told = crate::printable_text;
            let words = || format!("{what}: {} in {}, {} in {}", told(other), name(file), told(one), name(first));
            self.hold(one != other, words, Ask::SameCamera);
        }
    }

    /// A sensor whose width and height were noted the other way round: no field of view follows from it.
    fn sensor(&mut self, sheet: &ShotSheet, files: &[FileNote]) {
        let Some(camera) = &sheet.camera else { return };
        let Some(file) = files.iter().find(|file| matches!(file.role, "plate" | "mirror")) else { return };
        let Some([width, height]) = camera.sides_exchanged(file.size) else { return };
        let words = || {
            format!(
                "the sensor is noted as {width} wide and {height} high, but {} is {}x{}",
                name(file),
                file.size.width,
                file.size.height
            )
        };
        self.hold(true, words, Ask::WidthFirst);
    }

    /// A CG sphere or an exposure of a bracket that is another file over again.
    fn contents(&mut self, files: &[FileNote]) {
        for (i, file) in files.iter().enumerate().filter(|(_, file)| file.role != "plate" && !file.content.is_empty()) {
            let twin = files[..i].iter().find(|other| {
                other.content == file.content && (file.role != other.role || file.mirror == other.mirror)
            });
            // A plate may well hold the sphere itself.
            let Some(twin) = twin.filter(|twin| file.role == "cg" || twin.role != "plate") else { continue };
            let words =
                || format!("{} ({}) and {} ({}) are the same picture", name(file), file.role, name(twin), twin.role);
            self.hold(true, words, Ask::OwnFiles);
        }
    }

    /// A photograph has a background, and a render of a sphere alone has coverage.
    fn exchanged(&mut self, pair: &PairEvidence<'_>) {
        let (mirror, cg) = (&pair.comparison.mirror, &pair.comparison.cg);
        let blank = |frame: &Frame, outline: &Outline| blank_part(frame, outline).unwrap_or(0.5);
        let empty = blank(pair.mirror_frame, &mirror.fit.outline) > MOSTLY;
        if empty && pair.cg_frame.alpha.is_none() && blank(pair.cg_frame, &cg.fit.outline) < 1.0 - MOSTLY {
            let words = || {
                format!(
                    "mirror {}: there is nothing around its sphere, as in a render, and the CG frame has a \
                     background, as in a photograph: the two may have been swapped",
                    crate::printable_text(&mirror.name)
                )
            };
            self.hold(true, words, Ask::SwapFiles);
        }
    }

    /// The sheet's own focal length and time against the files'.
    fn sheet(&mut self, sheet: &ShotSheet, files: &[FileNote]) {
        let noted_mm = sheet.camera.as_ref().filter(|camera| !camera.by_option).and_then(|c| c.focal_length_mm);
        let place = sheet.location.as_ref();
        let noted_time = place.and_then(|place| CaptureTime::parse(place.time.as_deref()?));
        for file in files.iter().filter(|file| matches!(file.role, "plate" | "mirror")) {
            if let Some((noted, by_file)) = noted_mm.zip(file.meta.focal_length_mm) {
                let words = || format!("{}: {by_file:.1} mm in the file, {noted:.1} mm in the sheet", name(file));
                self.hold((by_file / noted - 1.0).abs() > NOTED_LENS, words, Ask::SameCamera);
            }
            if let Some((noted, by_file)) = noted_time.zip(file.meta.captured) {
                let words = || format!("{} was taken {} location.time of the sheet", name(file), apart(by_file, noted));
                self.hold(by_file.seconds_after(noted).abs() > HOUR_S, words, Ask::SameTake);
            }
        }
    }

    /// Light that changed between plate and sphere, as the background tells it.
    fn light(&mut self, mirror: &str, drift: &Drift, colour_stops: f64) {
        let mirror = crate::printable_text(mirror);
        let uneven = || {
            format!(
                "mirror {mirror}: the difference to the plate varies by {:.2} stop over the background: the sphere \
                 was shot under different lights from the plate, or in a shadow",
                drift.uneven_stops
            )
        };
        self.hold(drift.uneven_stops > UNEVEN_STOPS, uneven, Ask::SameLight);
        let colours = [drift.red_green_stops, drift.blue_green_stops];
        let changed = colours.iter().any(|c| c.value.abs() - 2.0 * c.sd > colour_stops);
        let coloured = || {
            format!(
                "mirror {mirror}: the background changed colour against the plate (red {:+.2}, blue {:+.2} stops \
                 against green): different lights, or a different white balance",
                colours[0].value, colours[1].value
            )
        };
        self.hold(changed, coloured, Ask::SameLight);
    }

    fn finding(self) -> Finding {
        let mut finding = blank_of_shot(&DOC, Concerns::Reference, 0.0);
        if self.compared == 0 {
            finding.verdict = Verdict::NotGiven;
            finding.reason = "the files say nothing about exposure, date, camera or lens, and no plate shows the same \
                              background as the sphere frame"
                .to_owned();
            return finding;
        }
        // A count is exact.
        finding.value = Some(self.contradictions.len() as f64);
        finding.value_sd = Some(0.0);
        finding.verdict = if self.contradictions.is_empty() { Verdict::Match } else { Verdict::Mismatch };
        finding.detail.insert("compared".to_owned(), self.compared.into());
        let list = self.contradictions.iter().cloned().map(Value::String).collect();
        finding.detail.insert("contradictions".to_owned(), Value::Array(list));
        finding.reason = self.contradictions.join("; ");
        finding.remedy = self.remedies.into_iter().map(Step::Ask).collect();
        finding
    }
}

/// The part of the pixels beside a sphere that are exactly black, seen on a grid; `None` where hardly any are there.
fn blank_part(frame: &Frame, sphere: &Outline) -> Option<f64> {
    let step = (frame.data.width.max(frame.data.height) / 100).max(1);
    let points = (0..frame.data.height)
        .step_by(step)
        .flat_map(|row| (0..frame.data.width).step_by(step).map(move |column| (row, column)));
    let beside = points.filter_map(|(row, column)| {
        let (x, y) = (frame.data.x + column as i64, frame.data.y + row as i64);
        let outside = sphere.normalised_radius([x as f64 + 0.5, y as f64 + 0.5]) > 1.1;
        frame.pixel(x, y).filter(|_| outside)
    });
    let (black, all) = beside.fold((0.0, 0.0), |(black, all), rgb| {
        (black + f64::from(rgb.iter().all(|v| v.abs() < f32::MIN_POSITIVE)), all + 1.0)
    });
    (all >= 100.0).then(|| black / all)
}

fn name(file: &FileNote) -> String {
    crate::printable_text(&file.file)
}

/// `3.2 hours after`, `12 minutes before`, `4 days after`.
fn apart(time: CaptureTime, other: CaptureTime) -> String {
    let seconds = time.seconds_after(other);
    let side = if seconds < 0.0 { "before" } else { "after" };
    let minutes = seconds.abs() / 60.0;
    match minutes {
        m if m < 120.0 => format!("{m:.0} minutes {side}"),
        m if m < 48.0 * 60.0 => format!("{:.1} hours {side}", m / 60.0),
        m => format!("{:.0} days {side}", m / 1440.0),
    }
}

#[cfg(test)]
mod tests;
