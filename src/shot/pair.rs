//! One mirror against its CG sphere.

use crate::Result;
use crate::camera::UNKNOWN_FOV_RANGE_DEG;
use crate::check::{CHECKS, Comparison, blank, reference_drift};
use crate::image::{Frame, plateau};
use crate::parallel;
use crate::radiance::{Radiometry, RecordingLimit};
use crate::report::{Report, SphereReport, SphereRole, Verdict};
use crate::rotation::{RotationSearch, search_rotation};
use crate::sheet::{AlphaKind, CameraSpec, CgSphereSpec, MirrorReflectance, MirrorSpec, Reflectance, ShotSheet};
use crate::side::{ReflectanceDoubt, Side, SideRequest, Trust};
use crate::sphere::{SphereFit, SphereSearch, cone_of_outline};
use crate::uncertainty::haze::HazeDoubt;
use crate::uncertainty::{clipping, reflectance};

use super::bracket::Recovered;
use super::ignore::Ignored;
use super::implausible::suspect_encoding;
use super::mirror::{Photographed, is_display_picture, prepare, reflecting};
use super::part::{self, Place};
use super::reconcile::{Looked, reconcile};
use super::{Frames, describe, find, intake};

/// What is needed to draw the evidence of a pair.
pub(super) struct Pair {
    pub(super) mirror_frame: Frame,
    pub(super) cg_frame: Frame,
    /// Pixel → radiance per channel.
    pub(super) mirror_gain: [f64; 3],
    pub(super) cg_gain: [f64; 3],
    pub(super) comparison: Comparison,
    /// How the photographed frame was shot against the plate.
    pub(super) reference: reference_drift::Reference,
    pub(super) cg_radiometry: Radiometry,
    pub(super) recording_limit: Option<RecordingLimit>,
}

/// Measures and compares. `None` where a sphere could not be told from others like it: the findings say so.
pub(super) fn check(
    sheet: &ShotSheet,
    spec: &MirrorSpec,
    cg: &CgSphereSpec,
    frames: &mut Frames,
    report: &mut Report,
) -> Result<Option<Pair>> {
    let exposures = frames.mirrors.remove(&spec.name).unwrap_or_default();
    let mut photographed = prepare(sheet, spec, exposures, frames.plate.as_ref(), report)?;
    let Some(mut cg_frame) = frames.cg.remove(&spec.name) else { return Ok(None) };
    let cg_camera = sheet.cg_camera();
    let cg_view = intake::view_of(&cg_frame, cg_camera.as_ref(), &mut report.warnings);
    let place = frames.places.as_mut().and_then(|places| places.remove(&spec.name));
    let (mirror_search, cg_search) = if let Some(place) = place {
        let Some(search) = found_at(&place, spec, &photographed) else {
            frames.in_doubt = true;
            return Ok(None);
        };
        (search, Ok(place.search))
    } else {
        parallel::both(
            || find(&photographed.frame, &photographed.view, spec.outline()),
            || find(&cg_frame, &cg_view, cg.outline()),
        )
    };
    let (mirror_search, cg_search) = reconcile(
        Looked { frame: &photographed.frame, view: &photographed.view, search: mirror_search },
        Looked { frame: &cg_frame, view: &cg_view, search: cg_search },
        report,
    )?;
    for (frame, fit) in [(&mut photographed.frame, &mirror_search.best), (&mut cg_frame, &cg_search.best)] {
        unstated_ceiling(frame, fit, report);
    }
    let ignored = Ignored::of(spec, &photographed.view, &mirror_search.best);
    if let Some(ignored) = &ignored {
        photographed.take_out_drawn(ignored);
    }
    let mut found = Found { photographed, search: mirror_search };
    let radiometry = cg_radiometry(spec, cg);
    let mut rendered = Rendered { frame: cg_frame, view: cg_view, search: cg_search, radiometry };
    let decided = found.search.rivals.is_empty() && rendered.search.rivals.is_empty();
    let (drift, early) = parallel::both(
        || found.photographed.drift(frames.plate.as_ref(), &found.search.best.outline),
        // Nothing but the doubt then depends on the drift.
        || (decided && ignored.is_none() && !spec.correct_drift).then(|| compare(sheet, spec, cg, &found, &rendered)),
    );
    found.photographed.refer(drift);
    if frames.places.is_some() && !found.photographed.is_registered() {
        frames.in_doubt = true;
        return Ok(None);
    }
    let reference = &found.photographed.reference;
    report.findings.push(reference_drift::run(&spec.name, reference, &sheet.tolerances));
    if undecided(&found.search, &rendered.search, (sheet, spec), report) {
        return Ok(None);
    }
    let ignored_fractions = ignored.map_or([0.0; 2], |ignored| {
        let fractions = [
            ignored.take_out(&mut found.photographed.frame, &found.photographed.view, &found.search.best),
            ignored.take_out(&mut rendered.frame, &rendered.view, &rendered.search.best),
        ];
        Ignored::note(spec, fractions[0], report);
        fractions
    });
    let comparison = early.unwrap_or_else(|| compare(sheet, spec, cg, &found, &rendered));
    let doubt = reference_drift::doubt(&found.photographed.reference, &sheet.tolerances);
    let comparison = comparison.with_ignored(ignored_fractions).with_drift_doubt(doubt);
    let photographed = found.photographed;
    let cg_gain = rendered.radiometry.channel_gain();
    notes(sheet, &comparison, report);
    let blur = comparison.haze.as_ref().map(|doubt| doubt.haze.half_light_rad);
    report.spheres.push(SphereReport {
        surface_blur_deg: blur.map(|b| b.value.to_degrees()),
        surface_blur_deg_sd: blur.map(|b| b.sd.to_degrees()),
        response_curve: photographed.recovered.as_ref().map(Recovered::report),
        ..describe::sphere_report(&comparison.mirror)
    });
    report.spheres.push(describe::sphere_report(&comparison.cg));
    let mut findings = parallel::map_each(CHECKS, |check| check.run(&comparison));
    suspect_encoding(&mut findings, [&photographed.frame, &rendered.frame]);
    report.findings.extend(findings);
    Ok(Some(Pair {
        mirror_gain: photographed.radiometry.channel_gain(),
        cg_gain,
        recording_limit: recording_limit(&photographed, &comparison.mirror),
        cg_radiometry: rendered.radiometry,
        mirror_frame: photographed.frame,
        cg_frame: rendered.frame,
        comparison,
        reference: photographed.reference,
    }))
}

/// The photographed sphere as given, or where the CG's stands; `None` where it cannot be told for sure there.
fn found_at(place: &Place, spec: &MirrorSpec, photographed: &Photographed) -> Option<Result<SphereSearch>> {
    if spec.outline().is_some() {
        return Some(find(&photographed.frame, &photographed.view, spec.outline()));
    }
    part::find_at(&photographed.frame, &photographed.view, place.cone()).map(Ok)
}

/// A float picture that was cut off below what its file allows states no ceiling; on the sphere it shows.
fn unstated_ceiling(frame: &mut Frame, fit: &SphereFit, report: &mut Report) {
    if frame.clip_level.is_some() {
        return;
    }
    let o = fit.outline;
    let reach = o.semi_a.max(o.semi_b);
    let window = [o.centre_x - reach, o.centre_y - reach, o.centre_x + reach, o.centre_y + reach].map(|v| v as i64);
    let Some((level, pixels)) = plateau(frame, window) else { return };
    frame.clip_level = Some(clipping::recorded_ceiling(level, frame.format));
    report.warnings.push(format!(
        "{}: {pixels} pixels of the sphere stand at exactly the highest value (R {} G {} B {}) and are taken as clipped; where that is wrong, state a higher clip_level",
        frame.record.file, level[0], level[1], level[2]
    ));
}

/// The photographed side with its sphere.
struct Found {
    photographed: Photographed,
    search: SphereSearch,
}

struct Rendered {
    frame: Frame,
    view: crate::camera::View,
    search: SphereSearch,
    radiometry: Radiometry,
}

/// Several spheres are equally good: every check is unsure and the candidates are listed.
fn undecided(
    mirror: &SphereSearch,
    cg: &SphereSearch,
    (sheet, spec): (&ShotSheet, &MirrorSpec),
    report: &mut Report,
) -> bool {
    let mut said = Vec::new();
    for (search, side) in [(mirror, "mirror"), (cg, "cg")] {
        if search.rivals.is_empty() {
            continue;
        }
        let all = std::iter::once(&search.best).chain(&search.rivals);
        let list: Vec<String> = all.map(outline_words).collect();
        said.push(format!("{side} frame: {} spheres are equally good: {}", list.len(), list.join("; ")));
    }
    if said.is_empty() {
        return false;
    }
    for check in CHECKS {
        let mut finding = blank(check.doc(), &spec.name, check.tolerance(&sheet.tolerances));
        finding.reason = said.join("; ");
        finding.remedy = "give the right one as outline_px in the sheet".to_owned();
        report.findings.push(finding);
    }
    report.warnings.extend(said);
    true
}

fn outline_words(fit: &SphereFit) -> String {
    let o = fit.outline;
    format!("[{:.1}, {:.1}, {:.1}]", o.centre_x, o.centre_y, o.mean_radius())
}

fn cg_radiometry(spec: &MirrorSpec, cg: &CgSphereSpec) -> Radiometry {
    let as_rendered = match cg.reflectance {
        Reflectance::SameAsMirror => reflecting(spec),
        Reflectance::Rgb(reflectance) => Radiometry { reflectance, ..Radiometry::default() },
    };
    Radiometry { premultiplied: cg.alpha == AlphaKind::Premultiplied, ..as_rendered }
}

/// What of the reflectance's uncertainty does not cancel: nothing where the CG sphere is said to be like the real one.
fn doubt(spec: &MirrorSpec, cg: &CgSphereSpec) -> ReflectanceDoubt {
    let Reflectance::Rgb(rendered) = cg.reflectance else { return ReflectanceDoubt::default() };
    let default = match spec.reflectance {
        None => reflectance::UNKNOWN_SD_STOPS,
        Some(MirrorReflectance::Material(material)) => material.sd_stops(),
        Some(MirrorReflectance::Rgb(given)) if given.iter().zip(rendered).all(|(a, b)| (a - b).abs() < 1e-9) => 0.0,
        Some(_) => reflectance::GIVEN_SD_STOPS,
    };
    reflectance::doubt(spec.reflectance_sd_stops.unwrap_or(default))
}

/// Everything measured on both sides but for what the drift adds to the doubt.
fn compare(sheet: &ShotSheet, spec: &MirrorSpec, cg: &CgSphereSpec, found: &Found, rendered: &Rendered) -> Comparison {
    let photographed = &found.photographed;
    let mirror_request = SideRequest {
        role: SphereRole::Mirror,
        name: &spec.name,
        frame: &photographed.frame,
        view: &photographed.view,
        fit: &found.search.best,
        radiometry: &photographed.radiometry,
        trust: photographed.trust,
        reflectance: doubt(spec, cg),
    };
    let cg_request = SideRequest {
        role: SphereRole::Cg,
        frame: &rendered.frame,
        view: &rendered.view,
        fit: &rendered.search.best,
        radiometry: &rendered.radiometry,
        trust: Trust { view_transform: is_display_picture(&rendered.frame), ..Trust::default() },
        reflectance: ReflectanceDoubt::default(),
        ..mirror_request.clone()
    };
    let (mut mirror, cg_side) = parallel::both(|| Side::measure(&mirror_request), || Side::measure(&cg_request));
    let haze = HazeDoubt::find(&mut mirror, &cg_side, [&photographed.frame, &rendered.frame]);
    let limited = recording_limit(photographed, &mirror)
        .map(|limit| Radiometry { limit: Some(limit), ..rendered.radiometry.clone() });
    let cg_limited =
        limited.as_ref().map(|radiometry| Side::measure(&SideRequest { radiometry, ..cg_request.clone() }));
    let equal_request =
        SideRequest { radiometry: limited.as_ref().unwrap_or(&rendered.radiometry), ..cg_request.clone() };
    let other_views = other_views(&mirror_request, &equal_request);
    let rotation_search = search_rotation(&mirror, cg_limited.as_ref().unwrap_or(&cg_side));
    Comparison {
        mirror,
        cg: cg_side,
        cg_limited,
        other_views,
        haze,
        rotation: rotation_search.as_ref().and_then(RotationSearch::undone),
        rotation_search,
        camera_tilt_roll_deg: sheet.camera.as_ref().and_then(CameraSpec::tilt_roll_deg),
        drift: reference_drift::Doubt::default(),
        tolerances: sheet.tolerances,
    }
}

/// The most that the photograph could record, as radiance; `None` where nothing of the sphere is clipped.
fn recording_limit(photographed: &Photographed, mirror: &Side) -> Option<RecordingLimit> {
    let level = photographed.frame.clip_level.filter(|_| mirror.image.clipped_fraction > 0.0)?;
    let mut radiance = [0.0; 3];
    for channel in 0..3 {
        radiance[channel] =
            f64::from(level[channel]) * photographed.radiometry.gain / photographed.radiometry.reflectance[channel];
    }
    Some(RecordingLimit { space: photographed.frame.space.clone(), radiance })
}

/// Both sides under the smallest and largest field of view, where one of them is unknown.
fn other_views(mirror: &SideRequest<'_>, cg: &SideRequest<'_>) -> Vec<(Side, Side)> {
    if !mirror.view.is_assumed() && !cg.view.is_assumed() {
        return Vec::new();
    }
    UNKNOWN_FOV_RANGE_DEG.into_iter().filter_map(|fov| Some((under(mirror, fov)?, under(cg, fov)?))).collect()
}

fn under(request: &SideRequest<'_>, horizontal_fov_deg: f64) -> Option<Side> {
    if !request.view.is_assumed() {
        return Some(Side::measure(request));
    }
    let view = request.view.with_horizontal_fov(horizontal_fov_deg);
    let cone = cone_of_outline(&view, &request.fit.outline)?;
    let fit = SphereFit { cone, ..request.fit.clone() };
    Some(Side::measure(&SideRequest { view: &view, fit: &fit, ..request.clone() }))
}

fn notes(sheet: &ShotSheet, comparison: &Comparison, report: &mut Report) {
    for (side, word) in [(&comparison.mirror, "mirror"), (&comparison.cg, "CG")] {
        if side.view.is_assumed() {
            report.assumptions.push(format!(
                "{word} field of view unknown: {:.0} deg horizontal taken, 18 to 75 deg tried",
                side.view.horizontal_fov_deg()
            ));
        }
        if side.image.invalid_fraction > 0.0 {
            let percent = 100.0 * side.image.invalid_fraction;
            report
                .warnings
                .push(format!("{word} sphere {}: {percent:.2} % of its pixels are missing, NaN or Inf", side.name));
        }
    }
    if comparison.mirror.image.clipped_fraction > 0.0 {
        report.assumptions.push(
            "the photographed sphere has clipped pixels: the CG was limited to what the photograph could record before comparing".to_owned(),
        );
    }
    report.warnings.extend(comparison.haze.as_ref().map(|haze| haze.words(&comparison.mirror.name)));
    if sheet.cg.distortion.as_ref().is_some_and(|d| d == "none") {
        report.assumptions.push("the CG is rendered without lens distortion while the plate may have it".to_owned());
    }
    if report.findings.iter().any(|f| f.check == "reference-drift" && f.verdict == Verdict::Mismatch) {
        report.warnings.push(
            "the sphere frame was not exposed like the plate: exposure and colour are less certain for it".to_owned(),
        );
    }
}
