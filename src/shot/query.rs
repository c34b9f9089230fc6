//! What one frame's sphere says, on its own.

use std::path::Path;

use crate::compare::sphere_faults::find_seam;
use crate::compare::sphere_measurement::{MeasurementRequest, ReflectanceUncertainty, SphereMeasurement};
use crate::findings::{ErrorNote, InputRecord, SphereReport, SphereRole};
use crate::image::Frame;
use crate::light::radiance::Radiometry;
use crate::optics::camera::{FovSource, View};
use crate::sheet::{CameraSpec, ImageSpec};
use crate::sphere::find::{WeighedOutline, weighed_outlines};
use crate::sphere::{MirrorGeometry, SphereFit, Told};
use crate::{Error, Result};

use super::candidates::Refused;
use super::sought::{Sought, find};
use super::{describe, evidence, ignore, intake, mirror, note};

/// One frame to look at.
#[derive(Debug, Clone, Default)]
pub struct SphereQuery {
    /// The frame, path relative to the working directory.
    pub image: ImageSpec,
    /// Its camera, where known.
    pub camera: Option<CameraSpec>,
    /// Horizontal field of view over the full display width, where given by option.
    pub horizontal_fov_deg: Option<f64>,
    /// What is told of the sphere's place.
    pub told: Told,
    /// Reflectance per channel, where known; else 1, and illuminances are those of the reflection.
    pub reflectance: Option<[f64; 3]>,
    /// Make the picture too.
    pub picture: bool,
}

/// What it says.
#[derive(Debug, Clone, Default)]
pub struct SphereOutcome {
    /// The sphere, unless there is an error or a choice.
    pub sphere: Option<SphereReport>,
    /// Several outlines that are equally good.
    pub candidates: Vec<[f64; 5]>,
    /// The file read.
    pub inputs: Vec<InputRecord>,
    /// Things the reader should know.
    pub warnings: Vec<String>,
    /// Why there is no sphere.
    pub error: Option<ErrorNote>,
    /// The picture as PNG bytes.
    pub picture_png: Option<Vec<u8>>,
    /// Where no sphere was found, the frame with the round things in it numbered, as PNG bytes.
    pub candidates_png: Option<Vec<u8>>,
}

/// Looks at one frame. Never fails: errors are in the outcome.
pub fn measure_sphere(query: &SphereQuery) -> SphereOutcome {
    let mut outcome = SphereOutcome::default();
    if let Err(error) = look(query, &mut outcome) {
        outcome.error = Some(note(&error));
    }
    outcome
}

/// The round outlines of one frame with their traits, as [`weighed_outlines`](crate::sphere::find::weighed_outlines) gives
/// them.
///
/// # Errors
/// As opening the frame.
pub fn outlines_to_weigh(query: &SphereQuery) -> Result<Vec<WeighedOutline>> {
    let frame = intake::open_frame(&query.image, Path::new(""), "sphere", false)?;
    let view = view(query, &frame, &mut SphereOutcome::default());
    Ok(weighed_outlines(&frame, &view))
}

fn look(query: &SphereQuery, outcome: &mut SphereOutcome) -> Result<(), Error> {
    let mut frame = intake::open_frame(&query.image, Path::new(""), "sphere", true)?;
    outcome.inputs.push(frame.record.clone());
    outcome.warnings.extend(frame.warnings.iter().cloned());
    let view = view(query, &frame, outcome);
    let searched = find(&frame, &view, &Sought::alone(query.told), &mut outcome.warnings);
    let search = searched.map_err(|error| refusal(error, &frame, &view, query.picture, outcome))?;
    if !search.rivals.is_empty() {
        outcome.candidates =
            std::iter::once(&search.best).chain(&search.rivals).map(|f| f.outline.to_array()).collect();
        return Ok(());
    }
    if search.best.hardly_mirrors() {
        outcome.warnings.push(
            "the automatic search is not certain that this is the mirror sphere: look at the picture, or give its outline"
                .to_owned(),
        );
    }
    let ignored = without_seam(&mut frame, &view, &search.best, outcome);
    let radiometry = Radiometry {
        reflectance: query.reflectance.unwrap_or([1.0; 3]),
        premultiplied: frame.alpha.is_some(),
        ..Radiometry::default()
    };
    let side = side(&frame, &view, &search.best, &radiometry).with_ignored(ignored);
    if query.picture {
        let working_from_stored = radiometry.working_from_stored(&frame.space);
        outcome.picture_png = Some(evidence::sphere_picture(&side, &frame, &working_from_stored)?);
    }
    outcome.sphere = Some(describe::sphere_report(&side));
    Ok(())
}

/// The error with the round things that the frame shows.
fn refusal(error: Error, frame: &Frame, view: &View, picture: bool, outcome: &mut SphereOutcome) -> Error {
    let (error, drawn) = Refused { frame, view, role: "", picture }.with_candidates(error);
    outcome.candidates_png = drawn.map(|file| file.bytes);
    error
}

/// Takes what a seam spoils out of the frame and says so; gives its fraction of the sphere.
fn without_seam(frame: &mut Frame, view: &View, fit: &SphereFit, outcome: &mut SphereOutcome) -> f64 {
    let Some(seam) = find_seam(frame, &MirrorGeometry::new(view, &fit.cone), fit) else { return 0.0 };
    let share = ignore::take_out_seam(frame, view, fit, &seam.band);
    outcome.warnings.push(ignore::seam_words("sphere", &seam, share));
    share
}

fn side(frame: &Frame, view: &View, fit: &SphereFit, radiometry: &Radiometry) -> SphereMeasurement {
    SphereMeasurement::measure(&MeasurementRequest {
        role: SphereRole::Mirror,
        name: "sphere",
        frame,
        view,
        fit,
        radiometry,
        trust: mirror::trust_of(frame),
        reflectance: ReflectanceUncertainty::default(),
    })
}

/// As for a shot: with nothing known 40 degrees are assumed.
fn view(query: &SphereQuery, frame: &Frame, outcome: &mut SphereOutcome) -> View {
    let aspect = intake::pixel_aspect(frame, query.camera.as_ref());
    if let Some(fov) = query.horizontal_fov_deg {
        return View::from_horizontal_fov(frame.size, aspect, fov, FovSource::Option);
    }
    intake::view_of(frame, query.camera.as_ref(), &mut outcome.warnings)
}
