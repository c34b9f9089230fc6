//! What was photographed on set on its own: the light of every mirror sphere, whether or not a CG sphere answers it.
//!
//! Each mirror goes the way that it goes for a check: its bracket merged, its sphere found, what the sheet ignores and
//! a seam spoils taken out, its drift undone where the sheet asks. A CG sphere that can be opened only helps to find
//! the sphere and to tell how much its surface blurs.

use nalgebra::Vector3;

use crate::base::units::Estimate;
use crate::check::grey_sphere::{self, RecoveredLight, recover};
use crate::check::sphere_place::light_distances;
use crate::check::{Addition, ShotEvidence, reference_drift, sun};
use crate::compare::sphere_measurement::{MeasurementRequest, SphereMeasurement, Trust};
use crate::compare::uncertainty::drift::DriftUncertainty;
use crate::compare::uncertainty::reflectance;
use crate::compare::uncertainty::surface_blur::SurfaceBlurUncertainty;
use crate::findings::{InputRecord, Report, SphereRole, Verdict};
use crate::image::{Frame, Wanted};
use crate::optics::camera::View;
use crate::sheet::{CgSpec, CgSphereSpec, MirrorSpec, ShotSheet};
use crate::sphere::{SphereSearch, Told};
use crate::{Error, ErrorKind, Result};

use super::candidates::{Refused, option_prefix};
use super::ignore::Ignored;
use super::mirror::{Photographed, prepare};
use super::pair::{Shown, cg_radiometry, outline_words, own_seam, with_axis_of_plate};
use super::part::Scope;
use super::reconcile::{Looked, reconcile};
use super::sought::{Sought, find};
use super::{Frames, intake, open_frames, part};

/// How far a light is away, as two mirrors tell.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LightDistance {
    /// Place of the light in the mirror's list.
    pub light: usize,
    /// Its distance from the sphere's surface, mm, where it is one and not a bound.
    pub distance_mm: Option<Estimate>,
    /// With 97.5 % certainty it is no nearer than this, mm.
    pub at_least_mm: f64,
}

/// One photographed mirror sphere.
#[derive(Debug, Clone)]
pub struct SetMirror {
    /// Its light, camera axes, exposed as the plate.
    pub side: SphereMeasurement,
    /// The strength of its clipped lights, where a grey sphere told it.
    pub recovered: Vec<RecoveredLight>,
    /// Name of the grey sphere that told.
    pub recovered_from: Option<String>,
    /// How far its lights are away, where a second mirror tells.
    pub distances: Vec<LightDistance>,
    /// Half of a point's light is mirrored within this angle, rad, where the sphere's surface measurably blurs.
    pub surface_blur_rad: Option<Estimate>,
    /// Uncertainty of the sphere's reflectance, stops.
    pub reflectance_sd_stops: f64,
    /// Radius of the sphere, mm, where the sheet tells it.
    pub radius_mm: Option<f64>,
    /// What is not known about how the sphere frame was exposed against the plate.
    pub drift: DriftUncertainty,
}

/// What was photographed on set.
#[derive(Debug, Clone, Default)]
pub struct PhotographedSet {
    /// Every mirror that could be measured, in the sheet's order.
    pub mirrors: Vec<SetMirror>,
    /// Why others could not: the mirror's name and the error.
    pub failed: Vec<(String, Error)>,
    /// Every file that was read.
    pub inputs: Vec<InputRecord>,
    /// Conventions and assumptions behind the numbers, one sentence each.
    pub assumptions: Vec<String>,
    /// Things the reader should know, one sentence each.
    pub warnings: Vec<String>,
}

/// Measures every mirror sphere of a shot.
///
/// # Errors
/// Where the plate or a mirror's frame cannot be opened. A sphere that cannot be found or told from others is among
/// [`PhotographedSet::failed`].
pub fn measure_set(sheet: &ShotSheet) -> Result<PhotographedSet> {
    let of_set = ShotSheet { cg: CgSpec::default(), ..sheet.clone() };
    let mut report = Report::begun(&sheet.shot, None);
    let mut frames = open_frames(&of_set, Scope::Whole, &mut report)?;
    let mut set = PhotographedSet::default();
    for spec in &sheet.mirrors {
        match measure(sheet, spec, &mut frames, &mut report) {
            Ok(mirror) => set.mirrors.push(mirror),
            Err(error) => set.failed.push((spec.name.clone(), error)),
        }
    }
    let mut addition = Addition::default();
    restore_clipped(sheet, &frames, &mut set.mirrors, &mut addition);
    range_lights(sheet, &mut set.mirrors, &mut addition);
    set.inputs = [report.inputs, addition.inputs].concat();
    set.assumptions = [report.assumptions, addition.assumptions].concat();
    set.warnings = [report.warnings, addition.warnings].concat();
    Ok(set)
}

/// The CG sphere of a mirror.
struct Rendered<'a> {
    spec: &'a CgSphereSpec,
    frame: Frame,
    view: View,
}

fn measure(sheet: &ShotSheet, spec: &MirrorSpec, frames: &mut Frames, report: &mut Report) -> Result<SetMirror> {
    let exposures = frames.mirrors.remove(&spec.name).unwrap_or_default();
    note_moving(spec, report);
    let mut photographed = prepare(sheet, spec, exposures, frames.plate.as_ref(), report)?;
    let rendered = rendered(sheet, spec, &photographed, report);
    let (search, cg_search) = locate(sheet, spec, &photographed, rendered.as_ref(), report)?;
    let suspected = photographed.suspected_ceiling(sheet, spec, &search.best, report);
    let ignored = Ignored::of(spec, &photographed.view, &search.best);
    photographed.take_out_drawn(&ignored);
    let drift = photographed.drift(frames.plate.as_ref(), &search.best.outline);
    photographed.refer(drift);
    note_drift(sheet, spec, &photographed, report);
    let shown_cg = rendered.as_ref().zip(cg_search.as_ref()).map(|(cg, search)| (&cg.frame, &cg.view, search));
    let seam = own_seam((&photographed.frame, &photographed.view, &search), shown_cg);
    let ignored = ignored.with_seam(seam);
    if !ignored.is_empty() {
        ignored.take_out(&mut photographed.frame, &photographed.view, &search.best);
        ignored.note(spec, &search.best, report);
    }
    photographed.frame.clip_level = suspected.or(photographed.frame.clip_level);
    note_view(spec, &photographed, report);
    let sd_stops = reflectance::told_sd_stops(Some(spec));
    let request = MeasurementRequest {
        role: SphereRole::Mirror,
        name: &spec.name,
        frame: &photographed.frame,
        view: &photographed.view,
        fit: &search.best,
        radiometry: &photographed.radiometry,
        trust: photographed.trust,
        reflectance: reflectance::uncertainty(sd_stops),
    };
    let mut side = SphereMeasurement::measure(&request);
    let sun = sun::expected_direction(sheet, &frames.notes);
    let cg = rendered.as_ref().zip(shown_cg);
    let surface_blur_rad = cg.and_then(|(cg, shown)| surface_blur(spec, cg.spec, &request, &mut side, (shown, sun)));
    Ok(SetMirror {
        side,
        recovered: Vec::new(),
        recovered_from: None,
        distances: Vec::new(),
        surface_blur_rad,
        reflectance_sd_stops: sd_stops,
        radius_mm: spec.diameter_mm.map(|diameter| 0.5 * diameter),
        drift: reference_drift::uncertainty(&photographed.reference, &sheet.tolerances),
    })
}

/// The CG sphere, where there is one that opens. It only helps, so that what is wrong with it is no error here.
fn rendered<'a>(
    sheet: &'a ShotSheet,
    spec: &MirrorSpec,
    photographed: &Photographed,
    report: &mut Report,
) -> Option<Rendered<'a>> {
    let cg = sheet.cg_sphere(&spec.name)?;
    match part::open(sheet, &cg.image, "cg", &|_| Wanted::All) {
        Ok(opened) => {
            let frame = opened.frame;
            let view = intake::view_of(&frame, sheet.cg_camera().as_ref(), &mut Vec::new());
            let view = with_axis_of_plate(view.or_that_of(&photographed.view), &frame, &photographed.frame);
            report.inputs.push(frame.record.clone());
            Some(Rendered { spec: cg, frame, view })
        }
        Err(error) => {
            report.assumptions.push(format!(
                "mirror {}: found without the help of its CG sphere, {}: {}",
                spec.name,
                crate::printable(&error.file),
                error.cause
            ));
            None
        }
    }
}

/// Where the photographed sphere is and, where that can be told too, the CG's.
fn locate(
    sheet: &ShotSheet,
    spec: &MirrorSpec,
    photographed: &Photographed,
    rendered: Option<&Rendered<'_>>,
    report: &mut Report,
) -> Result<(SphereSearch, Option<SphereSearch>)> {
    let (frame, view) = (&photographed.frame, &photographed.view);
    let own = find(frame, view, &Sought::of_mirror(spec), &mut report.warnings);
    let cg_search = rendered.and_then(|cg| find(&cg.frame, &cg.view, &Sought::of_cg(cg.spec), &mut Vec::new()).ok());
    let settled = match (rendered, cg_search) {
        (Some(cg), Some(cg_search)) => {
            let given = [spec.told(), cg.spec.told()].map(Told::is_something);
            reconcile(
                Looked { frame, view, search: own, given: given[0], photographed: true },
                Looked {
                    frame: &cg.frame,
                    view: &cg.view,
                    search: Ok(cg_search),
                    given: given[1],
                    photographed: false,
                },
                report,
            )
            .map(|(own, cg)| (own, Some(cg)))
        }
        _ => own.map(|own| (own, None)),
    };
    let role = option_prefix(sheet, spec);
    let refused = Refused { frame, view, role: &role, picture: false };
    let (search, cg_search) = settled.map_err(|error| refused.with_candidates(error).0)?;
    if !search.rivals.is_empty() {
        let all: Vec<String> = std::iter::once(&search.best).chain(&search.rivals).map(outline_words).collect();
        let cause = format!("{} spheres are equally good: {}", all.len(), all.join("; "));
        let remedy = "say which with the mirror's `near_px` or `outline_px` in the sheet";
        return Err(Error::new(ErrorKind::Parameter, &frame.path, cause, remedy));
    }
    if search.best.hardly_mirrors() {
        report.warnings.push(format!(
            "mirror {}: the automatic search is not certain that this is the mirror sphere; draw a circle around it as \
             `near_px` in the sheet",
            spec.name
        ));
    }
    Ok((search, cg_search))
}

/// The surface blur by what the CG sphere shows sharp, which also widens what is said of the photographed lights.
fn surface_blur(
    spec: &MirrorSpec,
    cg: &CgSphereSpec,
    of_mirror: &MeasurementRequest<'_>,
    side: &mut SphereMeasurement,
    ((frame, view, search), sun): (Shown<'_>, Option<Vector3<f64>>),
) -> Option<Estimate> {
    let radiometry = cg_radiometry(spec, cg, &of_mirror.frame.space);
    let request = MeasurementRequest {
        role: SphereRole::Cg,
        frame,
        view,
        fit: &search.best,
        radiometry: &radiometry,
        trust: Trust::default(),
        ..of_mirror.clone()
    };
    let rendered = SphereMeasurement::measure(&request);
    let found = SurfaceBlurUncertainty::find(side, &rendered, [of_mirror.frame, frame], sun)?;
    Some(found.surface_blur.half_light_rad)
}

fn note_drift(sheet: &ShotSheet, spec: &MirrorSpec, photographed: &Photographed, report: &mut Report) {
    let drift = reference_drift::run(&spec.name, &photographed.reference, &sheet.tolerances);
    let reason = if drift.reason.is_empty() { "see reference-drift of a check" } else { &drift.reason };
    match drift.verdict {
        Verdict::NotGiven => report.assumptions.push(format!("mirror {}: {reason}", spec.name)),
        Verdict::Mismatch | Verdict::Unsure if photographed.reference.corrected_drift().is_none() => {
            report.warnings.push(format!("mirror {}: the sphere frame against the plate: {reason}", spec.name));
        }
        _ => {}
    }
}

/// Of a sphere that is carried through a shot its first place counts.
fn note_moving(spec: &MirrorSpec, report: &mut Report) {
    let range = spec.bracket.iter().find_map(|image| image.frame_range.filter(|_| image.frame_number.is_none()));
    if let Some([first, _]) = range.filter(|[first, last]| first < last) {
        report.assumptions.push(format!("mirror {}: of its frames the first, {first}, is measured", spec.name));
    }
}

fn note_view(spec: &MirrorSpec, photographed: &Photographed, report: &mut Report) {
    if photographed.view.is_assumed() {
        report.assumptions.push(format!(
            "mirror {}: field of view unknown: {:.0} deg horizontal assumed; give focal length and sensor",
            spec.name,
            photographed.view.horizontal_fov_deg()
        ));
    }
}

/// Asks the grey spheres for the strength of clipped lights; of several that tell, the surest is taken.
fn restore_clipped(sheet: &ShotSheet, frames: &Frames, mirrors: &mut [SetMirror], addition: &mut Addition) {
    let open = |spec: &crate::sheet::ImageSpec, role: &str| intake::open_frame(spec, &sheet.base_dir, role, true);
    let view = |frame: &Frame| intake::view_of(frame, sheet.camera.as_ref(), &mut Vec::new());
    let evidence = ShotEvidence { plate: frames.plate.as_ref(), view: &view, ..ShotEvidence::of_sheet(sheet, &open) };
    for mirror in mirrors.iter_mut().filter(|m| m.side.lights.all.iter().any(|light| light.clipped)) {
        for matte in &sheet.grey_spheres {
            let points = match grey_sphere::points_of(&evidence, matte, &mirror.side, addition) {
                Ok(points) => points,
                Err(error) => {
                    addition.warnings.push(format!("grey sphere {}: not used: {}", matte.name, error.cause));
                    continue;
                }
            };
            let told = recover(&mirror.side, &points, matte.reflectance.is_some());
            let doubt = |lights: &[RecoveredLight]| lights.iter().map(RecoveredLight::stops_sd).fold(0.0, f64::max);
            if !told.is_empty() && (mirror.recovered.is_empty() || doubt(&told) < doubt(&mirror.recovered)) {
                mirror.recovered = told;
                mirror.recovered_from = Some(matte.name.clone());
            }
        }
    }
}

/// Asks every other mirror how far a mirror's lights are away; the surest answer counts.
fn range_lights(sheet: &ShotSheet, mirrors: &mut [SetMirror], addition: &mut Addition) {
    let mut told = Vec::new();
    for (i, own) in mirrors.iter().enumerate() {
        let mut distances: Vec<LightDistance> = Vec::new();
        for other in mirrors.iter().enumerate().filter(|(j, _)| *j != i).map(|(_, other)| other) {
            let (ranged, in_the_way) = light_distances(sheet, &[&own.side, &other.side]);
            for reason in in_the_way {
                let line = format!("distances of lights: {reason}");
                if !addition.assumptions.contains(&line) {
                    addition.assumptions.push(line);
                }
            }
            distances.extend(ranged.iter().map(|r| LightDistance {
                light: r.light,
                distance_mm: r.distance_mm(),
                at_least_mm: r.at_least_mm(),
            }));
        }
        told.push(distances);
    }
    for (mirror, distances) in mirrors.iter_mut().zip(told) {
        mirror.distances = distances;
    }
}

impl SetMirror {
    /// How far a light of its list is away, where a second mirror tells: the surest distance, else the largest bound.
    pub fn distance_of(&self, light: usize) -> Option<&LightDistance> {
        let relative = |d: &LightDistance| d.distance_mm.map_or(f64::INFINITY, |mm| mm.sd / mm.value);
        self.distances
            .iter()
            .filter(|d| d.light == light)
            .min_by(|a, b| relative(a).total_cmp(&relative(b)).then(b.at_least_mm.total_cmp(&a.at_least_mm)))
    }

    /// Its lights as places in its list, the strongest first, restored ones by what was told of them.
    pub fn by_strength(&self) -> Vec<usize> {
        let lights = &self.side.lights.all;
        let illuminance =
            |light: usize| self.recovered_light(light).map_or(lights[light].illuminance, |r| r.illuminance).value;
        let mut order: Vec<usize> = (0..lights.len()).collect();
        order.sort_by(|a, b| illuminance(*b).total_cmp(&illuminance(*a)));
        order
    }

    /// What a grey sphere told of a clipped light of its list.
    pub fn recovered_light(&self, light: usize) -> Option<&RecoveredLight> {
        self.recovered.iter().find(|recovered| recovered.light == light)
    }
}
