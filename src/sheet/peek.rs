//! A first look at a file that may be a shot sheet.

use std::fmt;
use std::fs::File;
use std::io::Read;
use std::path::Path;

use serde::de::{DeserializeSeed, Deserializer, IgnoredAny, MapAccess, Visitor};
use serde_json::Value;

use super::text::{is_utf16, without_mark};
use super::{MAX_SHEET_BYTES, SHEET_FORMAT};

/// What the `format` of every file of ours begins with, and of every version of a sheet.
const OURS: &str = "plateproof-";
const ANY_SHEET: &str = "plateproof-shot";

/// Keys that hardly anything but a shot sheet has.
const TELLING_KEYS: [&str; 2] = ["mirrors", "cg"];

/// What a first look shows.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct SheetPeek {
    /// The shot's name, where the file is readable enough to tell.
    pub shot: Option<String>,
    /// The version of the CG, where the file is readable enough to tell.
    pub version: Option<String>,
    /// A sound sheet that names neither shot nor CG sphere: others extend it.
    pub is_base: bool,
    /// Its `format` says that it is a sheet. Without that it only looks like one, as where a key is misspelt.
    pub says_so: bool,
    /// Another sheet may say of the shot what this one leaves out.
    pub extends: bool,
}

impl SheetPeek {
    /// Nothing that another sheet says can change shot and version.
    pub fn names_all(&self) -> bool {
        self.shot.is_some() && (self.version.is_some() || !self.extends)
    }
}

/// Looks at a file without holding it against any rule; `None` where it neither says that it is a shot sheet nor looks
/// like one.
///
/// A broken sheet gives everything before the place where it breaks.
pub fn peek_sheet(path: &Path) -> Option<SheetPeek> {
    let bytes = beginning(path)?;
    let text = if is_utf16(&bytes) { from_utf16(&bytes) } else { without_mark(&bytes).to_vec() };
    let mut seen = Seen::default();
    let whole = TopLevel(&mut seen).deserialize(&mut serde_json::Deserializer::from_slice(&text)).is_ok();
    let says_so = seen.format.as_deref() == Some(SHEET_FORMAT) || (!whole && holds(&text, SHEET_FORMAT));
    let looks_so = match seen.format.as_deref() {
        Some(format) if format.starts_with(OURS) => format.starts_with(ANY_SHEET),
        _ => holds(&text, ANY_SHEET) || TELLING_KEYS.iter().all(|key| holds(&text, &format!("\"{key}\""))),
    };
    (says_so || looks_so).then_some(SheetPeek {
        is_base: whole && says_so && seen.shot.is_none() && !seen.has_spheres,
        shot: seen.shot,
        version: seen.version,
        says_so,
        extends: seen.extends || !whole,
    })
}

/// As many bytes as a sheet may have. What is no ordinary file might be waited for without end.
fn beginning(path: &Path) -> Option<Vec<u8>> {
    path.metadata().ok().filter(std::fs::Metadata::is_file)?;
    let mut bytes = Vec::new();
    File::open(path).ok()?.take(MAX_SHEET_BYTES).read_to_end(&mut bytes).ok()?;
    Some(bytes)
}

fn from_utf16(bytes: &[u8]) -> Vec<u8> {
    let big_endian = matches!(bytes, [0xfe, 0xff, ..] | [0, ..]);
    let pair = |pair: &[u8]| {
        let pair = [pair[0], pair.get(1).copied().unwrap_or_default()];
        if big_endian { u16::from_be_bytes(pair) } else { u16::from_le_bytes(pair) }
    };
    let units: Vec<u16> = bytes.chunks(2).map(pair).collect();
    String::from_utf16_lossy(&units).trim_start_matches('\u{feff}').as_bytes().to_vec()
}

fn holds(text: &[u8], part: &str) -> bool {
    text.windows(part.len()).any(|window| window == part.as_bytes())
}

/// What was seen up to the end, or to where the file breaks.
#[derive(Default)]
struct Seen {
    format: Option<String>,
    shot: Option<String>,
    version: Option<String>,
    has_spheres: bool,
    extends: bool,
}

struct TopLevel<'a>(&'a mut Seen);

struct OfCg<'a>(&'a mut Seen);

impl<'de> DeserializeSeed<'de> for TopLevel<'_> {
    type Value = ();

    fn deserialize<D: Deserializer<'de>>(self, reader: D) -> Result<(), D::Error> {
        reader.deserialize_map(self)
    }
}

impl<'de> Visitor<'de> for TopLevel<'_> {
    type Value = ();

    fn expecting(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.write_str("an object")
    }

    fn visit_map<A: MapAccess<'de>>(self, mut entries: A) -> Result<(), A::Error> {
        while let Some(key) = entries.next_key::<String>()? {
            match key.as_str() {
                "format" => self.0.format = text(entries.next_value()?),
                "shot" => self.0.shot = text(entries.next_value()?),
                "cg" => entries.next_value_seed(OfCg(self.0))?,
                "extends" => {
                    self.0.extends = true;
                    entries.next_value::<IgnoredAny>()?;
                }
                _ => drop(entries.next_value::<IgnoredAny>()?),
            }
        }
        Ok(())
    }
}

impl<'de> DeserializeSeed<'de> for OfCg<'_> {
    type Value = ();

    fn deserialize<D: Deserializer<'de>>(self, reader: D) -> Result<(), D::Error> {
        reader.deserialize_any(self)
    }
}

impl<'de> Visitor<'de> for OfCg<'_> {
    type Value = ();

    fn expecting(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.write_str("an object")
    }

    fn visit_unit<E>(self) -> Result<(), E> {
        Ok(())
    }

    fn visit_map<A: MapAccess<'de>>(self, mut entries: A) -> Result<(), A::Error> {
        while let Some(key) = entries.next_key::<String>()? {
            match key.as_str() {
                "version" => self.0.version = text(entries.next_value()?),
                "spheres" => {
                    self.0.has_spheres = true;
                    entries.next_value::<IgnoredAny>()?;
                }
                _ => drop(entries.next_value::<IgnoredAny>()?),
            }
        }
        Ok(())
    }
}

fn text(value: Value) -> Option<String> {
    match value {
        Value::String(text) => Some(text),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn peek(text: &[u8]) -> Option<SheetPeek> {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("x.json");
        std::fs::write(&path, text).unwrap();
        peek_sheet(&path)
    }

    #[test]
    fn what_looks_like_a_sheet_is_told_from_what_does_not() {
        let utf16: Vec<u8> =
            "\u{feff}{\"format\":\"plateproof-shot/1\"".encode_utf16().flat_map(u16::to_be_bytes).collect();
        for (text, says_so) in [
            (br#"{"format":"plateproof-shot/1","shot":"A"}"#.as_slice(), true),
            (br#"{"format":"plateproof-shot/1","shot" "#, true),
            (&utf16, true),
            (br#"{"fromat":"plateproof-shot/1","shot":"A"}"#, false),
            (br#"{"format":"plateproof-shot/2","shot":"A"}"#, false),
            (br#"{"format":"Plateproof-shot/1","mirrors":[],"cg":{}}"#, false),
            (br#"{"shot":"A","mirrors":["s.exr"],"cg":{"spheres":["c.exr"]}}"#, false),
        ] {
            let peek = peek(text).unwrap_or_else(|| panic!("{}", String::from_utf8_lossy(text)));
            assert_eq!(peek.says_so, says_so, "{}", String::from_utf8_lossy(text));
        }
        for other in [
            br#"{"format":"plateproof-report/1","shot":"A","mirrors":1,"cg":2}"#.as_slice(),
            br#"{"name":"package","version":"1"}"#,
            b"[1, 2]",
            b"",
        ] {
            assert_eq!(peek(other), None, "{}", String::from_utf8_lossy(other));
        }
    }

    #[test]
    fn a_broken_sheet_gives_what_stands_before_the_break() {
        let seen = peek(br#"{"format":"plateproof-shot/1","shot":"A","cg":{"version":"v2",},"x":1}"#).unwrap();
        assert_eq!((seen.shot.as_deref(), seen.version.as_deref()), (Some("A"), Some("v2")));
        assert!(!seen.is_base);
        assert!(peek(br#"{"format":"plateproof-shot/1","cg":null}"#).unwrap().is_base);
    }

    #[test]
    fn what_another_sheet_may_say_is_not_taken_for_known() {
        for (rest, all) in [
            (r#""shot":"A""#, true),
            (r#""shot":"A","extends":"show.json""#, false),
            (r#""shot":"A","extends":"show.json","cg":{"version":"v2"}"#, true),
            (r#""extends":"show.json","cg":{"version":"v2"}"#, false),
            (r#""shot":"A","cg":{"spheres":["c.exr"]}"#, true),
            (r#""shot":"A","mirrors""#, false),
        ] {
            let text = format!("{{\"format\":\"plateproof-shot/1\",{rest}}}");
            assert_eq!(peek(text.as_bytes()).unwrap().names_all(), all, "{text}");
        }
    }
}
