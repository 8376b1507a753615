//! What is past: brews, table, lines, alarms and export, against the store's own answers.

use std::fs;

use lauter_core::supervisor::{AlarmLine, Line, TableLine};
use lauterd::store::{Brew, Keep};

use crate::brewhouse::{BREW, Brewhouse, SITE, TUN};

/// The recorded brew's name in an address.
const ENCODED: &str = "2026%20%230412%20S%C3%BCd";

fn brew(house: &Brewhouse) -> Brew {
    house
        .wait(house.store.read(|database| {
            let tun = database.find_tun(SITE, TUN)?.expect("the tun");
            Ok(database.find_brew(tun, BREW)?.expect("the brew"))
        }))
        .unwrap()
}

#[test]
fn brews_are_listed_newest_first_with_their_summary() {
    let house = Brewhouse::new();
    let newer = serde_json::to_string(&crate::invented::plan("2026-0413")).unwrap();
    assert_eq!(house.post("/brew", &newer).status, 201);
    let listed = house.get("/brews").json();
    assert_eq!(listed["total"], 2);
    assert_eq!(listed["brews"][0]["brew"], "2026-0413");
    assert_eq!(listed["brews"][0]["ended"], serde_json::Value::Null);
    let finished = &listed["brews"][1];
    assert_eq!(finished["brew"], BREW);
    assert_eq!(finished["started"], "2026-04-23T12:00:00Z");
    assert_eq!(finished["elapsed_from"], "2026-04-23T11:59:30Z");
    assert_eq!(finished["ended"], "2026-04-23T13:30:00Z");
    assert_eq!(finished["summary"]["stop_cause"], "target-gravity");
    assert_eq!(*finished, house.get(&format!("/brews/{ENCODED}")).json());
    let short = house.get("/brews?limit=1").json();
    assert_eq!(
        (
            short["total"].as_u64(),
            short["brews"].as_array().unwrap().len()
        ),
        (Some(2), 1)
    );
}

#[test]
fn table_lines_and_alarms_are_those_of_the_record() {
    let house = Brewhouse::new();
    let id = brew(&house).id;
    let (table, lines, alarms) = house
        .wait(
            house
                .store
                .read(move |db| Ok((db.table(id)?, db.lines(id)?, db.alarms(id)?))),
        )
        .unwrap();
    let get = |what: &str| house.get(&format!("/brews/{ENCODED}/{what}")).json();
    let served: Vec<TableLine> = serde_json::from_value(get("table")).unwrap();
    assert_eq!((served.len(), &served), (2, &table));
    let served: Vec<Line> = serde_json::from_value(get("lines")).unwrap();
    assert_eq!(
        served,
        lines.into_iter().map(|(_, line)| line).collect::<Vec<_>>()
    );
    assert_eq!(get("lines")[1]["kind"], "alarm");
    let served: Vec<AlarmLine> = serde_json::from_value(get("alarms")).unwrap();
    assert_eq!((served.len(), &served), (1, &alarms));
}

#[test]
fn every_exported_file_is_byte_for_byte_the_stores_own() {
    let house = Brewhouse::new();
    let (id, into) = (brew(&house).id, house.directory.path().join("export"));
    let target = into.clone();
    house
        .wait(house.store.read(move |db| db.export(id, &target)))
        .unwrap();
    let listed = house.get(&format!("/brews/{ENCODED}/export")).json();
    let mut names: Vec<String> = serde_json::from_value(listed["files"].clone()).unwrap();
    for name in &names {
        let reply = house.get(&format!("/brews/{ENCODED}/export/{name}"));
        assert_eq!(
            reply.body,
            fs::read_to_string(into.join(name)).unwrap(),
            "{name}"
        );
        assert!(
            reply
                .header("content-disposition")
                .unwrap()
                .contains(name.as_str())
        );
        let kind = reply.header("content-type").unwrap();
        let expected = match name.rsplit_once('.').unwrap().1 {
            "csv" => "text/csv",
            "toml" => "application/toml",
            _ => "application/jsonl",
        };
        assert!(kind.starts_with(expected), "{name} as {kind}");
    }
    let mut written: Vec<String> = fs::read_dir(&into)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    written.sort();
    assert_eq!(names, written);
}

#[test]
fn an_unknown_brew_or_file_is_named() {
    let house = Brewhouse::new();
    for path in [
        "",
        "/table",
        "/lines",
        "/alarms",
        "/export",
        "/export/RUN.csv",
    ] {
        let words = house.get(&format!("/brews/2020-0001{path}")).refused(404);
        assert!(words.contains("2020-0001"), "{words}");
    }
    for file in ["lauterd.sqlite3", "..%2Flauterd.sqlite3", "run.csv"] {
        let words = house
            .get(&format!("/brews/{ENCODED}/export/{file}"))
            .refused(404);
        assert!(
            words.contains("RUN.csv") && words.contains("table.csv"),
            "{words}"
        );
    }
}

#[test]
fn readings_past_their_time_are_gone_and_said_to_be() {
    let house = Brewhouse::new();
    let keep = Keep {
        readings_days: 1.0,
        brews_days: None,
    };
    for day in ["2027-12-30", "2027-12-31", "2028-01-01"] {
        let late = format!("{day}T00:00:00Z").parse().unwrap();
        house.wait(house.store.retention(late, keep)).unwrap();
    }
    let listed = house.get(&format!("/brews/{ENCODED}/export")).json();
    let names: Vec<String> = serde_json::from_value(listed["files"].clone()).unwrap();
    assert!(names.contains(&"samples.csv".to_owned()), "{names:?}");
    assert!(!names.contains(&"RUN.csv".to_owned()), "{names:?}");
    let words = house
        .get(&format!("/brews/{ENCODED}/export/RUN.csv"))
        .refused(410);
    assert!(
        words.contains(BREW) && words.contains("keep_readings_days"),
        "{words}"
    );
}

#[test]
fn the_alarms_report_and_trail_are_those_of_the_record() {
    let house = Brewhouse::new();
    let report = house.get(&format!("/alarms/report?brew={ENCODED}")).json();
    assert_eq!(report["brews"], serde_json::json!([BREW]));
    assert_eq!(report["performance"]["annunciated"], 1);
    assert_eq!(report["performance"]["watched_h"], 1.5);
    let trail = house.get(&format!("/alarms/trail?brew={ENCODED}")).json();
    assert_eq!(trail[0]["alarm"], "channelling");
    assert_eq!(trail[0]["time"], "2026-04-23T12:10:01Z");
    assert_eq!(trail[0]["who"], serde_json::Value::Null);
    let told = house.command(&["alarms", "report", "--brew", BREW]);
    assert!(told.done().contains("1 alarm in 1:30 h:min"), "{told:?}");
    let told = house.command(&["alarms", "trail", "--brew", BREW]);
    assert!(told.done().contains("2026-04-23 12:10"), "{told:?}");
    for what in ["report", "trail"] {
        let words = house
            .get(&format!("/alarms/{what}?brew=2020-0001"))
            .refused(404);
        assert!(words.contains("2020-0001"), "{words}");
    }
}
