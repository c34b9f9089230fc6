//! From the sheet's image entries to frames and views.

use std::path::Path;

use crate::colour::ColourSpace;
use crate::image::clf::ClfTransform;
use crate::image::colour_config::{ConfigRequest, ConfigTransform, name_in_config};
use crate::image::encoding::Encoding;
use crate::image::open::{Belief, OpenRequest, open_part, open_rows};
use crate::image::rows::without_pixels;
use crate::image::{Frame, Opened, RowSink, Wanted};
use crate::optics::camera::{ASSUMED_HORIZONTAL_FOV_DEG, FovSource, View};
use crate::sheet::{CameraSpec, ImageSpec, WhiteBalance};
use crate::{Error, ErrorKind, Result};

/// Opens the whole frame of an image entry.
pub(super) fn open_frame(spec: &ImageSpec, base_dir: &Path, role: &str, want_alpha: bool) -> Result<Frame> {
    open_part_of(spec, base_dir, role, want_alpha, &|_| Wanted::All).map(|opened| opened.frame)
}

/// Opens the frame of an image entry; of large pictures only the part that `choose` wants, where the format allows.
pub(super) fn open_part_of(
    spec: &ImageSpec,
    base_dir: &Path,
    role: &str,
    want_alpha: bool,
    choose: &(dyn Fn(&Frame) -> Wanted + Sync),
) -> Result<Opened> {
    let (path, shown_as) = (spec.path(base_dir)?, spec.file_name()?);
    let transform = Transform::of(spec, base_dir)?;
    let request = request(spec, (&path, &shown_as), role, want_alpha, transform.as_ref())?;
    let mut opened = open_part(&request, choose)?;
    as_the_sheet_says(&mut opened.frame, spec, transform.as_ref());
    Ok(opened)
}

/// Hands the frame of an image entry to `sink` in strips; gives it back without pixels.
pub(super) fn open_rows_of(spec: &ImageSpec, base_dir: &Path, role: &str, sink: &mut dyn RowSink) -> Result<Frame> {
    let (path, shown_as) = (spec.path(base_dir)?, spec.file_name()?);
    let transform = Transform::of(spec, base_dir)?;
    let request = request(spec, (&path, &shown_as), role, false, transform.as_ref())?;
    let mut frame = open_rows(&request, &mut Decoded { spec, transform: transform.as_ref(), sink })?;
    as_the_sheet_says(&mut frame, spec, transform.as_ref());
    Ok(frame)
}

/// Hands strips on as the sheet says how they are to be read.
struct Decoded<'a> {
    spec: &'a ImageSpec,
    transform: Option<&'a Transform>,
    sink: &'a mut dyn RowSink,
}

impl RowSink for Decoded<'_> {
    fn begin(&mut self, header: &Frame) {
        let mut header = without_pixels(header);
        as_the_sheet_says(&mut header, self.spec, self.transform);
        self.sink.begin(&header);
    }

    fn rows(&mut self, strip: &Frame, first_row: usize) {
        if self.transform.is_none() {
            return self.sink.rows(strip, first_row);
        }
        let mut strip = strip.clone();
        as_the_sheet_says(&mut strip, self.spec, self.transform);
        self.sink.rows(&strip, first_row);
    }
}

fn request<'a>(
    spec: &'a ImageSpec,
    (path, shown_as): (&'a Path, &'a str),
    role: &'a str,
    want_alpha: bool,
    transform: Option<&Transform>,
) -> Result<OpenRequest<'a>> {
    let has_transform = transform.is_some();
    let by_config = transform.and_then(Transform::space);
    Ok(OpenRequest {
        path,
        shown_as,
        role,
        encoding: if has_transform { Some(code_values(spec)) } else { encoding(spec, path)? },
        colour_space: by_config.or(colour_space(spec, path)?),
        layer: spec.layer.as_deref(),
        clip_level: spec.clip_level.filter(|_| !has_transform),
        want_alpha,
        movie: spec.movie_request(),
        raw_balance: spec.raw_balance(),
        limits: &spec.limits,
    })
}

/// What the sheet says beyond what a request can tell.
fn as_the_sheet_says(frame: &mut Frame, spec: &ImageSpec, transform: Option<&Transform>) {
    if let Some(transform) = transform {
        transform.decode(frame);
        frame.clip_level = spec.clip_level.map(|level| [level as f32; 3]).or(frame.clip_level);
    }
    match spec.white_balance {
        Some(WhiteBalance::Fixed) => frame.meta.auto_white_balance = Some(false),
        Some(balance @ (WhiteBalance::AsShot | WhiteBalance::Unit)) if frame.record.raw.is_none() => {
            let name = if balance == WhiteBalance::Unit { "unit" } else { "as-shot" };
            frame
                .warnings
                .push(format!("`white_balance` \"{name}\" is for raw stills, and this is none: it was not used"));
        }
        _ => {}
    }
}

/// A transform in place of a named curve.
enum Transform {
    /// A Common LUT Format file, with its name as given.
    File(String, ClfTransform),
    /// A colour space of a config.
    Config(ConfigTransform),
}

impl Transform {
    /// The one that the entry names as its encoding.
    fn of(spec: &ImageSpec, base_dir: &Path) -> Result<Option<Self>> {
        let Some(encoding) = spec.encoding.as_deref() else { return Ok(None) };
        if ClfTransform::is_name(encoding) {
            return Ok(Some(Self::File(encoding.to_owned(), ClfTransform::read(&base_dir.join(encoding))?)));
        }
        let Some(name) = name_in_config(encoding) else { return Ok(None) };
        let request = ConfigRequest {
            config: spec.colour_config.as_deref(),
            name,
            picture: &spec.path(base_dir)?,
            space_is_told: spec.colour_space.is_some(),
        };
        Ok(Some(Self::Config(ConfigTransform::read(&request)?)))
    }

    /// The colour space of what comes out, where the transform says it.
    fn space(&self) -> Option<Belief<ColourSpace>> {
        let Self::Config(transform) = self else { return None };
        transform.space().map(|space| Belief { value: space.clone(), from: "config" })
    }

    fn decode(&self, frame: &mut Frame) {
        match self {
            Self::File(name, transform) => {
                transform.decode(frame);
                frame.record.encoding.clone_from(name);
            }
            Self::Config(transform) => {
                transform.decode(frame);
                frame.record.encoding = format!("ocio:{}", transform.name());
            }
        }
    }
}

/// The transform takes the file's code values as they are.
fn code_values(spec: &ImageSpec) -> Belief<Encoding> {
    Belief { value: Encoding::SceneLinear, from: told_by(spec.encoding_by_option) }
}

fn told_by(option: bool) -> &'static str {
    if option { "option" } else { "sheet" }
}

fn encoding(spec: &ImageSpec, path: &Path) -> Result<Option<Belief<Encoding>>> {
    let Some(name) = &spec.encoding else { return Ok(None) };
    let value = Encoding::parse(name).ok_or_else(|| {
        let known: Vec<_> = Encoding::ALL.iter().map(|e| e.name()).collect();
        Error::new(
            ErrorKind::Parameter,
            path,
            format!("unknown encoding \"{name}\""),
            format!("use one of {}", known.join(", ")),
        )
    })?;
    Ok(Some(Belief { value, from: told_by(spec.encoding_by_option) }))
}

fn colour_space(spec: &ImageSpec, path: &Path) -> Result<Option<Belief<ColourSpace>>> {
    let Some(name) = &spec.colour_space else { return Ok(None) };
    let value = ColourSpace::parse(name).ok_or_else(|| {
        let remedy = format!("use one of {}", ColourSpace::NAMES.join(", "));
        Error::new(ErrorKind::Parameter, path, format!("unknown colour space \"{name}\""), remedy)
    })?;
    Ok(Some(Belief { value, from: told_by(spec.colour_space_by_option) }))
}

/// Lenses for the screen, from long telephoto to wide angle (common practice, no source).
const USUAL_FOV_DEG: std::ops::RangeInclusive<f64> = 5.0..=115.0;

/// The view of a frame: the sheet's camera, else the file's own lens notes, else an assumed field of view.
pub(super) fn view_of(frame: &Frame, camera: Option<&CameraSpec>, warnings: &mut Vec<String>) -> View {
    let centred = centred_view_of(frame, camera, warnings);
    frame.meta.axis_off_centre.map_or(centred.clone(), |axis| centred.with_axis_at(axis))
}

fn centred_view_of(frame: &Frame, camera: Option<&CameraSpec>, warnings: &mut Vec<String>) -> View {
    let aspect = pixel_aspect(frame, camera);
    let view = |fov: f64, source: FovSource| View::from_horizontal_fov(frame.size, aspect, fov, source);
    if let Some(told) = camera.and_then(|c| c.horizontal_fov(frame.size)) {
        warnings.extend(told.warning.map(|w| format!("{}: {w}", frame.record.file)));
        if !USUAL_FOV_DEG.contains(&told.horizontal_fov_deg) {
            warnings.push(format!(
                "{}: the stated camera has a {:.0} deg wide view, which hardly any lens has: check focal length and sensor",
                frame.record.file, told.horizontal_fov_deg
            ));
        }
        let source = if told.by_option { FovSource::Option } else { FovSource::Sheet };
        return view(told.horizontal_fov_deg, source);
    }
    if let Some(fov) = fov_of_file(frame) {
        return view(fov, FovSource::File);
    }
    view(ASSUMED_HORIZONTAL_FOV_DEG, FovSource::Assumed)
}

/// Field of view as the file tells it.
pub(super) fn fov_of_file(frame: &Frame) -> Option<f64> {
    let lens = || {
        let (focal, width) = (frame.meta.focal_length_mm?, frame.meta.sensor_width_mm?);
        (focal > 0.0 && width > 0.0).then(|| 2.0 * (width / (2.0 * focal)).atan().to_degrees())
    };
    lens().or(frame.meta.horizontal_fov_deg).filter(|fov| (0.05..170.0).contains(fov))
}

/// The file's pixel aspect; where it says square but the sheet tells a squeeze and the picture still has the shape of
/// the squeezed recording, the squeeze.
pub(super) fn pixel_aspect(frame: &Frame, camera: Option<&CameraSpec>) -> f64 {
    let Some(camera) = camera else { return frame.pixel_aspect };
    let squeeze = camera.squeeze.unwrap_or(1.0);
    if (frame.pixel_aspect - 1.0).abs() > 1e-3 || (squeeze - 1.0).abs() < 1e-3 {
        return frame.pixel_aspect;
    }
    let recorded = camera.recorded_px.or(camera.used_px).or(camera.sensor_px).or(camera.sensor_mm);
    let shape = frame.size.width as f64 / frame.size.height as f64;
    let still_squeezed = recorded.is_none_or(|r| (shape / (r[0] / r[1]) - 1.0).abs() < 0.05);
    if still_squeezed { squeeze } else { 1.0 }
}
