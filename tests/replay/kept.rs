//! What `--store` keeps, and that it changes no answer of the brew itself.

use lauterd::store::{Database, TunId};

use super::recorded::{Recorded, scenario};

fn open(recorded: &Recorded) -> (Database, TunId) {
    let mut database = Database::open(&recorded.path("new/store")).expect("a store");
    let tun = database.tun("orchard", "tun-1").expect("the tun");
    (database, tun)
}

#[test]
fn a_store_is_made_and_keeps_the_brew_with_its_lines() {
    let recorded = Recorded::of("orchard-ale-channel");
    let without = recorded.replay().text();
    let with = recorded.replay().with("--store", "new/store").text();
    assert_eq!(with, without, "keeping a brew changes no answer of it");
    let (database, tun) = open(&recorded);
    let brews = database.brews(tun).expect("brews");
    assert_eq!(brews.len(), 1);
    assert_eq!(brews[0].header.plan.brew, "2026-0077");
    let summary = brews[0]
        .finished
        .as_ref()
        .expect("it ended")
        .summary
        .clone();
    assert!(summary.expect("a summary").stop_volume_l.is_some());
    let exported = recorded.path("export");
    database.export(brews[0].id, &exported).expect("files");
    assert_eq!(recorded.read("export/lines.jsonl"), without);
}

#[test]
fn a_kept_brew_exported_and_replayed_gives_the_same_lines() {
    let recorded = Recorded::of("orchard-ale-channel");
    let replay = recorded.replay().with("--samples", "samples.csv");
    let first = replay.with("--store", "new/store").text();
    let (database, tun) = open(&recorded);
    let brew = database.brews(tun).expect("brews")[0].id;
    database
        .export(brew, &recorded.path("export"))
        .expect("files");
    let again = recorded
        .replay()
        .data("export/RUN.csv")
        .with("--samples", "export/samples.csv")
        .text();
    assert_eq!(again, first);
}

#[test]
fn a_brew_of_the_same_name_replaces_its_record_and_another_is_added() {
    let recorded = Recorded::of("orchard-ale-channel");
    let replay = recorded.replay().with("--store", "new/store");
    replay.text();
    replay.text();
    let names = || {
        let (database, tun) = open(&recorded);
        let brews = database.brews(tun).expect("brews");
        let name = |brew: &lauterd::store::Brew| brew.header.plan.brew.clone();
        let mut names: Vec<_> = brews.iter().map(name).collect();
        names.sort();
        names
    };
    assert_eq!(names(), ["2026-0077"]);
    let mut next = scenario("orchard-ale-channel");
    next.plan.brew = "2026-0078".to_owned();
    recorded.write("plan.toml", &simulators::lauterd_files::plan(&next));
    replay.text();
    assert_eq!(names(), ["2026-0077", "2026-0078"]);
}

#[test]
fn replays_from_equal_stores_are_byte_identical() {
    let recorded = Recorded::of("orchard-ale-channel");
    let texts = ["first", "second"].map(|store| {
        let replay = recorded.replay().with("--store", store);
        (replay.text(), replay.text())
    });
    assert_eq!(texts[0], texts[1]);
}
