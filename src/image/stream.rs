//! An input file read once from front to back, hashed on the way.

use std::fs::File;
use std::io::{self, BufReader, Read};
use std::path::Path;

use super::limits::Limits;
use crate::{Error, ErrorKind, Result};

/// Bytes read at once where they are only hashed.
const SKIP_PIECE_BYTES: usize = 1 << 18;

/// A file being read forward; every byte passes through the content hash.
pub(super) struct HashedFile {
    reader: BufReader<File>,
    hasher: blake3::Hasher,
    /// Bytes read so far.
    position: u64,
    /// Length of the file when it was opened.
    length: u64,
}

impl HashedFile {
    /// Opens a file that is neither missing, nor a folder, nor empty, nor too long.
    pub(super) fn open(path: &Path, limits: &Limits) -> Result<Self> {
        let file = File::open(path).map_err(|e| Error::io(path, &e))?;
        let about = file.metadata().map_err(|e| Error::io(path, &e))?;
        if about.is_dir() {
            return Err(Error::new(ErrorKind::Io, path, "this is a folder", "name one frame inside it"));
        }
        if about.len() == 0 {
            let remedy = "copy or render the file again";
            return Err(Error::new(ErrorKind::Malformed, path, "the file is empty", remedy));
        }
        limits.check_file(path, about.len())?;
        let reader = BufReader::with_capacity(1 << 16, file);
        Ok(Self { reader, hasher: blake3::Hasher::new(), position: 0, length: about.len() })
    }

    /// The first bytes, without consuming them.
    pub(super) fn peek(&mut self) -> io::Result<&[u8]> {
        use std::io::BufRead;
        self.reader.fill_buf()
    }

    /// Bytes read so far.
    pub(super) fn position(&self) -> u64 {
        self.position
    }

    /// Length of the file in bytes.
    pub(super) fn length(&self) -> u64 {
        self.length
    }

    /// Reads (and hashes) on up to a later position; an earlier one is an error.
    pub(super) fn skip_to(&mut self, position: u64) -> io::Result<()> {
        if position < self.position || position > self.length {
            return Err(io::ErrorKind::InvalidData.into());
        }
        let mut piece = vec![0; SKIP_PIECE_BYTES.min((position - self.position) as usize)];
        while self.position < position {
            let wanted = (position - self.position).min(piece.len() as u64) as usize;
            self.read_exact(&mut piece[..wanted])?;
        }
        Ok(())
    }

    /// Everything that is left, up to the length the file had when it was opened.
    pub(super) fn read_rest(&mut self) -> io::Result<Vec<u8>> {
        let mut rest = Vec::with_capacity((self.length - self.position) as usize);
        let left = self.length - self.position;
        Read::take(&mut *self, left).read_to_end(&mut rest)?;
        Ok(rest)
    }

    /// Hashes what is left and returns the hash of the whole file as text.
    pub(super) fn finish(mut self) -> io::Result<String> {
        let mut piece = vec![0; SKIP_PIECE_BYTES];
        while self.read(&mut piece)? > 0 {}
        Ok(self.hasher.finalize().to_hex().to_string())
    }
}

impl Read for HashedFile {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let count = self.reader.read(buffer)?;
        self.hasher.update(&buffer[..count]);
        self.position += count as u64;
        Ok(count)
    }
}
