//! Reading a run-off plan. Its fields and ranges are the core's; finding the file and line is done here.

use std::path::Path;

use lauter_core::projection::Plan;
use serde_json::{Value, json};

use super::document::Document;
use super::error::ConfigErrors;
use super::faults::{Faults, none_or_all};
use super::key_path::KeyPath;
use super::{schema, shape};
use crate::exit::{Failure, Kind};

/// Reads a plan, or says everything that is wrong with it. A plan is data: exit code 65.
pub fn load_plan(path: &Path) -> Result<Plan, Failure> {
    Ok(checked(&Document::read(path, Kind::Data)?)?)
}

/// As [`load_plan`], for TOML text that came by another way; `name` stands for the file in messages.
pub fn parse_plan(name: &Path, text: String) -> Result<Plan, ConfigErrors> {
    checked(&Document::parse(name, text, Kind::Data)?)
}

/// As [`parse_plan`], for a plan that came as JSON. A null is a key that is not given.
pub fn plan_of_tree(name: &Path, mut tree: Value) -> Result<Plan, ConfigErrors> {
    match tree.as_object_mut() {
        Some(table) => table.retain(|_, value| !value.is_null()),
        None => return Err(ConfigErrors::of_file(Kind::Data, name, "is not an object")),
    }
    checked(&Document::of_tree(name, tree))
}

fn checked(document: &Document) -> Result<Plan, ConfigErrors> {
    let schema = schema::plan();
    let root = KeyPath::default();
    let mut tree = document.tree().clone();
    let mut faults = Faults::default();
    shape::check(&schema, &mut tree, &mut faults);
    stand_in(&schema, &mut tree);
    let plan: Plan = serde_json::from_value(tree)
        .map_err(|error| ConfigErrors::of_file(Kind::Data, document.file(), error.to_string()))?;
    for fault in plan.check() {
        faults.add(&root.key(fault.key), fault.message);
    }
    none_or_all(Kind::Data, faults.located(document))?;
    Ok(plan)
}

/// Puts something in the place of each needed value that is missing or wrong, so that the core can check the
/// others. Their keys bear a fault already, so the plan goes no further.
fn stand_in(schema: &Value, tree: &mut Value) {
    let Some(table) = tree.as_object_mut() else {
        return;
    };
    for key in schema["required"].as_array().into_iter().flatten() {
        let key = key.as_str().unwrap_or_default();
        let value = match schema["properties"][key]["type"].as_str() {
            Some("string") => json!("-"),
            _ => json!(1.0),
        };
        table.entry(key).or_insert(value);
    }
}
