//! The text of a sheet becomes JSON; what people write in its place is named as what it is.

use std::fmt;
use std::path::Path;

use serde::de::{DeserializeSeed, Deserializer, Error as _, MapAccess, SeqAccess, Visitor};
use serde_json::map::Entry;
use serde_json::{Map, Number, Value};

use crate::{Error, ErrorKind, Result};

/// Marks a duplicate key; looked for in the reader's own message.
const TWICE: &str = "appears twice in one object";

/// The JSON in `bytes`; `origin` is what errors name.
///
/// # Errors
/// `Malformed` where it is not JSON; UTF-16, comments, extra commas and duplicate keys are named as such.
pub(super) fn parse(bytes: &[u8], origin: &Path) -> Result<Value> {
    let malformed = |cause: String, remedy: &str| Error::new(ErrorKind::Malformed, origin, cause, remedy);
    if is_utf16(bytes) {
        let cause = "the text is UTF-16, and JSON is UTF-8".to_owned();
        return Err(malformed(cause, "save the sheet as UTF-8"));
    }
    let text = without_mark(bytes);
    let mut reader = serde_json::Deserializer::from_slice(text);
    let read = EachKeyOnce.deserialize(&mut reader).and_then(|value| reader.end().map(|()| value));
    read.map_err(|error| {
        let (cause, remedy) = why(text, &error);
        malformed(cause, remedy)
    })
}

/// The text without the mark that some editors put before UTF-8.
pub(super) fn without_mark(bytes: &[u8]) -> &[u8] {
    bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes)
}

/// JSON begins with an ASCII character, so in UTF-16 one of the first two bytes is zero, unless a mark is there.
pub(super) fn is_utf16(bytes: &[u8]) -> bool {
    matches!(bytes, [0xff, 0xfe, ..] | [0xfe, 0xff, ..] | [0, 1..=255, ..] | [1..=255, 0, ..])
}

fn why(text: &[u8], error: &serde_json::Error) -> (String, &'static str) {
    let cause = format!("not valid JSON: {error}");
    if cause.contains(TWICE) {
        return (cause, "keep one of the two");
    }
    let here = at(text, error.line(), error.column());
    let before = here.map(|place| &text[..place]).unwrap_or_default().trim_ascii_end();
    let found = here.map(|place| &text[place..]).unwrap_or_default();
    if found.starts_with(b"//") || found.starts_with(b"/*") || found.starts_with(b"#") {
        let cause = format!("line {} has a comment, which JSON does not allow", error.line());
        return (cause, "remove it; remarks can go under `notes`");
    }
    if before.ends_with(b",") && found.first().is_some_and(|end| matches!(end, b'}' | b']')) {
        let cause = format!("line {}: there is a comma before the closing bracket", error.line());
        return (cause, "take the last comma out");
    }
    if cause.contains("invalid escape") {
        return (cause, "in JSON a backslash is written twice; in paths write / instead of it");
    }
    (cause, "correct the sheet at that line and column")
}

/// The byte at a line and column as the reader counts them, both from 1.
fn at(text: &[u8], line: usize, column: usize) -> Option<usize> {
    let mut start = 0;
    for _ in 1..line {
        start += text.get(start..)?.iter().position(|byte| *byte == b'\n')? + 1;
    }
    let place = start + column.saturating_sub(1);
    (place < text.len()).then_some(place)
}

/// Reads any JSON, but refuses objects with a duplicate key: one of the two values would be lost silently.
#[derive(Clone, Copy)]
struct EachKeyOnce;

impl<'de> DeserializeSeed<'de> for EachKeyOnce {
    type Value = Value;

    fn deserialize<D: Deserializer<'de>>(self, reader: D) -> Result<Value, D::Error> {
        reader.deserialize_any(self)
    }
}

impl<'de> Visitor<'de> for EachKeyOnce {
    type Value = Value;

    fn expecting(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.write_str("JSON")
    }

    fn visit_unit<E>(self) -> Result<Value, E> {
        Ok(Value::Null)
    }

    fn visit_bool<E>(self, value: bool) -> Result<Value, E> {
        Ok(value.into())
    }

    fn visit_u64<E>(self, value: u64) -> Result<Value, E> {
        Ok(value.into())
    }

    fn visit_i64<E>(self, value: i64) -> Result<Value, E> {
        Ok(value.into())
    }

    fn visit_f64<E: serde::de::Error>(self, value: f64) -> Result<Value, E> {
        Number::from_f64(value).map(Value::Number).ok_or_else(|| E::custom("number out of range"))
    }

    fn visit_str<E>(self, value: &str) -> Result<Value, E> {
        Ok(value.into())
    }

    fn visit_string<E>(self, value: String) -> Result<Value, E> {
        Ok(value.into())
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<Value, A::Error> {
        let mut values = Vec::new();
        while let Some(value) = list.next_element_seed(self)? {
            values.push(value);
        }
        Ok(Value::Array(values))
    }

    fn visit_map<A: MapAccess<'de>>(self, mut entries: A) -> Result<Value, A::Error> {
        let mut map = Map::new();
        while let Some(key) = entries.next_key::<String>()? {
            match map.entry(key) {
                Entry::Vacant(place) => place.insert(entries.next_value_seed(self)?),
                Entry::Occupied(place) => {
                    let key = crate::printable_text(place.key());
                    return Err(A::Error::custom(format!("the key `{key}` {TWICE}")));
                }
            };
        }
        Ok(Value::Object(map))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_people_write_in_place_of_json_is_named() {
        let utf16: Vec<u8> = "{ \"shot\": \"A\" }".encode_utf16().flat_map(u16::to_le_bytes).collect();
        let marked = [b"\xff\xfe".as_slice(), &utf16].concat();
        for (text, cause, remedy) in [
            (utf16.as_slice(), "UTF-16", "save the sheet as UTF-8"),
            (&marked, "UTF-16", "save the sheet as UTF-8"),
            (b"{ // the ferry\n }", "line 1 has a comment", "`notes`"),
            (b"{ \"shot\": \"A\"\n/* the ferry */ }", "line 2 has a comment", "`notes`"),
            (b"# the ferry\n{}", "line 1 has a comment", "`notes`"),
            (b"{ \"shot\": \"A\",\n}", "line 2: there is a comma", "take the last comma out"),
            (b"{ \"a\": [1, 2, ] }", "line 1: there is a comma", "take the last comma out"),
            (b"{ \"cg\": { \"version\": \"1\", \"version\": \"2\" } }", "`version` appears twice", "keep one"),
            (b"{ \"frame\": \"a\\p.exr\" }", "invalid escape", "a backslash is written twice"),
            (b"{ \"frame\" }", "not valid JSON", "line and column"),
        ] {
            let error = parse(text, Path::new("s.json")).unwrap_err();
            assert!(error.cause.contains(cause) && error.remedy.contains(remedy), "{error}");
        }
    }

    #[test]
    fn json_is_read_as_it_is() {
        let text = r#"{"a":[1,-2,2.5e-3,true,null,"ü"],"b":{"a":{}},"c":18446744073709551615}"#;
        let marked = format!("\u{feff}{text}");
        assert_eq!(
            parse(marked.as_bytes(), Path::new("s.json")).unwrap().to_string(),
            text.replace("2.5e-3", "0.0025")
        );
    }
}
