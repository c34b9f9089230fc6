//! Colour transforms from Common LUT Format files, as the encoding of a picture.
//!
//! Academy S-2014-006 (Common LUT Format, version 3), SMPTE ST 2136-1: matrix, range, 1D and 3D tables, logarithms,
//! exponents and ASC CDL. Values run through the nodes scaled to 0..1 for the integer depths; the file's code values go
//! in, what comes out is taken as scene-linear.

mod curves;
mod node;
mod parse;
mod tables;

use std::io::Read;
use std::path::Path;

use super::Frame;
use crate::base::parallel;
use crate::{Error, ErrorKind, Result};

/// Larger files are refused: a 3D table of 129³ takes about 60 MB of text.
const MOST_BYTES: u64 = 128 << 20;

/// Values beyond what 32-bit floats hold are cut to it.
const LARGEST: f64 = f32::MAX as f64;

/// A colour transform.
#[derive(Debug, Clone, PartialEq)]
pub struct ClfTransform {
    nodes: Vec<node::Node>,
}

impl ClfTransform {
    /// An `encoding` that names such a file rather than a curve.
    pub fn is_name(name: &str) -> bool {
        Path::new(name).extension().is_some_and(|ending| ending.eq_ignore_ascii_case("clf"))
    }

    /// Reads a file.
    ///
    /// # Errors
    /// `Io`, `Limit` above 128 MiB, `Malformed` for what is no such file or contradicts itself, `Unsupported` for a
    /// node that is not read.
    pub fn read(path: &Path) -> Result<Self> {
        let about = path.metadata().map_err(|error| Error::io(path, &error))?;
        // Opening a pipe would wait for ever for somebody to write into it.
        if !about.is_file() {
            return Err(malformed(path, "it is a folder, a pipe or a device".to_owned()));
        }
        let file = std::fs::File::open(path).map_err(|error| Error::io(path, &error))?;
        let mut text = String::new();
        let read = file.take(MOST_BYTES + 1).read_to_string(&mut text);
        read.map_err(|_| malformed(path, "it is not text in UTF-8".to_owned()))?;
        if text.len() as u64 > MOST_BYTES {
            let cause = format!("it has more than {} MiB", MOST_BYTES >> 20);
            return Err(Error::new(ErrorKind::Limit, path, cause, "use a smaller table"));
        }
        Self::parse(&text).map_err(|fault| match fault {
            parse::Fault::Malformed(cause) => malformed(path, cause),
            parse::Fault::Unsupported(cause) => {
                let remedy = "bake it into matrices, ranges, tables, logarithms and exponents";
                Error::new(ErrorKind::Unsupported, path, cause, remedy)
            }
        })
    }

    fn parse(text: &str) -> std::result::Result<Self, parse::Fault> {
        Ok(Self { nodes: parse::nodes(text)? })
    }

    /// Linear light of a code value. Finite for every finite value; NaN stays NaN.
    pub fn apply(&self, rgb: [f64; 3]) -> [f64; 3] {
        if rgb.iter().any(|v| v.is_nan()) {
            return [f64::NAN; 3];
        }
        let bounded = |v: [f64; 3]| v.map(|v| if v.is_nan() { 0.0 } else { v.clamp(-LARGEST, LARGEST) });
        self.nodes.iter().fold(bounded(rgb), |value, node| bounded(node.apply(value)))
    }

    /// Turns a frame of code values (read as if they were linear) into light; what clips is what the largest code
    /// gives, where the frame has a ceiling.
    pub(crate) fn decode(&self, frame: &mut Frame) {
        parallel::each(&mut frame.rgb, |_, rgb| *rgb = self.apply(rgb.map(f64::from)).map(|v| v as f32));
        frame.clip_level = frame.clip_level.map(|level| self.apply(level.map(f64::from)).map(|v| v as f32));
    }
}

fn malformed(path: &Path, cause: String) -> Error {
    Error::new(ErrorKind::Malformed, path, cause, "export the Common LUT Format file again")
}

#[cfg(test)]
mod tests;
