//! The directories of a TIFF-like raw file, held against file and limits before the reader sees them.
//!
//! The reader sets aside what a directory asks for and follows every directory that another names. So whatever would make it take
//! memory or time without bound is refused here, or emptied: an entry that holds no more than there is costs nothing.
//! Layout: TIFF 6.0 (1992), section 2; tags of DNG 1.7.1.

use std::io::Cursor;
use std::path::Path;

use ::image::ImageDecoder;
use jxl_oxide::integration::JxlDecoder;

use super::super::limits::Limits;
use super::DEVELOP_IT;
use crate::{Error, ErrorKind, Result};

/// More directories than any camera writes.
const MAX_DIRECTORIES: usize = 64;

/// More entries than any camera writes into one directory.
const MAX_ENTRIES: usize = 4096;

/// Bytes of one item by type (TIFF 6.0, page 15); types that are not known count as bytes.
const TYPE_BYTES: [u64; 13] = [1, 1, 1, 2, 4, 8, 1, 1, 2, 4, 8, 4, 8];

/// Type of 32-bit numbers, the one in which directories are named.
const LONG: u16 = 4;

/// Second words of TIFF and of the raw files that look like it.
const SECOND_WORDS: [u16; 4] = [42, 85, 21_330, 20_306];

mod tag {
    pub(super) const WIDTH: u16 = 256;
    pub(super) const HEIGHT: u16 = 257;
    pub(super) const COMPRESSION: u16 = 259;
    pub(super) const STRIP_OFFSETS: u16 = 273;
    pub(super) const SAMPLES: u16 = 277;
    pub(super) const STRIP_BYTES: u16 = 279;
    pub(super) const TILE_WIDTH: u16 = 322;
    pub(super) const TILE_HEIGHT: u16 = 323;
    pub(super) const TILE_OFFSETS: u16 = 324;
    pub(super) const TILE_BYTES: u16 = 325;
    pub(super) const SUB_DIRECTORIES: u16 = 330;
    pub(super) const EXIF: u16 = 34_665;
    pub(super) const PROFILE: u16 = 34_675;
    pub(super) const GPS: u16 = 34_853;
    pub(super) const CURVE: u16 = 50_712;
    /// What no reader looks for.
    pub(super) const NONE: u16 = 65_000;
}

/// Entries behind which the reader looks for directories.
const POINTERS: [u16; 4] = [tag::SUB_DIRECTORIES, tag::EXIF, tag::PROFILE, tag::GPS];

/// Coding of samples by which nothing bounds what they unfold to.
const ZIP: u64 = 8;

/// What the largest picture in the file holds.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Largest {
    pub(super) pixels: u64,
    pub(super) samples: u64,
    /// Table from stored codes to linear ones, where there is one. The reader is kept from it, as it would add noise.
    pub(super) curve: Option<Vec<u16>>,
}

/// Checks the directories of `bytes` and empties entries that hold more than the file has. `None` where it is not TIFF-like.
///
/// # Errors
/// `Malformed` for directories without end, `Limit` for pictures that are too large, `Unsupported` for ZIP coding.
pub(super) fn check(path: &Path, bytes: &mut [u8], limits: &Limits) -> Result<Option<Largest>> {
    let big_endian = match bytes.get(..2) {
        Some(b"II") => false,
        Some(b"MM") => true,
        _ => return unlike_tiff(path, bytes),
    };
    let mut walk =
        Walk { path, bytes, big_endian, limits, directories: 0, value_bytes: 0, largest: Largest::default() };
    if !walk.u16(2).is_some_and(|word| SECOND_WORDS.contains(&word)) {
        return unlike_tiff(path, bytes);
    }
    let mut next = walk.u32(4).filter(|at| *at > 0).ok_or_else(|| walk.damaged("it holds no directory"))?;
    while next != 0 {
        let directory = walk.directory(next as usize)?.ok_or_else(|| walk.damaged("it ends within a directory"))?;
        next = directory.next;
        for entry in directory.entries.iter().filter(|e| POINTERS.contains(&e.tag)) {
            walk.pointed(entry)?;
        }
    }
    Ok(Some(walk.largest))
}

/// Of the raw files that are not TIFF-like, those of two camera makers' current models are handed on. Readers of older kinds set aside
/// whatever the first bytes ask for: 3.7 GB for a file of 112 bytes.
fn unlike_tiff(path: &Path, bytes: &[u8]) -> Result<Option<Largest>> {
    if bytes.starts_with(b"FUJIFILMCCD-RAW") || bytes.get(4..11) == Some(b"ftypcrx") {
        return Ok(None);
    }
    let cause = "this kind of raw still is not read";
    Err(Error::new(ErrorKind::Unsupported, path, cause, format!("convert it to DNG, or {DEVELOP_IT}")))
}

/// One entry: its tag, and where and how its values lie.
#[derive(Debug, Clone, Copy)]
struct Entry {
    tag: u16,
    at: usize,
    kind: u16,
    count: usize,
    values_at: usize,
}

struct Directory {
    entries: Vec<Entry>,
    next: u32,
}

struct Walk<'a> {
    path: &'a Path,
    bytes: &'a mut [u8],
    big_endian: bool,
    limits: &'a Limits,
    directories: usize,
    value_bytes: u64,
    largest: Largest,
}

impl Walk<'_> {
    fn damaged(&self, what: &str) -> Error {
        let cause = format!("the raw file is damaged or incomplete ({what})");
        Error::new(ErrorKind::Malformed, self.path, cause, "copy the file from the camera's card again")
    }

    fn u16(&self, at: usize) -> Option<u16> {
        let two = self.bytes.get(at..at.checked_add(2)?)?.try_into().ok()?;
        Some(if self.big_endian { u16::from_be_bytes(two) } else { u16::from_le_bytes(two) })
    }

    fn u32(&self, at: usize) -> Option<u32> {
        let four = self.bytes.get(at..at.checked_add(4)?)?.try_into().ok()?;
        Some(if self.big_endian { u32::from_be_bytes(four) } else { u32::from_le_bytes(four) })
    }

    /// Reads a directory, and its picture's size against the limits; `None` where the file does not hold all of it.
    fn directory(&mut self, at: usize) -> Result<Option<Directory>> {
        self.directories += 1;
        if self.directories > MAX_DIRECTORIES {
            return Err(self.damaged("its directories go round in circles"));
        }
        let Some(count) = self.u16(at).map(usize::from) else { return Ok(None) };
        let end = at + 2 + 12 * count;
        if count == 0 || count > MAX_ENTRIES || end > self.bytes.len() {
            return Ok(None);
        }
        let mut entries = Vec::new();
        for place in (at + 2..end).step_by(12) {
            entries.extend(self.entry(place)?);
        }
        let next = self.u32(end).unwrap_or(0);
        let directory = Directory { entries, next };
        self.picture(&directory)?;
        Ok(Some(directory))
    }

    /// An entry whose values the file holds; any other is emptied.
    fn entry(&mut self, at: usize) -> Result<Option<Entry>> {
        let (Some(tag), Some(kind), Some(count)) = (self.u16(at), self.u16(at + 2), self.u32(at + 4)) else {
            return Ok(None);
        };
        let each = TYPE_BYTES.get(usize::from(kind)).copied().unwrap_or(1);
        let length = u64::from(count) * each;
        let values_at = if length <= 4 { at + 8 } else { self.u32(at + 8).unwrap_or(u32::MAX) as usize };
        if values_at as u64 + length > self.bytes.len() as u64 {
            self.empty(at);
            return Ok(None);
        }
        // Values do not lie on top of each other, so all together are no longer than the file.
        self.value_bytes += length;
        if self.value_bytes > self.bytes.len() as u64 {
            return Err(self.damaged("its entries hold more than the file"));
        }
        Ok(Some(Entry { tag, at, kind, count: count as usize, values_at }))
    }

    /// Leaves the entry without values.
    fn empty(&mut self, at: usize) {
        let kind = if self.big_endian { [0, 1] } else { [1, 0] };
        if let Some(place) = self.bytes.get_mut(at + 2..at + 8) {
            place[..2].copy_from_slice(&kind);
            place[2..].fill(0);
        }
    }

    /// Directories that an entry names; the entry is emptied where it names none.
    fn pointed(&mut self, entry: &Entry) -> Result<()> {
        if entry.kind != LONG || entry.tag == tag::PROFILE {
            self.empty(entry.at);
            return Ok(());
        }
        for i in 0..entry.count {
            let at = self.u32(entry.values_at + 4 * i).unwrap_or(u32::MAX) as usize;
            if self.directory(at)?.is_none() {
                self.empty(entry.at);
                return Ok(());
            }
        }
        Ok(())
    }

    fn numbers(&self, directory: &Directory, tag: u16) -> Vec<u64> {
        let Some(entry) = directory.entries.iter().find(|e| e.tag == tag) else { return Vec::new() };
        let value = |i: usize| match entry.kind {
            3 => self.u16(entry.values_at + 2 * i).map(u64::from),
            4 => self.u32(entry.values_at + 4 * i).map(u64::from),
            1 => self.bytes.get(entry.values_at + i).map(|byte| u64::from(*byte)),
            _ => None,
        };
        (0..entry.count).map_while(value).collect()
    }

    fn number(&self, directory: &Directory, tag: u16) -> Option<u64> {
        self.numbers(directory, tag).first().copied()
    }

    /// The picture of a directory against the limits, and that of every coded piece of it.
    fn picture(&mut self, directory: &Directory) -> Result<()> {
        let (Some(width), Some(height)) = (self.number(directory, tag::WIDTH), self.number(directory, tag::HEIGHT))
        else {
            return Ok(());
        };
        if self.number(directory, tag::COMPRESSION) == Some(ZIP) {
            let cause = "its samples are coded as ZIP, as merged raw files are, which is not read";
            return Err(Error::new(
                ErrorKind::Unsupported,
                self.path,
                cause,
                format!("give the single exposures, or {DEVELOP_IT}"),
            ));
        }
        let of_tiles = [tag::TILE_WIDTH, tag::TILE_HEIGHT].map(|tag| self.number(directory, tag));
        let whole = |length: u64, tile: Option<u64>| length.checked_next_multiple_of(tile.unwrap_or(1).max(1));
        let padded = [whole(width, of_tiles[0]), whole(height, of_tiles[1])].map(|length| length.unwrap_or(u64::MAX));
        let samples = self.number(directory, tag::SAMPLES).unwrap_or(1).max(1);
        let before = self.largest.samples;
        self.fits(padded, samples)?;
        let curve = self.curve(directory);
        if self.largest.samples > before {
            self.largest.curve = curve;
        }
        for [offsets, lengths] in [[tag::STRIP_OFFSETS, tag::STRIP_BYTES], [tag::TILE_OFFSETS, tag::TILE_BYTES]] {
            let (offsets, lengths) = (self.numbers(directory, offsets), self.numbers(directory, lengths));
            for (offset, length) in offsets.into_iter().zip(lengths) {
                self.piece(offset, length)?;
            }
        }
        Ok(())
    }

    /// The table of a directory's picture, which is then hidden from the reader.
    fn curve(&mut self, directory: &Directory) -> Option<Vec<u16>> {
        let entry = *directory.entries.iter().find(|e| e.tag == tag::CURVE && e.kind == 3 && e.count > 0)?;
        let table = self.numbers(directory, tag::CURVE).into_iter().map(|code| code as u16).collect();
        let hidden = if self.big_endian { tag::NONE.to_be_bytes() } else { tag::NONE.to_le_bytes() };
        self.bytes.get_mut(entry.at..entry.at + 2)?.copy_from_slice(&hidden);
        Some(table)
    }

    fn fits(&mut self, [width, height]: [u64; 2], samples: u64) -> Result<()> {
        let all = width.saturating_mul(height).saturating_mul(samples);
        self.limits.check_picture(self.path, width, height, false, all.saturating_mul(2 * SAMPLE_BYTES))?;
        if all > self.largest.samples {
            self.largest = Largest { pixels: width * height, samples: all, curve: self.largest.curve.take() };
        }
        Ok(())
    }

    /// A strip or tile may be a file of its own, with a size of its own.
    fn piece(&mut self, offset: u64, length: u64) -> Result<()> {
        let (Ok(start), Ok(length)) = (usize::try_from(offset), usize::try_from(length)) else { return Ok(()) };
        if start.checked_add(length).is_none_or(|end| end > self.bytes.len()) {
            return Err(self.damaged("it ends before its picture does"));
        }
        // Its stated length binds no decoder.
        let piece = &self.bytes[start..];
        let size = if piece.starts_with(&[0xff, 0xd8]) { jpeg_size(piece) } else { jxl_size(piece) };
        match size {
            Some((size, samples)) => self.fits(size, samples),
            None => Ok(()),
        }
    }
}

/// Bytes of a sample as it is held.
pub(super) const SAMPLE_BYTES: u64 = 2;

/// Columns and rows, and components, of a JPEG stream, lossless or not (ITU-T T.81, B.2.2).
fn jpeg_size(piece: &[u8]) -> Option<([u64; 2], u64)> {
    let mut at = 2;
    loop {
        let [0xff, marker] = *piece.get(at..at + 2)? else { return None };
        let two = |from: usize| piece.get(from..from + 2).map(|b| u64::from(u16::from_be_bytes([b[0], b[1]])));
        // Frame headers, without those of tables that share their range.
        if (0xc0..=0xcf).contains(&marker) && ![0xc4, 0xc8, 0xcc].contains(&marker) {
            let components = u64::from(*piece.get(at + 9)?);
            return Some(([two(at + 7)?.max(1), two(at + 5)?.max(1)], components.max(1)));
        }
        at += if marker == 0xff { 1 } else { 2 + two(at + 2)? as usize };
    }
}

fn jxl_size(piece: &[u8]) -> Option<([u64; 2], u64)> {
    if !piece.starts_with(&[0xff, 0x0a]) && !piece.starts_with(b"\0\0\0\x0cJXL ") {
        return None;
    }
    let decoder = JxlDecoder::new(Cursor::new(piece)).ok()?;
    let (width, height) = decoder.dimensions();
    Some(([u64::from(width).max(1), u64::from(height).max(1)], u64::from(decoder.color_type().channel_count())))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn checked(bytes: &mut [u8]) -> Result<Option<Largest>> {
        check(Path::new("quay.dng"), bytes, &Limits::default())
    }

    fn entry(tag: u16, kind: u16, count: u32, value: u32) -> Vec<u8> {
        let mut bytes = tag.to_le_bytes().to_vec();
        bytes.extend(kind.to_le_bytes());
        bytes.extend(count.to_le_bytes());
        bytes.extend(value.to_le_bytes());
        bytes
    }

    fn file(entries: &[Vec<u8>], next: u32) -> Vec<u8> {
        let mut bytes = b"II*\0\x08\0\0\0".to_vec();
        bytes.extend((entries.len() as u16).to_le_bytes());
        bytes.extend(entries.concat());
        bytes.extend(next.to_le_bytes());
        bytes.extend([0; 64]);
        bytes
    }

    #[test]
    fn entries_that_ask_for_more_than_the_file_are_emptied() {
        let mut bytes = file(&[entry(256, 4, 1, 8), entry(257, 4, 1, 6), entry(50_721, 5, u32::MAX, 12)], 0);
        assert_eq!(checked(&mut bytes).unwrap(), Some(Largest { pixels: 48, samples: 48, curve: None }));
        assert_eq!(&bytes[34 + 2..34 + 8], &[1, 0, 0, 0, 0, 0]);
    }

    #[test]
    fn circles_and_giants_are_refused() {
        let mut circle = file(&[entry(256, 4, 1, 8)], 8);
        assert_eq!(checked(&mut circle).unwrap_err().kind, ErrorKind::Malformed);
        let mut own = file(&[entry(tag::SUB_DIRECTORIES, LONG, 1, 8)], 0);
        assert!(checked(&mut own).is_ok(), "the reader does not follow what lies within");
        for giant in [[u32::MAX, 6, 1], [8, u32::MAX, 1], [8, 6, u32::MAX - 1]] {
            let mut entries = vec![entry(256, 4, 1, giant[0]), entry(257, 4, 1, giant[1])];
            entries.push(entry(tag::TILE_WIDTH, 4, 1, giant[2]));
            entries.push(entry(tag::TILE_HEIGHT, 4, 1, giant[2]));
            assert_eq!(checked(&mut file(&entries, 0)).unwrap_err().kind, ErrorKind::Limit, "{giant:?}");
        }
        assert_eq!(checked(&mut b"FUJIFILMCCD-RAW".to_vec()).unwrap(), None);
        assert_eq!(checked(&mut b"\0MRM$\x08\0\x01".to_vec()).unwrap_err().kind, ErrorKind::Unsupported);
    }

    #[test]
    fn a_coded_piece_has_a_size_of_its_own() {
        let lossless = [0xff, 0xd8, 0xff, 0xc4, 0, 3, 0, 0xff, 0xc3, 0, 11, 16, 0xff, 0xff, 0xff, 0xff, 2, 0, 0, 0];
        assert_eq!(jpeg_size(&lossless), Some(([65_535, 65_535], 2)));
        for length in 0..lossless.len() {
            jpeg_size(&lossless[..length]);
        }
    }
}
