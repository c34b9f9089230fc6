//! Opens an image file as a scene-linear [`Frame`], whatever its kind.

pub use super::request::{Belief, OpenRequest};
use super::rows::{RowSink, hand_over, without_pixels};
use super::sniff::Kind;
use super::stream::InputFile;
use super::{Frame, Opened, Wanted, dpx, exr, movie, raster, raw};
use crate::{Error, ErrorKind, Result};

/// Opens an image file.
///
/// The kind is told by content (TGA, which has no mark, by name). What the request does not say is taken from the
/// file: OpenEXR, Radiance HDR and floating-point TIFF are scene-linear; DPX follows the codes of its header, a movie those of its stream, a raw still its sensor; the rest follows its embedded profile, else
/// sRGB. `record.encoding_from` and `record.colour_space_from` say which.
///
/// # Errors
/// [`crate::ErrorKind::Io`] for a file that cannot be read, `Malformed` for a damaged one, `Unsupported` for a sound
/// one of a kind that is not read (deep or luminance-chroma OpenEXR among them), `Limit` for one that would cost more
/// than allowed, `Parameter` where the layer is unknown or has to be named.
pub fn open(request: &OpenRequest<'_>) -> Result<Frame> {
    open_part(request, &|_| Wanted::All).map(|opened| opened.frame)
}

/// Opens an image file and decodes only the part that is wanted, where its format allows. `choose` is asked once the
/// header is known; it is given the frame without pixels.
///
/// # Errors
/// As [`open`].
pub fn open_part(request: &OpenRequest<'_>, choose: &(dyn Fn(&Frame) -> Wanted + Sync)) -> Result<Opened> {
    let file = InputFile::open(request.path, request.limits)?;
    let kind = {
        let head = file.head().map_err(|e| Error::io(request.path, &e))?;
        Kind::of(request.path, &head)?
    };
    fits(request, kind)?;
    match kind {
        Kind::Exr => exr::open(request, &file, choose),
        Kind::Dpx => Ok(Opened { frame: dpx::open(request, &file)?, complete: true }),
        Kind::Movie(container) => Ok(Opened { frame: movie::open(request, container)?, complete: true }),
        Kind::Raw => Ok(Opened { frame: raw::open(request, &file)?, complete: true }),
        kind => Ok(Opened { frame: raster::open(request, kind, &file)?, complete: true }),
    }
}

/// Hands an image file to `sink` in strips, so that no more of an OpenEXR file is held than one of them; files of other
/// kinds are decoded whole and are one strip. Gives back the frame without pixels.
///
/// # Errors
/// As [`open`]. The sink may have been given strips before.
pub fn open_rows(request: &OpenRequest<'_>, sink: &mut dyn RowSink) -> Result<Frame> {
    let file = InputFile::open(request.path, request.limits)?;
    let kind = {
        let head = file.head().map_err(|e| Error::io(request.path, &e))?;
        Kind::of(request.path, &head)?
    };
    fits(request, kind)?;
    let frame = match kind {
        Kind::Exr => return exr::open_rows(request, &file, sink),
        Kind::Dpx => dpx::open(request, &file)?,
        Kind::Movie(container) => movie::open(request, container)?,
        Kind::Raw => raw::open(request, &file)?,
        kind => raster::open(request, kind, &file)?,
    };
    hand_over(&frame, sink);
    Ok(without_pixels(&frame))
}

/// What only a movie has may be asked of a movie alone.
fn fits(request: &OpenRequest<'_>, kind: Kind) -> Result<()> {
    match request.movie.asks_for_a_movie() {
        Some(key) if !matches!(kind, Kind::Movie(_)) => {
            let other = if key == movie::NUMBER_KEY { " and for names with #### or %04d" } else { "" };
            let cause = format!("`{key}` is for movies{other}; this is {}, which has one frame", kind.title());
            Err(Error::new(ErrorKind::Parameter, request.path, cause, format!("leave out `{key}`")))
        }
        _ => Ok(()),
    }
}

/// How many frames a movie shows; `None` where the file is no movie.
///
/// # Errors
/// As [`open`].
pub fn frame_count(path: &std::path::Path, limits: &super::limits::Limits) -> Result<Option<u32>> {
    let file = InputFile::open(path, limits)?;
    let head = file.head().map_err(|e| Error::io(path, &e))?;
    match Kind::of(path, &head)? {
        Kind::Movie(container) => movie::count(path, container, limits).map(Some),
        _ => Ok(None),
    }
}
