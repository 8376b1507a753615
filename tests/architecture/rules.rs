//! The invariants as functions from sources to findings. An empty list means that the rule is kept.

use std::collections::{BTreeMap, BTreeSet};

use crate::source::Source;

/// The core's modules; each may name only itself and those above it.
pub const CORE_MODULES: [&str; 12] = [
    "units",
    "reading",
    "calibration",
    "conditioning",
    "kettle",
    "bed",
    "washout",
    "projection",
    "detect",
    "alarm",
    "profile",
    "supervisor",
];

/// What would make the core's answers depend on more than its arguments. A path that begins so is refused.
const IMPURE_PATHS: [&str; 22] = [
    "tokio",
    "std::net",
    "std::fs",
    "std::env",
    "std::thread",
    "std::process",
    "std::io",
    "std::os",
    "std::time::Instant",
    "std::time::SystemTime",
    "std::time::UNIX_EPOCH",
    // Their order changes from run to run.
    "std::collections::HashMap",
    "std::collections::HashSet",
    "std::hash::RandomState",
    "rand",
    "rand_chacha",
    "fastrand",
    "getrandom",
    "jiff",
    "chrono",
    "tracing",
    "rusqlite",
];

/// Refused wherever it stands in a path.
const IMPURE_WORDS: [&str; 13] = [
    "Instant",
    "SystemTime",
    "HashMap",
    "HashSet",
    "println!",
    "eprintln!",
    "print!",
    "eprint!",
    "dbg!",
    "env!",
    "option_env!",
    "include_bytes!",
    "include_str!",
];

/// What the core may be built from: serialisation, error types, linear algebra and special functions.
pub const CORE_DEPENDENCIES: [&str; 6] = [
    "serde",
    "thiserror",
    "schemars",
    "libm",
    "nalgebra",
    "statrs",
];

/// Rooms of the shell that join adapters.
const JOINERS: [&str; 2] = ["runtime", "cli"];

/// The one adapter another may name, and why: the page shows the record, through the store's handle.
const ADMITTED: [(&str, &str); 1] = [("web", "store")];

/// Types whose `now` reads a clock.
const CLOCKS: [&str; 6] = [
    "Instant",
    "SystemTime",
    "Timestamp",
    "Zoned",
    "Utc",
    "Local",
];

pub const LONGEST_FILE_LINES: usize = 400;

/// Modules of the core that name one below them.
pub fn core_order(sources: &[Source]) -> Vec<String> {
    let place = |module: &str| CORE_MODULES.iter().position(|known| *known == module);
    let mut found = Vec::new();
    for source in sources {
        let Some(own) = source.module.first() else {
            continue;
        };
        let Some(own_place) = place(own) else {
            found.push(format!(
                "{}: module `{own}` has no place in the order",
                source.file
            ));
            continue;
        };
        for named in source.named.iter().filter(|named| named.path[0] == "crate") {
            let Some(other) = named.path.get(1).filter(|other| *other != "self") else {
                continue;
            };
            if place(other).is_none_or(|other_place| other_place > own_place) {
                found.push(format!(
                    "{}: `{own}` names `{}`",
                    source.at(named.line),
                    named.path.join("::")
                ));
            }
        }
    }
    found
}

/// Code that reads a clock, a file, a socket, the environment or chance, starts a thread, or writes to a terminal.
pub fn impure(sources: &[Source]) -> Vec<String> {
    let mut found = Vec::new();
    for source in sources {
        for named in &source.named {
            let path = named.path.join("::");
            let begins = |with: &&str| {
                path.strip_prefix(*with).is_some_and(|rest| {
                    rest.starts_with("::") || rest.is_empty() && named.path.len() > 1
                })
            };
            if IMPURE_PATHS.iter().any(begins)
                || named
                    .path
                    .iter()
                    .any(|word| IMPURE_WORDS.contains(&word.as_str()))
            {
                found.push(format!("{}: `{path}`", source.at(named.line)));
            }
        }
    }
    found
}

/// Dependencies of the core's manifest that are not on the list.
pub fn strange_dependencies(manifest: &str) -> Vec<String> {
    let manifest: toml::Table = manifest.parse().unwrap();
    let mut found: Vec<String> = ["build-dependencies", "target"]
        .iter()
        .filter(|table| manifest.contains_key(**table))
        .map(|table| format!("[{table}]"))
        .collect();
    let dependencies = manifest["dependencies"].as_table().unwrap();
    found.extend(
        dependencies
            .keys()
            .filter(|name| !CORE_DEPENDENCIES.contains(&name.as_str()))
            .cloned(),
    );
    found
}

/// The adapter a module path below the shell's root lies in.
fn adapter(module: &[String]) -> Option<String> {
    match module.first()?.as_str() {
        side @ ("ingest" | "publish") => Some(format!("{side}::{}", module.get(1)?)),
        room @ ("command" | "store" | "web") => Some(room.to_owned()),
        _ => None,
    }
}

/// Adapters that name one another, and rooms besides the joiners that name more than one.
pub fn adapters_joined(sources: &[Source]) -> Vec<String> {
    let adapters: BTreeSet<String> = sources
        .iter()
        .filter_map(|source| adapter(&source.module))
        .collect();
    let mut seen_by_room: BTreeMap<&str, BTreeSet<String>> = BTreeMap::new();
    let mut found = Vec::new();
    for source in sources {
        let Some(room) = source
            .module
            .first()
            .map(String::as_str)
            .filter(|room| !JOINERS.contains(room))
        else {
            continue;
        };
        let own = adapter(&source.module);
        for named in source.named.iter().filter(|named| named.path[0] == "crate") {
            let Some(other) = adapter(&named.path[1..]).filter(|other| adapters.contains(other))
            else {
                continue;
            };
            let admitted = own
                .as_ref()
                .is_some_and(|own| ADMITTED.contains(&(own, &other)));
            if own.as_ref().is_some_and(|own| *own != other) && !admitted {
                found.push(format!(
                    "{}: `{room}` names `{}`",
                    source.at(named.line),
                    named.path.join("::")
                ));
            } else if own.is_none() {
                seen_by_room.entry(room).or_default().insert(other);
            }
        }
    }
    for (room, seen) in seen_by_room {
        // `ingest` and `publish` themselves only hold what their adapters share.
        if seen.len() > 1 || matches!(room, "ingest" | "publish") {
            found.push(format!(
                "src/{room} sees {seen:?}; only {JOINERS:?} may join adapters"
            ));
        }
    }
    found
}

/// Where clocks are read.
pub fn clock_reads(sources: &[Source]) -> Vec<(String, String)> {
    let reads = |source: &Source| -> Vec<(String, String)> {
        let named = source.named.iter().filter(|named| {
            let mut ending = named.path.iter().rev();
            ending.next().is_some_and(|last| last == "now")
                && ending
                    .next()
                    .is_some_and(|clock| CLOCKS.contains(&clock.as_str()))
        });
        named
            .map(|named| {
                (
                    source.file.clone(),
                    format!("{}: `{}`", source.at(named.line), named.path.join("::")),
                )
            })
            .collect()
    };
    sources.iter().flat_map(reads).collect()
}

/// Queues without a bound, or with one that bears no name.
pub fn queues_without_a_named_bound(sources: &[Source]) -> Vec<String> {
    let mut found = Vec::new();
    for source in sources {
        for queue in &source.queues {
            let is_constant = queue
                .bound
                .chars()
                .all(|c| c.is_uppercase() || c.is_ascii_digit() || c == '_')
                && queue.bound.starts_with(char::is_uppercase);
            if !is_constant {
                found.push(format!(
                    "{}: bound `{}`",
                    source.at(queue.line),
                    queue.bound
                ));
            }
        }
        for named in &source.named {
            if named
                .path
                .last()
                .is_some_and(|last| last.to_lowercase().contains("unbounded"))
            {
                found.push(format!(
                    "{}: `{}`",
                    source.at(named.line),
                    named.path.join("::")
                ));
            }
        }
    }
    found
}

/// Findings that no exception covers, and exceptions that nothing needs any more.
pub fn but_for(found: &[(String, String)], exceptions: &[(&str, &str)]) -> Vec<String> {
    let excepted = |file: &str| exceptions.iter().any(|(known, _)| *known == file);
    let mut left: Vec<String> = found
        .iter()
        .filter(|(file, _)| !excepted(file))
        .map(|(_, finding)| finding.clone())
        .collect();
    let idle = exceptions
        .iter()
        .filter(|(known, _)| !found.iter().any(|(file, _)| file == known));
    left.extend(idle.map(|(known, _)| format!("{known} needs no exception any more")));
    left
}
