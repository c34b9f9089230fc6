//! The exposures of one sphere made ready to be merged: linear, in register, with stops that the pictures bear out.

use crate::findings::{Report, ResponseReport};
use crate::image::encoding::Encoding;
use crate::register::bracket::response::{ResponseCurve, recover, stops_to_use};
use crate::register::bracket::{BracketFrame, align, ceilings};
use crate::sheet::{MirrorSpec, ShotSheet};
use crate::sphere::Outline;

use super::intake;
use super::sought::{Sought, find};

/// A curve that a bracket told, and the nominal one that it replaces.
pub(super) struct Recovered {
    curve: ResponseCurve,
    nominal: Encoding,
    stated: Vec<f64>,
    camera: Option<String>,
}

impl Recovered {
    /// Stops and slope bear the curve out.
    pub(super) fn is_reliable(&self) -> bool {
        self.curve.stops_agree(&self.stated) && self.curve.is_believable()
    }

    /// Brings another file of the same camera into linear light; `None` where it is of another, or linear already.
    pub(super) fn applied_to(&self, frame: &crate::image::Frame) -> Option<crate::image::Frame> {
        let same_camera = self.camera.is_some() && self.camera == frame.meta.camera;
        let same_curve = frame.is_display_picture() && encoding_of(frame) == Some(self.nominal);
        (same_camera && same_curve).then(|| {
            let mut linear = frame.clone();
            self.curve.linearise(&mut linear, self.nominal);
            linear
        })
    }

    /// The report's entry.
    pub(super) fn report(&self) -> ResponseReport {
        let codes: Vec<u8> = (0..=255).step_by(15).collect();
        let at = |channel: usize| codes.iter().map(|c| self.curve.log2_light[channel][usize::from(*c)]).collect();
        ResponseReport {
            residual_stops: self.curve.residual_stops,
            samples: self.curve.samples,
            slope_against_nominal: self.curve.slope,
            stated_stops: self.stated.clone(),
            measured_stops: self.curve.measured_stops.clone(),
            measured_stops_sd: self.curve.measured_sd_stops.clone(),
            log2_light_rgb: [at(0), at(1), at(2)],
            codes,
        }
    }
}

fn encoding_of(frame: &crate::image::Frame) -> Option<Encoding> {
    Encoding::parse(&frame.record.encoding)
}

/// Looks for the ceiling of every exposure that states none, before they are merged.
pub(super) fn find_ceilings(frames: &mut [BracketFrame], report: &mut Report) {
    for found in ceilings::settle(frames) {
        let frame = &frames[found.frame].frame;
        report.assumptions.push(format!(
            "{}: {} pixels share the highest value ({}): the exposure is clipped there and shorter ones are used; if that is wrong, give clip_level",
            frame.record.file,
            found.pixels,
            super::ceiling::level_words(found.level)
        ));
    }
}

/// Recovers the camera's curve from exposures that went through one, and undoes it in all of them. `None` where the
/// frames are linear, or do not tell the curve: then the report says why.
pub(super) fn linearise(name: &str, frames: &mut [BracketFrame], report: &mut Report) -> Option<Recovered> {
    let nominal = encoding_of(&frames.first()?.frame)?;
    let developed = |f: &BracketFrame| f.frame.is_display_picture() && encoding_of(&f.frame) == Some(nominal);
    if !frames.iter().all(developed) {
        return None;
    }
    let stated: Vec<f64> = frames.iter().map(|f| f.stops.0).collect();
    let curve = match recover(frames, nominal) {
        Ok(curve) => curve,
        Err(why) => {
            report.warnings.push(format!(
                "mirror {name}: the camera's tone curve could not be recovered from the bracket: {why}; its brightness is decoded with {} and is uncertain",
                nominal.name()
            ));
            return None;
        }
    };
    let stops = stops_to_use(&curve, &stated);
    for (frame, stops) in frames.iter_mut().zip(stops) {
        curve.linearise(&mut frame.frame, nominal);
        frame.stops = stops;
    }
    let camera = frames.first()?.frame.meta.camera.clone();
    let recovered = Recovered { curve, nominal, stated, camera };
    say(name, &recovered, frames, report);
    Some(recovered)
}

fn say(name: &str, recovered: &Recovered, frames: &[BracketFrame], report: &mut Report) {
    let curve = &recovered.curve;
    report.assumptions.push(format!(
        "mirror {name}: response curve recovered from {} exposures (Debevec & Malik 1997), residual {:.3} stop over {} samples, {:.2} times as steep as {}; code 118 assumed to be 18 % grey",
        frames.len(),
        curve.residual_stops,
        curve.samples,
        curve.slope,
        recovered.nominal.name()
    ));
    if !curve.is_believable() {
        report.warnings.push(format!(
            "mirror {name}: with the stated stops its tone curve would be {:.2} times as steep as {}, which no camera's is: the stated stops are all too {}",
            curve.slope,
            recovered.nominal.name(),
            if curve.slope > 1.0 { "large" } else { "small" }
        ));
    }
    if !curve.stops_agree(&recovered.stated) {
        let list = |stops: &[f64]| stops.iter().map(|s| format!("{s:+.2}")).collect::<Vec<_>>().join(", ");
        report.warnings.push(format!(
            "mirror {name}: the stated stops contradict each other: stated {}, measured {} (mean and span as stated); the measured ones are used",
            list(&recovered.stated),
            list(&curve.measured_stops)
        ));
    }
}

/// Brings every exposure to the place of the one numbered `reference`, by the sphere.
pub(super) fn register(
    sheet: &ShotSheet,
    spec: &MirrorSpec,
    frames: &mut [BracketFrame],
    reference: usize,
    report: &mut Report,
) {
    let Some(outline) = outline(sheet, spec, frames, reference) else {
        report.warnings.push(format!(
            "mirror {}: the exposures of its bracket could not be registered to each other, because no sphere was found in {}",
            spec.name,
            frames.get(reference).map_or("", |f| f.frame.record.file.as_str())
        ));
        return;
    };
    let shifts = align::measure_shifts(frames, reference, &outline);
    for (frame, shift) in frames.iter_mut().zip(shifts) {
        let Some(shift) = shift else {
            report.warnings.push(format!(
                "{} has too little in common with the other exposures to be registered; it is used as it is",
                frame.frame.record.file
            ));
            continue;
        };
        let moved = shift.offset_px[0].hypot(shift.offset_px[1]);
        if moved > MOVE_TOLD_PX {
            report.assumptions.push(format!(
                "{} shows the sphere {:+.2} px right and {:+.2} px down of the reference exposure (sd {:.2} px): this was corrected",
                frame.frame.record.file, shift.offset_px[0], shift.offset_px[1], shift.sd_px
            ));
        }
        align::apply(&mut frame.frame, &shift);
    }
}

/// Movements of less are not worth a line, px.
const MOVE_TOLD_PX: f64 = 0.1;

/// The sphere in the reference exposure: as given, else as found there, near a circle drawn by hand where there is one.
fn outline(sheet: &ShotSheet, spec: &MirrorSpec, frames: &[BracketFrame], reference: usize) -> Option<Outline> {
    spec.outline().or_else(|| {
        let frame = &frames.get(reference)?.frame;
        let view = intake::view_of(frame, sheet.camera.as_ref(), &mut Vec::new());
        find(frame, &view, &Sought::of_mirror(spec), &mut Vec::new()).ok().map(|search| search.best.outline)
    })
}
