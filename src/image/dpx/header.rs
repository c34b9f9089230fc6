//! The header of a DPX file (SMPTE ST 268-1:2014, tables 1 to 4; offsets in bytes from the file's beginning).

use std::path::Path;

use crate::{Error, ErrorKind, Result};

/// Up to here every file has a header: file, picture and orientation sections.
pub(in crate::image) const HEADER_BYTES: usize = 1664;

/// How the codes of a picture lie in its words.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Packing {
    /// One byte a code.
    Bytes,
    /// One 16-bit word a code, moved up by so many bits.
    Words(u32),
    /// Three 10-bit codes in a 32-bit word, moved up by so many bits.
    ThreeInWord(u32),
    /// Codes one after the other through 32-bit words, the first in the least significant bits.
    Stream,
}

/// Order of the codes of one pixel.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Channels {
    Luma,
    Rgb,
    Rgba,
    Abgr,
}

impl Channels {
    pub(super) fn count(self) -> usize {
        match self {
            Self::Luma => 1,
            Self::Rgb => 3,
            Self::Rgba | Self::Abgr => 4,
        }
    }
}

/// What the header says of its first picture element.
#[derive(Debug, Clone)]
pub(super) struct Header {
    pub(super) big_endian: bool,
    /// Length of the whole file, where it is stated.
    pub(super) file_bytes: Option<u64>,
    pub(super) width: usize,
    pub(super) height: usize,
    /// Rows go up, columns go left.
    pub(super) flipped: [bool; 2],
    pub(super) elements: u16,
    pub(super) channels: Channels,
    pub(super) transfer: u8,
    pub(super) colorimetric: u8,
    pub(super) bits: u8,
    pub(super) packing: Packing,
    pub(super) data_offset: u64,
    /// Bytes behind each line, where stated.
    pub(super) line_padding: Option<u64>,
    /// Codes of black and white, where stated.
    pub(super) code_range: Option<[u32; 2]>,
    pub(super) pixel_aspect: f64,
    /// The fields of the picture lie line by line in between.
    pub(super) interlaced: bool,
}

/// Numbers in the byte order of the file; all bits set means undefined.
struct Fields<'a> {
    bytes: &'a [u8],
    big_endian: bool,
}

impl Fields<'_> {
    fn array<const N: usize>(&self, at: usize) -> Option<[u8; N]> {
        self.bytes.get(at..at + N)?.try_into().ok()
    }

    fn u8(&self, at: usize) -> Option<u8> {
        self.array::<1>(at).map(|[byte]| byte).filter(|v| *v != u8::MAX)
    }

    fn u16(&self, at: usize) -> Option<u16> {
        let bytes = self.array(at)?;
        let value = if self.big_endian { u16::from_be_bytes(bytes) } else { u16::from_le_bytes(bytes) };
        Some(value).filter(|v| *v != u16::MAX)
    }

    fn u32(&self, at: usize) -> Option<u32> {
        let bytes = self.array(at)?;
        let value = if self.big_endian { u32::from_be_bytes(bytes) } else { u32::from_le_bytes(bytes) };
        Some(value).filter(|v| *v != u32::MAX)
    }
}

pub(super) fn damaged(path: &Path, what: &str) -> Error {
    let cause = format!("the DPX data is damaged or incomplete ({what})");
    Error::new(ErrorKind::Malformed, path, cause, "copy or export the file again")
}

fn unsupported(path: &Path, what: &str) -> Error {
    let cause = format!("this form of DPX is not read ({what})");
    let remedy = "export it as 10-, 12- or 16-bit RGB without run-length coding, or as OpenEXR";
    Error::new(ErrorKind::Unsupported, path, cause, remedy)
}

/// Reads the header from the beginning of a file.
pub(super) fn read(path: &Path, bytes: &[u8]) -> Result<Header> {
    if bytes.len() < HEADER_BYTES {
        return Err(damaged(path, "the file ends within its header"));
    }
    let fields = Fields { bytes, big_endian: bytes.starts_with(b"SDPX") };
    let extent = |at, what| fields.u32(at).filter(|v| *v > 0).ok_or_else(|| damaged(path, what));
    let (width, height) = (extent(772, "no width is stated")?, extent(776, "no height is stated")?);
    let bits = fields.u8(803).ok_or_else(|| damaged(path, "no bit depth is stated"))?;
    if fields.u32(780) == Some(1) {
        return Err(unsupported(path, "signed codes"));
    }
    if fields.u16(806).is_some_and(|encoding| encoding != 0) {
        return Err(unsupported(path, "run-length coding"));
    }
    let data_offset = fields.u32(808).filter(|v| *v > 0).or_else(|| fields.u32(4));
    let data_offset = data_offset.ok_or_else(|| damaged(path, "no place of the pixels is stated"))?;
    if (data_offset as usize) < HEADER_BYTES {
        return Err(damaged(path, "the pixels would lie within the header"));
    }
    Ok(Header {
        big_endian: fields.big_endian,
        file_bytes: fields.u32(16).filter(|v| *v > 0).map(u64::from),
        width: width as usize,
        height: height as usize,
        flipped: orientation(path, fields.u16(768))?,
        elements: fields.u16(770).unwrap_or(1),
        channels: channels(path, bytes[800])?,
        transfer: bytes[801],
        colorimetric: bytes[802],
        bits,
        packing: packing(path, bits, fields.u16(804).unwrap_or(0))?,
        data_offset: u64::from(data_offset),
        line_padding: fields.u32(812).filter(|v| *v > 0).map(u64::from),
        code_range: fields.u32(784).zip(fields.u32(792)).map(|(low, high)| [low, high]),
        pixel_aspect: pixel_aspect(&fields),
        interlaced: data_offset as usize >= 2048 && fields.u8(1928) == Some(1),
    })
}

/// Whether rows and columns are stored backwards.
fn orientation(path: &Path, code: Option<u16>) -> Result<[bool; 2]> {
    match code.unwrap_or(0) {
        0 => Ok([false, false]),
        1 => Ok([false, true]),
        2 => Ok([true, false]),
        3 => Ok([true, true]),
        4..=7 => Err(unsupported(path, "lines stored from top to bottom instead of across")),
        _ => Err(damaged(path, "its orientation is none that is defined")),
    }
}

fn channels(path: &Path, descriptor: u8) -> Result<Channels> {
    match descriptor {
        6 => Ok(Channels::Luma),
        50 => Ok(Channels::Rgb),
        51 => Ok(Channels::Rgba),
        52 => Ok(Channels::Abgr),
        1..=4 => Err(unsupported(path, "each channel in an element of its own")),
        7 | 100..=103 => Err(unsupported(path, "colour differences instead of RGB")),
        other => Err(unsupported(path, &format!("channels of descriptor {other}"))),
    }
}

fn packing(path: &Path, bits: u8, method: u16) -> Result<Packing> {
    match (bits, method) {
        (8, _) => Ok(Packing::Bytes),
        (16, _) | (12, 2) => Ok(Packing::Words(0)),
        (10 | 12, 0) => Ok(Packing::Stream),
        (10, 1) => Ok(Packing::ThreeInWord(2)),
        (10, 2) => Ok(Packing::ThreeInWord(0)),
        (12, 1) => Ok(Packing::Words(4)),
        (10 | 12, other) => Err(damaged(path, &format!("packing {other} is none that is defined"))),
        (32 | 64, _) => Err(unsupported(path, "floating-point samples")),
        (other, _) => Err(unsupported(path, &format!("{other} bits a sample"))),
    }
}

/// Width over height; square where nothing sensible is stated.
fn pixel_aspect(fields: &Fields<'_>) -> f64 {
    let ratio = fields.u32(1628).zip(fields.u32(1632)).filter(|(h, v)| *h > 0 && *v > 0);
    let ratio = ratio.map(|(h, v)| f64::from(h) / f64::from(v));
    ratio.filter(|r| (0.1..=10.0).contains(r)).unwrap_or(1.0)
}

impl Header {
    /// Bytes of a line's codes, without what pads it.
    pub(super) fn line_bytes(&self) -> u64 {
        let codes = self.width as u64 * self.channels.count() as u64;
        match self.packing {
            Packing::Bytes => codes,
            Packing::Words(_) => codes * 2,
            Packing::ThreeInWord(_) => codes.div_ceil(3) * 4,
            Packing::Stream => (codes * u64::from(self.bits)).div_ceil(32) * 4,
        }
    }

    /// From one line to the next in a file of `length` bytes. Lines begin at whole 32-bit words by the standard; many programs write
    /// none of that padding.
    pub(super) fn line_stride(&self, path: &Path, length: u64) -> Result<u64> {
        let (bare, rows) = (self.line_bytes(), self.height as u64);
        let there = length.min(self.file_bytes.unwrap_or(length)).saturating_sub(self.data_offset);
        let fits = |stride: u64| stride.saturating_mul(rows - 1).saturating_add(bare) <= there;
        let exact = |stride: u64| stride.saturating_mul(rows) == there;
        let whole = self.file_bytes.is_none_or(|stated| stated <= length);
        let aligned = bare.next_multiple_of(4);
        let candidates = match self.line_padding {
            Some(padding) => vec![bare.saturating_add(padding), aligned.saturating_add(padding)],
            None => vec![aligned, bare],
        };
        let found = candidates.iter().copied().find(|s| exact(*s)).or(candidates.iter().copied().find(|s| fits(*s)));
        found.filter(|_| whole).ok_or_else(|| damaged(path, "the file is cut off: it ends before its picture does"))
    }
}
