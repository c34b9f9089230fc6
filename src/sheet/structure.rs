//! Validates a sheet against its own JSON Schema and says, for people, what is wrong.
//!
//! This supports only what the sheet's schema uses: `type`, `properties`, `items`, bounds, `const`, `enum`, `anyOf`,
//! `oneOf` and `$ref`. A test elsewhere compares it with a complete validator.

use crate::base::nearest::nearest;
use std::fmt;

use serde_json::{Map, Value};

/// What does not fit, and what to do.
#[derive(Debug, PartialEq)]
pub(super) struct Misfit {
    /// What is wrong, with the key's path.
    pub(super) cause: String,
    /// What to do.
    pub(super) remedy: String,
}

type Fit = Result<(), Misfit>;

/// Whether keys that the schema requires may still be missing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Required {
    /// Everything is there that will be.
    Now,
    /// Another sheet may still give them.
    Later,
}

/// Validates `value` against `schema`.
pub(super) fn check(value: &Value, schema: &Value, required: Required) -> Fit {
    Walker { root: schema, required }.value(value, schema, &Place::Top)
}

/// Replaces every plain string that is short for an object with that `frame` by the object.
pub(super) fn expand_plain_frames(value: &mut Value, schema: &Value) {
    expand(value, schema, schema);
}

fn expand(value: &mut Value, schema: &Value, root: &Value) {
    if !matches!(value, Value::String(_) | Value::Object(_) | Value::Array(_)) {
        return;
    }
    let branch = branches(resolve(schema, root), root);
    if let Value::String(frame) = value
        && branch.iter().any(|b| b["properties"].get("frame").is_some())
    {
        *value = Value::Object(Map::from_iter([("frame".to_owned(), Value::String(std::mem::take(frame)))]));
        return;
    }
    let Some(schema) = branch.into_iter().find(|b| accepts_type(b, value)) else { return };
    match value {
        Value::Object(map) => {
            for (key, child) in map {
                if let Some(schema) = schema["properties"].get(key) {
                    expand(child, schema, root);
                }
            }
        }
        Value::Array(list) => {
            let items = &schema["items"];
            if Numbers::of(&branches(resolve(items, root), root), root).is_none() {
                for item in list {
                    expand(item, items, root);
                }
            }
        }
        _ => {}
    }
}

fn resolve<'a>(schema: &'a Value, root: &'a Value) -> &'a Value {
    let pointer = schema.get("$ref").and_then(Value::as_str).and_then(|text| text.strip_prefix('#'));
    pointer.and_then(|pointer| root.pointer(pointer)).unwrap_or(schema)
}

/// The alternatives of a schema, nested ones laid flat; a schema without alternatives is its own only one.
fn branches<'a>(schema: &'a Value, root: &'a Value) -> Vec<&'a Value> {
    let alternatives = schema.get("anyOf").or_else(|| schema.get("oneOf")).and_then(Value::as_array);
    match alternatives {
        Some(list) => list.iter().flat_map(|branch| branches(resolve(branch, root), root)).collect(),
        None => vec![schema],
    }
}

fn type_name(value: &Value) -> &'static str {
    match value {
        Value::Null => "null",
        Value::Bool(_) => "boolean",
        Value::Number(_) => "number",
        Value::String(_) => "string",
        Value::Array(_) => "array",
        Value::Object(_) => "object",
    }
}

fn types(schema: &Value) -> Vec<&str> {
    match schema.get("type") {
        Some(Value::String(one)) => vec![one],
        Some(Value::Array(list)) => list.iter().filter_map(Value::as_str).collect(),
        _ => Vec::new(),
    }
}

fn accepts_type(schema: &Value, value: &Value) -> bool {
    let found = type_name(value);
    // Most schemas name one type.
    if let Some(Value::String(one)) = schema.get("type") {
        return one == found || (found == "number" && one == "integer" && is_whole(value));
    }
    let allowed = types(schema);
    allowed.is_empty()
        || allowed.contains(&found)
        || (found == "number" && allowed.contains(&"integer") && is_whole(value))
}

fn is_whole(value: &Value) -> bool {
    value.as_f64().is_some_and(|number| number.fract() == 0.0)
}

/// A schema of numbers without bounds, or of lists of such: there may be hundreds of thousands of them in a sheet, too many to
/// ask the schema about each.
enum Numbers {
    One,
    List { counts: [u64; 2], of: Box<Numbers> },
}

impl Numbers {
    fn of(branch: &[&Value], root: &Value) -> Option<Self> {
        const BOUNDS: [&str; 5] = ["minimum", "exclusiveMinimum", "maximum", "const", "enum"];
        let [schema] = branch else { return None };
        match schema.get("type")?.as_str()? {
            "number" => BOUNDS.iter().all(|key| schema.get(*key).is_none()).then_some(Self::One),
            "array" => {
                let items = resolve(schema.get("items")?, root);
                let of = Box::new(Self::of(&branches(items, root), root)?);
                let count = |key: &str, none: u64| schema.get(key).and_then(Value::as_u64).unwrap_or(none);
                Some(Self::List { counts: [count("minItems", 0), count("maxItems", u64::MAX)], of })
            }
            _ => None,
        }
    }

    fn fit(&self, value: &Value) -> bool {
        match (self, value) {
            (Self::One, Value::Number(_)) => true,
            (Self::List { counts: [min, max], of }, Value::Array(list)) => {
                (*min..=*max).contains(&(list.len() as u64)) && list.iter().all(|item| of.fit(item))
            }
            _ => false,
        }
    }
}

struct Walker<'a> {
    root: &'a Value,
    required: Required,
}

/// Where in the sheet a value is. It is put into words only where something is wrong: a sheet may hold half a million
/// numbers.
enum Place<'a> {
    Top,
    Key(&'a Place<'a>, &'a str),
    Entry(&'a Place<'a>, usize),
}

impl fmt::Display for Place<'_> {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Top => Ok(()),
            Self::Key(Self::Top, key) => out.write_str(key),
            Self::Key(above, key) => write!(out, "{above}.{key}"),
            Self::Entry(list, index) => write!(out, "{list}[{index}]"),
        }
    }
}

impl Walker<'_> {
    fn value(&self, value: &Value, schema: &Value, path: &Place<'_>) -> Fit {
        self.one_of(value, &branches(resolve(schema, self.root), self.root), path)
    }

    /// The value fits one of these alternatives.
    fn one_of(&self, value: &Value, branch: &[&Value], path: &Place<'_>) -> Fit {
        let fitting: Vec<&Value> = branch.iter().copied().filter(|b| accepts_type(b, value)).collect();
        let named = fitting.iter().find(|b| is_named_value(b, value)).copied();
        let Some(schema) = named.or_else(|| fitting.iter().find(|b| !names_values(b)).copied()) else {
            return Err(wrong(&path.to_string(), branch, value));
        };
        match value {
            Value::Number(_) => number(value, schema, path),
            Value::String(text) => string(text, schema, path),
            Value::Array(list) => self.array(list, schema, path),
            Value::Object(map) => self.object(map, schema, path),
            Value::Null | Value::Bool(_) => Ok(()),
        }
    }

    fn array(&self, list: &[Value], schema: &Value, path: &Place<'_>) -> Fit {
        let count = list.len() as u64;
        let (min, max) = (schema["minItems"].as_u64().unwrap_or(0), schema["maxItems"].as_u64().unwrap_or(u64::MAX));
        if count < min || count > max {
            return Err(wrong(&path.to_string(), &[schema], &Value::Array(list.to_vec())));
        }
        let Some(item_schema) = schema.get("items") else { return Ok(()) };
        let branch = branches(resolve(item_schema, self.root), self.root);
        if Numbers::of(&branch, self.root).is_some_and(|numbers| list.iter().all(|item| numbers.fit(item))) {
            return Ok(());
        }
        list.iter().enumerate().try_for_each(|(i, item)| self.one_of(item, &branch, &Place::Entry(path, i)))
    }

    fn object(&self, map: &Map<String, Value>, schema: &Value, path: &Place<'_>) -> Fit {
        let Some(known) = schema.get("properties").and_then(Value::as_object) else { return Ok(()) };
        for (key, child) in map {
            let child_path = Place::Key(path, key);
            let child_schema = known.get(key).ok_or_else(|| unknown_key(&child_path.to_string(), key, known))?;
            self.value(child, child_schema, &child_path)?;
        }
        self.required_keys(map, schema, path)
    }

    fn required_keys(&self, map: &Map<String, Value>, schema: &Value, path: &Place<'_>) -> Fit {
        if self.required == Required::Later {
            return Ok(());
        }
        let needed = schema["required"].as_array().into_iter().flatten().filter_map(Value::as_str);
        let absent = |key: &&str| map.get(*key).is_none_or(Value::is_null);
        match needed.into_iter().find(absent) {
            Some(key) => Err(missing_key(&Place::Key(path, key).to_string())),
            None => Ok(()),
        }
    }
}

/// The schema allows listed values only.
fn names_values(schema: &Value) -> bool {
    schema.get("const").is_some() || schema.get("enum").is_some()
}

fn is_named_value(schema: &Value, value: &Value) -> bool {
    schema.get("const") == Some(value) || schema["enum"].as_array().is_some_and(|list| list.contains(value))
}

fn number(value: &Value, schema: &Value, path: &Place<'_>) -> Fit {
    let Some(number) = value.as_f64() else { return Ok(()) };
    let bound = |name: &str| schema.get(name).and_then(Value::as_f64);
    let fits = bound("minimum").is_none_or(|min| number >= min)
        && bound("exclusiveMinimum").is_none_or(|min| number > min)
        && bound("maximum").is_none_or(|max| number <= max);
    if fits { Ok(()) } else { Err(wrong(&path.to_string(), &[schema], value)) }
}

fn string(text: &str, schema: &Value, path: &Place<'_>) -> Fit {
    let least = schema["minLength"].as_u64().unwrap_or(0);
    if (text.trim().chars().count() as u64) < least {
        return Err(wrong(&path.to_string(), &[schema], &Value::String(text.to_owned())));
    }
    Ok(())
}

/// The misfit of a key that is needed and absent.
pub(super) fn missing_key(path: &str) -> Misfit {
    Misfit { cause: format!("`{path}` is required but missing"), remedy: format!("add `{path}` to the sheet") }
}

fn unknown_key(path: &str, key: &str, known: &Map<String, Value>) -> Misfit {
    let nearest = nearest(key, known.keys().map(String::as_str));
    let list = known.keys().map(String::as_str).collect::<Vec<_>>().join(", ");
    let remedy = match nearest {
        Some(name) => format!("did you mean `{name}`? Known here: {list}"),
        None => format!("known here: {list}"),
    };
    Misfit { cause: format!("unknown key `{path}`"), remedy }
}

fn wrong(path: &str, expected: &[&Value], found: &Value) -> Misfit {
    let place = if path.is_empty() { "the sheet".to_owned() } else { format!("`{path}`") };
    let mut wanted: Vec<String> = expected.iter().filter_map(|schema| wanted(schema)).collect();
    wanted.dedup();
    let cause = format!("{place}: expected {}, found {}", wanted.join(" or "), described(found));
    Misfit { cause, remedy: remedy(path, expected, found) }
}

/// How the value should be written, where that can be guessed from what was written.
fn remedy(path: &str, expected: &[&Value], found: &Value) -> String {
    let key =
        path.rsplit('.').next().unwrap_or(path).trim_end_matches(|c: char| c == ']' || c == '[' || c.is_numeric());
    let wants = |name: &str| expected.iter().any(|schema| types(schema).contains(&name));
    match found {
        Value::Number(number) if wants("string") && matches!(key, "diameter" | "distance" | "length") => {
            format!("write \"{key}_mm\": {number} for millimetres, or the unit with it: \"{key}\": \"25 cm\"")
        }
        Value::Number(number) if wants("object") => match number_key(expected) {
            Some(inner) => format!("write {{ \"{inner}\": {number} }}"),
            None => CORRECT.to_owned(),
        },
        Value::Number(_) if key == "reflectance" => {
            "write three numbers between 0 and 1, one per channel: [0.62, 0.60, 0.56]".to_owned()
        }
        _ => CORRECT.to_owned(),
    }
}

const CORRECT: &str = "correct this value in the sheet";

/// The first key of an expected object that holds a number.
fn number_key<'a>(expected: &[&'a Value]) -> Option<&'a str> {
    let properties = expected.iter().find_map(|schema| schema.get("properties")?.as_object())?;
    properties.iter().find(|(_, schema)| types(schema).contains(&"number")).map(|(key, _)| key.as_str())
}

/// What a schema wants, in words; `None` for `null`, which only means that the key may be left out.
fn wanted(schema: &Value) -> Option<String> {
    if let Some(word) = schema.get("const") {
        return Some(word.to_string());
    }
    if let Some(words) = schema["enum"].as_array() {
        return Some(words.iter().map(Value::to_string).collect::<Vec<_>>().join(" or "));
    }
    let name = types(schema).into_iter().find(|name| *name != "null")?;
    Some(match name {
        "number" => format!("a number{}", bounds(schema)),
        "integer" => format!("a whole number{}", bounds(schema)),
        "string" => "text".to_owned(),
        "array" => format!("a list{}", counted(schema)),
        "boolean" => "true or false".to_owned(),
        _ => "an object".to_owned(),
    })
}

fn bounds(schema: &Value) -> String {
    let words = [("exclusiveMinimum", "above"), ("minimum", "at least"), ("maximum", "at most")];
    let told = words.iter().filter_map(|(key, word)| schema.get(*key).map(|bound| format!("{word} {bound}")));
    let told = told.collect::<Vec<_>>().join(" and ");
    if told.is_empty() { told } else { format!(" {told}") }
}

fn counted(schema: &Value) -> String {
    match (schema["minItems"].as_u64(), schema["maxItems"].as_u64()) {
        (Some(min), Some(max)) if min == max => format!(" of {min}"),
        (Some(min), Some(max)) => format!(" of {min} to {max}"),
        (Some(min), None) => format!(" of at least {min}"),
        (None, Some(max)) => format!(" of at most {max}"),
        _ => String::new(),
    }
}

fn described(value: &Value) -> String {
    match value {
        Value::Null => "null".to_owned(),
        Value::Bool(_) | Value::Number(_) => value.to_string(),
        Value::String(text) => format!("the text \"{}\"", shortened(text)),
        Value::Array(list) => format!("a list of {}", list.len()),
        Value::Object(_) => "an object".to_owned(),
    }
}

fn shortened(text: &str) -> String {
    let mut start: String = text.chars().take(40).collect();
    if start.len() < text.len() {
        start.push('…');
    }
    crate::printable_text(&start)
}
