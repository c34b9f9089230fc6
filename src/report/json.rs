//! The JSON report and its schema.
//!
//! Numbers are rounded here and nowhere else. JSON has no NaN or Inf: a number that is neither is left out, and a
//! warning in the file names it.

use schemars::generate::SchemaSettings;
use schemars::transform::{RecursiveTransform, Transform};
use schemars::{JsonSchema, Schema};
use serde::Serialize;
use serde_json::{Map, Number, Value};

use crate::findings::Report;
use crate::findings::numbers::{SIGNIFICANT_DIGITS, rounded};

/// What the sheet's author wrote is carried along as it stands.
const FROM_THE_SHEET: [&str; 2] = ["notes", "waived"];

/// The report as JSON text: indented, keys in the order of the Rust types, numbers rounded to six significant digits.
///
/// A number that is NaN or Inf is left out and named in `warnings`.
pub fn to_json(report: &Report) -> String {
    to_json_of(report)
}

/// Any plain data of a report (the `sphere` command's answer, for one) as JSON text by the same rules.
pub fn to_json_of<T: Serialize>(data: &T) -> String {
    // Reports hold only structs, strings, numbers and string-keyed maps, which always convert.
    let mut value = serde_json::to_value(data).unwrap_or(Value::Null);
    let mut left_out = Vec::new();
    if let Value::Object(top) = &mut value {
        let error = top.get("error").cloned();
        tidy_object(top, "", &mut left_out);
        restore_error(top, error);
        warn_of(top, &left_out);
    }
    let mut text = serde_json::to_string_pretty(&value).unwrap_or_default();
    text.push('\n');
    text
}

/// JSON Schema (draft 2020-12) of a report.
pub fn report_schema() -> Value {
    let mut schema = schema_of::<Report>();
    require_error(&mut schema);
    schema.insert("title".to_owned(), "Report of one shot, plateproof-report/1".into());
    schema.to_value()
}

/// JSON Schema (draft 2020-12) of a type whose absent values are absent keys, never `null`.
pub fn schema_of<T: JsonSchema>() -> Schema {
    let mut schema = SchemaSettings::draft2020_12().into_generator().into_root_schema_for::<T>();
    RecursiveTransform(forbid_null).transform(&mut schema);
    schema
}

/// Rounds what is in `object` and drops what JSON could not hold.
fn tidy_object(object: &mut Map<String, Value>, path: &str, left_out: &mut Vec<String>) {
    let mut lost = Vec::new();
    for (key, value) in object.iter_mut() {
        if FROM_THE_SHEET.contains(&key.as_str()) {
            continue;
        }
        let here = if path.is_empty() { key.clone() } else { format!("{path}.{key}") };
        if !tidy_value(value, &here, left_out) {
            lost.push(key.clone());
            if here != "error" {
                left_out.push(here);
            }
        }
    }
    for key in lost {
        object.shift_remove(&key);
    }
}

/// Tidies `value` in place; false where nothing of it can be kept.
fn tidy_value(value: &mut Value, path: &str, left_out: &mut Vec<String>) -> bool {
    match value {
        Value::Null => return false,
        Value::Number(number) => *number = rounded_number(number),
        Value::Array(items) => return tidy_array(items, path, left_out),
        Value::Object(object) => tidy_object(object, path, left_out),
        Value::Bool(_) | Value::String(_) => {}
    }
    true
}

/// An array with a hole has lost the meaning of its places: it goes as a whole.
fn tidy_array(items: &mut [Value], path: &str, left_out: &mut Vec<String>) -> bool {
    items.iter_mut().enumerate().all(|(index, item)| tidy_value(item, &format!("{path}[{index}]"), left_out))
}

/// Whole numbers stay as they are; all others are rounded.
fn rounded_number(number: &Number) -> Number {
    if !number.is_f64() {
        return number.clone();
    }
    number
        .as_f64()
        .and_then(|value| rounded(value, SIGNIFICANT_DIGITS))
        .and_then(Number::from_f64)
        .unwrap_or_else(|| number.clone())
}

/// `error` is the one key that the format writes as `null`.
fn restore_error(top: &mut Map<String, Value>, error: Option<Value>) {
    if let Some(error) = error {
        top.insert("error".to_owned(), error);
    }
}

/// Says in the file which numbers could not be written.
fn warn_of(top: &mut Map<String, Value>, left_out: &[String]) {
    if left_out.is_empty() {
        return;
    }
    let warning = Value::String(format!("left out because not a number: {}", left_out.join(", ")));
    if let Some(Value::Array(warnings)) = top.get_mut("warnings") {
        warnings.push(warning);
    }
}

/// Takes `null` out of a schema's types: absent values are absent keys.
fn forbid_null(schema: &mut Schema) {
    let Some(object) = schema.as_object_mut() else { return };
    if let Some(Value::Array(types)) = object.get_mut("type") {
        types.retain(|kind| kind != "null");
        if let [only] = types.as_slice() {
            let only = only.clone();
            object.insert("type".to_owned(), only);
        }
    }
    if let Some(Value::Array(choices)) = object.get_mut("anyOf") {
        choices.retain(|choice| choice.get("type") != Some(&Value::from("null")));
    }
}

/// `error` is always there, and null where the shot could be done.
fn require_error(schema: &mut Schema) {
    if let Some(Value::Array(required)) = schema.get_mut("required") {
        required.push("error".into());
    }
    let choices = schema.pointer_mut("/properties/error/anyOf");
    if let Some(Value::Array(choices)) = choices {
        choices.push(serde_json::json!({ "type": "null" }));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::findings::sample;

    const CONTRACT_EXAMPLE: &str = include_str!("testdata/contract_example.report.json");

    fn validate(json: &str) -> Vec<String> {
        let validator = jsonschema::validator_for(&report_schema()).unwrap();
        let instance: Value = serde_json::from_str(json).unwrap();
        validator.iter_errors(&instance).map(|e| format!("{}: {e}", e.instance_path())).collect()
    }

    #[test]
    fn the_smallest_promised_report_validates_and_reads() {
        assert_eq!(validate(CONTRACT_EXAMPLE), Vec::<String>::new());
        let report: Report = serde_json::from_str(CONTRACT_EXAMPLE).unwrap();
        assert_eq!(report.findings[0].value, Some(10.3));
        assert_eq!(validate(&to_json(&report)), Vec::<String>::new());
    }

    #[test]
    fn full_reports_validate_and_read_back_unchanged() {
        for report in [sample::mismatch(), sample::all_match(), sample::unsure(), sample::error()] {
            let json = to_json(&report);
            assert_eq!(validate(&json), Vec::<String>::new());
            assert_eq!(serde_json::from_str::<Report>(&json).unwrap(), report);
        }
    }

    #[test]
    fn the_schema_demands_exactly_the_promised_keys() {
        let schema = report_schema();
        assert_eq!(schema["$schema"], "https://json-schema.org/draft/2020-12/schema");
        let mut required: Vec<_> = schema["required"].as_array().unwrap().iter().filter_map(Value::as_str).collect();
        required.sort_unstable();
        let promised = ["error", "findings", "format", "inputs", "shot", "spheres", "tool", "verdict", "warnings"];
        assert_eq!(required, promised);
        for key in promised {
            let mut report: Map<String, Value> = serde_json::from_str(CONTRACT_EXAMPLE).unwrap();
            report.remove(key);
            assert!(!validate(&Value::from(report).to_string()).is_empty(), "{key} may be missing");
        }
    }

    #[test]
    fn further_keys_are_welcome_but_null_and_foreign_formats_are_not() {
        let with = |key: &str, value: Value| {
            let mut report: Map<String, Value> = serde_json::from_str(CONTRACT_EXAMPLE).unwrap();
            report.insert(key.to_owned(), value);
            validate(&Value::from(report).to_string())
        };
        assert!(with("render_farm_job", 17.into()).is_empty());
        assert!(!with("version", Value::Null).is_empty());
        assert!(!with("format", "plateproof-report/2".into()).is_empty());
        let broken = CONTRACT_EXAMPLE.replace("\"value\": 10.3", "\"value\": null");
        assert!(!validate(&broken).is_empty());
    }

    #[test]
    fn no_nan_reaches_the_file_and_the_file_says_so() {
        let mut report = sample::mismatch();
        report.findings[0].value = Some(f64::NAN);
        report.findings[0].detail.insert("azimuth_error_deg".to_owned(), Value::from(f64::INFINITY));
        report.spheres[0].outline_px_sd[3] = f64::NEG_INFINITY;
        let value: Value = serde_json::from_str(&to_json(&report)).unwrap();
        assert!(value["findings"][0].get("value").is_none());
        assert!(value["findings"][0]["detail"].get("azimuth_error_deg").is_none());
        assert!(value["spheres"][0].get("outline_px_sd").is_none());
        let last = value["warnings"].as_array().unwrap().last().unwrap().as_str().unwrap();
        assert!(
            last.contains("findings[0].value, findings[0].detail.azimuth_error_deg")
                || last.contains("findings[0].detail.azimuth_error_deg, findings[0].value"),
            "{last}"
        );
        assert!(last.contains("spheres[0].outline_px_sd"), "{last}");
    }

    #[test]
    fn numbers_are_rounded_once_and_notes_stay_as_written() {
        let mut report = sample::mismatch();
        report.findings[0].value = Some(10.123_456_789);
        report.spheres[0].outline_px[0] = -0.0;
        report.notes = serde_json::from_str(r#"{"take": 3.123456789, "slate": null}"#).unwrap();
        let value: Value = serde_json::from_str(&to_json(&report)).unwrap();
        assert_eq!(value["findings"][0]["value"].to_string(), "10.1235");
        assert_eq!(value["spheres"][0]["outline_px"][0].to_string(), "0.0");
        assert_eq!(value["notes"].to_string(), r#"{"take":3.123456789,"slate":null}"#);
    }
}
