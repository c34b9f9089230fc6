//! Checks of a whole shot: of what came back from set besides the spheres.

use serde_json::Map;

use super::CheckDoc;
use super::reference_drift::Reference;
use crate::Result;
use crate::compare::Comparison;
use crate::findings::{Attachment, Concerns, Finding, InputRecord, Remedy, Verdict};
use crate::image::rows::hand_over;
use crate::image::{CaptureMeta, Frame, RowSink, Size};
use crate::light::radiance::{Radiometry, RecordingLimit};
use crate::optics::camera::{ASSUMED_HORIZONTAL_FOV_DEG, FovSource, View};
use crate::sheet::{ImageSpec, ShotSheet};

/// What a check of a whole shot works from: the sheet, the frames that are open, and what the spheres said.
pub struct ShotEvidence<'a> {
    /// The shot sheet.
    pub sheet: &'a ShotSheet,
    /// The plate, where one is given.
    pub plate: Option<&'a Frame>,
    /// The plate's view, where there is a plate.
    pub plate_view: Option<&'a View>,
    /// Every mirror whose comparison could be made, in the sheet's order.
    pub pairs: Vec<PairEvidence<'a>>,
    /// Every file that was opened for plate, mirrors and CG, in the sheet's order.
    pub files: &'a [FileNote],
    /// Pictures of what the environment predicts are wanted.
    pub predict: bool,
    /// Files that mend or complete what came from set are wanted.
    pub fixes: bool,
    /// Opens a further image of the sheet; the role goes into the report's `inputs`.
    pub open: &'a (dyn Fn(&ImageSpec, &str) -> Result<Frame> + Sync),
    /// Hands a further image of the sheet on in strips, where it may be too large to be held.
    pub open_rows: Option<&'a OpenRows<'a>>,
    /// The view of a frame that the plate's camera took.
    pub view: &'a (dyn Fn(&Frame) -> View + Sync),
}

/// Opens an image in strips; gives back the frame without pixels.
pub(crate) type OpenRows<'a> = dyn Fn(&ImageSpec, &str, &mut dyn RowSink) -> Result<Frame> + Sync + 'a;

impl<'a> ShotEvidence<'a> {
    /// The frame of an image, handed to `sink` in strips; without pixels.
    ///
    /// # Errors
    /// Where it cannot be opened.
    pub fn in_strips(&self, spec: &ImageSpec, role: &str, sink: &mut dyn RowSink) -> Result<Frame> {
        if let Some(open_rows) = self.open_rows {
            return open_rows(spec, role, sink);
        }
        let frame = (self.open)(spec, role)?;
        hand_over(&frame, sink);
        Ok(frame)
    }

    /// The sheet alone, with nothing opened yet.
    pub fn of_sheet(sheet: &'a ShotSheet, open: &'a (dyn Fn(&ImageSpec, &str) -> Result<Frame> + Sync)) -> Self {
        Self {
            sheet,
            plate: None,
            plate_view: None,
            pairs: Vec::new(),
            files: &[],
            predict: false,
            fixes: false,
            open,
            open_rows: None,
            view: &assumed_view,
        }
    }
}

/// The view of a frame of which nothing is told.
fn assumed_view(frame: &Frame) -> View {
    View::from_horizontal_fov(frame.size, frame.pixel_aspect, ASSUMED_HORIZONTAL_FOV_DEG, FovSource::Assumed)
}

impl std::fmt::Debug for ShotEvidence<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("ShotEvidence")
            .field("sheet", &self.sheet.shot)
            .field("files", &self.files)
            .finish_non_exhaustive()
    }
}

/// One mirror with its CG sphere.
#[derive(Debug, Clone, Copy)]
pub struct PairEvidence<'a> {
    /// Both sides, measured.
    pub comparison: &'a Comparison,
    /// The photographed frame; a bracket is merged.
    pub mirror_frame: &'a Frame,
    /// The rendered frame.
    pub cg_frame: &'a Frame,
    /// How the photographed frame was shot against the plate.
    pub reference: &'a Reference,
    /// How the rendered frame's pixels become radiance.
    pub cg_radiometry: &'a Radiometry,
    /// The most that the photograph could record; `None` where nothing of the sphere is clipped.
    pub recording_limit: Option<&'a RecordingLimit>,
}

/// What a file says about itself, kept after its pixels are gone.
#[derive(Debug, Clone)]
pub struct FileNote {
    /// `plate`, `mirror` or `cg`.
    pub role: &'static str,
    /// Name of the mirror entry, where it belongs to one.
    pub mirror: Option<String>,
    /// The path as the sheet gives it.
    pub file: String,
    /// The display window's size.
    pub size: Size,
    /// Hash of its content.
    pub content: String,
    /// Exposure and lens as the file states them.
    pub meta: CaptureMeta,
}

/// What a check adds to the report.
#[derive(Debug, Clone, Default)]
pub struct Addition {
    /// Its findings.
    pub findings: Vec<Finding>,
    /// The files that it opened.
    pub inputs: Vec<InputRecord>,
    /// Conventions and assumptions under which its numbers hold.
    pub assumptions: Vec<String>,
    /// Things the reader should know.
    pub warnings: Vec<String>,
    /// Pictures to be written beside the report.
    pub attachments: Vec<Attachment>,
}

impl Addition {
    /// One finding and nothing else.
    pub fn of(finding: Finding) -> Self {
        Self { findings: vec![finding], ..Self::default() }
    }
}

/// A check of a whole shot.
pub trait ShotCheck: Sync {
    /// What `explain` tells of it.
    fn doc(&self) -> &'static CheckDoc;
    /// The sheet supplies what it needs; otherwise its finding is `not-given`.
    fn is_asked(&self, sheet: &ShotSheet) -> bool;
    /// It looks at the plate or a mirror frame beyond what is around the spheres. Where no check does, only that part
    /// of large files is decoded.
    fn reads_whole_frames(&self) -> bool {
        true
    }
    /// Why it could not be asked, for a finding `not-given`: what to add to the sheet.
    fn needs(&self) -> &'static str;
    /// Checks.
    ///
    /// # Errors
    /// Where an input of its own cannot be used; what evidence cannot decide is a finding `unsure`.
    fn run(&self, shot: &ShotEvidence<'_>) -> Result<Addition>;
}

/// A finding about the whole shot with nothing measured yet.
pub fn blank_of_shot(doc: &CheckDoc, concerns: Concerns, tolerance: f64) -> Finding {
    Finding {
        check: doc.check.clone(),
        concerns,
        mirror: None,
        verdict: Verdict::Unsure,
        value: None,
        value_sd: None,
        value_bound: None,
        unit: doc.unit.to_owned(),
        tolerance,
        detail: Map::new(),
        reason: String::new(),
        remedy: Remedy::default(),
        waived: None,
    }
}
