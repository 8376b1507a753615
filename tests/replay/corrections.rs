//! Corrections beside a recording: they change the answers, and the record of them gives the same answers again.

use lauterd::store::Database;

use super::recorded::{Recorded, scenario};

const CORRECTIONS: &str = r#"{"elapsed_s":0.0,"instrument":"runnings_density","correction":{"version":1,"rule":{"method":"line","slope":1.0,"offset":-1.5}},"who":"engineer"}
{"elapsed_s":0.0,"instrument":"runnings_ph","correction":{"version":3,"rule":{"method":"electrode","offset_mv":12.0,"slope_percent":96.0}},"who":"engineer"}
{"elapsed_s":2400.5,"instrument":"runnings_density","correction":{"version":2,"rule":{"method":"line","slope":1.001,"offset":-2.0}},"who":"engineer"}
{"elapsed_s":3000.0,"instrument":"runnings_ph","correction":null,"who":"engineer"}
"#;

fn recorded() -> Recorded {
    let recorded = Recorded::scenario(&scenario("orchard-ale-channel"));
    recorded.write("corrections.jsonl", CORRECTIONS);
    recorded
}

#[test]
fn a_corrected_brew_kept_exported_and_replayed_gives_the_same_lines() {
    let recorded = recorded();
    let plain = recorded.replay().text();
    let replay = recorded.replay().with("--corrections", "corrections.jsonl");
    let corrected = replay.with("--store", "new/store").text();
    assert_ne!(corrected, plain, "a correction changes what is answered");
    let mut database = Database::open(&recorded.path("new/store")).expect("a store");
    let tun = database.tun("orchard", "tun-1").expect("the tun");
    let brew = database.brews(tun).expect("brews")[0].id;
    database
        .export(brew, &recorded.path("export"))
        .expect("files");
    let exported = || recorded.replay().data("export/RUN.csv");
    let again = exported().with("--corrections", "export/corrections.jsonl");
    assert_eq!(again.text(), corrected);
    // The recording holds the readings as they came.
    assert_eq!(exported().text(), plain);
}

#[test]
fn an_uncorrected_brew_exports_an_empty_file_that_changes_nothing() {
    let recorded = recorded();
    let plain = recorded.replay().with("--store", "new/store").text();
    let mut database = Database::open(&recorded.path("new/store")).expect("a store");
    let tun = database.tun("orchard", "tun-1").expect("the tun");
    let brew = database.brews(tun).expect("brews")[0].id;
    database
        .export(brew, &recorded.path("export"))
        .expect("files");
    assert_eq!(recorded.read("export/corrections.jsonl"), "");
    let again = recorded
        .replay()
        .with("--corrections", "export/corrections.jsonl");
    assert_eq!(again.text(), plain);
}

#[test]
fn a_fault_in_the_file_is_named_with_its_line() {
    let recorded = recorded();
    for (text, expected) in [
        (
            CORRECTIONS.replace("runnings_ph", "nothing"),
            ":2: there is no instrument \"nothing\"",
        ),
        (
            CORRECTIONS.replacen("\"elapsed_s\":2400.5", "\"elapsed\":1", 1),
            ":3: ",
        ),
    ] {
        recorded.write("corrections.jsonl", &text);
        let output = recorded
            .replay()
            .with("--corrections", "corrections.jsonl")
            .output();
        let errors = String::from_utf8_lossy(&output.stderr);
        assert_eq!(output.status.code(), Some(65), "{errors}");
        assert!(errors.contains(expected), "{errors}");
    }
}
