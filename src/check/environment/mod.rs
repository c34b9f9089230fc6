//! `environment`: is the captured environment sound, and is the CG set up with it?

mod attach;
mod capture;
mod exposures;
mod prediction;
mod set_up;

use super::shot_check::{Addition, PairEvidence, ShotCheck, ShotEvidence, blank_of_shot};
use super::{CheckDoc, blank};
use crate::Result;
use crate::base::units::Stops;
use crate::findings::remedy::Ask;
use crate::findings::{Concerns, Finding, Verdict};
use crate::image::rows::{hand_over, without_pixels};
use crate::image::{EnvironmentMap, Frame, RowSink};
use crate::light::environment::{LatLong, LatLongInStrips, Survey, SurveyInStrips, convention_of};
use crate::sheet::{EnvironmentSpec, ShotSheet};

pub use super::docs::environment::DOC;

use prediction::Predicted;

/// The value counts in tolerances: one is at its tolerance.
const TOLERANCE: f64 = 1.0;

/// The check.
#[derive(Debug)]
pub struct Environment;

/// The environment as the check works with it.
struct Captured<'a> {
    spec: &'a EnvironmentSpec,
    light: LatLong,
    survey: Survey,
    /// The picture was made for a display: a view transform is most likely baked in.
    display_picture: bool,
}

/// The environment while its strips come in; nothing of a cube map is kept.
struct Taken {
    gain: f64,
    survey: Option<SurveyInStrips>,
    light: Option<LatLongInStrips>,
}

impl RowSink for Taken {
    fn begin(&mut self, header: &Frame) {
        if header.meta.environment_map != Some(EnvironmentMap::Cube) {
            self.survey = Some(SurveyInStrips::new(header));
            self.light = Some(LatLongInStrips::new(header, self.gain));
        }
    }

    fn rows(&mut self, strip: &Frame, first_row: usize) {
        if let (Some(survey), Some(light)) = (&mut self.survey, &mut self.light) {
            survey.take(strip, first_row);
            light.take(strip, first_row);
        }
    }
}

impl ShotCheck for Environment {
    fn doc(&self) -> &'static CheckDoc {
        &DOC
    }

    fn is_asked(&self, sheet: &ShotSheet) -> bool {
        sheet.environment.is_some()
    }

    fn reads_whole_frames(&self) -> bool {
        false
    }

    fn needs(&self) -> &'static str {
        "no environment is given; add `environment` with its frame to the sheet"
    }

    fn run(&self, shot: &ShotEvidence<'_>) -> Result<Addition> {
        let Some(spec) = &shot.sheet.environment else { return Ok(Addition::default()) };
        let mut addition = Addition::default();
        let gain = Stops(-spec.image.exposure_stops.unwrap_or(0.0)).ratio();
        let mut taken = Taken { gain, survey: None, light: None };
        let frame = if spec.bracket.is_empty() {
            let frame = shot.in_strips(&spec.image, "environment", &mut taken)?;
            addition.inputs.push(frame.record.clone());
            addition.warnings.extend(frame.warnings.iter().map(|w| format!("{}: {w}", frame.record.file)));
            frame
        } else {
            let frame = exposures::merged(shot, spec, &mut addition)?;
            hand_over(&frame, &mut taken);
            without_pixels(&frame)
        };
        let (Some(light), Some(survey)) = (taken.light, taken.survey) else {
            addition.findings.push(cube_map_finding());
            return Ok(addition);
        };
        addition.assumptions.push(layout_words(&frame));
        let captured = Captured {
            spec,
            light: light.finish(),
            survey: survey.finish(),
            display_picture: frame.is_display_picture(),
        };
        drop(frame);
        for pair in &shot.pairs {
            compare_pair(shot, pair, &captured, &mut addition)?;
        }
        if shot.pairs.is_empty() {
            let mut finding = blank_of_shot(&DOC, Concerns::Reference, TOLERANCE);
            capture::judge_picture_alone(&mut finding, &captured.survey);
            addition.findings.push(finding);
        }
        Ok(addition)
    }
}

fn compare_pair(
    shot: &ShotEvidence<'_>,
    pair: &PairEvidence<'_>,
    captured: &Captured<'_>,
    addition: &mut Addition,
) -> Result<()> {
    let predicted = Predicted::of(pair, captured);
    if captured.spec.heading_deg.is_none() {
        addition.assumptions.push(predicted.heading_words());
    }
    let against_photograph = predicted.against_photograph(shot.sheet, pair);
    let against_cg = predicted.against_cg(shot.sheet, pair);
    let name = &pair.comparison.mirror.name;
    let mut reference = Finding { concerns: Concerns::Reference, ..blank(&DOC, name, TOLERANCE) };
    capture::judge(&mut reference, captured, &predicted, &against_photograph, &against_cg);
    let mut cg = blank(&DOC, name, TOLERANCE);
    set_up::judge(&mut cg, pair.comparison, &against_photograph, &against_cg);
    addition.findings.extend([reference, cg]);
    if shot.predict {
        addition.attachments.extend(attach::pictures(shot.sheet, pair, captured, &predicted)?);
    }
    Ok(())
}

fn cube_map_finding() -> Finding {
    let mut finding = blank_of_shot(&DOC, Concerns::Reference, TOLERANCE);
    "the environment is a cube map, and only lat-long environments are read".clone_into(&mut finding.reason);
    finding.remedy = Ask::LatLong.into();
    finding.verdict = Verdict::Unsure;
    finding
}

fn layout_words(frame: &Frame) -> String {
    let layout = match convention_of(frame) {
        crate::light::environment::Convention::OpenExr => {
            "by its envmap attribute: first and last column show the same direction, rows run from pole to pole"
        }
        crate::light::environment::Convention::PixelPatches => {
            "without envmap attribute: as pixel patches that cover the sphere without overlap"
        }
    };
    format!("environment {}: lat-long seen from inside, {layout}", frame.record.file)
}
