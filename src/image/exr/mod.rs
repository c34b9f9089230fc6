//! OpenEXR in.

mod attributes;
mod blocks;
mod coverage;
mod interop;
mod layers;
mod offsets;
mod samples;
mod strips;
mod unpacked;

pub(super) use self::strips::{open_rows, strip_pixels};

use std::path::Path;

use ::exr::error::Error as ExrError;
use ::exr::meta::MetaData;
use ::exr::meta::attribute::{Chromaticities, IntegerBounds};
use ::exr::meta::header::Header;

use self::blocks::{Blocks, Cut, Grid, Pixels};
use self::layers::{Meaning, Picked};
use self::offsets::Offsets;
use super::encoding::Encoding;
use super::guard::contain;
use super::request::{Belief, OpenRequest, Parts, masked_words, named_space, same_space};
use super::stream::InputFile;
use super::{DataWindow, Frame, Opened, Size, Wanted};
use crate::base::parallel;
use crate::colour::ColourSpace;
use crate::{Error, ErrorKind, Result};

/// How near chromaticities must be to CIE X, Y, Z themselves to mean them.
const XYZ_CHROMATICITY_SLACK: f64 = 1e-3;

/// What a core holds of the block that it decodes: its packed and its unpacked form.
const BLOCK_COPIES: u64 = 2;

/// Memory that the blocks in work on all cores take, in bytes, by the header alone.
pub(super) fn scratch_bytes(header: &Header) -> u64 {
    let grid = Grid::of(header);
    let block_bytes = grid.block_pixels().saturating_mul(header.channels.bytes_per_pixel as u64);
    let at_once = parallel::cores().min(grid.count()) as u64;
    // One row of floats and halves of each beside.
    let rows = (grid.block_width as u64).saturating_mul(ROW_PIXEL_BYTES);
    block_bytes.saturating_mul(BLOCK_COPIES).saturating_add(rows).saturating_mul(at_once)
}

/// A pixel of the row that is being converted, as float and as half.
const ROW_PIXEL_BYTES: u64 = 6;

/// Opens an OpenEXR file.
///
/// # Errors
/// See [`super::open::open`].
pub(super) fn open(
    request: &OpenRequest<'_>,
    file: &InputFile,
    choose: &(dyn Fn(&Frame) -> Wanted + Sync),
) -> Result<Opened> {
    let prepared = Prepared::of(request, file, &|grid| (grid.width, grid.height))?;
    let blocks = prepared.blocks(request, file);
    let mut frame = prepared.frame(request);
    let (pixels, hash) = parallel::both(|| blocks.read(cut_of(&blocks, &frame, choose(&frame))?), || file.hash());
    frame.record.blake3 = hash.map_err(|e| Error::io(request.path, &e))?;
    let pixels = pixels?;
    let complete = pixels.cut == blocks.grid.whole();
    if prepared.offsets.unfinished {
        frame.warnings.push(unfinished_words(&prepared.offsets.of_blocks));
    }
    fill(&mut frame, pixels, prepared.blocks_in_file(), complete);
    Ok(Opened { frame, complete })
}

/// A file whose header was read and found sound, before any of its pixels.
struct Prepared {
    meta: MetaData,
    picked: Picked,
    encoding: Belief<Encoding>,
    offsets: Offsets,
}

impl Prepared {
    /// `held` is the width and height of what will be held of the picture at once.
    fn of(request: &OpenRequest<'_>, file: &InputFile, held: &dyn Fn(Grid) -> (usize, usize)) -> Result<Self> {
        let path = request.path;
        let (meta, tables_start) = read_meta(path, file)?;
        let picked = layers::pick(path, &meta, request.layer);
        let mut picked = picked.map_err(|unclear| unreadable_kind(path, &meta).unwrap_or(unclear))?;
        picked.alpha = picked.alpha.filter(|_| request.want_alpha);
        let header = &meta.headers[picked.part];
        check_kind(path, header)?;
        check_size(request, header, &picked, held(Grid::of(header)))?;
        let by_id = attributes::interop_id(header).and_then(|id| interop::stated(&id).encoding);
        let encoding = request.encoding.or(by_id).unwrap_or(Belief { value: Encoding::SceneLinear, from: "default" });
        let offsets = offsets::offsets(path, file, &meta, picked.part, tables_start)?;
        Ok(Self { meta, picked, encoding, offsets })
    }

    fn blocks<'a>(&'a self, request: &OpenRequest<'a>, file: &'a InputFile) -> Blocks<'a> {
        Blocks::new(request.path, file, &self.meta, &self.picked, &self.offsets.of_blocks, self.encoding.value)
    }

    fn frame(&self, request: &OpenRequest<'_>) -> Frame {
        frame_without_pixels(request, &self.meta, &self.picked, self.encoding)
    }

    fn blocks_in_file(&self) -> usize {
        self.meta.headers.iter().map(|h| h.chunk_count).sum()
    }
}

/// The part of the data window to decode.
fn cut_of(blocks: &Blocks<'_>, header_only: &Frame, wanted: Wanted) -> Result<Cut> {
    let whole = blocks.grid.whole();
    let chosen = match wanted {
        Wanted::All => None,
        Wanted::Covered => blocks.covered()?,
        Wanted::Window(window) => {
            let data = header_only.data;
            let DataWindow { x, y, width, height } = window.within(&data);
            let (left, top) = ((x - data.x) as usize, (y - data.y) as usize);
            Some(Cut { rows: top..top + height, columns: left..left + width })
        }
    };
    Ok(chosen.filter(|cut| !cut.rows.is_empty() && !cut.columns.is_empty()).unwrap_or(whole))
}

fn unfinished_words(of_blocks: &[Option<u64>]) -> String {
    let there = of_blocks.iter().flatten().count();
    format!(
        "the file is unfinished: {there} of its {} pixel blocks have been written; the rest counts as missing",
        of_blocks.len()
    )
}

/// Puts the pixels into the frame, whose data window becomes that of what was read.
fn fill(frame: &mut Frame, pixels: Pixels, blocks_in_file: usize, complete: bool) {
    let Cut { rows, columns } = pixels.cut;
    frame.data = DataWindow {
        x: frame.data.x + columns.start as i64,
        y: frame.data.y + rows.start as i64,
        width: columns.len(),
        height: rows.len(),
    };
    frame.rgb = pixels.rgb;
    frame.alpha = pixels.alpha;
    frame.record.masked_pixels = pixels.masked;
    frame.record.decoded_fraction = pixels.blocks as f64 / blocks_in_file.max(1) as f64;
    frame.warnings.extend(masked_words(pixels.masked, complete));
}

/// The headers of all parts, and where they end. Contained: the header parser meets hostile bytes first.
fn read_meta(path: &Path, file: &InputFile) -> Result<(MetaData, u64)> {
    let mut reader = file.reader();
    let meta = contain(|| MetaData::read_from_buffered(&mut reader, false));
    let meta = meta.map_err(|panic| broken(path, format!("the header cannot be read ({panic})")))?;
    let meta = meta.map_err(|e| from_exr(path, &e))?;
    if meta.headers.is_empty() {
        return Err(broken(path, "the file has no picture"));
    }
    Ok((meta, reader.position()))
}

/// Why no picture was found, where every part is of a kind that is not read here.
fn unreadable_kind(path: &Path, meta: &MetaData) -> Option<Error> {
    let first = unreadable(path, meta.headers.first()?);
    first.filter(|_| meta.headers.iter().all(|header| unreadable(path, header).is_some()))
}

/// The error of a sound part that is deep or subsampled.
fn unreadable(path: &Path, header: &Header) -> Option<Error> {
    let (cause, remedy) = if header.deep {
        ("this is deep data (samples at many depths)", "flatten it to an ordinary (flat) OpenEXR and use that")
    } else if header.channels.list.iter().any(|c| c.sampling.x() != 1 || c.sampling.y() != 1) {
        let remedy = "write it again as full-resolution R, G, B channels";
        ("its channels have different resolutions (luminance-chroma)", remedy)
    } else {
        return None;
    };
    Some(Error::new(ErrorKind::Unsupported, path, cause, remedy))
}

/// Refuses kinds that are not read here, and headers that contradict themselves.
fn check_kind(path: &Path, header: &Header) -> Result<()> {
    if let Some(error) = unreadable(path, header) {
        return Err(error);
    }
    let checked = contain(|| header.validate(false, &mut true, false));
    checked
        .map_err(|panic| broken(path, format!("the header contradicts itself ({panic})")))?
        .map_err(|e| from_exr(path, &e))
}

/// Holds what the header claims against the limits before anything is allocated for it.
///
/// Of the data window no more than `held_width` × `held_height` pixels are held at once.
fn check_size(
    request: &OpenRequest<'_>,
    header: &Header,
    picked: &Picked,
    (held_width, held_height): (usize, usize),
) -> Result<()> {
    let scratch = scratch_bytes(header);
    let data = header.layer_size;
    let with_alpha = picked.alpha.is_some();
    request.limits.check_pixels(request.path, data.width() as u64, data.height() as u64)?;
    request.limits.check_picture(request.path, held_width as u64, held_height as u64, with_alpha, scratch)?;
    let display = header.shared_attributes.display_window.size;
    let [width, height] = [display.width() as u64, display.height() as u64];
    if (held_width, held_height) == (data.width(), data.height()) {
        request.limits.check_picture(request.path, width, height, false, 0)
    } else {
        request.limits.check_pixels(request.path, width, height)
    }
}

/// Everything that the header says.
fn frame_without_pixels(
    request: &OpenRequest<'_>,
    meta: &MetaData,
    picked: &Picked,
    encoding: Belief<Encoding>,
) -> Frame {
    let header = &meta.headers[picked.part];
    let (capture, mut warnings) = attributes::capture_meta(header);
    let space = colour_space(request, header, picked.meaning, &mut warnings);
    let pixel_aspect = pixel_aspect(header, &mut warnings);
    if picked.meaning == Meaning::Grey {
        warnings.push("the picture has one channel: it is treated as grey, and colour cannot be judged".to_owned());
    }
    let (size, data) = windows(header);
    Parts {
        size,
        data,
        pixel_aspect,
        encoding,
        space,
        rgb: Vec::new(),
        alpha: None,
        masked: 0,
        clip_level: None,
        integer_bits: None,
        format: "exr",
        meta: capture,
        layer: picked.title.clone(),
        decoded_fraction: 0.0,
        blake3: String::new(),
        warnings,
    }
    .into_frame(request)
}

/// The display window's size, and the data window relative to its top-left corner.
fn windows(header: &Header) -> (Size, DataWindow) {
    let IntegerBounds { position: origin, size } = header.shared_attributes.display_window;
    let position = header.own_attributes.layer_position;
    let data = DataWindow {
        x: i64::from(position.x()) - i64::from(origin.x()),
        y: i64::from(position.y()) - i64::from(origin.y()),
        width: header.layer_size.width(),
        height: header.layer_size.height(),
    };
    (Size { width: size.width(), height: size.height() }, data)
}

fn pixel_aspect(header: &Header, warnings: &mut Vec<String>) -> f64 {
    let aspect = f64::from(header.shared_attributes.pixel_aspect);
    if aspect.is_finite() && (0.01..=100.0).contains(&aspect) {
        return aspect;
    }
    warnings.push(format!("the pixel aspect ratio {aspect} is not possible; square pixels are assumed"));
    1.0
}

/// Sheet or option, else `chromaticities`, else the channel names, else what OpenEXR means without them: BT.709.
fn colour_space(
    request: &OpenRequest<'_>,
    header: &Header,
    meaning: Meaning,
    warnings: &mut Vec<String>,
) -> Belief<ColourSpace> {
    if let Some(told) = &request.colour_space {
        return told.clone();
    }
    if meaning == Meaning::Xyz
        && let Some(value) = ColourSpace::parse("xyz")
    {
        return Belief { value, from: "file" };
    }
    let by_id = attributes::interop_id(header).map(|id| interop::stated(&id)).unwrap_or_default();
    warnings.extend(by_id.notes);
    if let Some(stated) = header.shared_attributes.chromaticities {
        match space_of(stated) {
            Some(value) => {
                if let Some(other) = by_id.space.filter(|by_id| !same_space(&by_id.value, &value)) {
                    warnings.push(format!(
                        "its colorInteropID names {}, its chromaticities {}: the chromaticities are used; give `colour_space`",
                        other.value.name, value.name
                    ));
                }
                return Belief { value, from: "chromaticities" };
            }
            None if by_id.space.is_none() => {
                warnings.push("its chromaticities describe no colour space; BT.709 is assumed".to_owned());
            }
            None => {}
        }
    }
    if let Some(space) = by_id.space {
        return space;
    }
    Belief { value: ColourSpace::rec709(), from: "default" }
}

/// The space of an OpenEXR `chromaticities` attribute.
///
/// Primaries at X, Y and Z mean CIE tristimulus values as they are: their nominal equal-energy white is the axes', not
/// the scene's, so nothing is adapted.
fn space_of(stated: Chromaticities) -> Option<ColourSpace> {
    let point = |v: ::exr::math::Vec2<f32>| [f64::from(v.x()), f64::from(v.y())];
    let (red, green, blue) = (point(stated.red), point(stated.green), point(stated.blue));
    let near = |a: [f64; 2], b: [f64; 2]| {
        (a[0] - b[0]).abs() < XYZ_CHROMATICITY_SLACK && (a[1] - b[1]).abs() < XYZ_CHROMATICITY_SLACK
    };
    if near(red, [1.0, 0.0]) && near(green, [0.0, 1.0]) && near(blue, [0.0, 0.0]) {
        return ColourSpace::parse("xyz");
    }
    ColourSpace::from_chromaticities(red, green, blue, point(stated.white)).map(named_space)
}

/// A damaged file.
fn broken(path: &Path, cause: impl Into<String>) -> Error {
    Error::new(ErrorKind::Malformed, path, cause, "copy or render the file again")
}

/// A file that ends too early.
fn truncated(path: &Path) -> Error {
    let cause = "the file is cut off: it ends before its picture does";
    Error::new(ErrorKind::Malformed, path, cause, "wait until it is completely written, or copy or render it again")
}

/// The decoder's error as ours.
fn from_exr(path: &Path, error: &ExrError) -> Error {
    match error {
        ExrError::Io(source) if source.kind() == std::io::ErrorKind::UnexpectedEof => truncated(path),
        // The crate's words for an unexpected end of file inside the header.
        ExrError::Invalid(what) if what == "reference to missing bytes" => truncated(path),
        ExrError::Io(source) => Error::io(path, source),
        ExrError::NotSupported(what) => Error::new(
            ErrorKind::Unsupported,
            path,
            format!("this OpenEXR feature is not supported ({what})"),
            "write it again as flat half-float RGB with ZIP compression",
        ),
        ExrError::Invalid(what) => broken(path, format!("not a valid OpenEXR file ({what})")),
        ExrError::Aborted => broken(path, "decoding stopped"),
    }
}
