//! `environment`: is the captured environment sound, and is the CG set up with it?

mod attach;
mod capture;
mod prediction;
mod set_up;

use super::shot_check::{Addition, PairEvidence, ShotCheck, ShotEvidence, blank_of_shot};
use super::{CheckDoc, blank};
use crate::Result;
use crate::base::units::Stops;
use crate::findings::{Finding, Verdict};
use crate::image::{EnvironmentMap, Frame};
use crate::light::environment::{LatLong, Survey, convention_of, survey};
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
        let frame = (shot.open)(&spec.image, "environment")?;
        let mut addition = Addition {
            inputs: vec![frame.record.clone()],
            warnings: frame.warnings.iter().map(|w| format!("{}: {w}", frame.record.file)).collect(),
            ..Addition::default()
        };
        if frame.meta.environment_map == Some(EnvironmentMap::Cube) {
            addition.findings.push(cube());
            return Ok(addition);
        }
        addition.assumptions.push(layout_words(&frame));
        let gain = Stops(-spec.image.exposure_stops.unwrap_or(0.0)).ratio();
        let captured = Captured {
            spec,
            light: LatLong::of(&frame, gain),
            survey: survey(&frame),
            display_picture: frame.is_display_picture(),
        };
        drop(frame);
        for pair in &shot.pairs {
            one(shot, pair, &captured, &mut addition)?;
        }
        if shot.pairs.is_empty() {
            let mut finding = blank_of_shot(&DOC, "reference", TOLERANCE);
            capture::judge_picture_alone(&mut finding, &captured.survey);
            addition.findings.push(finding);
        }
        Ok(addition)
    }
}

fn one(
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
    let mut reference = Finding { concerns: "reference".to_owned(), ..blank(&DOC, name, TOLERANCE) };
    capture::judge(&mut reference, captured, &predicted, &against_photograph, &against_cg);
    let mut cg = blank(&DOC, name, TOLERANCE);
    set_up::judge(&mut cg, pair.comparison, &against_photograph, &against_cg);
    addition.findings.extend([reference, cg]);
    if shot.predict {
        addition.attachments.extend(attach::pictures(shot.sheet, pair, captured, &predicted)?);
    }
    Ok(())
}

fn cube() -> Finding {
    let mut finding = blank_of_shot(&DOC, "reference", TOLERANCE);
    "the environment is a cube map, and only lat-long environments are read".clone_into(&mut finding.reason);
    "convert it to lat-long, twice as wide as high, and give that".clone_into(&mut finding.remedy);
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
