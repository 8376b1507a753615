//! The JSON Schema of the configuration file, generated from `tables`.
//!
//! Owns the reduction of what `schemars` writes to the few keywords that `shape` knows: no references, no
//! null (TOML has none), a plain `enum` for every choice. Both the published schema and every check of a file
//! use this one, so neither can fall behind the other.

use lauter_core::projection::Plan;
use schemars::generate::SchemaSettings;
use schemars::transform::{RecursiveTransform, Transform};
use schemars::{JsonSchema, Schema};
use serde_json::{Value, json};

use super::tables::RootTable;

/// Schema of the configuration file.
pub fn configuration() -> Value {
    generated::<RootTable>("Configuration of lauterd")
}

/// Schema of the run-off plan.
pub fn plan() -> Value {
    generated::<Plan>("Run-off plan")
}

fn generated<T: JsonSchema>(title: &str) -> Value {
    let settings =
        SchemaSettings::draft2020_12().with(|settings| settings.inline_subschemas = true);
    let mut schema = settings.into_generator().into_root_schema_for::<T>();
    RecursiveTransform(reduce).transform(&mut schema);
    schema.insert("title".to_owned(), json!(title));
    schema.to_value()
}

fn reduce(schema: &mut Schema) {
    let Some(object) = schema.as_object_mut() else {
        return;
    };
    object.remove("title");
    if let Some(Value::Array(types)) = object.get_mut("type") {
        types.retain(|name| name != "null");
        if let [only] = types.as_slice() {
            let only = only.clone();
            object.insert("type".to_owned(), only);
        }
    }
    unite_choices(object);
    if let Some(Value::Array(choices)) = object.get_mut("enum") {
        choices.retain(|choice| !choice.is_null());
    }
    // Widths of Rust's numbers are no news to the reader; the range says as much.
    let width = |format: &str| {
        matches!(format, "double" | "float") || format.trim_start_matches('u').starts_with("int")
    };
    if object
        .get("format")
        .and_then(Value::as_str)
        .is_some_and(width)
    {
        object.remove("format");
    }
    if object.get("default").is_some_and(Value::is_null) {
        object.remove("default");
    }
}

/// Replaces `anyOf`/`oneOf` by its only member that is not null, or by the list of all its strings.
fn unite_choices(object: &mut serde_json::Map<String, Value>) {
    let Some(Value::Array(members)) = object.remove("anyOf").or_else(|| object.remove("oneOf"))
    else {
        return;
    };
    let members: Vec<Value> = members
        .into_iter()
        .filter(|member| member.get("type") != Some(&json!("null")))
        .collect();
    if let [Value::Object(only)] = members.as_slice() {
        let mut only = only.clone();
        unite_choices(&mut only);
        for (key, value) in only {
            object.entry(key).or_insert(value);
        }
        return;
    }
    let choices: Vec<Value> = members
        .iter()
        .flat_map(|member| match (member.get("enum"), member.get("const")) {
            (Some(Value::Array(some)), _) => some.clone(),
            (_, Some(one)) => vec![one.clone()],
            _ => Vec::new(),
        })
        .collect();
    object.insert("type".to_owned(), json!("string"));
    object.insert("enum".to_owned(), Value::Array(choices));
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What `shape` acts on, and what only informs.
    const KNOWN: [&str; 15] = [
        "$schema",
        "additionalProperties",
        "default",
        "description",
        "enum",
        "format",
        "items",
        "maximum",
        "minItems",
        "minimum",
        "properties",
        "required",
        "title",
        "type",
        "maxLength",
    ];

    fn keywords_are_known(schema: &Value) {
        let Some(object) = schema.as_object() else {
            return;
        };
        for keyword in object.keys() {
            assert!(KNOWN.contains(&keyword.as_str()), "{keyword} in {schema}");
        }
        assert!(schema["type"].is_string(), "one type only: {schema}");
        let properties = object.get("properties").and_then(Value::as_object);
        for property in properties.into_iter().flat_map(serde_json::Map::values) {
            keywords_are_known(property);
        }
        for nested in ["items", "additionalProperties"] {
            object.get(nested).into_iter().for_each(keywords_are_known);
        }
    }

    #[test]
    fn the_schema_uses_no_keyword_that_the_checks_do_not_know() {
        keywords_are_known(&configuration());
        keywords_are_known(&plan());
    }
}
