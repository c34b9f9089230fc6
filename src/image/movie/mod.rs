//! Movies in, through the installed FFmpeg: called as programs, never linked.
//!
//! ffmpeg only unpacks: one frame leaves it with the codes that the recorder stored. Range, matrix and the place of the colour
//! differences are ours, in 32-bit floats, so that nothing is rounded to 8 bits, cut to the nominal range or turned by a matrix
//! that somebody assumed.
//!
//! Frames are counted from 1 in the order in which they are shown. Which frame that is follows from the times of all frames, not
//! from a rate, and the frame that comes has to carry the right time.

mod belief;
mod container;
mod decode;
mod facts;
mod known;
mod layout;
mod pass;
mod pick;
mod record;
mod request;
mod signal;
mod tell;
mod timecode;
mod tool;
mod turn;

use std::path::Path;

pub(super) use container::Container;
pub(crate) use container::{MOVIE_ENDINGS, is_movie_name};
pub use pass::MoviePass;
pub use record::MovieRecord;
pub(super) use request::NUMBER_KEY;
pub use request::{CodeRange, Field, Matrix, MovieRequest};

use self::belief::{Beliefs, beliefs};
use self::decode::Raw;
use self::known::Movie;
use self::layout::Layout;
use self::signal::Reading;
use super::encoding::Encoding;
use super::limits::{Limits, room_for, zeroed};
use super::request::{OpenRequest, Parts};
use super::{CaptureMeta, DataWindow, Frame, Size};
use crate::base::parallel;
use crate::{Error, ErrorKind, Result};

/// Fraction of the highest code at which a sample counts as clipped, as for other files (common practice, no source).
const CLIP_CODE: f64 = 254.0 / 255.0;

/// Opens one frame of a movie.
///
/// # Errors
/// See [`super::open::open`]; `Parameter` where it is not said which frame, or neither request nor stream tells the curve;
/// `Unsupported` without FFmpeg, and for interlaced frames where no field is asked for.
pub(super) fn open(request: &OpenRequest<'_>, container: Container) -> Result<Frame> {
    let path = request.path;
    let movie = Movie::of(path, container)?;
    let stream = &movie.stream;
    let layout = layout_of(&movie)?;
    let frame_bytes = layout.frame_bytes(stream.size);
    let [width, height] = stream.size.map(|side| side as u64);
    request.limits.check_picture(path, width, height, false, 2 * frame_bytes as u64)?;
    room_for(path, 2 * frame_bytes)?;
    let beliefs = beliefs(request, stream, &layout)?;
    let turn = stream.turn.ok_or_else(|| {
        let cause = "it asks to be turned by an angle that is no quarter turn";
        Error::new(ErrorKind::Unsupported, path, cause, "export the frame as OpenEXR or DPX")
    })?;
    let whole = movie.whole(request.limits)?;
    let place = pick::place(&request.movie, &movie, &whole.frames)?;
    let raw = match request.movie.pass {
        Some(pass) => pass.frame(&movie, &whole.frames, place, &layout, request.limits)?,
        None => decode::one(&movie, &whole.frames, place, &layout, request.limits)?.into(),
    };
    let mut warnings = beliefs.warnings.clone();
    let field = pick::field(&request.movie, &raw, path, &mut warnings)?;
    let (rgb, size) = light(path, &beliefs, layout, &raw, stream.size, field)?;
    let (rgb, [width, height]) = turn.apply(rgb, size);
    if turn != turn::Turn::NONE {
        warnings.push(format!("the movie asks to be {} and is shown so", turn.words()));
    }
    if layout.has_alpha {
        warnings.push("its coverage channel was left out: a plate has none".to_owned());
    }
    if layout.family == layout::Family::Grey {
        warnings.push("the picture has one channel: it is taken as grey and says nothing about colour".to_owned());
    }
    let record = tell::record(&movie, &whole.frames, place, &beliefs, field);
    let parts = Parts {
        size: Size { width, height },
        data: DataWindow { x: 0, y: 0, width, height },
        pixel_aspect: if turn.swaps() { 1.0 / stream.pixel_aspect } else { stream.pixel_aspect },
        clip_level: Some(beliefs.encoding.value.decode(reading(&beliefs, layout).signal_of(CLIP_CODE))),
        encoding: beliefs.encoding,
        space: beliefs.space,
        rgb,
        alpha: None,
        masked: 0,
        integer_bits: Some(layout.bits as u8),
        format: "movie",
        meta: CaptureMeta { camera: stream.camera.clone(), ..CaptureMeta::default() },
        layer: None,
        decoded_fraction: 1.0,
        blake3: whole.blake3.clone(),
        warnings,
    };
    let mut frame = parts.into_frame(request);
    frame.record.movie = Some(record);
    Ok(frame)
}

/// Columns, rows and bytes of a stored frame; `None` where the movie cannot be read.
pub(super) fn cost(path: &Path, container: Container) -> Option<([usize; 2], u64)> {
    let movie = Movie::of(path, container).ok()?;
    let layout = Layout::parse(&movie.stream.pixel_format)?;
    Some((movie.stream.size, layout.frame_bytes(movie.stream.size) as u64))
}

/// How many frames a movie shows.
///
/// # Errors
/// As [`open`].
pub(super) fn count(path: &Path, container: Container, limits: &Limits) -> Result<u32> {
    let count = Movie::of(path, container)?.whole(limits)?.frames.len();
    Ok(u32::try_from(count).unwrap_or(u32::MAX))
}

fn layout_of(movie: &Movie) -> Result<Layout> {
    Layout::parse(&movie.stream.pixel_format).ok_or_else(|| {
        let cause = format!("its pixel format {} is not read", crate::printable_text(&movie.stream.pixel_format));
        Error::new(ErrorKind::Unsupported, &movie.path, cause, "export the frame as OpenEXR or DPX")
    })
}

fn reading(beliefs: &Beliefs, layout: Layout) -> Reading {
    Reading {
        layout,
        range: beliefs.range.value,
        matrix: beliefs.matrix.as_ref().map_or(Matrix::Bt709, |matrix| matrix.value),
        siting: beliefs.siting.value,
    }
}

type Pixels = (Vec<[f32; 3]>, [usize; 2]);

/// Scene-linear pixels as stored, before they are turned.
fn light(
    path: &Path,
    beliefs: &Beliefs,
    layout: Layout,
    raw: &Raw,
    size: [usize; 2],
    field: Option<Field>,
) -> Result<Pixels> {
    let (mut planes, mut reading) = (layout.planes(&raw.bytes, size), reading(beliefs, layout));
    let split = field.filter(|field| *field != Field::Whole);
    if let Some(field) = split {
        (planes, reading) = (planes.of_field(field), reading.of_field(field));
    }
    if planes.size[1] == 0 || (layout.family == layout::Family::Ycbcr && planes.other_size[1] == 0) {
        let cause = "it has too few rows to be two fields";
        return Err(Error::new(ErrorKind::Unsupported, path, cause, "leave out `field`"));
    }
    let width = planes.size[0];
    let mut rgb = zeroed::<[f32; 3]>(path, width * planes.size[1])?;
    let curve = Curve::of(beliefs.encoding.value);
    parallel::each_row(&mut rgb, width, |row, pixels| {
        reading.row(&planes, row, pixels);
        pixels.iter_mut().flatten().for_each(|value| *value = curve.light(*value));
    });
    match split {
        None => Ok((rgb, size)),
        Some(field) => Ok((full_height(path, &rgb, size, field)?, size)),
    }
}

/// A field's rows in their places, and between them what lies between.
fn full_height(
    path: &Path,
    field_rows: &[[f32; 3]],
    [width, height]: [usize; 2],
    field: Field,
) -> Result<Vec<[f32; 3]>> {
    let mut rgb = zeroed::<[f32; 3]>(path, width * height)?;
    let from = usize::from(field == Field::Lower) as f32;
    let last = (field_rows.len() / width).saturating_sub(1);
    parallel::each_row(&mut rgb, width, |row, pixels| {
        let position = ((row as f32 - from) / 2.0).clamp(0.0, last as f32);
        let (upper, weight) = (position.floor() as usize, position.fract());
        let lower = (upper + 1).min(last);
        for (column, pixel) in pixels.iter_mut().enumerate() {
            let (a, b) = (field_rows[upper * width + column], field_rows[lower * width + column]);
            *pixel = [0, 1, 2].map(|c| a[c] * (1.0 - weight) + b[c] * weight);
        }
    });
    Ok(rgb)
}

/// An encoding's curve as a table: signals are not whole numbers, and working each out takes too long.
struct Curve {
    table: Option<Vec<f32>>,
    encoding: Encoding,
}

/// Entries from signal 0 to 1.
const STEPS: usize = 1 << 16;
/// The table reaches from below black to above white by these parts of that span.
const BELOW: f64 = 0.25;
const ABOVE: f64 = 1.25;

impl Curve {
    fn of(encoding: Encoding) -> Self {
        let entries = ((ABOVE + BELOW) * STEPS as f64) as usize + 1;
        let light = |i: usize| encoding.decode(i as f64 / STEPS as f64 - BELOW) as f32;
        Self { table: (!encoding.is_linear()).then(|| parallel::map(entries, light)), encoding }
    }

    fn light(&self, signal: f32) -> f32 {
        let Some(table) = &self.table else { return signal };
        let place = (signal + BELOW as f32) * STEPS as f32;
        let index = place as usize;
        match table.get(index..index + 2) {
            Some([a, b]) if place >= 0.0 => a + (b - a) * place.fract(),
            _ => self.encoding.decode(f64::from(signal)) as f32,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What the table leaves out of a curve: less than a hundredth of a 12-bit code's step everywhere.
    #[test]
    fn the_table_follows_every_curve() {
        for encoding in Encoding::ALL.iter().copied() {
            let curve = Curve::of(encoding);
            for i in 0..4000_i32 {
                let signal = f64::from(i) / 3000.0 - 0.1;
                let (exact, table) = (encoding.decode(signal), f64::from(curve.light(signal as f32)));
                let step = (encoding.decode(signal + 1.0 / 4095.0) - encoding.decode(signal - 1.0 / 4095.0)).abs();
                let rounding = 4e-6 * exact.abs() + 1e-7;
                assert!((table - exact).abs() <= 0.05 * step + rounding, "{encoding} at {signal}: {table} {exact}");
            }
        }
    }
}
