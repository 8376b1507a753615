//! The schema, the reference and the examples say what the program does.
//!
//! `UPDATE_DOCUMENTS=1 cargo test --test configuration` writes the schema and the reference anew.

use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use lauterd::config::{self, Surroundings, describe, schema};
use serde_json::Value;

use crate::support::COMPLETE;

const ROOT: &str = env!("CARGO_MANIFEST_DIR");

/// The reference's head; the tables below it are generated.
const HEAD: &str = "\
# Configuration

One TOML file for each tun. Start from [minimal.toml](../config/minimal.toml) or from the complete, commented
[lauterd.toml](../config/lauterd.toml), and check the result with `lauterd check-config FILE...`: it prints the resolved
instruments, or everything that is wrong with its line and key. Editors that know JSON Schema can use
[configuration.schema.json](configuration.schema.json), which `lauterd check-config --schema` prints too.

- Unknown keys are errors. Numbers may be written with or without decimals. Relative paths count from the directory the
  program is started in.
- **Environment.** `LAUTERD_` and the key's path, joined by two underscores, override a key: `LAUTERD_TUN__BED_AREA_M2=7.2`.
  An element of an array is named by its index from 0 or by its id or name: `LAUTERD_INSTRUMENT__RUNNINGS_PH__LOW=3.5`,
  `LAUTERD_MODBUS_LINK__0__TCP=192.0.2.10:502`. A hyphen is written as an underscore: `LAUTERD_ALARMS__STUCK_BED__LIMIT`. A
  variable that begins with `LAUTERD_` and matches no key is an error.
- **Secrets** never stand in the file or in the environment. `password_file` and `token_file` name a file that holds the
  secret alone; `password_credential` and `token_credential` name a systemd credential. Replays and checks do without them.
- An instrument with neither `modbus` nor `mqtt` serves replay only; the live service refuses it.
- A pH instrument needs `temperature` when a plan's `ph_basis` is \"room\".

This page is generated from the program's own description of its keys.
";

/// The tables in the order in which a file is written.
const ORDER: [&str; 13] = [
    "site",
    "tun",
    "kettle",
    "instrument",
    "modbus_link",
    "store",
    "web",
    "mqtt",
    "sparkplug",
    "influx",
    "watch",
    "projection",
    "alarms",
];

/// The document as it stands, or as it is written now if asked for.
fn holds(name: &str, expected: &str) {
    let file = Path::new(ROOT).join("docs").join(name);
    if std::env::var_os("UPDATE_DOCUMENTS").is_some() {
        std::fs::write(&file, expected).unwrap();
    }
    let found = std::fs::read_to_string(&file).unwrap_or_default();
    assert!(
        found == expected,
        "docs/{name} is out of date; run UPDATE_DOCUMENTS=1 cargo test --test configuration"
    );
}

#[test]
fn the_published_schema_is_the_programs_own() {
    holds(
        "configuration.schema.json",
        &format!("{:#}\n", schema::configuration()),
    );
}

#[test]
fn the_reference_is_generated_from_the_programs_own_schema() {
    let schema = schema::configuration();
    let mut page = HEAD.to_owned();
    for name in ORDER {
        section(&mut page, name, &schema["properties"][name]);
    }
    let properties = schema["properties"].as_object().unwrap();
    assert_eq!(
        properties.len(),
        ORDER.len(),
        "a table is missing from ORDER"
    );
    holds("configuration.md", &page);
}

fn section(page: &mut String, path: &str, schema: &Value) {
    let description = schema["description"].as_str().unwrap_or_default();
    if path == "alarms" {
        let alarms: Vec<&str> = properties(schema)
            .map(|(alarm, _)| alarm.as_str())
            .collect();
        let _ = write!(
            page,
            "\n## `[alarms.<alarm>]`\n\n{}\n\nAlarms: {}.\n",
            one_line(description),
            alarms.join(", ")
        );
        return keys(page, "alarms", properties(schema).next().unwrap().1);
    }
    let array = schema["type"] == "array";
    let (open, close) = if array { ("[[", "]]") } else { ("[", "]") };
    let _ = write!(
        page,
        "\n## `{open}{path}{close}`\n\n{}\n",
        one_line(description)
    );
    keys(page, path, if array { &schema["items"] } else { schema });
}

fn keys(page: &mut String, path: &str, schema: &Value) {
    page.push_str("\n| key | allowed | default | meaning |\n|---|---|---|---|\n");
    let required: BTreeSet<&str> = schema["required"]
        .as_array()
        .into_iter()
        .flatten()
        .filter_map(Value::as_str)
        .collect();
    let mut nested = Vec::new();
    for (key, property) in properties(schema) {
        let default = match property.get("default") {
            Some(default) => format!("`{default}`"),
            None if required.contains(key.as_str()) => "needed".to_owned(),
            None => String::new(),
        };
        let allowed = describe(property).replace('|', "\\|");
        let meaning = one_line(property["description"].as_str().unwrap_or_default());
        let _ = writeln!(page, "| `{key}` | {allowed} | {default} | {meaning} |");
        let table = if property["type"] == "array" {
            &property["items"]
        } else {
            property
        };
        if table["properties"].is_object() {
            nested.push((format!("{path}.{key}"), property));
        }
    }
    for (path, property) in nested {
        section(page, &path, property);
    }
}

fn properties(schema: &Value) -> impl Iterator<Item = (&String, &Value)> {
    schema["properties"].as_object().into_iter().flatten()
}

fn one_line(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// Every key of the schema as a path; all alarms count as one.
fn paths(schema: &Value, at: &str, found: &mut BTreeSet<String>) {
    let schema = if schema["type"] == "array" {
        &schema["items"]
    } else {
        schema
    };
    for (key, property) in properties(schema) {
        let key = if at == "alarms" { "*" } else { key };
        let path = if at.is_empty() {
            key.to_owned()
        } else {
            format!("{at}.{key}")
        };
        paths(property, &path, found);
        found.insert(path);
    }
}

/// Every key that the text gives or, in a comment, shows.
fn shown(text: &str) -> BTreeSet<String> {
    let mut found = BTreeSet::new();
    let mut table = String::new();
    for line in text.lines() {
        let line = line.trim_start_matches(['#', ' ']);
        if line.starts_with('[') {
            let name = line.trim_start_matches('[').split(']').next().unwrap();
            table = if name.starts_with("alarms.") {
                "alarms.*".to_owned()
            } else {
                name.to_owned()
            };
            let parts: Vec<&str> = table.split('.').collect();
            found.extend((1..=parts.len()).map(|end| parts[..end].join(".")));
        } else if let Some((key, value)) = line.split_once(" = ") {
            found.insert(format!("{table}.{key}"));
            if let Some(inline) = value
                .strip_prefix('{')
                .and_then(|rest| rest.split('}').next())
            {
                for part in inline.split(',').filter_map(|part| part.split_once(" = ")) {
                    found.insert(format!("{table}.{key}.{}", part.0.trim()));
                }
            }
        }
    }
    found
}

#[test]
fn the_complete_example_shows_every_key() {
    let mut known = BTreeSet::new();
    paths(&schema::configuration(), "", &mut known);
    let shown = shown(COMPLETE);
    let missing: Vec<&String> = known.difference(&shown).collect();
    assert!(
        missing.is_empty(),
        "config/lauterd.toml does not show {missing:?}"
    );
    assert!(known.len() > 90, "the schema has only {} keys", known.len());
}

#[test]
fn the_complete_example_names_every_alarm_and_every_unit() {
    let schema = schema::configuration();
    for (alarm, _) in properties(&schema["properties"]["alarms"]) {
        assert!(COMPLETE.contains(alarm), "{alarm}");
    }
    let instrument = &schema["properties"]["instrument"]["items"]["properties"];
    for choice in ["unit", "measures"] {
        for name in instrument[choice]["enum"].as_array().unwrap() {
            assert!(COMPLETE.contains(name.as_str().unwrap()), "{name}");
        }
    }
}

fn examples() -> Vec<PathBuf> {
    let directory = std::fs::read_dir(Path::new(ROOT).join("config")).unwrap();
    directory
        .map(|entry| entry.unwrap().path())
        .filter(|file| {
            file.extension()
                .is_some_and(|extension| extension == "toml")
        })
        .collect()
}

#[test]
fn every_example_loads() {
    let mut configurations = 0;
    for file in examples() {
        let name = file.file_name().unwrap().to_string_lossy().into_owned();
        if name.contains("plan") {
            config::load_plan(&file).unwrap();
        } else {
            config::load_with(&file, &Surroundings::none())
                .unwrap_or_else(|errors| panic!("{errors}"));
            configurations += 1;
        }
    }
    assert!(configurations >= 2);
}
