//! A folder of brews replayed at once: the answers are those of one by one, and one table says how each came out.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use lauterd::store::Database;
use serde_json::Value;
use simulators::record::record;
use tempfile::TempDir;

use super::recorded::scenario;

/// Twenty minutes each of three brews, and what else lies about in a folder.
fn brews() -> TempDir {
    let directory = tempfile::tempdir().expect("a temporary directory");
    for (name, seed) in [("a", 1), ("b", 2), ("c", 3)] {
        let mut scenario = scenario("harbour-stout");
        scenario.run.longest_s = 1200.0;
        let brew = directory.path().join(name);
        record(&scenario, seed, &brew).expect("it is recorded");
    }
    fs::create_dir(directory.path().join("notes")).expect("a directory");
    fs::write(directory.path().join("README"), "not a brew").expect("written");
    directory
}

fn replay(arguments: &[&str], folder: &Path) -> Output {
    Command::new(env!("CARGO_BIN_EXE_lauterd"))
        .arg("replay")
        .args(arguments)
        .current_dir(folder)
        .output()
        .expect("the program starts")
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).expect("UTF-8")
}

fn summary(lines: &Path) -> Value {
    let text = fs::read_to_string(lines).expect("the lines are there");
    let last = text.lines().last().expect("a line");
    serde_json::from_str(last).expect("JSON")
}

#[test]
fn every_brew_gives_the_lines_it_gives_alone_and_a_row_of_the_table() {
    let folder = brews();
    let output = replay(&[".", "--results", "lines", "--jobs", "2"], folder.path());
    assert!(output.status.success(), "{}", text(&output.stderr));
    assert_eq!(
        text(&output.stderr),
        "",
        "no progress where there is no terminal"
    );
    let table = text(&output.stdout);
    let rows: Vec<&str> = table.lines().collect();
    assert_eq!(rows.len(), 4, "{table}");
    for (row, name) in rows[1..].iter().zip(["a", "b", "c"]) {
        let brew = |file: &str| PathBuf::from(name).join(file).display().to_string();
        let alone = replay(
            &[
                "--config",
                &brew("config.toml"),
                "--plan",
                &brew("plan.toml"),
                "--data",
                &brew("RUN.csv"),
                "--samples",
                &brew("samples.csv"),
            ],
            folder.path(),
        );
        let lines = folder.path().join(format!("lines/{name}.jsonl"));
        assert_eq!(
            fs::read(&lines).expect("the lines are there"),
            alone.stdout,
            "{name}"
        );
        let readings = summary(&lines)["readings"]
            .as_u64()
            .expect("a count")
            .to_string();
        assert!(row.starts_with(name) && row.contains(&readings), "{row}");
    }
}

#[test]
fn a_brew_that_cannot_be_replayed_spoils_no_other_and_is_named() {
    let folder = brews();
    fs::write(
        folder.path().join("b/RUN.csv"),
        "elapsed_s,runoff_flow\n0,oops\n",
    )
    .expect("written");
    let output = replay(&["."], folder.path());
    assert_eq!(output.status.code(), Some(65), "bad data");
    let table = text(&output.stdout);
    assert_eq!(table.lines().count(), 4, "{table}");
    assert!(
        table
            .lines()
            .nth(2)
            .is_some_and(|row| row.contains("could not be replayed")),
        "{table}"
    );
    let told = text(&output.stderr);
    assert!(
        told.contains("RUN.csv:2") && told.contains("1 of 3 brews"),
        "{told}"
    );
}

#[test]
fn a_recording_that_is_misnamed_is_told() {
    let folder = brews();
    let brew = folder.path().join("b");
    fs::rename(brew.join("RUN.csv"), brew.join("run.csv")).expect("renamed");
    let output = replay(&["."], folder.path());
    assert_eq!(output.status.code(), Some(66), "a file is missing");
    let told = text(&output.stderr);
    assert!(told.contains("b/RUN.csv"), "{told}");
}

#[test]
fn a_recording_that_breaks_off_leaves_earlier_results_as_they_are_and_no_half_ones() {
    let folder = brews();
    let recording = folder.path().join("b/RUN.csv");
    let lines = folder.path().join("lines");
    let names = || {
        let mut names: Vec<_> = fs::read_dir(&lines)
            .expect("a directory")
            .map(|entry| entry.expect("an entry").file_name())
            .collect();
        names.sort();
        names
    };
    assert!(
        replay(&[".", "--results", "lines"], folder.path())
            .status
            .success()
    );
    let (before, all) = (fs::read(lines.join("b.jsonl")).expect("lines"), names());
    let broken = fs::read_to_string(&recording).expect("a recording") + "oops\n";
    fs::write(&recording, broken).expect("written");
    let output = replay(&[".", "--results", "lines"], folder.path());
    assert_eq!(output.status.code(), Some(65), "bad data");
    assert_eq!(fs::read(lines.join("b.jsonl")).expect("lines"), before);
    assert_eq!(names(), all);
}

#[test]
fn a_folder_without_a_brew_is_named() {
    let folder = tempfile::tempdir().expect("a temporary directory");
    let output = replay(&["."], folder.path());
    assert_eq!(output.status.code(), Some(65));
    assert!(
        text(&output.stderr).contains("RUN.csv"),
        "{}",
        text(&output.stderr)
    );
    let output = replay(&["gone"], folder.path());
    assert_eq!(output.status.code(), Some(66), "{}", text(&output.stderr));
}

#[test]
fn brews_of_a_folder_teach_a_tun_one_after_the_other() {
    let folder = brews();
    for name in ["a", "b", "c"] {
        let plan = folder.path().join(name).join("plan.toml");
        let text = fs::read_to_string(&plan).expect("a plan");
        assert!(text.contains("brew = \"2026-0412\""), "{text}");
        let own = text.replace("brew = \"2026-0412\"", &format!("brew = \"{name}\""));
        fs::write(&plan, own).expect("written");
    }
    let output = replay(&[".", "--store", "store", "--jobs", "2"], folder.path());
    assert!(output.status.success(), "{}", text(&output.stderr));
    let database = Database::open_read_only(&folder.path().join("store")).expect("a record");
    let tuns = database.tuns().expect("the tuns");
    let mut brews = database.brews(tuns[0].0).expect("the brews");
    brews.sort_by_key(|brew| brew.id);
    let names: Vec<&str> = brews
        .iter()
        .map(|brew| brew.header.plan.brew.as_str())
        .collect();
    assert_eq!(names, ["a", "b", "c"]);
}
