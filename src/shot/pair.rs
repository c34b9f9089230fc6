//! One mirror against its CG sphere.

use nalgebra::{Matrix3, Vector3};

use crate::base::parallel;
use crate::check::{CHECKS, blank, reference_drift, sun};
use crate::colour::ColourSpace;
use crate::compare::rotation::{RotationSearch, search_rotation};
use crate::compare::sphere_faults::{Seam, find_seam};
use crate::compare::sphere_measurement::{MeasurementRequest, ReflectanceUncertainty, SphereMeasurement, Trust};
use crate::compare::uncertainty::drift::DriftUncertainty;
use crate::compare::uncertainty::surface_blur::SurfaceBlurUncertainty;
use crate::compare::uncertainty::{fall_off, reflectance};
use crate::compare::{Comparison, Derived};
use crate::findings::remedy::Ask;
use crate::findings::{CheckId, ErrorNote, Finding, Report, SphereReport, SphereRole, Verdict};
use crate::image::Frame;
use crate::light::radiance::{Radiometry, RecordingLimit};
use crate::optics::camera::{UNKNOWN_FOV_RANGE_DEG, View};
use crate::sheet::{AlphaKind, CameraSpec, CgSphereSpec, MirrorReflectance, MirrorSpec, Reflectance, ShotSheet};
use crate::sphere::{MirrorGeometry, SphereFit, SphereSearch, Told, cone_of_outline};
use crate::{Error, Result};

use super::bracket::Recovered;
use super::candidates::{Help, Refused, option_prefix};
use super::ceiling;
use super::crop;
use super::encoded_light;
use super::ignore::Ignored;
use super::implausible::{suspect_encoding, suspect_flop, untold_space, untold_tint};
use super::mirror::{Photographed, prepare, reflecting};
use super::part::{self, Place};
use super::reconcile::{Looked, reconcile};
use super::sought::{Sought, find};
use super::together::{follow_direction, one_gain};
use super::{Frames, describe, intake};

/// What is needed to draw the evidence of a pair.
pub(super) struct Pair {
    pub(super) mirror_frame: Frame,
    pub(super) cg_frame: Frame,
    /// Pixel → radiance per channel.
    pub(super) mirror_from_stored: Matrix3<f64>,
    pub(super) cg_from_stored: Matrix3<f64>,
    pub(super) comparison: Comparison,
    /// How the photographed frame was shot against the plate.
    pub(super) reference: reference_drift::Reference,
    pub(super) cg_radiometry: Radiometry,
    pub(super) recording_limit: Option<RecordingLimit>,
}

/// Both spheres of a pair in their frames.
struct Located {
    photographed: Photographed,
    cg_frame: Frame,
    cg_view: View,
    mirror_search: SphereSearch,
    cg_search: SphereSearch,
    /// The CG was cut out of its frame, and its sphere is taken to stand where the photographed one does.
    place_is_assumed: bool,
}

/// Finds both spheres. `None` where there is no CG, or where the part of the frame that was read leaves doubt.
fn locate(
    (sheet, spec, cg): (&ShotSheet, &MirrorSpec, &CgSphereSpec),
    frames: &mut Frames,
    report: &mut Report,
    help: Help<'_>,
) -> Result<Option<Located>> {
    let exposures = frames.mirrors.remove(&spec.name).unwrap_or_default();
    let photographed = prepare(sheet, spec, exposures, frames.plate.as_ref(), report)?;
    let Some(cg_frame) = frames.cg.remove(&spec.name) else { return Ok(None) };
    let cg_camera = sheet.cg_camera();
    let cg_view = intake::view_of(&cg_frame, cg_camera.as_ref(), &mut report.warnings);
    // A CG field of view that is not given is the plate's.
    let cg_view = with_axis_of_plate(cg_view.or_that_of(&photographed.view), &cg_frame, &photographed.frame);
    let place = frames.places.as_mut().and_then(|places| places.remove(&spec.name));
    let mut remarks = [Vec::new(), Vec::new()];
    let [of_mirror, of_cg] = &mut remarks;
    let (mirror_search, cg_search) = if let Some(place) = place {
        let Some(search) = found_at(&place, spec, &photographed, of_mirror) else {
            frames.in_doubt = true;
            return Ok(None);
        };
        of_cg.extend(place.remarks);
        (search, Ok(place.search))
    } else {
        parallel::both(
            || find(&photographed.frame, &photographed.view, &Sought::of_mirror(spec), of_mirror),
            || find(&cg_frame, &cg_view, &Sought::of_cg(cg), of_cg),
        )
    };
    let cut = sure_of_both([&mirror_search, &cg_search]).and_then(|[ours, theirs]| {
        let seen = (&photographed.frame, &photographed.view, ours);
        crop::view_of_cut(sheet, seen, (&cg_frame, &cg_view, theirs), report)
    });
    let place_is_assumed = cut.is_some();
    let (cg_view, cg_search) = match cut {
        Some(view) => {
            let again = find(&cg_frame, &view, &Sought::of_cg(cg), &mut Vec::new());
            (view, again)
        }
        None => (cg_view, cg_search),
    };
    let given = [spec.told(), cg.told()].map(Told::is_something);
    let settled = reconcile(
        Looked {
            frame: &photographed.frame,
            view: &photographed.view,
            search: mirror_search,
            photographed: true,
            given: given[0],
        },
        Looked { frame: &cg_frame, view: &cg_view, search: cg_search, photographed: false, given: given[1] },
        report,
    );
    let (mirror_search, cg_search) = settled.map_err(|error| {
        refusal(error, (sheet, spec), [(&photographed.frame, &photographed.view), (&cg_frame, &cg_view)], help)
    })?;
    report.warnings.extend(remarks.into_iter().flatten());
    Ok(Some(Located { photographed, cg_frame, cg_view, mirror_search, cg_search, place_is_assumed }))
}

/// Measures and compares. `None` where a sphere could not be told from others like it: the findings say so.
pub(super) fn check(
    (sheet, spec, cg): (&ShotSheet, &MirrorSpec, &CgSphereSpec),
    frames: &mut Frames,
    report: &mut Report,
    help: Help<'_>,
) -> Result<Option<Pair>> {
    let Some(located) = locate((sheet, spec, cg), frames, report, help)? else { return Ok(None) };
    let Located { mut photographed, mut cg_frame, cg_view, mirror_search, cg_search, place_is_assumed } = located;
    let suspected = photographed.suspected_ceiling(sheet, spec, &mirror_search.best, report);
    let cg_ends_at_white = ceiling::of_render(&mut cg_frame, &cg_search.best, report);
    let ignored = Ignored::of(spec, &photographed.view, &mirror_search.best);
    photographed.take_out_drawn(&ignored);
    let sun = sun::expected_direction(sheet, &frames.notes);
    let mut found = Found { photographed, search: mirror_search, sun };
    let radiometry = cg_radiometry(spec, cg, &found.photographed.frame.space);
    let display_picture = cg_ends_at_white || cg_frame.is_display_picture();
    let mut rendered = Rendered { frame: cg_frame, view: cg_view, search: cg_search, radiometry, display_picture };
    let decided = found.search.rivals.is_empty() && rendered.search.rivals.is_empty();
    let (drift, (early, seam)) = parallel::both(
        || found.photographed.drift(frames.plate.as_ref(), &found.search.best.outline),
        || {
            parallel::both(
                // Nothing but the doubt then depends on the drift.
                || {
                    let early = decided && ignored.is_empty() && !spec.correct_drift;
                    early.then(|| compare(sheet, spec, cg, &found, &rendered))
                },
                || if decided { seam_of(&found, &rendered) } else { None },
            )
        },
    );
    let (early, ignored) = (early.filter(|_| seam.is_none()), ignored.with_seam(seam));
    found.photographed.refer(drift);
    let drifted = reference_drift::run(&spec.name, &found.photographed.reference, &sheet.tolerances);
    // The rest of the background may tell what the part around the spheres does not.
    if frames.set_in_part && (found.photographed.is_doubtful() || drifted.verdict == Verdict::Unsure) {
        frames.in_doubt = true;
        return Ok(None);
    }
    report.findings.push(drifted);
    if undecided(&found.search, &rendered.search, (sheet, spec), report) {
        return Ok(None);
    }
    let ignored_fractions = if ignored.is_empty() {
        [0.0; 2]
    } else {
        let fractions = [
            ignored.take_out(&mut found.photographed.frame, &found.photographed.view, &found.search.best),
            ignored.take_out(&mut rendered.frame, &rendered.view, &rendered.search.best),
        ];
        ignored.note(spec, &found.search.best, report);
        fractions
    };
    let whole = early.unwrap_or_else(|| compare(sheet, spec, cg, &found, &rendered));
    let doubt = reference_drift::uncertainty(&found.photographed.reference, &sheet.tolerances);
    let dressed = |comparison: Comparison| {
        let comparison = comparison.with_ignored(ignored_fractions).with_drift_uncertainty(doubt);
        Comparison { place_is_assumed, ..comparison }
    };
    let whole = dressed(whole);
    let open = suspected.filter(|_| ceiling::matters(&whole));
    found.photographed.frame.clip_level = open.or(found.photographed.frame.clip_level);
    let cut = open.map(|_| dressed(compare(sheet, spec, cg, &found, &rendered)));
    let photographed = found.photographed;
    let frames = [&photographed.frame, &rendered.frame];
    let (comparison, mut of_pair) = judged(whole, cut.zip(open), frames);
    untold_tint(&mut of_pair, spec.reflectance.is_some());
    notes(sheet, &comparison, report);
    report.spheres.extend(sphere_reports(&comparison, photographed.recovered.as_ref()));
    report.findings.extend(of_pair);
    report.error = one_and_the_same(&photographed.frame, &rendered.frame).or(report.error.take());
    Ok(Some(Pair {
        mirror_from_stored: photographed.radiometry.working_from_stored(&photographed.frame.space),
        cg_from_stored: rendered.radiometry.working_from_stored(&rendered.frame.space),
        recording_limit: recording_limit(&photographed, &comparison.mirror),
        cg_radiometry: rendered.radiometry,
        mirror_frame: photographed.frame,
        cg_frame: rendered.frame,
        comparison,
        reference: photographed.reference,
    }))
}

fn sphere_reports(comparison: &Comparison, recovered: Option<&Recovered>) -> [SphereReport; 2] {
    let blur = comparison.surface_blur.as_ref().map(|doubt| doubt.surface_blur.half_light_rad);
    let mirror = SphereReport {
        surface_blur_deg: blur.map(|b| b.value.to_degrees()),
        surface_blur_deg_sd: blur.map(|b| b.sd.to_degrees()),
        response_curve: recovered.map(Recovered::report),
        ..describe::sphere_report(&comparison.mirror)
    };
    [mirror, describe::sphere_report(&comparison.cg)]
}

/// What every check of a pair finds, and what the pair's frames say about it.
fn findings(comparison: &Comparison, [mirror, cg]: [&Frame; 2]) -> Vec<Finding> {
    let mut findings = parallel::map_each(CHECKS, |check| check.run(comparison));
    follow_direction(&mut findings, comparison);
    one_gain(&mut findings);
    untold_space(&mut findings, cg);
    encoded_light::name_it(&mut findings, comparison);
    suspect_encoding(&mut findings, [mirror, cg]);
    suspect_flop(&mut findings, comparison.rotation_search.as_ref());
    findings
}

/// The comparison that is reported and what it finds: as it is, or with what a suspected ceiling leaves open.
fn judged(whole: Comparison, cut: Option<(Comparison, [f32; 3])>, frames: [&Frame; 2]) -> (Comparison, Vec<Finding>) {
    let as_whole = findings(&whole, frames);
    let Some((cut, level)) = cut else { return (whole, as_whole) };
    let as_cut = findings(&cut, frames);
    (cut, ceiling::two_readings(as_cut, &as_whole, &frames[0].record.file, level))
}

/// An error with the round things of the frame that shows no sphere, as options for it.
fn refusal(
    error: Error,
    (sheet, spec): (&ShotSheet, &MirrorSpec),
    [photographed, rendered]: [(&Frame, &View); 2],
    mut help: Help<'_>,
) -> Error {
    let role = option_prefix(sheet, spec);
    let side = |(frame, view), role| Refused { frame, view, role, picture: false };
    help.with_candidates(error, [side(photographed, &role), side(rendered, "cg=")])
}

/// The photographed sphere as told, or where the CG's stands; `None` where it cannot be told for sure there.
fn found_at(
    place: &Place,
    spec: &MirrorSpec,
    photographed: &Photographed,
    remarks: &mut Vec<String>,
) -> Option<Result<SphereSearch>> {
    let (frame, view) = (&photographed.frame, &photographed.view);
    match spec.told() {
        Told::Nothing => part::find_at(frame, view, place.cone()).map(Ok),
        Told::Outline(_) => Some(find(frame, view, &Sought::of_mirror(spec), remarks)),
        // A refusal lists what else the frame shows, and has to see all of it.
        Told::Near(_) => find(frame, view, &Sought::of_mirror(spec), remarks).ok().map(Ok),
    }
}

/// Both spheres, where both searches leave no doubt.
fn sure_of_both<'a>(searches: [&'a Result<SphereSearch>; 2]) -> Option<[&'a SphereFit; 2]> {
    let sure = |search: &'a Result<SphereSearch>| search.as_ref().ok().filter(|s| s.rivals.is_empty()).map(|s| &s.best);
    Some([sure(searches[0])?, sure(searches[1])?])
}

/// The photographed side with its sphere.
struct Found {
    photographed: Photographed,
    search: SphereSearch,
    /// Where the sun should stand, camera axes, where that is known.
    sun: Option<Vector3<f64>>,
}

struct Rendered {
    frame: Frame,
    view: View,
    search: SphereSearch,
    radiometry: Radiometry,
    /// The picture most likely went through a view transform.
    display_picture: bool,
}

/// One side's frame with its view and the sphere found in it.
pub(super) type Shown<'a> = (&'a Frame, &'a View, &'a SphereSearch);

/// The photographed sphere's seam. What the CG shows in the same place is an edge of the world: a render has no seam.
/// That a CG does not show it tells nothing, and is not asked.
pub(super) fn own_seam((frame, view, search): Shown<'_>, rendered: Option<Shown<'_>>) -> Option<Seam> {
    let seam = seam_in(frame, view, search)?;
    let in_cg = rendered.and_then(|(frame, view, search)| seam_in(frame, view, search));
    (!in_cg.is_some_and(|other| seam.is_at(&other))).then_some(seam)
}

fn seam_of(found: &Found, rendered: &Rendered) -> Option<Seam> {
    let photographed = &found.photographed;
    let shown = (&photographed.frame, &photographed.view, &found.search);
    own_seam(shown, Some((&rendered.frame, &rendered.view, &rendered.search)))
}

fn seam_in(frame: &Frame, view: &View, search: &SphereSearch) -> Option<Seam> {
    find_seam(frame, &MirrorGeometry::new(view, &search.best.cone), &search.best)
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
    nothing_compared(&said.join("; "), Ask::OneOutline, (sheet, spec), report);
    report.warnings.extend(said);
    true
}

/// A CG that does not say where its optical axis is has it where the plate has.
pub(super) fn with_axis_of_plate(view: View, cg: &Frame, photographed: &Frame) -> View {
    match photographed.meta.axis_off_centre.filter(|_| cg.meta.axis_off_centre.is_none()) {
        Some(axis) => view.with_axis_at(axis),
        None => view,
    }
}

/// A picture always agrees with itself: to give it on both sides is a mistake.
fn one_and_the_same(mirror: &Frame, cg: &Frame) -> Option<ErrorNote> {
    mirror.record.is_same_picture(&cg.record).then(|| ErrorNote {
        file: cg.record.file.clone(),
        cause: "the mirror frame and the CG frame are the same picture, which always agrees with itself".to_owned(),
        remedy: "give the rendered sphere as the CG, and the photographed one as the mirror".to_owned(),
        candidates: Vec::new(),
    })
}

/// A place that the CG was not rendered for: nothing there is proven.
pub(super) fn without_cg(sheet: &ShotSheet, spec: &MirrorSpec, report: &mut Report) {
    let why = format!("no CG sphere is given for mirror {}", spec.name);
    nothing_compared(&why, Ask::CgSphereForMirror, (sheet, spec), report);
    report.warnings.push(why);
}

/// Every check of a pair is unsure.
fn nothing_compared(why: &str, remedy: Ask, (sheet, spec): (&ShotSheet, &MirrorSpec), report: &mut Report) {
    for check in CHECKS {
        let mut finding = blank(check.doc(), &spec.name, check.tolerance(&sheet.tolerances));
        (finding.reason, finding.remedy) = (why.to_owned(), remedy.into());
        report.findings.push(finding);
    }
}

pub(super) fn outline_words(fit: &SphereFit) -> String {
    let o = fit.outline;
    format!("[{:.1}, {:.1}, {:.1}]", o.centre_x, o.centre_y, o.mean_radius())
}

/// A CG sphere like the real one reflects as that does in the photograph's channels, whatever space it is rendered in.
pub(super) fn cg_radiometry(spec: &MirrorSpec, cg: &CgSphereSpec, photographed_in: &ColourSpace) -> Radiometry {
    let as_rendered = match cg.reflectance {
        Reflectance::SameAsMirror => {
            let real = reflecting(spec);
            let reflectance_space = real.reflectance_space.or_else(|| Some(photographed_in.clone()));
            Radiometry { reflectance_space, ..real }
        }
        Reflectance::Rgb(reflectance) => Radiometry { reflectance, ..Radiometry::default() },
    };
    Radiometry { premultiplied: cg.alpha == AlphaKind::Premultiplied, ..as_rendered }
}

/// What of the reflectance's uncertainty does not cancel: nothing where the CG sphere is said to be like the real one.
fn doubt(spec: &MirrorSpec, cg: &CgSphereSpec) -> ReflectanceUncertainty {
    let Reflectance::Rgb(rendered) = cg.reflectance else { return ReflectanceUncertainty::default() };
    let alike = |given: [f64; 3]| given.iter().zip(rendered).all(|(a, b)| (a - b).abs() < 1e-9);
    let told_alike = matches!(spec.reflectance, Some(MirrorReflectance::Rgb(given)) if alike(given));
    if told_alike && spec.reflectance_sd_stops.is_none() {
        return ReflectanceUncertainty::default();
    }
    reflectance::uncertainty(reflectance::told_sd_stops(Some(spec)))
}

/// Everything measured on both sides but for what the drift adds to the doubt.
fn compare(sheet: &ShotSheet, spec: &MirrorSpec, cg: &CgSphereSpec, found: &Found, rendered: &Rendered) -> Comparison {
    let photographed = &found.photographed;
    let mirror_request = MeasurementRequest {
        role: SphereRole::Mirror,
        name: &spec.name,
        frame: &photographed.frame,
        view: &photographed.view,
        fit: &found.search.best,
        radiometry: &photographed.radiometry,
        trust: photographed.trust,
        reflectance: doubt(spec, cg),
    };
    let cg_request = MeasurementRequest {
        role: SphereRole::Cg,
        frame: &rendered.frame,
        view: &rendered.view,
        fit: &rendered.search.best,
        radiometry: &rendered.radiometry,
        trust: Trust { view_transform: rendered.display_picture, ..Trust::default() },
        reflectance: ReflectanceUncertainty::default(),
        ..mirror_request.clone()
    };
    let (mut mirror, cg_side) =
        parallel::both(|| SphereMeasurement::measure(&mirror_request), || SphereMeasurement::measure(&cg_request));
    let surface_blur =
        SurfaceBlurUncertainty::find(&mut mirror, &cg_side, [&photographed.frame, &rendered.frame], found.sun);
    let limited = recording_limit(photographed, &mirror)
        .map(|limit| Radiometry { limit: Some(limit), ..rendered.radiometry.clone() });
    let cg_limited = limited
        .as_ref()
        .map(|radiometry| SphereMeasurement::measure(&MeasurementRequest { radiometry, ..cg_request.clone() }));
    let equal_request =
        MeasurementRequest { radiometry: limited.as_ref().unwrap_or(&rendered.radiometry), ..cg_request.clone() };
    let other_views = other_views(&mirror_request, &equal_request);
    let rotation_search = search_rotation(&mirror, cg_limited.as_ref().unwrap_or(&cg_side));
    let corner_stops = sheet.camera.as_ref().and_then(|camera| camera.corner_fall_off_stops);
    Comparison {
        fall_off_sd_stops: fall_off::sd_stops(&mirror, corner_stops),
        mirror,
        cg: cg_side,
        cg_limited,
        other_views,
        surface_blur,
        rotation: rotation_search.as_ref().and_then(RotationSearch::undone),
        rotation_search,
        camera_tilt_roll_deg: sheet.camera.as_ref().and_then(CameraSpec::tilt_roll_deg),
        drift: DriftUncertainty::default(),
        place_is_assumed: false,
        tolerances: sheet.tolerances,
        derived: Derived::default(),
    }
}

/// The most that the photograph could record, as radiance; `None` where nothing of the sphere is clipped.
fn recording_limit(photographed: &Photographed, mirror: &SphereMeasurement) -> Option<RecordingLimit> {
    let clips = mirror.image.clipped_fraction > 0.0;
    clips.then(|| RecordingLimit::of(&photographed.frame, &photographed.radiometry)).flatten()
}

/// Both sides under the smallest and largest field of view, where one of them is unknown.
fn other_views(
    mirror: &MeasurementRequest<'_>,
    cg: &MeasurementRequest<'_>,
) -> Vec<(SphereMeasurement, SphereMeasurement)> {
    if !mirror.view.is_assumed() && !cg.view.is_assumed() {
        return Vec::new();
    }
    UNKNOWN_FOV_RANGE_DEG.into_iter().filter_map(|fov| Some((under(mirror, fov)?, under(cg, fov)?))).collect()
}

fn under(request: &MeasurementRequest<'_>, horizontal_fov_deg: f64) -> Option<SphereMeasurement> {
    if !request.view.is_assumed() {
        return Some(SphereMeasurement::measure(request));
    }
    let view = request.view.with_horizontal_fov(horizontal_fov_deg);
    let cone = cone_of_outline(&view, &request.fit.outline)?;
    let fit = SphereFit { cone, ..request.fit.clone() };
    Some(SphereMeasurement::measure(&MeasurementRequest { view: &view, fit: &fit, ..request.clone() }))
}

fn notes(sheet: &ShotSheet, comparison: &Comparison, report: &mut Report) {
    for (side, word) in [(&comparison.mirror, "mirror"), (&comparison.cg, "CG")] {
        if side.view.is_assumed() {
            report.assumptions.push(format!(
                "{word} field of view unknown: {:.0} deg horizontal assumed, 18 to 75 deg tried",
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
            "the photographed sphere has clipped pixels: the CG was clipped to the same level before comparing"
                .to_owned(),
        );
    }
    report.warnings.extend(comparison.surface_blur.as_ref().map(|blur| blur.words(&comparison.mirror.name)));
    if sheet.cg.distortion.as_ref().is_some_and(|d| d == "none") {
        report.assumptions.push("the CG is rendered without lens distortion while the plate may have it".to_owned());
    }
    if report.findings.iter().any(|f| f.check == CheckId::ReferenceDrift && f.verdict == Verdict::Mismatch) {
        report.warnings.push(
            "the sphere frame was not exposed like the plate: exposure and colour are less certain because of it"
                .to_owned(),
        );
    }
}
