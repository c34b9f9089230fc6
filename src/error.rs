//! What can go wrong, split by whose fault it is. Every message names the file, the cause and the remedy.

use std::path::{Path, PathBuf};

/// Why something could not be done.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum ErrorKind {
    /// The file or folder could not be read or written.
    Io,
    /// The file is broken: truncated, corrupt or not of its kind.
    Malformed,
    /// A sound file of a kind that this version does not handle.
    Unsupported,
    /// A limit on size or memory was reached.
    Limit,
    /// The sheet or an option is wrong or incomplete.
    Parameter,
    /// The picture shows no mirror sphere.
    NoSphere,
}

/// An error that names the file, the cause and what to do about it.
#[derive(Debug, Clone, thiserror::Error)]
#[error("{}: {}; {remedy}", crate::error::printable(file), crate::error::printable_text(cause))]
pub struct Error {
    /// Whose fault it is.
    pub kind: ErrorKind,
    /// The file concerned.
    pub file: PathBuf,
    /// What is wrong, without a full stop.
    pub cause: String,
    /// What to do about it, without a full stop.
    pub remedy: String,
    /// Options of which one may settle it, the likeliest first; mostly none.
    pub candidates: Vec<String>,
}

/// The library's result type.
pub type Result<T, E = Error> = std::result::Result<T, E>;

impl Error {
    /// An error about `file`.
    pub fn new(kind: ErrorKind, file: impl AsRef<Path>, cause: impl Into<String>, remedy: impl Into<String>) -> Self {
        Self {
            kind,
            file: file.as_ref().to_path_buf(),
            cause: cause.into(),
            remedy: remedy.into(),
            candidates: Vec::new(),
        }
    }

    /// An input or output error about `file`.
    pub fn io(file: impl AsRef<Path>, source: &std::io::Error) -> Self {
        let remedy = match source.kind() {
            std::io::ErrorKind::NotFound => "check the path; in a sheet, paths are relative to the sheet",
            std::io::ErrorKind::PermissionDenied => "give the user that runs this permission to it",
            _ => "check the disk and the path, then run again",
        };
        let cause = match source.kind() {
            std::io::ErrorKind::NotFound => "no such file or folder".to_owned(),
            std::io::ErrorKind::PermissionDenied => "no permission".to_owned(),
            // Names of temporary files mean nothing to anybody.
            _ => source.to_string().split(" at path ").next().unwrap_or_default().to_owned(),
        };
        Self::new(ErrorKind::Io, file, cause, remedy)
    }
}

/// A path for people: control and direction-changing characters are escaped.
pub fn printable(path: &Path) -> String {
    printable_text(&path.to_string_lossy())
}

/// Text from outside for people: control and direction-changing characters are escaped.
pub fn printable_text(text: &str) -> String {
    let risky = |c: char| {
        c.is_control()
            || matches!(c, '\u{200b}'..='\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' | '\u{2028}' | '\u{2029}' | '\u{061c}' | '\u{feff}')
    };
    text.chars().map(|c| if risky(c) { c.escape_default().to_string() } else { c.to_string() }).collect()
}
