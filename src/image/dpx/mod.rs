//! DPX files in: SMPTE ST 268-1:2014, uncompressed 8, 10, 12 and 16 bits, luma, RGB and RGBA.

mod belief;
mod header;
mod samples;

use std::path::Path;

use self::header::{Channels, Header};
use super::encoding::Encoding;
use super::limits::{PIXEL_BYTES, room_for, zeroed};
use super::request::{Belief, OpenRequest, Parts};
use super::stream::InputFile;
use super::{CaptureMeta, DataWindow, Frame, Size};
use crate::base::parallel;
use crate::colour::ColourSpace;
use crate::{Error, ErrorKind, Result};

pub(super) use header::HEADER_BYTES;

/// Fraction of full code at which a sample counts as clipped, as for other lossless files (common practice, no source).
const CLIP_CODE: f64 = 254.0 / 255.0;

/// Opens a DPX file.
///
/// # Errors
/// See [`super::open::open`]; `Parameter` where neither request nor header tells the curve.
pub(super) fn open(request: &OpenRequest<'_>, file: &InputFile) -> Result<Frame> {
    let (path, length) = (request.path, file.length());
    if length > request.limits.max_bytes {
        let cause = format!("the file has {length} bytes, too many to hold in memory");
        return Err(Error::new(ErrorKind::Limit, path, cause, "convert it to OpenEXR, or raise --max-decoded"));
    }
    let head = file.read_at(0, length.min(HEADER_BYTES as u64 + 384)).map_err(|e| Error::io(path, &e))?;
    let header = header::read(path, &head)?;
    // Nothing is set aside before the header has been held against limits, budget and the file itself.
    request.limits.check_picture(path, header.width as u64, header.height as u64, true, length)?;
    let stride = header.line_stride(path, length)?;
    room_for(path, (header.width * header.height).saturating_mul(PIXEL_BYTES as usize))?;
    if header.interlaced {
        let cause = "its header says that it holds two interlaced fields, which are of different moments";
        let remedy = "export whole frames; where they are, correct the header's interlace flag";
        return Err(Error::new(ErrorKind::Unsupported, path, cause, remedy));
    }
    let encoding = request.encoding.map_or_else(|| belief::encoding(path, header.transfer), Ok)?;
    let space = request.colour_space.clone().or_else(|| belief::space(header.colorimetric));
    let space = space.unwrap_or_else(|| Belief { value: ColourSpace::rec709(), from: "default" });
    let bytes = file.whole(path)?;
    let (pixels, blake3) =
        parallel::both(|| decode(path, &header, encoding.value, stride, &bytes), || blake3::hash(&bytes));
    let (rgb, alpha) = pixels?;
    let size = Size { width: header.width, height: header.height };
    Ok(Parts {
        size,
        data: DataWindow { x: 0, y: 0, width: size.width, height: size.height },
        pixel_aspect: header.pixel_aspect,
        clip_level: Some(encoding.value.decode(CLIP_CODE)),
        warnings: notes(&header, &space),
        encoding,
        space,
        rgb,
        alpha: alpha.filter(|_| request.want_alpha),
        masked: 0,
        integer_bits: Some(header.bits),
        format: "dpx",
        meta: CaptureMeta::default(),
        layer: None,
        decoded_fraction: 1.0,
        blake3: blake3.to_hex().to_string(),
    }
    .into_frame(request))
}

/// Pixels of the picture whose file begins with `head`; `None` where the header cannot be used.
pub(super) fn size_of(head: &[u8]) -> Option<u64> {
    let header = header::read(Path::new(""), head).ok()?;
    Some(header.width as u64 * header.height as u64)
}

/// What the reader of the report should know.
fn notes(header: &Header, space: &Belief<ColourSpace>) -> Vec<String> {
    let mut notes = Vec::new();
    if header.channels == Channels::Luma {
        notes.push("the picture has one channel: it is taken as grey and says nothing about colour".to_owned());
    }
    if space.from == "default" {
        let (code, name) = (header.colorimetric, belief::name(header.colorimetric));
        notes.push(format!(
            "its colorimetric code {code} ({name}) names no primaries: BT.709 is assumed; give `colour_space`"
        ));
    }
    if header.elements > 1 {
        notes.push(format!("it holds {} picture elements, of which the first was read", header.elements));
    }
    let full = (1_u32 << header.bits) - 1;
    if let Some([low, high]) = header.code_range.filter(|r| *r != [0, full] && r[0] < r[1] && r[1] <= full) {
        notes.push(format!(
            "its header names codes {low} to {high} as black and white; codes were taken at full scale, 0 to {full}"
        ));
    }
    notes
}

type Pixels = (Vec<[f32; 3]>, Option<Vec<f32>>);

fn decode(path: &Path, header: &Header, encoding: Encoding, stride: u64, bytes: &[u8]) -> Result<Pixels> {
    let top = (1_usize << header.bits) - 1;
    let light: Vec<f32> = parallel::map(top + 1, |code| encoding.decode(code as f64 / top as f64) as f32);
    let count = header.width * header.height;
    let mut rgb = zeroed::<[f32; 3]>(path, count)?;
    let with_alpha = matches!(header.channels, Channels::Rgba | Channels::Abgr);
    let mut alpha = if with_alpha { Some(zeroed::<f32>(path, count)?) } else { None };
    let line = |stored: usize| {
        let start = header.data_offset as usize + stored * stride as usize;
        bytes.get(start..start + header.line_bytes() as usize).unwrap_or_default()
    };
    let [upwards, leftwards] = header.flipped;
    let stored_row = |row: usize| if upwards { header.height - 1 - row } else { row };
    parallel::each_row(&mut rgb, header.width, |row, pixels| {
        let mut codes = Vec::new();
        samples::codes(header, line(stored_row(row)), &mut codes);
        for (pixel, stored) in pixels.iter_mut().zip(codes.chunks_exact(header.channels.count())) {
            *pixel = colour(header.channels, stored).map(|code| light[usize::from(code)]);
        }
        if leftwards {
            pixels.reverse();
        }
    });
    if let Some(alpha) = &mut alpha {
        parallel::each_row(alpha, header.width, |row, coverage| {
            let mut codes = Vec::new();
            samples::codes(header, line(stored_row(row)), &mut codes);
            let place = if header.channels == Channels::Abgr { 0 } else { 3 };
            for (value, stored) in coverage.iter_mut().zip(codes.chunks_exact(4)) {
                *value = f32::from(stored[place]) / top as f32;
            }
            if leftwards {
                coverage.reverse();
            }
        });
    }
    Ok((rgb, alpha))
}

/// Red, green and blue of the stored codes of a pixel.
fn colour(channels: Channels, stored: &[u16]) -> [u16; 3] {
    match channels {
        Channels::Luma => [stored[0]; 3],
        Channels::Rgb | Channels::Rgba => [stored[0], stored[1], stored[2]],
        Channels::Abgr => [stored[3], stored[2], stored[1]],
    }
}
