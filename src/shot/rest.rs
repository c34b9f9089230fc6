//! The rest of what came back from set: every check of the whole shot that the sheet asks for.

use crate::check::{PairEvidence, SHOT_CHECKS, ShotCheck, ShotEvidence, blank_of_shot};
use crate::findings::{Attachment, Concerns, Finding, Remedy, Report, Verdict};
use crate::image::RowSink;
use crate::sheet::ShotSheet;

use super::pair::Pair;
use super::{Frames, RunOptions, intake, note};

/// Runs the checks that the sheet gives input for. One whose input cannot be used is unsure and makes the shot's
/// error, and the others still run.
pub(super) fn check(
    sheet: &ShotSheet,
    frames: &Frames,
    pairs: &[Pair],
    options: RunOptions,
    report: &mut Report,
) -> Vec<Attachment> {
    // A rendered grey sphere is outlined by its alpha, as the CG sphere is.
    let open =
        |spec: &crate::sheet::ImageSpec, role: &str| intake::open_frame(spec, &sheet.base_dir, role, role == "matte");
    let open_rows = |spec: &crate::sheet::ImageSpec, role: &str, sink: &mut dyn RowSink| {
        intake::open_rows_of(spec, &sheet.base_dir, role, sink)
    };
    let plate_view = frames.plate.as_ref().map(|p| intake::view_of(p, sheet.camera.as_ref(), &mut Vec::new()));
    let view = |frame: &crate::image::Frame| intake::view_of(frame, sheet.camera.as_ref(), &mut Vec::new());
    let pairs = pairs.iter().map(|pair| PairEvidence {
        comparison: &pair.comparison,
        mirror_frame: &pair.mirror_frame,
        cg_frame: &pair.cg_frame,
        reference: &pair.reference,
        cg_radiometry: &pair.cg_radiometry,
        recording_limit: pair.recording_limit.as_ref(),
    });
    let evidence = ShotEvidence {
        sheet,
        plate: frames.plate.as_ref(),
        plate_view: plate_view.as_ref(),
        pairs: pairs.collect(),
        files: &frames.notes,
        predict: options.predict,
        fixes: options.fixes,
        open: &open,
        open_rows: Some(&open_rows),
        view: &view,
    };
    SHOT_CHECKS.iter().flat_map(|check| one(*check, &evidence, report)).collect()
}

fn one(check: &dyn ShotCheck, evidence: &ShotEvidence<'_>, report: &mut Report) -> Vec<Attachment> {
    if !check.is_asked(evidence.sheet) {
        report.findings.push(not_given(check));
        return Vec::new();
    }
    match check.run(evidence) {
        Ok(addition) => {
            report.findings.extend(addition.findings);
            report.inputs.extend(addition.inputs);
            report.assumptions.extend(addition.assumptions);
            report.warnings.extend(addition.warnings);
            addition.attachments
        }
        Err(error) => {
            let mut finding = blank_of_shot(check.doc(), Concerns::Reference, 0.0);
            finding.reason = format!("{}: {}", crate::printable(&error.file), error.cause);
            finding.remedy = Remedy::give(&error.remedy);
            report.findings.push(finding);
            report.error.get_or_insert_with(|| note(&error));
            Vec::new()
        }
    }
}

fn not_given(check: &dyn ShotCheck) -> Finding {
    let mut finding = blank_of_shot(check.doc(), Concerns::Reference, 0.0);
    finding.verdict = Verdict::NotGiven;
    finding.reason = check.needs().to_owned();
    finding
}
