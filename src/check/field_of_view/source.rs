//! Everything that tells a field of view: the sheet, and what files say about themselves.

use serde_json::{Value, json};

use crate::check::FileNote;
use crate::image::{SensorWidthBasis, Size};
use crate::sheet::{CameraSpec, ShotSheet};

/// Relative uncertainty of a width from a sheet: printed gates differ by up to 0.2 % between handbooks.
const SHEET_SD: f64 = 0.001;

/// Rounding in a matrix or a screen window, relative.
const ROUNDING_SD: f64 = 1e-5;

/// One statement about a field of view.
#[derive(Debug, Clone)]
pub(super) struct Source {
    /// Who says so, for people.
    pub(super) name: String,
    /// It speaks about the CG.
    pub(super) is_cg: bool,
    /// Half the picture's width at unit distance: the tangent of half the field of view.
    pub(super) half_tangent: f64,
    /// Its uncertainty, relative.
    pub(super) relative_sd: f64,
    /// Focal length, where it came from one, mm.
    pub(super) focal_mm: Option<f64>,
    /// The picture that it is about.
    pub(super) size: Size,
}

impl Source {
    pub(super) fn fov_deg(&self) -> f64 {
        2.0 * self.half_tangent.atan().to_degrees()
    }

    /// Width on the sensor that the picture covers, squeeze undone, mm.
    pub(super) fn width_mm(&self) -> Option<f64> {
        self.focal_mm.map(|focal| 2.0 * focal * self.half_tangent)
    }

    pub(super) fn words(&self) -> String {
        match (self.focal_mm, self.width_mm()) {
            (Some(focal), Some(width)) => {
                format!("{} {:.2} deg ({focal:.2} mm on {width:.2} mm)", self.name, self.fov_deg())
            }
            _ => format!("{} {:.2} deg", self.name, self.fov_deg()),
        }
    }

    pub(super) fn to_json(&self) -> Value {
        let sd_deg = (2.0 * self.half_tangent / (1.0 + self.half_tangent.powi(2))).to_degrees() * self.relative_sd;
        let mut value = json!({
            "side": if self.is_cg { "cg" } else { "plate" },
            "from": self.name,
            "horizontal_fov_deg": self.fov_deg(),
            "horizontal_fov_deg_sd": sd_deg
        });
        if let (Some(focal), Some(width)) = (self.focal_mm, self.width_mm()) {
            value["focal_length_mm"] = focal.into();
            value["width_mm"] = width.into();
        }
        value
    }
}

/// What tells the plate's field of view, most trusted first: the sheet, the plate, the sphere frames.
pub(super) fn plate_side(sheet: &ShotSheet, files: &[FileNote]) -> Vec<Source> {
    let of_role = |role: &'static str| files.iter().filter(move |file| file.role == role);
    let Some(first) = of_role("plate").chain(of_role("mirror")).next() else { return Vec::new() };
    let told = sheet.camera.as_ref().and_then(|camera| of_camera(camera, first.size, "the sheet"));
    // A file tells its sensor, and not that the lens before it takes in more width.
    let squeeze = sheet.camera.as_ref().and_then(|camera| camera.squeeze).unwrap_or(1.0);
    let by_files = of_role("plate").chain(of_role("mirror")).flat_map(|file| of_file(file, false, squeeze));
    distinct(told.into_iter().chain(by_files))
}

/// What tells the CG's field of view: its file, and the sheet's own words about the CG camera.
pub(super) fn cg_side(sheet: &ShotSheet, files: &[FileNote], plate: Option<&Source>) -> Vec<Source> {
    let cg = || files.iter().filter(|file| file.role == "cg");
    let own = sheet.cg.camera.as_ref().filter(|own| {
        own.focal_length_mm.is_some() || own.sensor_size_mm().is_some() || own.fov_by_option_deg.is_some()
    });
    let told = own.and(sheet.cg_camera()).zip(cg().next());
    let told = told.and_then(|(camera, file)| of_camera(&camera, file.size, "cg.camera of the sheet"));
    let by_files = cg().flat_map(|file| {
        let mut sources = of_file(file, true, 1.0);
        if sources.is_empty() {
            sources.extend(plate.and_then(|plate| on_plate_sensor(file, plate)));
        }
        sources
    });
    distinct(by_files.chain(told)).into_iter().map(|source| Source { is_cg: true, ..source }).collect()
}

/// Frames of one take say the same thing: once is enough.
fn distinct(sources: impl Iterator<Item = Source>) -> Vec<Source> {
    let mut kept: Vec<Source> = Vec::new();
    for source in sources {
        let same = |known: &Source| (known.half_tangent / source.half_tangent - 1.0).abs() < ROUNDING_SD;
        if !kept.iter().any(|known| same(known) && known.relative_sd <= source.relative_sd) {
            kept.push(source);
        }
    }
    kept
}

fn of_camera(camera: &CameraSpec, size: Size, name: &str) -> Option<Source> {
    let told = camera.horizontal_fov(size)?;
    Some(Source {
        name: if told.by_option { "the option".to_owned() } else { name.to_owned() },
        is_cg: false,
        half_tangent: half_tangent(told.horizontal_fov_deg)?,
        relative_sd: SHEET_SD,
        focal_mm: camera.focal_length_mm.filter(|_| camera.fov_by_option_deg.is_none()),
        size,
    })
}

fn half_tangent(fov_deg: f64) -> Option<f64> {
    (fov_deg > 0.01 && fov_deg < 179.0).then(|| (fov_deg.to_radians() / 2.0).tan())
}

/// Lens and sensor, screen window and matrix of one file.
fn of_file(file: &FileNote, is_cg: bool, squeeze: f64) -> Vec<Source> {
    let meta = &file.meta;
    let source = |what: &str, half_tangent: f64, relative_sd: f64, focal_mm: Option<f64>| Source {
        name: format!("{} ({what})", crate::printable_text(&file.file)),
        is_cg,
        half_tangent,
        relative_sd,
        focal_mm,
        size: file.size,
    };
    let lens = meta.focal_length_mm.zip(meta.sensor_width_mm).filter(|(focal, width)| *focal > 0.0 && *width > 0.0);
    let lens = lens.map(|(focal, width)| {
        source("lens and sensor", squeeze * width / (2.0 * focal), sd_of(meta.sensor_width_basis), Some(focal))
    });
    let of_fov = |what: &str, fov: Option<f64>| Some(source(what, half_tangent(fov?)?, ROUNDING_SD, None));
    let window = of_fov("screenWindowWidth", meta.horizontal_fov_deg);
    let matrix = of_fov("worldToNDC", meta.matrix_fov_deg);
    [lens, window, matrix].into_iter().flatten().filter(|source| half_tangent(source.fov_deg()).is_some()).collect()
}

/// A focal length alone: on the sensor that the plate was shot with.
fn on_plate_sensor(file: &FileNote, plate: &Source) -> Option<Source> {
    let (focal, width) = (file.meta.focal_length_mm.filter(|focal| *focal > 0.0)?, plate.width_mm()?);
    Some(Source {
        name: format!("{} (focal length, on the plate's sensor)", crate::printable_text(&file.file)),
        is_cg: true,
        half_tangent: width / (2.0 * focal),
        relative_sd: plate.relative_sd,
        focal_mm: Some(focal),
        size: file.size,
    })
}

/// Relative uncertainty of a field of view from a file's sensor width (common practice, no source).
fn sd_of(basis: Option<SensorWidthBasis>) -> f64 {
    match basis {
        Some(SensorWidthBasis::ReadOut) => SHEET_SD,
        Some(SensorWidthBasis::FocalPlane) => 0.005,
        Some(SensorWidthBasis::FilmEquivalent) => 0.02,
        Some(SensorWidthBasis::WholeSensor) | None => 0.05,
    }
}
