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
#[error("{}: {}; {remedy}", crate::base::error::printable(file), crate::base::error::printable_text(cause))]
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
            std::io::ErrorKind::PermissionDenied => "give the user who runs this permission to use it",
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

/// Text from outside for people: characters that control a terminal, change the direction of writing or cannot be seen
/// are escaped.
pub fn printable_text(text: &str) -> String {
    let risky = |c: char| c.is_control() || is_invisible(c);
    text.chars().map(|c| if risky(c) { c.escape_default().to_string() } else { c.to_string() }).collect()
}

/// A character that shows nothing itself and changes what is shown: those that the Unicode Standard lists as default
/// ignorable (DerivedCoreProperties.txt, from memory), line separators, and private and non-characters, which show as
/// whatever a font makes of them.
pub(crate) fn is_invisible(c: char) -> bool {
    matches!(c,
        '\u{ad}' | '\u{34f}' | '\u{61c}' | '\u{115f}' | '\u{1160}' | '\u{17b4}' | '\u{17b5}' | '\u{180b}'..='\u{180f}'
        | '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2060}'..='\u{206f}' | '\u{2800}' | '\u{3164}'
        | '\u{e000}'..='\u{f8ff}' | '\u{fdd0}'..='\u{fdef}' | '\u{fe00}'..='\u{fe0f}' | '\u{feff}' | '\u{ffa0}'
        | '\u{fff0}'..='\u{fffb}' | '\u{1bca0}'..='\u{1bca3}' | '\u{1d173}'..='\u{1d17a}'
        | '\u{e0000}'..='\u{10ffff}')
        || u32::from(c) & 0xfffe == 0xfffe
}
