//! The photographed sphere: bracket, outline, reflectance, drift.

use crate::Result;
use crate::camera::View;
use crate::check::reference_drift::Reference;
use crate::image::Frame;
use crate::image::bracket::{BracketFrame, merge, stops_from_metadata};
use crate::image::clf::ClfTransform;
use crate::material::Material;
use crate::radiance::Radiometry;
use crate::register::{DriftOutcome, measure_drift};
use crate::report::Report;
use crate::sheet::{MirrorReflectance, MirrorSpec, ShotSheet};
use crate::side::Trust;
use crate::sphere::Outline;
use crate::units::Stops;

use super::bracket::Recovered;
use super::ignore::Ignored;
use super::{Exposure, bracket, intake};

/// Reflectance taken where nothing tells it.
pub(super) const UNKNOWN_REFLECTANCE: f64 = 0.7;

/// How a mirror's sphere reflects.
pub(super) fn reflecting(spec: &MirrorSpec) -> Radiometry {
    Radiometry {
        reflectance: spec.reflectance.map_or([UNKNOWN_REFLECTANCE; 3], MirrorReflectance::head_on),
        falloff: spec.reflectance.and_then(MirrorReflectance::material).map(Material::falloff),
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
}

/// Stops of an exposure: as the sheet states them, else as both files' metadata do, else as the plate.
fn stops_of(exposure: &Exposure, plate: Option<&Frame>) -> f64 {
    let metadata = || stops_from_metadata(&plate?.meta, &exposure.frame.meta);
    exposure.stops.or_else(|| metadata().map(|s| s.0)).unwrap_or(0.0)
}

/// Merges the bracket and settles how its pixels become radiance.
pub(super) fn prepare(
    sheet: &ShotSheet,
    spec: &MirrorSpec,
    exposures: Vec<Exposure>,
    plate: Option<&Frame>,
    report: &mut Report,
) -> Result<Photographed> {
    let stated: Vec<f64> = exposures.iter().map(|e| stops_of(e, plate)).collect();
    note_exposures(spec, &exposures, &stated, plate, report);
    let closest = (0..stated.len()).min_by(|a, b| stated[*a].abs().total_cmp(&stated[*b].abs())).unwrap_or(0);
    let several = exposures.len() > 1;
    let frames = exposures.into_iter().zip(&stated).map(|(e, s)| BracketFrame { frame: e.frame, stops: Stops(*s) });
    let mut frames: Vec<BracketFrame> = frames.collect();
    let recovered = if several { bracket::linearise(&spec.name, &mut frames, report) } else { None };
    if several && alike(&frames) {
        bracket::register(sheet, spec, &mut frames, closest, report);
    }
    let applied_stops = frames.get(closest).map_or(Stops(0.0), |f| f.stops);
    let is_plate = plate.is_some_and(|p| {
        frames.get(closest).is_some_and(|f| !p.record.blake3.is_empty() && f.frame.record.blake3 == p.record.blake3)
    });
    let nearest = frames.get(closest).filter(|_| several && plate.is_some()).map(|f| f.frame.clone());
    let frame = one_frame(frames, report)?;
    let view = intake::view_of(&frame, sheet.camera.as_ref(), &mut report.warnings);
    let gain = if several { 1.0 } else { (-applied_stops).ratio() };
    let radiometry = Radiometry { gain, ..reflecting(spec) };
    let reference = Reference { drift: None, applied_stops, corrected: spec.correct_drift, is_plate };
    let trust = trust_of(&frame).after(recovered.as_ref().is_some_and(Recovered::is_reliable));
    Ok(Photographed { frame, view, radiometry, trust, reference, recovered, nearest })
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
    /// The plate and this frame could be laid over each other, or there is no plate.
    pub(super) fn is_registered(&self) -> bool {
        match &self.reference.drift {
            None => true,
            Some(DriftOutcome::Measured(drift)) => drift.shift.is_some(),
            Some(DriftOutcome::NotMeasurable(_)) => false,
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

fn note_exposures(
    spec: &MirrorSpec,
    exposures: &[Exposure],
    stated: &[f64],
    plate: Option<&Frame>,
    report: &mut Report,
) {
    for (exposure, stops) in exposures.iter().zip(stated) {
        let from = if exposure.stops.is_some() {
            "the sheet"
        } else if plate.is_some_and(|p| stops_from_metadata(&p.meta, &exposure.frame.meta).is_some()) {
            "the files' exposure metadata"
        } else {
            continue;
        };
        if stops.abs() > 1e-6 {
            let line = format!(
                "{} is taken as exposed {stops:+.2} stops against the plate, by {from}",
                exposure.frame.record.file
            );
            report.assumptions.push(line);
        }
    }
    if let Some(material) = spec.reflectance.and_then(MirrorReflectance::material) {
        let [r, g, b] = material.reflectance(0.0);
        report.assumptions.push(format!(
            "mirror {}: {} reflects {r:.2} {g:.2} {b:.2} head on and as Fresnel's equations say at other angles ({}; sd {:.2} stop)",
            spec.name,
            material.name(),
            material.source(),
            material.sd_stops()
        ));
    }
    if spec.reflectance.is_none() {
        report.assumptions.push(format!(
            "mirror {}: reflectance unknown, {UNKNOWN_REFLECTANCE} taken (sd 0.35 stop); it cancels where the CG sphere has the same",
            spec.name
        ));
    }
}

/// An 8-bit picture in a display encoding went through a tone curve in the camera that no standard describes.
pub(super) fn trust_of(frame: &Frame) -> Trust {
    Trust {
        tone_curve: is_display_picture(frame),
        recovered_curve: false,
        view_transform: false,
        auto_white_balance: frame.meta.auto_white_balance == Some(true) && frame.eight_bit,
    }
}

/// The picture has 8 bits in a display encoding.
pub(super) fn is_display_picture(frame: &Frame) -> bool {
    if ClfTransform::is_name(&frame.record.encoding) {
        return false; // a transform that somebody made for it
    }
    let encoding = crate::image::encoding::Encoding::parse(&frame.record.encoding);
    frame.eight_bit && encoding.is_none_or(crate::image::encoding::Encoding::is_display_referred)
}

/// Undoes the measured drift, where the sheet asks for it.
fn correct(radiometry: &mut Radiometry, reference: &Reference) {
    let Some(DriftOutcome::Measured(drift)) = reference.drift.as_ref().filter(|_| reference.corrected) else { return };
    let (red, blue) = (drift.red_green_stops.value, drift.blue_green_stops.value);
    let weights = crate::colour::WORKING_LUMINANCE;
    let green = drift.stops.value - reference.applied_stops.0 - weights[0] * red - weights[2] * blue;
    for (channel, stops) in [green + red, green, green + blue].into_iter().enumerate() {
        radiometry.reflectance[channel] *= stops.exp2();
    }
}
