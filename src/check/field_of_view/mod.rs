//! `field-of-view`: does the CG camera see as wide as the real one?

mod cause;
mod source;

use serde_json::{Value, json};

use super::{Addition, PairEvidence, ShotCheck, ShotEvidence, blank_of_shot, decide, put};
use crate::Result;
use crate::base::units::Estimate;
use crate::compare::sphere_measurement::SphereMeasurement;
use crate::findings::detail::TOLD;
use crate::findings::{Concerns, Finding, Verdict};
use crate::image::Size;
use crate::sheet::{CameraSpec, ShotSheet};
use crate::sphere::angle_between_rad;

pub use super::docs::field_of_view::DOC;
use source::Source;

/// Pictures whose shapes differ by less than this show the same (a pixel or two of rounding).
const SAME_SHAPE: f64 = 0.005;

/// Sources of one side that differ by more than this many degrees are told apart.
const DISAGREEMENT_DEG: f64 = 0.1;

/// Only a source at least this good (relative) may put another in doubt.
const GOOD_SOURCE: f64 = 0.006;

/// Spheres of one size and place agree to these fractions of the radius (common practice, no source).
const SPHERE_SLACK: f64 = 0.02;
const SPHERE_APART: f64 = 0.1;

/// The check.
#[derive(Debug)]
pub struct FieldOfView;

impl ShotCheck for FieldOfView {
    fn doc(&self) -> &'static super::CheckDoc {
        &DOC
    }

    fn is_asked(&self, _: &ShotSheet) -> bool {
        true // files may tell both cameras without the sheet
    }

    fn reads_whole_frames(&self) -> bool {
        false
    }

    fn needs(&self) -> &'static str {
        "the field of view of neither plate nor CG is known"
    }

    fn run(&self, shot: &ShotEvidence<'_>) -> Result<Addition> {
        let finding = blank_of_shot(&DOC, Concerns::Cg, shot.sheet.tolerances.field_of_view.deg);
        Ok(Addition::of(compare(shot, finding)))
    }
}

fn compare(shot: &ShotEvidence<'_>, mut finding: Finding) -> Finding {
    let plate = source::plate_side(shot.sheet, shot.files);
    let cg = source::cg_side(shot.sheet, shot.files, plate.first());
    let Some(real) = plate.first() else {
        return not_given(
            finding,
            "the plate's field of view is not known: add camera.focal_length_mm and \
                                   camera.sensor_mm or camera.sensor_format",
        );
    };
    let errors = cg.iter().map(|source| (source, Errors::of(real, source, squeeze(shot.sheet))));
    let Some((rendered, errors)) = errors.max_by(|a, b| a.1.fov_deg.value.abs().total_cmp(&b.1.fov_deg.value.abs()))
    else {
        return not_given(
            finding,
            "the CG camera is not known: add cg.camera.focal_length_mm and \
                                   cg.camera.sensor_mm, or render with pinholeFocalLength or worldToNDC in the \
                                   header",
        );
    };
    finding.verdict = decide(errors.fov_deg, finding.tolerance);
    finding.value = Some(errors.fov_deg.value);
    finding.value_sd = Some(errors.fov_deg.sd);
    describe(&mut finding, shot.sheet, (real, rendered), &errors);
    finding.detail.insert("sources".to_owned(), plate.iter().chain(&cg).map(Source::to_json).collect());
    let reasons =
        [uncertainty(&mut finding, &plate, rendered, squeeze(shot.sheet)), disagreements(&plate, &cg), errors.note];
    finding.reason = reasons.into_iter().flatten().collect::<Vec<_>>().join("; ");
    if let Some(seen) = spheres_differ(shot) {
        finding.detail.insert(TOLD.to_owned(), seen.into());
    }
    if finding.verdict != Verdict::Match {
        finding.remedy = cause::remedy(shot.sheet, real, rendered, errors.width_ratio).into();
    }
    finding
}

/// Spheres of different size or place, although nothing says that the CG's stands elsewhere: the CG may have been
/// rendered through another lens than the one stated.
fn spheres_differ(shot: &ShotEvidence<'_>) -> Option<String> {
    let off = |pair: &PairEvidence<'_>| {
        let (mirror, cg) = (&pair.comparison.mirror, &pair.comparison.cg);
        let radius = |side: &SphereMeasurement| side.fit.cone.half_angle_rad;
        let ratio = radius(cg) / radius(mirror);
        let relative_sd = |side: &SphereMeasurement| side.fit.cone_cov[(2, 2)].max(0.0).sqrt() / radius(side);
        let apart = angle_between_rad(&mirror.fit.cone.axis, &cg.fit.cone.axis) / radius(mirror);
        let clear = (ratio - 1.0).abs() - 3.0 * relative_sd(mirror).hypot(relative_sd(cg)) > SPHERE_SLACK;
        (clear || apart > SPHERE_APART).then(|| {
            format!(
                "the CG sphere appears {ratio:.2} times as large as the photographed one and {apart:.1} radii away from it: if both spheres should be in the same place, the CG was rendered with a different lens, crop or position than its camera says"
            )
        })
    };
    shot.pairs.iter().find_map(off)
}

fn not_given(mut finding: Finding, reason: &str) -> Finding {
    finding.verdict = Verdict::NotGiven;
    finding.reason = reason.to_owned();
    finding
}

fn squeeze(sheet: &ShotSheet) -> f64 {
    sheet.camera.as_ref().and_then(|camera| camera.squeeze).unwrap_or(1.0)
}

/// CG minus plate, in the units artists use.
struct Errors {
    fov_deg: Estimate,
    /// Of the focal length, on the plate's sensor; `None` where only the field of view is known.
    focal_mm: Option<Estimate>,
    /// Of what stands at the plate's left or right edge, + = further from the centre, plate pixels.
    edge_px: Estimate,
    /// Width that the CG sees over what the plate sees, at equal distance.
    width_ratio: f64,
    note: Option<String>,
}

impl Errors {
    fn of(real: &Source, rendered: &Source, squeeze: f64) -> Self {
        let (crop, note) = on_plate_pixels(real.size, rendered.size, squeeze);
        let (plate, cg) = (real.half_tangent, rendered.half_tangent * crop);
        let relative_sd = real.relative_sd.hypot(rendered.relative_sd);
        let fov = |tangent: f64| 2.0 * tangent.atan().to_degrees();
        let slope_deg = (2.0 * cg / (1.0 + cg * cg)).to_degrees();
        let half_width = real.size.width as f64 / 2.0;
        let focal_mm = real.focal_mm.map(|focal| Estimate::new(focal * (plate / cg - 1.0), focal * relative_sd));
        Self {
            fov_deg: Estimate::new(fov(cg) - fov(plate), slope_deg * relative_sd),
            focal_mm,
            edge_px: Estimate::new(half_width * (plate / cg - 1.0), half_width * relative_sd),
            width_ratio: cg / plate,
            note,
        }
    }
}

/// The part of the CG's width that covers the plate's, and a note where that had to be settled.
///
/// Pictures of one shape show the same; a squeezed and an unsqueezed one too. Otherwise equal scale is taken where
/// the CG is at least as large both ways (overscan).
fn on_plate_pixels(plate: Size, cg: Size, squeeze: f64) -> (f64, Option<String>) {
    let shape = |size: Size| size.width as f64 / size.height as f64;
    let stretch = shape(cg) / shape(plate);
    if [1.0, squeeze, 1.0 / squeeze].iter().any(|same| (stretch / same - 1.0).abs() <= SAME_SHAPE) {
        return (1.0, None);
    }
    let sizes = format!("the CG picture is {}x{}, the plate {}x{}", cg.width, cg.height, plate.width, plate.height);
    if cg.width >= plate.width && cg.height >= plate.height {
        let note = format!("{sizes}: treated as overscan, pixel for pixel");
        return (plate.width as f64 / cg.width as f64, Some(note));
    }
    (1.0, Some(format!("{sizes}: different proportions, so their full widths were compared")))
}

fn describe(finding: &mut Finding, sheet: &ShotSheet, (real, rendered): (&Source, &Source), errors: &Errors) {
    let detail = &mut finding.detail;
    if let Some(focal_mm) = errors.focal_mm {
        put(detail, "focal_length_error_mm", focal_mm);
    }
    put(detail, "edge_error_px", errors.edge_px);
    detail.insert("plate_by".to_owned(), real.name.clone().into());
    detail.insert("cg_by".to_owned(), rendered.name.clone().into());
    if let Some(recording) = sheet.camera.as_ref().and_then(recording) {
        detail.insert("recording".to_owned(), recording);
    }
}

/// Crop and downscale, told apart.
fn recording(camera: &CameraSpec) -> Option<Value> {
    let (used, recorded) = (camera.used_px?, camera.recorded_px?);
    Some(json!({ "crop_of_sensor_width": camera.width_read_out(), "downscale": recorded[0] / used[0] }))
}

/// Where another good source of the plate side would give the opposite verdict, nothing is decided.
fn uncertainty(finding: &mut Finding, plate: &[Source], rendered: &Source, squeeze: f64) -> Option<String> {
    let rest = plate.get(1..).unwrap_or_default().iter().filter(|source| source.relative_sd <= GOOD_SOURCE);
    let opposite = rest.filter(|source| {
        let verdict = decide(Errors::of(source, rendered, squeeze).fov_deg, finding.tolerance);
        verdict != Verdict::Unsure && verdict != finding.verdict && finding.verdict != Verdict::Unsure
    });
    let names: Vec<String> = opposite.map(Source::words).collect();
    if !names.is_empty() {
        finding.verdict = Verdict::Unsure;
        return Some(format!(
            "the plate's own sources lead to different verdicts: {}; {}",
            plate[0].words(),
            names.join("; ")
        ));
    }
    (finding.verdict == Verdict::Unsure).then(|| "the error is too close to the tolerance to judge".to_owned())
}

/// Sources of one side that say different things.
fn disagreements(plate: &[Source], cg: &[Source]) -> Option<String> {
    let apart = |side: &[Source]| {
        let fovs = || side.iter().map(Source::fov_deg);
        let spread = fovs().fold(f64::MIN, f64::max) - fovs().fold(f64::MAX, f64::min);
        (side.len() > 1 && spread > DISAGREEMENT_DEG)
            .then(|| side.iter().map(Source::words).collect::<Vec<_>>().join(", "))
    };
    let said: Vec<String> = [("plate", apart(plate)), ("CG", apart(cg))]
        .into_iter()
        .filter_map(|(side, words)| Some(format!("{side} sources disagree: {}", words?)))
        .collect();
    (!said.is_empty()).then(|| said.join("; "))
}

#[cfg(test)]
mod tests;
