//! A first look at a file that may be a shot sheet.

use std::path::Path;

use serde_json::Value;

use super::SHEET_FORMAT;
use super::extends::read_limited;

/// What a first look tells.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SheetPeek {
    /// The shot's name, where the file is readable enough to tell.
    pub shot: Option<String>,
    /// A sound sheet that names neither shot nor CG sphere: others extend it.
    pub is_base: bool,
}

/// Looks at a file without holding it against any rule; `None` where it does not say that it is a shot sheet.
pub fn peek_sheet(path: &Path) -> Option<SheetPeek> {
    let bytes = read_limited(path).ok()?;
    let mark = SHEET_FORMAT.as_bytes();
    if !bytes.windows(mark.len()).any(|window| window == mark) {
        return None;
    }
    let value: Option<Value> = serde_json::from_slice(bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(&bytes)).ok();
    if value.as_ref().is_some_and(|value| value.get("format").and_then(Value::as_str) != Some(SHEET_FORMAT)) {
        return None;
    }
    let at = |pointer: &str| value.as_ref().and_then(|value| value.pointer(pointer));
    let shot = at("/shot").and_then(Value::as_str).map(str::to_owned);
    Some(SheetPeek { is_base: value.is_some() && shot.is_none() && at("/cg/spheres").is_none(), shot })
}
