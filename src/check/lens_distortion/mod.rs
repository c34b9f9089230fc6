//! `lens-distortion`: does the CG's distortion fit the lens?

mod stated;
#[cfg(test)]
mod tests;

use super::{Addition, CheckDoc, ShotCheck, ShotEvidence, blank_of_shot, put, set_value_and_verdict};
use crate::Result;
use crate::base::units::Estimate;
use crate::findings::remedy::{Ask, Lens, Step};
use crate::findings::{Concerns, Finding, Verdict};
use crate::image::Frame;
use crate::register::lines::{Distortion, LensFit, fit_lens, long_edges};
use crate::sheet::ShotSheet;

use super::docs::lens_distortion::DOC;
use stated::Stated;

/// Places along each side of the frame at which the CG's distortion is held against the lens.
const PLACES: usize = 9;
/// The plate and the picture of lines show one field where their proportions differ by no more than this.
const PROPORTION_TOLERANCE: f64 = 0.01;

/// The check.
#[derive(Debug, Clone, Copy)]
pub struct LensDistortion;

impl ShotCheck for LensDistortion {
    fn doc(&self) -> &'static CheckDoc {
        &DOC
    }

    fn is_asked(&self, sheet: &ShotSheet) -> bool {
        sheet.straight_lines.is_some()
    }

    fn needs(&self) -> &'static str {
        "no picture of straight lines is given: add `straight_lines` with a frame of a grid, a doorway or tiles"
    }

    fn run(&self, shot: &ShotEvidence<'_>) -> Result<Addition> {
        let mut finding = blank_of_shot(&DOC, Concerns::Reference, shot.sheet.tolerances.lens_distortion.px);
        let Some(spec) = &shot.sheet.straight_lines else { return Ok(Addition::of(finding)) };
        let frame = (shot.open)(spec, "straight-lines")?;
        let size = [frame.size.width as f64, frame.size.height as f64];
        let mut warnings: Vec<String> = frame.warnings.iter().map(|w| format!("{}: {w}", frame.record.file)).collect();
        let plate_px = plate_pixels(shot, &frame, &mut warnings);
        match fit_lens(&long_edges(&frame), size) {
            Ok(fit) => judge(&mut finding, shot, &fit, size, plate_px)?,
            Err(reason) => refused(&mut finding, &reason.reason()),
        }
        Ok(Addition { inputs: vec![frame.record], warnings, ..Addition::of(finding) })
    }
}

/// Plate pixels per pixel of the picture of lines.
fn plate_pixels(shot: &ShotEvidence<'_>, frame: &Frame, warnings: &mut Vec<String>) -> f64 {
    let Some(plate) = shot.files.iter().find(|f| f.role == "plate").map(|f| f.size) else { return 1.0 };
    let [across, down] =
        [(plate.width, frame.size.width), (plate.height, frame.size.height)].map(|(p, f)| p as f64 / f.max(1) as f64);
    if (across / down - 1.0).abs() > PROPORTION_TOLERANCE {
        warnings.push(format!(
            "{}: its proportions differ from the plate's; its distortion is used as it is, in its own px",
            frame.record.file
        ));
        return 1.0;
    }
    across
}

fn refused(finding: &mut Finding, reason: &str) {
    finding.reason = reason.to_owned();
    finding.remedy = Ask::LinesAlongEdges.into();
}

fn judge(finding: &mut Finding, shot: &ShotEvidence<'_>, fit: &LensFit, size: [f64; 2], plate_px: f64) -> Result<()> {
    tell_lens(finding, fit, plate_px);
    let focal_px = shot.plate_view.map(|view| view.focal_px / plate_px);
    let stated = shot.sheet.cg.distortion.as_ref().map(|value| Stated::read(value, size, focal_px)).transpose()?;
    if stated == Some(Stated::InComp) {
        to_come(finding, fit);
        return Ok(());
    }
    // Where the CG puts things is the CG's.
    finding.concerns = Concerns::Cg;
    let rest = stated.as_ref().map_or_else(|| Stated::None.remainder_px(fit, size), |s| s.remainder_px(fit, size));
    let value = Estimate::new(rest * plate_px, fit.pull_px.sd * plate_px);
    set_value_and_verdict(finding, value, "the edges do not determine the distortion well enough");
    match (&stated, finding.verdict) {
        (None, Verdict::Match) => finding.reason = "the lens distorts too little to matter".to_owned(),
        (None, _) => {
            finding.verdict = Verdict::Unsure;
            finding.reason = "the sheet does not say what distortion the CG has".to_owned();
            finding.remedy = Step::StateDistortion(lens(fit)).into();
        }
        (Some(stated), Verdict::Mismatch) => {
            finding.remedy = Step::Distort {
                pull_percent: fit.pull_percent.value,
                rendered_without: *stated == Stated::None,
                lens: lens(fit),
            }
            .into();
        }
        _ => {}
    }
    if fit.reach < 0.8 {
        let glue = if finding.reason.is_empty() { "" } else { "; " };
        let share = 100.0 * fit.reach;
        finding.reason = format!("{}{glue}the edges reach {share:.0} % of the way to the corner", finding.reason);
    }
    Ok(())
}

/// The CG gets its distortion after this check: there is nothing to judge yet, and something to tell.
fn to_come(finding: &mut Finding, fit: &LensFit) {
    finding.verdict = Verdict::NotGiven;
    let pull = fit.pull_percent.value;
    finding.reason = format!(
        "the CG is distorted in the comp, which this check does not see: the lens pulls the corner by {pull:+.2} %, {}",
        lens(fit).words()
    );
    finding.remedy = Step::DistortInComp(lens(fit)).into();
}

fn tell_lens(finding: &mut Finding, fit: &LensFit, plate_px: f64) {
    let lens: &Distortion = &fit.distortion;
    let detail = &mut finding.detail;
    put(detail, "corner_pull_percent", fit.pull_percent);
    put(detail, "corner_pull_px", Estimate::new(fit.pull_px.value * plate_px, fit.pull_px.sd * plate_px));
    detail.insert("model".to_owned(), lens.model.word().into());
    put(detail, "k1", Estimate::new(lens.k1, fit.k_sd[0]));
    put(detail, "k2", Estimate::new(lens.k2, fit.k_sd[1]));
    let centre = lens.centre_px.map(|c| c * plate_px);
    detail.insert("centre_px".to_owned(), centre.to_vec().into());
    detail.insert("centre_fitted".to_owned(), fit.centre_fitted.into());
    detail.insert("residual_px".to_owned(), (fit.residual_px * plate_px).into());
    detail.insert("bent_px".to_owned(), (fit.bent_px * plate_px).into());
    for (name, value) in ["polynomial_residual_px", "division_residual_px"].into_iter().zip(fit.residual_by_model_px) {
        if value.is_finite() {
            detail.insert(name.to_owned(), (value * plate_px).into());
        }
    }
    detail.insert("edges".to_owned(), fit.edges.into());
    detail.insert("edges_left_out".to_owned(), fit.left_out.into());
    detail.insert("reach_percent".to_owned(), (100.0 * fit.reach).into());
}

/// The lens as a sheet would state it.
fn lens(fit: &LensFit) -> Lens {
    let lens = &fit.distortion;
    Lens { model: lens.model.word(), k1: lens.k1, k2: lens.k2 }
}

/// Places spread over a frame, its corners included.
fn places(size: [f64; 2]) -> impl Iterator<Item = [f64; 2]> {
    let at = move |i: usize, axis: usize| size[axis] * i as f64 / (PLACES - 1) as f64;
    (0..PLACES * PLACES).map(move |i| [at(i % PLACES, 0), at(i / PLACES, 1)])
}
