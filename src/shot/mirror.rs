//! The photographed sphere: bracket, outline, reflectance, drift.

use crate::Result;
use crate::base::units::Stops;
use crate::check::reference_drift::Reference;
use crate::colour::ColourSpace;
use crate::compare::sphere_measurement::Trust;
use crate::findings::Report;
use crate::image::Frame;
use crate::light::radiance::Radiometry;
use crate::optics::camera::View;
use crate::optics::material::Material;
use crate::register::bracket::{BracketFrame, merge};
use crate::register::{DriftOutcome, measure_drift};
use crate::sheet::{MirrorReflectance, MirrorSpec, ShotSheet};
use crate::sphere::{Outline, SphereFit};

use super::bracket::Recovered;
use super::ignore::Ignored;
use super::{Exposure, bracket, ceiling, intake, stops};

/// Reflectance taken where nothing tells it.
pub(super) const UNKNOWN_REFLECTANCE: f64 = 0.7;

/// How a mirror's sphere reflects: in the frame's own channels as the sheet gives it, in the working space's as a
/// material's optical constants do.
pub(super) fn reflecting(spec: &MirrorSpec) -> Radiometry {
    let material = spec.reflectance.and_then(MirrorReflectance::material);
    Radiometry {
        reflectance: spec.reflectance.map_or([UNKNOWN_REFLECTANCE; 3], MirrorReflectance::head_on),
        reflectance_space: material.map(|_| ColourSpace::rec709()),
        falloff: material.map(Material::falloff),
        ..Radiometry::default()
    }
}

/// The photographed side before it is measured.
pub(super) struct Photographed {
    pub(super) frame: Frame,
    pub(super) view: View,
    pub(super) radiometry: Radiometry,
    pub(super) trust: Trust,
    pub(super) reference: Reference,
    /// The curve that its bracket told, where the files are not linear.
    pub(super) recovered: Option<Recovered>,
    /// The frame of a bracket that was exposed most like the plate, kept for the drift.
    nearest: Option<Frame>,
    /// Several exposures were merged, each of which was looked at for its ceiling.
    merged: bool,
    /// The merged level at which even its shortest exposure may be cut off.
    suspected: Option<[f32; 3]>,
}

/// Merges the bracket and settles how its pixels become radiance.
pub(super) fn prepare(
    sheet: &ShotSheet,
    spec: &MirrorSpec,
    exposures: Vec<Exposure>,
    plate: Option<&Frame>,
    report: &mut Report,
) -> Result<Photographed> {
    let stated = stops::settle(&spec.name, &exposures, plate, report);
    note_reflectance(spec, report);
    let closest = (0..stated.len()).min_by(|a, b| stated[*a].abs().total_cmp(&stated[*b].abs())).unwrap_or(0);
    let several = exposures.len() > 1;
    let frames = exposures.into_iter().zip(&stated).map(|(e, s)| BracketFrame { frame: e.frame, stops: Stops(*s) });
    let mut frames: Vec<BracketFrame> = frames.collect();
    if several {
        bracket::find_ceilings(&mut frames, report);
    }
    let suspected = if several { ceiling::of_shortest(&frames) } else { None };
    let recovered = if several { bracket::linearise(&spec.name, &mut frames, report) } else { None };
    if several && alike(&frames) {
        bracket::register(sheet, spec, &mut frames, closest, report);
    }
    if several {
        note_measured_frame(spec, frames.get(closest), report);
    }
    let applied_stops = frames.get(closest).map_or(Stops(0.0), |f| f.stops);
    let is_plate =
        plate.is_some_and(|p| frames.get(closest).is_some_and(|f| f.frame.record.is_same_picture(&p.record)));
    let nearest = frames.get(closest).filter(|_| several && plate.is_some()).map(|f| f.frame.clone());
    let frame = one_frame(frames, report)?;
    let view = intake::view_of(&frame, sheet.camera.as_ref(), &mut report.warnings);
    let gain = if several { 1.0 } else { (-applied_stops).ratio() };
    let radiometry = Radiometry { gain, ..reflecting(spec) };
    let reference = Reference { drift: None, applied_stops, corrected: spec.correct_drift, is_plate };
    let trust = trust_of(&frame).after(recovered.as_ref().is_some_and(Recovered::is_reliable));
    Ok(Photographed { frame, view, radiometry, trust, reference, recovered, nearest, merged: several, suspected })
}

/// The exposures show the same pixels, as the merge will ask.
fn alike(frames: &[BracketFrame]) -> bool {
    frames.iter().all(|f| f.frame.data == frames[0].frame.data && f.frame.rgb.len() == frames[0].frame.rgb.len())
}

impl Photographed {
    /// Takes what the sheet draws as not to be counted out of the frame that is compared with the plate.
    pub(super) fn take_out_drawn(&mut self, ignored: &Ignored<'_>) {
        ignored.take_out_drawn(self.nearest.as_mut().unwrap_or(&mut self.frame));
    }

    /// Looks for a ceiling that nobody stated on the sphere. Gives the level where the picture leaves it open.
    pub(super) fn suspected_ceiling(
        &mut self,
        sheet: &ShotSheet,
        spec: &MirrorSpec,
        fit: &SphereFit,
        report: &mut Report,
    ) -> Option<[f32; 3]> {
        let of_plate = sheet.plate.as_ref().is_some_and(|plate| plate.clip_level.is_some());
        let stated = of_plate || spec.bracket.iter().any(|image| image.clip_level.is_some());
        if self.merged {
            self.suspected.filter(|_| !stated)
        } else {
            ceiling::of_photograph(&mut self.frame, fit, stated, report)
        }
    }

    /// The drift against the plate around the sphere; `None` where there is no plate.
    pub(super) fn drift(&self, plate: Option<&Frame>, sphere: &Outline) -> Option<DriftOutcome> {
        let plate = plate?;
        let developed_alike = self.recovered.as_ref().and_then(|curve| curve.applied_to(plate));
        let frame = self.nearest.as_ref().unwrap_or(&self.frame);
        let plate = developed_alike.as_ref().unwrap_or(plate);
        Some(measure_drift(plate, frame, sphere, Some(self.reference.applied_stops)))
    }

    /// Takes note of the drift, and undoes it where the sheet asks for it.
    pub(super) fn refer(&mut self, drift: Option<DriftOutcome>) {
        self.reference.drift = drift;
        self.nearest = None;
        correct(&mut self.radiometry, &self.reference);
    }
}

impl Photographed {
    /// The plate and this frame could not be laid over each other, or much of what they have in common differs.
    pub(super) fn is_doubtful(&self) -> bool {
        match &self.reference.drift {
            None => false,
            Some(DriftOutcome::Measured(drift)) => drift.shift.is_none() || drift.disputed,
            Some(DriftOutcome::NotMeasurable(_)) => true,
        }
    }
}

/// A bracket merged; a single frame as it is (its stops go into the gain, which spares a pass over the pixels).
fn one_frame(mut frames: Vec<BracketFrame>, report: &mut Report) -> Result<Frame> {
    if frames.len() == 1
        && let Some(only) = frames.pop()
    {
        return Ok(only.frame);
    }
    let merged = merge(frames)?;
    report.warnings.extend(merged.warnings.iter().filter(|w| w.contains("stops")).cloned());
    Ok(merged)
}

/// Exposures of a bracket need not show the sphere in the same place: which one a told place belongs to has to be said.
fn note_measured_frame(spec: &MirrorSpec, reference: Option<&BracketFrame>, report: &mut Report) {
    let (Some(key), Some(reference)) = (spec.told().key(), reference) else { return };
    report.assumptions.push(format!(
        "mirror {}: {key} is measured in {}, the frame of the bracket exposed most like the plate; the others are aligned to it",
        spec.name, reference.frame.record.file
    ));
}

fn note_reflectance(spec: &MirrorSpec, report: &mut Report) {
    if let Some(material) = spec.reflectance.and_then(MirrorReflectance::material) {
        let [r, g, b] = material.reflectance(0.0);
        report.assumptions.push(format!(
            "mirror {}: {} reflects {r:.2} {g:.2} {b:.2} head on and as Fresnel's equations say at other angles ({}; sd {:.2} stops)",
            spec.name,
            material.name(),
            material.source(),
            material.sd_stops()
        ));
    }
    if spec.reflectance.is_none() {
        report.assumptions.push(format!(
            "mirror {}: reflectance unknown, {UNKNOWN_REFLECTANCE} assumed (sd 0.35 stops); it cancels if the CG sphere has the same",
            spec.name
        ));
    }
}

/// A picture made for a display went through a tone curve in the camera that no standard describes.
pub(super) fn trust_of(frame: &Frame) -> Trust {
    Trust {
        tone_curve: frame.is_display_picture(),
        recovered_curve: false,
        view_transform: false,
        auto_white_balance: frame.meta.auto_white_balance == Some(true) && (frame.eight_bit || frame.format == "raw"),
    }
}

/// Undoes the measured drift, where the sheet asks for it.
fn correct(radiometry: &mut Radiometry, reference: &Reference) {
    let Some(drift) = reference.corrected_drift() else { return };
    let (red, blue) = (drift.red_green_stops.value, drift.blue_green_stops.value);
    let weights = crate::colour::WORKING_LUMINANCE;
    let green = drift.stops.value - reference.applied_stops.0 - weights[0] * red - weights[2] * blue;
    radiometry.working_gain = [green + red, green, green + blue].map(|stops| (-stops).exp2());
}
