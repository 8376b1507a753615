//! Values from `LAUTERD_` environment variables, laid over the file's.
//!
//! `LAUTERD_TUN__BED_AREA_M2` stands for `tun.bed_area_m2`. An element of an array is named by its index or
//! by its id: `LAUTERD_INSTRUMENT__0__LOW`, `LAUTERD_INSTRUMENT__RUNNINGS_PH__LOW`; a hyphen is written `_`.
//! The schema decides what a value is, so that a tun may be called "7". A variable that matches no key is an
//! error, because a misspelt override that is silently ignored is worse than none.

use std::fmt::Write as _;

use serde_json::Value;

use super::error::{ConfigError, Place};
use super::key_path::{KeyPath, name_of};
use super::shape::{advice_on_secret, nearest};

const PREFIX: &str = "LAUTERD_";
const SEPARATOR: &str = "__";

/// A value that replaces or adds one of the file's.
#[derive(Clone, Debug)]
pub struct Override {
    pub at: KeyPath,
    /// The path in the `config` crate's notation.
    pub expression: String,
    pub value: config::Value,
    pub variable: String,
}

/// The process's variables that concern lauterd, sorted by name.
pub fn of_process() -> Vec<(String, String)> {
    let mut variables: Vec<(String, String)> = std::env::vars_os()
        .filter_map(|(name, value)| Some((name.into_string().ok()?, value)))
        .filter(|(name, _)| name.starts_with(PREFIX))
        .map(|(name, value)| (name, value.to_string_lossy().into_owned()))
        .collect();
    variables.sort();
    variables
}

/// Finds the key of each variable. `tree` is the file without the environment.
pub fn overrides(
    schema: &Value,
    tree: &Value,
    variables: &[(String, String)],
) -> (Vec<Override>, Vec<ConfigError>) {
    let mut found = Vec::new();
    let mut errors = Vec::new();
    for (variable, text) in variables {
        let Some(name) = variable.strip_prefix(PREFIX) else {
            continue;
        };
        match matched(schema, tree, &name.to_lowercase()) {
            Ok(target) => found.push(Override {
                value: typed(target.schema, text),
                at: target.at,
                expression: target.expression,
                variable: variable.clone(),
            }),
            Err(message) => errors.push(ConfigError {
                file: "environment".into(),
                place: Place::Variable(variable.clone()),
                key: String::new(),
                message,
            }),
        }
    }
    (found, errors)
}

struct Target<'a> {
    schema: &'a Value,
    at: KeyPath,
    expression: String,
}

/// Follows the parts of a variable's name through the schema and the file.
fn matched<'a>(schema: &'a Value, tree: &'a Value, name: &str) -> Result<Target<'a>, String> {
    let mut target = Target {
        schema,
        at: KeyPath::default(),
        expression: String::new(),
    };
    let mut here = Some(tree);
    let mut prefix = PREFIX.to_owned();
    for part in name.split(SEPARATOR) {
        if target.schema["type"] == "array" {
            let elements = here
                .and_then(Value::as_array)
                .map_or(&[][..], Vec::as_slice);
            let index = element(elements, part)
                .ok_or_else(|| no_element(elements, &target.at.label(tree)))?;
            target.at = target.at.index(index);
            let _ = write!(target.expression, "[{index}]");
            target.schema = &target.schema["items"];
            here = elements.get(index);
        } else {
            let (key, schema) = property(target.schema, part)
                .ok_or_else(|| no_key(target.schema, &prefix, part))?;
            if !target.expression.is_empty() {
                target.expression.push('.');
            }
            target.expression.push_str(&key);
            target.at = target.at.literal_key(&key);
            target.schema = schema;
            here = here.and_then(|value| value.get(&key));
        }
        prefix.push_str(&part.to_uppercase());
        prefix.push_str(SEPARATOR);
    }
    match target.schema["type"].as_str() {
        Some("object") => Err(no_key(target.schema, &prefix, "")),
        Some("array") => Err(format!(
            "names all of {}; name one element by its index or id, such as {prefix}0{SEPARATOR}…",
            target.at.label(tree)
        )),
        _ => Ok(target),
    }
}

fn same(written: &str, part: &str) -> bool {
    written.to_lowercase().replace('-', "_") == part
}

fn element(elements: &[Value], part: &str) -> Option<usize> {
    match part.parse::<usize>() {
        Ok(index) => (index < elements.len()).then_some(index),
        Err(_) => elements
            .iter()
            .position(|element| name_of(element).is_some_and(|name| same(name, part))),
    }
}

fn no_element(elements: &[Value], of: &str) -> String {
    let names: Vec<String> = elements
        .iter()
        .enumerate()
        .map(|(index, element)| match name_of(element) {
            Some(name) => format!("{index} ({name})"),
            None => index.to_string(),
        })
        .collect();
    if names.is_empty() {
        format!("matches no key: the file has no {of}")
    } else {
        format!("matches no key: {of} has {}", names.join(", "))
    }
}

fn property<'a>(schema: &'a Value, part: &str) -> Option<(String, &'a Value)> {
    let properties = schema.get("properties").and_then(Value::as_object);
    let named = properties
        .into_iter()
        .flatten()
        .find(|(key, _)| same(key, part));
    if let Some((key, schema)) = named {
        return Some((key.clone(), schema));
    }
    let free = schema
        .get("additionalProperties")
        .filter(|free| free.is_object())?;
    let plain = !part.is_empty() && part.chars().all(|c| c.is_ascii_alphanumeric() || c == '_');
    plain.then(|| (part.to_owned(), free))
}

fn no_key(schema: &Value, prefix: &str, part: &str) -> String {
    if let Some(advice) = advice_on_secret(part) {
        return advice;
    }
    let keys: Vec<&str> = schema
        .get("properties")
        .and_then(Value::as_object)
        .into_iter()
        .flat_map(|properties| properties.keys().map(String::as_str))
        .collect();
    let variable = |key: &str| format!("{prefix}{}", key.to_uppercase().replace('-', "_"));
    match nearest(part, keys.iter().copied()) {
        Some(key) => format!("matches no key; did you mean {}?", variable(key)),
        None if keys.is_empty() => "matches no key; there are none below this one".to_owned(),
        None => {
            let all: Vec<String> = keys.iter().map(|key| variable(key)).collect();
            format!("matches no key; there are {}", all.join(", "))
        }
    }
}

/// The text as the schema's type, if it can be read as that; otherwise the text, which `shape` will refuse.
fn typed(schema: &Value, text: &str) -> config::Value {
    let trimmed = text.trim();
    match schema["type"].as_str() {
        Some("integer") => match (trimmed.parse::<i64>(), trimmed.parse::<f64>()) {
            (Ok(number), _) => number.into(),
            (_, Ok(number)) => number.into(),
            _ => text.into(),
        },
        Some("number") => trimmed.parse::<f64>().map_or(text.into(), Into::into),
        Some("boolean") => match trimmed.to_lowercase().as_str() {
            "true" | "1" | "yes" | "on" => true.into(),
            "false" | "0" | "no" | "off" => false.into(),
            _ => text.into(),
        },
        _ => text.into(),
    }
}
