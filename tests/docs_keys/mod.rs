//! The page of the documents that lists every key of sheets and reports, made from their JSON Schemas.

use serde_json::Value;

const HEAD: &str = "\
# Every key of sheets and reports

Made from the JSON Schemas that `plateproof schema sheet` and `plateproof schema report` print; a test fails when this \
page is out of date. `[]` means every entry of a list.
";

const SHEET: &str = "
## The shot sheet

A plain file name may be written instead of the object for a picture, a mirror, a sphere or the environment: it is the \
`frame` of that object. Only `format`, `shot`, one mirror and one CG sphere with a frame each are required. \
[examples](examples) has complete sheets.
";

const REPORT: &str = "
## The report

Every measured number `x` has its standard deviation beside it, `x_sd`, in the same unit; if only a bound is known, \
`x_bound` is `lower` or `upper`. What could not be measured is absent. The keys of `detail` differ from check to check: \
`plateproof explain CHECK` describes them.
";

/// The whole page.
pub(crate) fn page(sheet: &Value, report: &Value) -> String {
    format!("{HEAD}{SHEET}{}{REPORT}{}", Schema(sheet).sections(), Schema(report).sections())
}

struct Schema<'a>(&'a Value);

impl Schema<'_> {
    /// One table for the top, and one for each kind of entry in it.
    fn sections(&self) -> String {
        let mut places: Vec<(String, Vec<String>)> = Vec::new();
        self.visit(self.0, "", &mut places);
        let top = table(self, self.0);
        let entry = |(name, paths): &(String, Vec<String>)| {
            let heading = paths.iter().map(|path| format!("`{path}`")).collect::<Vec<_>>().join(", ");
            format!("\n### {heading}\n{}", table(self, self.entry(name)))
        };
        top + &places.iter().map(entry).collect::<String>()
    }

    fn entry(&self, name: &str) -> &Value {
        &self.0["$defs"][name]
    }

    /// Notes, for every kind of entry with keys of its own, all places in which it stands.
    fn visit(&self, object: &Value, path: &str, places: &mut Vec<(String, Vec<String>)>) {
        for (key, value) in keys_of(object) {
            let Some(name) = reference(value).filter(|name| !keys_of(self.entry(name)).is_empty()) else { continue };
            let dot = if path.is_empty() { "" } else { "." };
            let list = if is_list(value) { "[]" } else { "" };
            let place = format!("{path}{dot}{key}{list}");
            match places.iter_mut().find(|(known, _)| *known == name) {
                Some((_, paths)) => paths.push(place.clone()),
                None => places.push((name.clone(), vec![place.clone()])),
            }
            self.visit(self.entry(&name), &place, places);
        }
    }

    /// What a value may be, in words.
    fn kind(&self, value: &Value) -> String {
        if let Some(name) = reference(value) {
            let entry = self.entry(&name);
            let one = if keys_of(entry).is_empty() { self.kind(entry) } else { "an object, see below".to_owned() };
            return if is_list(value) { format!("a list; each entry {one}") } else { one };
        }
        if let Some(options) = value["oneOf"].as_array().or_else(|| value["anyOf"].as_array()) {
            let mut kinds: Vec<String> = options.iter().map(|o| self.kind(o)).filter(|k| k != "null").collect();
            kinds.dedup();
            return kinds.join(" or ");
        }
        if let Some(word) = value["const"].as_str() {
            return format!("`{word}`");
        }
        if let Some(words) = value["enum"].as_array().filter(|words| words.len() <= 24) {
            let words: Vec<String> = words.iter().filter_map(Value::as_str).map(|word| format!("`{word}`")).collect();
            return words.join(" or ");
        }
        let types: Vec<&str> = match &value["type"] {
            Value::String(one) => vec![one],
            Value::Array(several) => several.iter().filter_map(Value::as_str).filter(|t| *t != "null").collect(),
            _ => vec![],
        };
        let kinds = types.iter().map(|one| self.plain(one, value)).collect::<Vec<_>>().join(" or ");
        // A schema without types leaves it to the description.
        if kinds.is_empty() { "see its description".to_owned() } else { kinds }
    }

    fn plain(&self, one: &str, value: &Value) -> String {
        match one {
            "string" => "text".to_owned(),
            "integer" => format!("a whole number{}", range(value)),
            "number" => format!("a number{}", range(value)),
            "boolean" => "true or false".to_owned(),
            "array" => {
                let entry = self.kind(&value["items"]);
                match (value["minItems"].as_u64(), value["maxItems"].as_u64()) {
                    (Some(least), Some(most)) if least == most => format!("a list of {most}, each {entry}"),
                    _ => format!("a list; each entry {entry}"),
                }
            }
            "object" => "an object".to_owned(),
            other => other.to_owned(),
        }
    }
}

/// The keys of an object in the order of the schema, also of one that a plain string may stand for.
fn keys_of(value: &Value) -> Vec<(&String, &Value)> {
    let own = value["properties"].as_object();
    let mut options = value["anyOf"].as_array().into_iter().flatten();
    let inner = || options.find_map(|option| option["properties"].as_object());
    own.or_else(inner).into_iter().flatten().collect()
}

fn is_list(value: &Value) -> bool {
    value["items"].is_object()
}

/// The entry that a value refers to: itself, through a list, or where it may also be absent.
fn reference(value: &Value) -> Option<String> {
    let direct = |value: &Value| value["$ref"].as_str().and_then(|path| path.rsplit('/').next()).map(str::to_owned);
    direct(value).or_else(|| direct(&value["items"])).or_else(|| {
        let options = value["anyOf"].as_array()?;
        options.iter().find_map(direct)
    })
}

fn range(value: &Value) -> String {
    let number = |key: &str| value[key].as_f64();
    match (number("exclusiveMinimum"), number("minimum"), number("exclusiveMaximum"), number("maximum")) {
        (Some(low), _, _, Some(high)) => format!(" above {low}, up to {high}"),
        (Some(low), _, Some(high), _) => format!(" above {low}, below {high}"),
        (Some(low), ..) => format!(" above {low}"),
        (_, Some(low), _, Some(high)) => format!(" from {low} to {high}"),
        (_, Some(low), ..) => format!(" of {low} or more"),
        (_, _, _, Some(high)) => format!(" up to {high}"),
        _ => String::new(),
    }
}

fn table(schema: &Schema<'_>, object: &Value) -> String {
    let row = |(key, value): (&String, &Value)| {
        let meaning = value["description"].as_str().unwrap_or_default();
        let default = default(&value["default"]).map(|text| format!(" Default: {text}.")).unwrap_or_default();
        let cell = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ").replace('|', "\\|");
        format!("| `{key}` | {} | {}{default} |\n", cell(&schema.kind(value)), cell(meaning))
    };
    let rows: String = keys_of(object).into_iter().map(row).collect();
    format!("\n| key | type | meaning |\n|---|---|---|\n{rows}")
}

/// A default worth printing: a number, a word or a switch.
fn default(value: &Value) -> Option<String> {
    match value {
        // Zero stands for what is absent.
        Value::Number(number) => (number.as_f64() != Some(0.0)).then(|| number.to_string()),
        Value::String(word) if !word.is_empty() => Some(format!("`{word}`")),
        Value::Bool(switch) => Some(switch.to_string()),
        _ => None,
    }
}
