//! The book is true: every page has its place in it, and every command of it is run.
//!
//! A block of commands is marked `sh` and nothing else; then all of it is run, line by line, in a house of its own: no network
//! but a loopback, a simulated brewhouse at the book's address, a service that watches it. What cannot be run says why in
//! the block's head: `sh,not-run,REASON`, with a reason that stands in `REASONS`. Its lines must still be commands that the
//! program knows.

#[path = "book/blocks.rs"]
mod blocks;
#[path = "book/house.rs"]
mod house;

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

use clap::CommandFactory as _;

use blocks::{Block, blocks, commands, words};
use house::House;

/// Why a block is not run; there is no other reason.
const REASONS: [(&str, &str); 5] = [
    (
        "installs",
        "changes the machine: packages, units, files of root",
    ),
    ("builds", "builds the program or runs its tests"),
    ("elsewhere", "needs a program or a host of the reader's"),
    ("hands", "asks a person at the instrument for values"),
    ("long", "takes many minutes"),
];

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// The pages whose commands are run: the book and the front page.
fn pages() -> BTreeMap<String, String> {
    let in_docs = fs::read_dir(root().join("docs")).unwrap();
    let in_docs = in_docs.map(|entry| entry.unwrap().path());
    let files: Vec<PathBuf> = in_docs
        .filter(|file| file.extension().is_some_and(|extension| extension == "md"))
        .chain(["README.md", "DEVELOPERS.md"].map(|name| root().join(name)))
        .collect();
    let read = |file: PathBuf| {
        let name = file.strip_prefix(root()).unwrap().display().to_string();
        (name, fs::read_to_string(file).unwrap())
    };
    files.into_iter().map(read).collect()
}

/// Whether a block is to be run, or what is wrong with its head.
fn is_run(block: &Block) -> Result<bool, String> {
    match block.marks.as_slice() {
        [] => Ok(true),
        [not_run, reason] if not_run == "not-run" => {
            let known = REASONS.iter().any(|(name, _)| name == reason);
            known.then_some(false).ok_or_else(|| {
                format!(
                    "{}: {reason:?} is no reason; known are {REASONS:?}",
                    block.place
                )
            })
        }
        other => Err(format!(
            "{}: {other:?} is unknown; say sh, or sh,not-run,REASON",
            block.place
        )),
    }
}

#[test]
fn every_block_of_commands_is_run_or_says_why_not() {
    let mut counts: BTreeMap<String, usize> = BTreeMap::new();
    let mut faults = Vec::new();
    for (name, text) in pages() {
        for block in blocks(&name, &text) {
            match is_run(&block) {
                Ok(true) => *counts.entry("run".to_owned()).or_default() += 1,
                Ok(false) => *counts.entry(block.marks[1].clone()).or_default() += 1,
                Err(fault) => faults.push(fault),
            }
        }
    }
    println!("blocks of commands: {counts:?}");
    assert_eq!(faults, Vec::<String>::new());
    assert!(counts["run"] > 20, "{counts:?}");
}

#[test]
fn a_block_with_an_unknown_mark_is_found() {
    for head in ["sh,skip", "sh,not-run", "sh,not-run,tired", "sh,long"] {
        let text = format!("```{head}\nlauterd status\n```\n");
        let found = blocks("made-up.md", &text);
        assert!(is_run(&found[0]).is_err(), "{head}");
    }
    assert!(blocks("made-up.md", "```toml\n[site]\n```\n").is_empty());
}

/// Lines of `lauterd` that are not run must at least be commands that it knows.
#[test]
fn commands_that_are_not_run_are_known_to_the_program() {
    let mut count = 0;
    for (name, text) in pages() {
        for block in blocks(&name, &text) {
            for line in commands(&block.text) {
                let words = words(&line);
                if words.first().is_none_or(|program| program != "lauterd") {
                    continue;
                }
                count += 1;
                let parsed = lauterd::cli::Arguments::command().try_get_matches_from(&words);
                assert!(
                    parsed.is_ok(),
                    "{}: {line}: {:?}",
                    block.place,
                    parsed.err()
                );
            }
        }
    }
    assert!(count > 40, "only {count} commands were found");
    let unknown =
        lauterd::cli::Arguments::command().try_get_matches_from(["lauterd", "brew", "stop"]);
    assert!(unknown.is_err());
}

#[test]
fn every_page_has_its_place_in_the_book_and_every_place_its_page() {
    let summary = fs::read_to_string(root().join("docs/SUMMARY.md")).unwrap();
    let named: BTreeSet<String> = summary
        .split("](")
        .skip(1)
        .filter_map(|rest| rest.split(')').next())
        .filter(|file| !file.is_empty())
        .map(str::to_owned)
        .collect();
    let there: BTreeSet<String> = pages()
        .into_keys()
        .filter_map(|name| name.strip_prefix("docs/").map(str::to_owned))
        .filter(|name| name != "SUMMARY.md")
        .collect();
    assert_eq!(named, there);
}

/// False, after a notice, where no house can be built; where the peers must be there, so must that be possible.
fn houses_can_be_built() -> bool {
    let possible = house::can_be_built();
    if let Err(why) = &possible {
        assert!(
            std::env::var_os("LAUTERD_PEERS").is_none(),
            "the book's commands cannot be run: {why}"
        );
        eprintln!("skipped: {why}");
    }
    possible.is_ok()
}

#[test]
fn a_command_that_does_not_work_is_found() {
    if !houses_can_be_built() {
        return;
    }
    let mut house = House::build(&[]);
    for line in [
        "lauterd brew stop",
        "lauterd check-config absent.toml",
        "no-such-program",
        "false | true",
    ] {
        assert!(house.run(line).is_err(), "{line}");
    }
    assert_eq!(house.run("lauterd check-config tun-1.toml"), Ok(()));
}

/// One page after the other, each in a house of its own.
#[test]
fn every_command_of_the_book_works() {
    if !houses_can_be_built() {
        return;
    }
    let only = std::env::var("LAUTERD_PAGE").ok();
    let mut count = 0;
    let mut faults = Vec::new();
    for (name, text) in pages() {
        if only
            .as_ref()
            .is_some_and(|only| !name.contains(only.as_str()))
        {
            continue;
        }
        let blocks = blocks(&name, &text);
        let run: Vec<&Block> = blocks
            .iter()
            .filter(|block| is_run(block) == Ok(true))
            .collect();
        if run.is_empty() {
            continue;
        }
        let mut house = House::build(&run);
        for block in run {
            for line in commands(&block.text) {
                count += 1;
                println!("{}: {line}", block.place);
                if let Err(words) = house.run(&line) {
                    faults.push(format!("{}: {line}\n{words}", block.place));
                }
            }
        }
    }
    println!("{count} commands were run");
    assert!(faults.is_empty(), "{}", faults.join("\n"));
    assert!(only.is_some() || count > 60, "only {count} commands");
}
