//! The invariants of the layout: who may name whom, what the core may touch, where clocks are read.
//!
//! Each rule stands in `rules` and is tried twice: on the repository, and on a made-up source that breaks it, so
//! that a rule that has gone blind is noticed. Code that only tests are built with is free of all but the
//! length limit.

#[path = "architecture/rules.rs"]
mod rules;
#[path = "architecture/source.rs"]
mod source;
#[path = "architecture/text.rs"]
mod text;

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;
use std::process::Command;

use source::Source;

const CORE: &str = "src/core/src";

/// Where a clock may be read besides src/clock.rs, and why it is no reading's time.
const CLOCK_EXCEPTIONS: [(&str, &str); 4] = [
    ("src/clock.rs", "the one clock"),
    (
        "src/ingest/modbus/exchange.rs",
        "the pause that a bus needs between two telegrams, for a timer of the async runtime",
    ),
    (
        "src/ingest/modbus/limit.rs",
        "by when a request must be answered, for a timer of the async runtime",
    ),
    (
        "src/ingest/modbus/transport.rs",
        "how long a serial line has been quiet, for a timer of the async runtime",
    ),
];

/// Longer files, and why they are still one idea.
const LENGTH_EXCEPTIONS: [(&str, &str); 0] = [];

const TOP_LEVEL: [&str; 17] = [
    ".cargo",
    ".ci",
    ".gitignore",
    "Cargo.lock",
    "Cargo.toml",
    "DEVELOPERS.md",
    "LICENSE-APACHE",
    "LICENSE-MIT",
    "README.md",
    "benches",
    "config",
    "docs",
    "fuzz",
    "simulators",
    "src",
    "systemd",
    "tests",
];

fn repository() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn core() -> Vec<Source> {
    source::sources(repository(), CORE, &[])
}

fn shell() -> Vec<Source> {
    source::sources(repository(), "src", &["src/core"])
}

fn assert_none(rule: &str, found: &[String]) {
    assert!(found.is_empty(), "{rule}:\n  {}", found.join("\n  "));
}

/// A made-up file of the core or the shell.
fn made_up(file: &str, content: &str) -> Vec<Source> {
    let root = if file.starts_with(CORE) { CORE } else { "src" };
    vec![Source::of(root, file, content)]
}

#[test]
fn each_module_of_the_core_names_only_those_above_it() {
    let core = core();
    assert!(core.len() > 30, "only {} files were found", core.len());
    assert_none("a module names one below it", &rules::core_order(&core));
}

#[test]
fn the_order_of_the_core_is_that_of_its_modules_on_disk() {
    let on_disk: BTreeSet<String> = core()
        .iter()
        .filter_map(|source| source.module.first().cloned())
        .collect();
    let unknown: Vec<&String> = on_disk
        .iter()
        .filter(|module| !rules::CORE_MODULES.contains(&module.as_str()))
        .collect();
    assert!(unknown.is_empty(), "{unknown:?} have no place in the order");
}

#[test]
fn a_module_that_names_one_below_it_is_found_however_it_is_written() {
    for (line, content) in [
        (1, "use crate::alarm::AlarmId;"),
        (1, "use crate::{bed, kettle::{Contents, Portion}, alarm};"),
        (2, "fn f() {\n    crate::alarm::definition(x)\n}"),
        (2, "use\n    super::super::alarm;"),
        (
            3,
            "/* crate::kettle */\n// nothing\nlet x = \"\\\"\"; crate::supervisor::f();",
        ),
        (
            1,
            "let quote = '\"'; crate::supervisor::f(); let other = '\"';",
        ),
        (
            3,
            "#[cfg(test)]\nmod tests { fn f() { g(\"}\") } }\nuse crate::alarm as other;",
        ),
        (2, "#[cfg(not(test))]\nuse crate::alarm;"),
    ] {
        let found = rules::core_order(&made_up("src/core/src/bed/porous.rs", content));
        assert_eq!(found.len(), 1, "{content}: {found:?}");
        assert!(
            found[0].starts_with(&format!("src/core/src/bed/porous.rs:{line}: ")),
            "{found:?}"
        );
    }
}

#[test]
fn what_a_module_may_name_is_not_found() {
    for content in [
        "use crate::units::Unit; use super::Bed; use crate::bed; use self::inner::Inner;",
        "// use crate::alarm;\n/* use /* crate::alarm */ crate::alarm */",
        "let text = \"crate::alarm\"; let raw = r#\"\"crate::alarm\"#; let c = '\\''; let l: &'static str = x;",
        "#[cfg(test)]\nuse crate::alarm;\n#[cfg(all(test, feature = \"x\"))]\nmod tests { use crate::alarm; }",
    ] {
        let found = rules::core_order(&made_up("src/core/src/bed/porous.rs", content));
        assert!(found.is_empty(), "{content}: {found:?}");
    }
    let strange = rules::core_order(&made_up("src/core/src/rakes.rs", ""));
    assert_eq!(
        strange,
        ["src/core/src/rakes.rs: module `rakes` has no place in the order"]
    );
}

#[test]
fn the_core_touches_nothing_but_its_arguments() {
    assert_none("the core is not pure", &rules::impure(&core()));
}

#[test]
fn impure_code_in_the_core_is_found() {
    for content in [
        "use std::fs;",
        "use std::{collections::BTreeMap, thread};",
        "let now = std::time::Instant::now();",
        "use std::time::{Duration, Instant as Clock};",
        "let t = SystemTime::now();",
        "tokio::spawn(f);",
        "use rand::Rng;",
        "println!(\"{x}\");",
        "let known = std::collections::HashMap::new();",
        "let path = ::std::env::args();",
    ] {
        let found = rules::impure(&made_up("src/core/src/bed.rs", content));
        assert!(!found.is_empty(), "{content}");
    }
    let pure = "use std::time::Duration; // tokio::spawn\nlet operand = strand; let rand = 1; std::collections::BTreeMap::new();";
    assert_eq!(
        rules::impure(&made_up("src/core/src/bed.rs", pure)),
        Vec::<String>::new()
    );
}

#[test]
fn the_core_is_built_from_arithmetic_alone() {
    let manifest = fs::read_to_string(repository().join("src/core/Cargo.toml")).unwrap();
    assert_none(
        "dependencies of the core",
        &rules::strange_dependencies(&manifest),
    );
    let bad = "[dependencies]\nserde = \"1\"\ntokio = \"1\"\n[build-dependencies]\ncc = \"1\"\n";
    assert_eq!(
        rules::strange_dependencies(bad),
        ["[build-dependencies]", "tokio"]
    );
}

#[test]
fn adapters_are_joined_by_the_runtime_and_the_commands_alone() {
    let shell = shell();
    assert!(shell.len() > 50, "only {} files were found", shell.len());
    assert_none("adapters see one another", &rules::adapters_joined(&shell));
}

#[test]
fn an_adapter_that_names_another_is_found() {
    let two = |content: &str| -> Vec<Source> {
        [
            ("src/ingest/modbus/link.rs", content),
            (
                "src/publish/mqtt/mod.rs",
                "use crate::broker; use super::super::clock;",
            ),
            ("src/store/mod.rs", ""),
            ("src/config/mod.rs", ""),
            (
                "src/runtime/mod.rs",
                "use crate::{ingest::modbus, publish::mqtt, store};",
            ),
        ]
        .into_iter()
        .flat_map(|(file, content)| made_up(file, content))
        .collect()
    };
    let clean = two("use crate::ingest::Intake; use super::plan; use crate::clock::Clock;");
    assert_eq!(rules::adapters_joined(&clean), Vec::<String>::new());
    for content in [
        "use crate::store::Store;",
        "use crate::publish::{mqtt::Topics};",
        "super::super::super::store::f();",
    ] {
        let found = rules::adapters_joined(&two(content));
        assert_eq!(found.len(), 1, "{content}: {found:?}");
    }
    let mut page = two("");
    page.extend(made_up("src/web/mod.rs", "use crate::store::Store;"));
    assert_eq!(rules::adapters_joined(&page), Vec::<String>::new());
    page.extend(made_up("src/store/page.rs", "use crate::web::serve;"));
    assert_eq!(rules::adapters_joined(&page).len(), 1);
    let mut shared = two("");
    shared.extend(made_up(
        "src/config/check.rs",
        "use crate::store; use crate::publish::mqtt;",
    ));
    assert_eq!(rules::adapters_joined(&shared).len(), 1);
}

#[test]
fn clocks_are_read_in_one_place() {
    let reads = rules::clock_reads(&shell());
    assert_none(
        "clocks are read elsewhere",
        &rules::but_for(&reads, &CLOCK_EXCEPTIONS),
    );
}

#[test]
fn a_clock_read_elsewhere_and_an_idle_exception_are_found() {
    for content in [
        "let now = Instant::now();",
        "jiff::Timestamp::now()",
        "let now = std::time::SystemTime::now();",
    ] {
        let reads = rules::clock_reads(&made_up("src/web/page.rs", content));
        assert_eq!(reads.len(), 1, "{content}");
        assert_eq!(rules::but_for(&reads, &[]).len(), 1);
        assert_eq!(
            rules::but_for(&reads, &[("src/web/page.rs", "")]),
            Vec::<String>::new()
        );
    }
    let idle = rules::but_for(&[], &[("src/web/page.rs", "")]);
    assert_eq!(idle, ["src/web/page.rs needs no exception any more"]);
    assert_eq!(
        rules::clock_reads(&made_up(
            "src/web/page.rs",
            "clock.now(); Clock::now(&clock);"
        )),
        []
    );
}

#[test]
fn every_queue_has_a_named_bound() {
    let shell = shell();
    assert!(shell.iter().any(|source| !source.queues.is_empty()));
    assert_none(
        "queues without a named bound",
        &rules::queues_without_a_named_bound(&shell),
    );
    for content in [
        "mpsc::unbounded_channel()",
        "fn f(observer: mpsc::UnboundedSender<u8>) {}",
        "let (a, b) = mpsc::channel(16);",
        "tokio::sync::mpsc::channel::<u8>(size)",
    ] {
        let found = rules::queues_without_a_named_bound(&made_up("src/web/page.rs", content));
        assert_eq!(found.len(), 1, "{content}: {found:?}");
    }
}

#[test]
fn no_source_file_is_longer_than_its_idea() {
    let mut files = Vec::new();
    source::collect(repository(), "src", &[], &mut files);
    source::collect(repository(), "simulators/src", &[], &mut files);
    assert!(files.len() > 100, "only {} files were found", files.len());
    let long: Vec<(String, String)> = files
        .into_iter()
        .filter_map(|file| {
            let lines = fs::read_to_string(repository().join(&file))
                .unwrap()
                .lines()
                .count();
            (lines > rules::LONGEST_FILE_LINES)
                .then(|| (file.clone(), format!("{file}: {lines} lines")))
        })
        .collect();
    assert_none(
        "files are too long",
        &rules::but_for(&long, &LENGTH_EXCEPTIONS),
    );
}

/// The first part of every path under version control; what is not is the developer's own business. Without git
/// (a source archive) everything but the products of a build.
fn top_level() -> BTreeSet<String> {
    let tracked = Command::new("git")
        .arg("-C")
        .arg(repository())
        .args(["ls-files", "--", "."])
        .output();
    match tracked {
        Ok(listed) if listed.status.success() => String::from_utf8(listed.stdout)
            .unwrap()
            .lines()
            .filter_map(|file| file.split('/').next().map(str::to_owned))
            .collect(),
        _ => fs::read_dir(repository())
            .unwrap()
            .map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned())
            .filter(|name| !["target", "lauterd-data"].contains(&name.as_str()))
            .collect(),
    }
}

fn strangers(top: &BTreeSet<String>) -> Vec<&String> {
    top.iter()
        .filter(|name| !TOP_LEVEL.contains(&name.as_str()))
        .collect()
}

#[test]
fn the_top_level_holds_only_what_the_map_names() {
    let top = top_level();
    assert!(top.contains("Cargo.toml"), "{top:?}");
    assert_eq!(strangers(&top), Vec::<&String>::new());
    let made_up = BTreeSet::from(["Cargo.toml".to_owned(), "notes.txt".to_owned()]);
    assert_eq!(strangers(&made_up), ["notes.txt"]);
}
