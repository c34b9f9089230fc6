//! An input file: hashed whole, read in any order.

use std::borrow::Cow;
use std::fs::File;
use std::io::{self, Read, Seek};
use std::path::Path;

use super::limits::{Limits, room, room_for};
use super::movie::Container;
use crate::{Error, ErrorKind, Result};

/// Files up to this length are read once and held while they are decoded; of larger ones only what is needed at a time is
/// held, and they are read a second time for their hash.
const HELD_BYTES: u64 = 256 << 20;

/// The same for OpenEXR files, whose blocks are read where they are needed: memory that is never touched costs nothing, and
/// the second reading comes from the system's own copy.
const HELD_BYTES_OF_BLOCKS: u64 = 1 << 20;

/// Bytes hashed at once of a file that is not held.
const PIECE_BYTES: usize = 1 << 20;

/// First bytes of an OpenEXR file (OpenEXR file layout).
const EXR_MAGIC: [u8; 4] = [0x76, 0x2f, 0x31, 0x01];

/// How many first bytes tell a file's kind.
const HEAD_BYTES: u64 = 1 << 12;

/// A file opened for decoding.
pub(super) struct InputFile {
    bytes: Bytes,
    /// Length of the file when it was opened.
    length: u64,
}

enum Bytes {
    Held(Vec<u8>),
    OnDisk(Disk),
}

impl InputFile {
    /// Opens a file that is neither missing, nor a folder, pipe or device, nor empty, nor too long.
    pub(super) fn open(path: &Path, limits: &Limits) -> Result<Self> {
        let about = path.metadata().map_err(|e| Error::io(path, &e))?;
        if about.is_dir() {
            return Err(Error::new(ErrorKind::Io, path, "this is a folder", "name one frame inside it"));
        }
        // Opening a pipe would wait for ever for somebody to write into it.
        if !about.is_file() {
            return Err(Error::new(ErrorKind::Io, path, "this is a pipe or a device", "name a file on disk"));
        }
        let mut file = File::open(path).map_err(|e| Error::io(path, &e))?;
        let about = file.metadata().map_err(|e| Error::io(path, &e))?;
        let length = about.len();
        if length == 0 {
            let remedy = "copy or render the file again";
            return Err(Error::new(ErrorKind::Malformed, path, "the file is empty", remedy));
        }
        limits.check_file(path, length)?;
        let head = read_up_to(&mut file, length.min(HEAD_BYTES), Vec::new()).map_err(|e| Error::io(path, &e))?;
        // Movies are read by another program.
        let in_blocks = head.starts_with(&EXR_MAGIC) || Container::of(&head).is_some();
        file.rewind().map_err(|e| Error::io(path, &e))?;
        if length > if in_blocks { HELD_BYTES_OF_BLOCKS } else { HELD_BYTES } {
            return Ok(Self { bytes: Bytes::OnDisk(Disk::from(file)), length });
        }
        let room = room(path, length as usize)?;
        let bytes = read_up_to(&mut file, length, room).map_err(|e| Error::io(path, &e))?;
        // A file that shrank meanwhile is as long as what was read.
        let length = bytes.len() as u64;
        Ok(Self { bytes: Bytes::Held(bytes), length })
    }

    /// Length of the file in bytes.
    pub(super) fn length(&self) -> u64 {
        self.length
    }

    /// The first bytes, as many as tell a file's kind.
    pub(super) fn head(&self) -> io::Result<Cow<'_, [u8]>> {
        self.read_at(0, self.length.min(HEAD_BYTES))
    }

    /// The whole file; `path` is what errors name.
    pub(super) fn whole(&self, path: &Path) -> Result<Cow<'_, [u8]>> {
        if matches!(self.bytes, Bytes::OnDisk(_)) {
            room_for(path, usize::try_from(self.length).unwrap_or(usize::MAX))?;
        }
        self.read_at(0, self.length).map_err(|e| Error::io(path, &e))
    }

    /// `count` bytes from a position on; an unexpected end where the file does not hold them.
    pub(super) fn read_at(&self, position: u64, count: u64) -> io::Result<Cow<'_, [u8]>> {
        let end = position.checked_add(count).filter(|end| *end <= self.length).ok_or(io::ErrorKind::UnexpectedEof)?;
        match &self.bytes {
            Bytes::Held(bytes) => Ok(Cow::Borrowed(&bytes[position as usize..end as usize])),
            Bytes::OnDisk(_) => {
                let mut piece = vec![0; count as usize];
                self.read_into(position, &mut piece)?;
                Ok(Cow::Owned(piece))
            }
        }
    }

    /// Reads forward from the beginning.
    pub(super) fn reader(&self) -> Reader<'_> {
        Reader { file: self, position: 0, ahead: Cow::Borrowed(&[]) }
    }

    /// The content hash of the whole file as text.
    pub(super) fn hash(&self) -> io::Result<String> {
        if let Bytes::Held(bytes) = &self.bytes {
            return Ok(blake3::hash(bytes).to_hex().to_string());
        }
        let mut hasher = blake3::Hasher::new();
        let mut piece = vec![0; PIECE_BYTES];
        let mut position = 0;
        while position < self.length {
            let count = (self.length - position).min(PIECE_BYTES as u64);
            self.read_into(position, &mut piece[..count as usize])?;
            hasher.update_rayon(&piece[..count as usize]);
            position += count;
        }
        Ok(hasher.finalize().to_hex().to_string())
    }

    /// Fills a buffer with what the file on disk holds from a position on.
    fn read_into(&self, position: u64, buffer: &mut [u8]) -> io::Result<()> {
        let Bytes::OnDisk(file) = &self.bytes else { return Err(io::ErrorKind::InvalidInput.into()) };
        read_exact_at(file, position, buffer)
    }
}

/// A file that many cores read at once, each at its place.
#[cfg(unix)]
type Disk = File;

#[cfg(unix)]
fn read_exact_at(file: &Disk, position: u64, buffer: &mut [u8]) -> io::Result<()> {
    std::os::unix::fs::FileExt::read_exact_at(file, buffer, position)
}

/// A file that one core after the other reads: elsewhere reading moves the one place that a file has.
#[cfg(not(unix))]
type Disk = std::sync::Mutex<File>;

#[cfg(not(unix))]
fn read_exact_at(file: &Disk, position: u64, buffer: &mut [u8]) -> io::Result<()> {
    let mut file = file.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
    file.seek(io::SeekFrom::Start(position))?;
    file.read_exact(buffer)
}

fn read_up_to(file: &mut File, length: u64, mut bytes: Vec<u8>) -> io::Result<Vec<u8>> {
    file.take(length).read_to_end(&mut bytes)?;
    if bytes.is_empty() { Err(io::ErrorKind::UnexpectedEof.into()) } else { Ok(bytes) }
}

/// Forward reading, for parsers of headers.
pub(super) struct Reader<'a> {
    file: &'a InputFile,
    position: u64,
    /// What is read ahead of the position: parsers ask for single bytes.
    ahead: Cow<'a, [u8]>,
}

impl Reader<'_> {
    /// Bytes read so far.
    pub(super) fn position(&self) -> u64 {
        self.position - self.ahead.len() as u64
    }
}

impl Read for Reader<'_> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        if self.ahead.is_empty() {
            let count = (self.file.length - self.position).min(HEAD_BYTES);
            self.ahead = self.file.read_at(self.position, count)?;
            self.position += count;
        }
        let count = buffer.len().min(self.ahead.len());
        buffer[..count].copy_from_slice(&self.ahead[..count]);
        match &mut self.ahead {
            Cow::Borrowed(bytes) => *bytes = &bytes[count..],
            Cow::Owned(bytes) => drop(bytes.drain(..count)),
        }
        Ok(count)
    }
}
