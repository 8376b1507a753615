//! Whether a tree of values has the shape its schema describes: known keys, types, ranges, choices.
//!
//! Reports everything that is wrong, takes it out of the tree and fills in the defaults, so that what is left
//! can be read into the tables and the rest of it still be checked. It knows the keywords that `schema` leaves
//! in place and no others; what keys mean together is the concern of `resolve`.

use serde_json::{Map, Value};

use super::faults::Faults;
use super::format;
use super::key_path::KeyPath;

/// Checks `tree` against `schema` and prunes it.
pub fn check(schema: &Value, tree: &mut Value, faults: &mut Faults) {
    Check { faults }.value(schema, tree, &KeyPath::default());
}

struct Check<'a> {
    faults: &'a mut Faults,
}

impl Check<'_> {
    /// Whether `value` may stay in the tree.
    fn value(&mut self, schema: &Value, value: &mut Value, at: &KeyPath) -> bool {
        match (schema["type"].as_str(), &mut *value) {
            (Some("object"), Value::Object(table)) => {
                self.table(schema, table, at);
                return true;
            }
            (Some("array"), Value::Array(elements)) => {
                self.elements(schema, elements, at);
                return true;
            }
            (Some("string"), Value::String(text)) => {
                if let Some(format) = schema["format"].as_str().and_then(format::named)
                    && !(format.holds)(text)
                {
                    self.refuse(schema, value, at);
                    return false;
                }
            }
            (Some("integer"), Value::Number(number)) => {
                let Some(whole) = whole(number) else {
                    self.refuse(schema, value, at);
                    return false;
                };
                *value = whole.into();
            }
            (Some("number"), Value::Number(_)) | (Some("boolean"), Value::Bool(_)) => {}
            _ => {
                self.refuse(schema, value, at);
                return false;
            }
        }
        let allowed = within(schema, value) && chosen(schema, value);
        if !allowed {
            self.refuse(schema, value, at);
        }
        allowed
    }

    fn table(&mut self, schema: &Value, table: &mut Map<String, Value>, at: &KeyPath) {
        let none = Map::new();
        let known = schema["properties"].as_object().unwrap_or(&none);
        let free = schema
            .get("additionalProperties")
            .filter(|free| free.is_object());
        table.retain(|key, value| {
            let path = at.literal_key(key);
            let Some(schema) = known.get(key).or(free) else {
                self.faults.add(&path, unknown(key, known));
                return false;
            };
            self.value(schema, value, &path)
        });
        for key in schema["required"].as_array().into_iter().flatten() {
            let key = key.as_str().unwrap_or_default();
            let path = at.literal_key(key);
            if !table.contains_key(key) && !self.faults.concern(&path) {
                let allowed = describe(&known[key]);
                self.faults
                    .add(&path, format!("is missing; needed is {allowed}"));
            }
        }
        for (key, schema) in known {
            let path = at.literal_key(key);
            if let Some(default) = schema.get("default")
                && !table.contains_key(key)
                && !self.faults.concern(&path)
            {
                let mut value = default.clone();
                self.value(schema, &mut value, &path);
                table.insert(key.clone(), value);
            }
        }
    }

    /// A refused element leaves an empty table behind, so that the others keep their index.
    fn elements(&mut self, schema: &Value, elements: &mut [Value], at: &KeyPath) {
        let least = schema["minItems"].as_u64().unwrap_or(0);
        if (elements.len() as u64) < least {
            let message = format!("has {}; needed are at least {least}", elements.len());
            self.faults.add(at, message);
        }
        for (index, element) in elements.iter_mut().enumerate() {
            if !self.value(&schema["items"], element, &at.index(index)) {
                *element = Value::Object(Map::new());
            }
        }
    }

    fn refuse(&mut self, schema: &Value, value: &Value, at: &KeyPath) {
        let message = format!("is {}; allowed is {}", found(value), describe(schema));
        self.faults.add(at, message);
    }
}

/// A whole number, also when it is written as a float.
fn whole(number: &serde_json::Number) -> Option<i64> {
    let float = number.as_f64()?;
    let exact = float.fract() == 0.0 && float.abs() < 9.0e15;
    number.as_i64().or_else(|| exact.then_some(float as i64))
}

fn within(schema: &Value, value: &Value) -> bool {
    let Some(number) = value.as_f64() else {
        return true;
    };
    schema["minimum"].as_f64().is_none_or(|low| number >= low)
        && schema["maximum"].as_f64().is_none_or(|high| number <= high)
}

fn chosen(schema: &Value, value: &Value) -> bool {
    schema["enum"]
        .as_array()
        .is_none_or(|choices| choices.contains(value))
}

/// The value as a message names it.
fn found(value: &Value) -> String {
    match value {
        // The one value of TOML that JSON has not.
        Value::Null => "not a finite number".to_owned(),
        Value::Array(_) => "an array".to_owned(),
        Value::Object(_) => "a table".to_owned(),
        plain => plain.to_string(),
    }
}

/// What a schema allows, as a message and the reference page name it.
pub fn describe(schema: &Value) -> String {
    if let Some(choices) = schema["enum"].as_array() {
        let names: Vec<String> = choices
            .iter()
            .map(|choice| choice.as_str().map_or(choice.to_string(), str::to_owned))
            .collect();
        return one_of(&names);
    }
    if let Some(format) = schema["format"].as_str().and_then(format::named) {
        return format.phrase.to_owned();
    }
    let noun = match schema["type"].as_str() {
        Some("object") => return "a table".to_owned(),
        Some("array") => return "an array of tables".to_owned(),
        Some("boolean") => return "true or false".to_owned(),
        Some("integer") => "a whole number",
        Some("number") => "a number",
        _ => "text",
    };
    match (schema["minimum"].as_f64(), schema["maximum"].as_f64()) {
        (Some(low), Some(high)) => format!("{noun} from {low} to {high}"),
        (Some(low), None) => format!("{noun} of at least {low}"),
        (None, Some(high)) => format!("{noun} of at most {high}"),
        (None, None) => noun.to_owned(),
    }
}

/// "A, B or C".
pub fn one_of<S: AsRef<str>>(names: &[S]) -> String {
    let names: Vec<&str> = names.iter().map(AsRef::as_ref).collect();
    match names.as_slice() {
        [] => "nothing".to_owned(),
        [only] => (*only).to_owned(),
        [most @ .., last] => format!("{} or {last}", most.join(", ")),
    }
}

fn unknown(key: &str, known: &Map<String, Value>) -> String {
    if let Some(advice) = advice_on_secret(key) {
        return advice;
    }
    if let Some(near) = nearest(key, known.keys().map(String::as_str)) {
        return format!("is an unknown key; did you mean {near}?");
    }
    let names: Vec<&String> = known.keys().collect();
    format!("is an unknown key; allowed here is {}", one_of(&names))
}

/// How to give a secret, if `key` is where people would write one.
pub fn advice_on_secret(key: &str) -> Option<String> {
    let secret = ["password", "token"]
        .into_iter()
        .find(|secret| *secret == key)?;
    Some(format!(
        "a {secret} must not stand in this file or in the environment; put it in a file of its own, readable \
         by the service only, and name that file with {secret}_file, or name a systemd credential with \
         {secret}_credential"
    ))
}

/// The name most like `key`, if any is like it at all.
pub fn nearest<'a>(key: &str, names: impl Iterator<Item = &'a str>) -> Option<&'a str> {
    /// Jaro–Winkler similarity from which a name is worth suggesting; own choice: catches a dropped unit
    /// (`bed_area`) and swapped letters, and leaves unlike names alone.
    const LIKE: f64 = 0.8;
    names
        .map(|name| (strsim::jaro_winkler(key, name), name))
        .filter(|(likeness, _)| *likeness >= LIKE)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, name)| name)
}
