//! `clean-plate`: does the plate without the actors lie on the plate?

mod mask;
mod range;
#[cfg(test)]
mod tests;

use serde_json::Value;

use super::{Addition, CheckDoc, ShotCheck, ShotEvidence, blank_of_shot, decide, put};
use crate::Result;
use crate::base::units::Estimate;
use crate::findings::remedy::{Ask, CleanPlateMove, Step};
use crate::findings::{Concerns, Finding, Remedy, Verdict};
use crate::image::Frame;
use crate::register::{Drift, Moved, Registration, WarpModel, compare_frames, what_moved};
use crate::sheet::{CleanPlateTolerance, ImageSpec, ShotSheet};

use super::docs::clean_plate::DOC;
pub(crate) use range::files_of_take;

/// Share of the frame that has to be comparable for a statement about what moved.
const LEAST_COMPARED: f64 = 0.1;

/// The check.
#[derive(Debug, Clone, Copy)]
pub struct CleanPlate;

impl ShotCheck for CleanPlate {
    fn doc(&self) -> &'static CheckDoc {
        &DOC
    }

    fn is_asked(&self, sheet: &ShotSheet) -> bool {
        sheet.clean_plate.is_some()
    }

    fn needs(&self) -> &'static str {
        "no clean plate is given: add `clean_plate` with the frame shot without the actors"
    }

    fn run(&self, shot: &ShotEvidence<'_>) -> Result<Addition> {
        let tolerance = shot.sheet.tolerances.clean_plate;
        let finding = blank_of_shot(&DOC, Concerns::Reference, tolerance.px);
        match (&shot.sheet.plate, &shot.sheet.clean_plate) {
            (Some(plate), Some(clean)) => against_plate(shot, plate, clean, finding),
            _ => Ok(without_plate(finding)),
        }
    }
}

fn without_plate(mut finding: Finding) -> Addition {
    finding.verdict = Verdict::NotGiven;
    finding.reason = "no plate is given to compare the clean plate with".to_owned();
    Addition::of(finding)
}

fn against_plate(
    shot: &ShotEvidence<'_>,
    plate_spec: &ImageSpec,
    clean_spec: &ImageSpec,
    mut finding: Finding,
) -> Result<Addition> {
    let mut addition = Addition::default();
    let takes = range::best_frames(shot, plate_spec, clean_spec, &mut addition)?;
    let [plate_spec, clean_spec] =
        takes.as_ref().map_or([plate_spec.clone(), clean_spec.clone()], |t| t.analysed.clone());
    let opened = open_again(shot, &plate_spec)?;
    let plate = opened.as_ref().or(shot.plate);
    let clean = (shot.open)(&clean_spec, "clean-plate")?;
    if takes.is_none() {
        addition.inputs.push(clean.record.clone());
    }
    addition.warnings.extend(clean.warnings.iter().map(|w| format!("{}: {w}", clean.record.file)));
    let Some(plate) = plate else { return Ok(without_plate(finding)) };
    match compare_frames(plate, &clean, None, "clean plate", None) {
        Ok(drift) => measured(&mut finding, &mut addition, plate, &clean, &drift, shot.sheet.tolerances.clean_plate)?,
        Err(reason) => finding.reason = reason,
    }
    if let Some(takes) = takes {
        takes.tell(&mut finding);
    }
    addition.findings.push(finding);
    Ok(addition)
}

/// The plate's whole picture, where what is open is another frame of it or only a part.
fn open_again(shot: &ShotEvidence<'_>, spec: &ImageSpec) -> Result<Option<Frame>> {
    let spans = |p: &Frame| p.data.width >= p.size.width && p.data.height >= p.size.height;
    let is_whole = shot.plate.is_some_and(|p| p.record.decoded_fraction >= 1.0 && spans(p));
    let is_same = shot.sheet.plate.as_ref() == Some(spec);
    if is_whole && is_same { Ok(None) } else { (shot.open)(spec, "plate").map(Some) }
}

fn measured(
    finding: &mut Finding,
    addition: &mut Addition,
    plate: &Frame,
    clean: &Frame,
    drift: &Drift,
    tolerance: CleanPlateTolerance,
) -> Result<()> {
    let size = [plate.size.width as f64, plate.size.height as f64];
    put(&mut finding.detail, "exposure_stops", drift.stops);
    put(&mut finding.detail, "red_green_stops", drift.red_green_stops);
    put(&mut finding.detail, "blue_green_stops", drift.blue_green_stops);
    let blur = drift.focus.map(|f| f.blur_px());
    if let Some(blur) = blur {
        put(&mut finding.detail, "blur_px", blur);
    }
    let Some(registration) = &drift.registration else {
        finding.reason = drift.warnings.join("; ");
        finding.remedy = Ask::DetailInCleanPlate.into();
        return Ok(());
    };
    let apart = registration.misregistration_px(size);
    tell_registration(finding, registration, apart, size);
    let verdicts = Verdicts::of(drift, apart, blur, tolerance);
    finding.value = Some(apart.value);
    finding.value_sd = Some(apart.sd);
    finding.verdict = verdicts.worst();
    finding.reason = verdicts.reason(&drift.warnings, finding.verdict);
    finding.remedy = verdicts.remedy(registration, drift, blur, size);
    if let Some(moved) = what_moved(plate, clean, drift) {
        tell_moved(finding, &moved);
        addition.attachments.push(mask::png(&moved, plate.size)?);
    }
    Ok(())
}

fn tell_registration(finding: &mut Finding, registration: &Registration, apart: Estimate, size: [f64; 2]) {
    let [dx, dy] = registration.displacement(size.map(|s| 0.5 * s));
    let detail = &mut finding.detail;
    detail.insert("registered_by".to_owned(), registration.model.word().into());
    put(detail, "shift_x_px", dx);
    put(detail, "shift_y_px", dy);
    if registration.model != WarpModel::Translation {
        put(detail, "roll_deg", registration.roll_deg());
        put(detail, "zoom_percent", registration.zoom_percent());
    }
    put(detail, "misregistration_px", apart);
    let rows = registration.warp.matrix_px().map(|row| Value::from(row.to_vec())).to_vec();
    detail.insert("matrix_plate_to_clean".to_owned(), rows.into());
}

fn tell_moved(finding: &mut Finding, moved: &Moved) {
    let percent = Estimate::new(100.0 * moved.covered.value, 100.0 * moved.covered.sd);
    if moved.compared >= LEAST_COMPARED {
        put(&mut finding.detail, "moved_percent", percent);
    }
    finding.detail.insert("compared_percent".to_owned(), (100.0 * moved.compared).into());
}

/// The verdict on each quantity by the contract's rule.
struct Verdicts {
    place: Verdict,
    exposure: Verdict,
    focus: Option<Verdict>,
    tolerance: CleanPlateTolerance,
}

impl Verdicts {
    fn of(drift: &Drift, apart: Estimate, blur: Option<Estimate>, tolerance: CleanPlateTolerance) -> Self {
        let colour = [drift.red_green_stops, drift.blue_green_stops];
        // Colour that could not be measured carries a whole stop of uncertainty: it does not count.
        let colours = colour.iter().filter(|c| c.sd < 0.5).map(|c| decide(*c, tolerance.stops));
        Self {
            place: decide(apart, tolerance.px),
            exposure: colours.chain([decide(drift.stops, tolerance.stops)]).max().unwrap_or(Verdict::Unsure),
            focus: blur.map(|b| decide(b, tolerance.blur_px)),
            tolerance,
        }
    }

    fn worst(&self) -> Verdict {
        self.place.max(self.exposure).max(self.focus.unwrap_or(Verdict::Match))
    }

    fn reason(&self, warnings: &[String], worst: Verdict) -> String {
        let mut parts = Vec::new();
        let named = [
            (self.place, format!("place (tolerance {} px)", self.tolerance.px)),
            (self.exposure, format!("exposure or colour (tolerance {} stops)", self.tolerance.stops)),
            (self.focus.unwrap_or(Verdict::Match), format!("focus (tolerance {} px of blur)", self.tolerance.blur_px)),
        ];
        let list = |verdict: Verdict| -> Vec<String> {
            named.iter().filter(|(v, _)| *v == verdict).map(|(_, name)| name.clone()).collect()
        };
        if worst == Verdict::Mismatch {
            parts.push(format!("off in {}", list(Verdict::Mismatch).join(" and ")));
        }
        let open = list(Verdict::Unsure);
        if !open.is_empty() {
            parts.push(format!("too uncertain to judge against the tolerance: {}", open.join(", ")));
        }
        if self.focus.is_none() {
            parts.push("focus could not be compared: the frames have too little detail in common".to_owned());
        }
        parts.extend(warnings.iter().cloned());
        parts.join("; ")
    }

    fn remedy(&self, registration: &Registration, drift: &Drift, blur: Option<Estimate>, size: [f64; 2]) -> Remedy {
        let placed = (self.place == Verdict::Mismatch).then(|| Step::MoveCleanPlate(way_back(registration, size)));
        let exposed = (self.exposure == Verdict::Mismatch).then(|| Step::GainCleanPlate { rgb: gain_rgb(drift) });
        let blur = blur.filter(|_| self.focus == Some(Verdict::Mismatch));
        let focused = blur.map(|blur| Step::BlurCleanPlate { px: blur.value });
        placed.into_iter().chain(exposed).chain(focused).collect()
    }
}

/// What brings the clean plate onto the plate.
fn way_back(registration: &Registration, size: [f64; 2]) -> CleanPlateMove {
    let [dx, dy] = registration.displacement(size.map(|s| 0.5 * s));
    let (roll, zoom) = (-registration.roll_deg().value, registration.zoom_percent().value);
    CleanPlateMove {
        right_px: -dx.value,
        down_px: -dy.value,
        roll_deg_and_scale: (registration.model != WarpModel::Translation).then(|| [roll, 1.0 / (1.0 + zoom / 100.0)]),
        in_perspective: registration.model == WarpModel::Homography,
    }
}

fn gain_rgb(drift: &Drift) -> [f64; 3] {
    let gain = [drift.red_green_stops.value, 0.0, drift.blue_green_stops.value].map(f64::exp2);
    let level = drift.stops.value.exp2() / crate::colour::luminance(gain);
    gain.map(|c| 1.0 / (c * level))
}
