//! The tun's profile: shown, exported and reset over the interface and by the command.

use lauter_core::profile::{BedLesson, BrewLesson, Quality, StopLesson, WashoutLesson};

use crate::brewhouse::{BREW, Brewhouse, SITE, TUN};
use crate::command_line::lauterd;
use crate::http;

fn lesson() -> BrewLesson {
    BrewLesson {
        brew: BREW.to_owned(),
        recipe: "Harbour Stout".to_owned(),
        grist_kg: 980.0,
        target_gravity_p: 12.4,
        planned_l_per_kg: 5.2,
        planned_first_wort_p: None,
        washout: WashoutLesson {
            first_wort_gravity_p: 18.0,
            breakthrough_l_per_kg: 2.5,
            sharpness: 18.0,
            decline: 2.3,
            bend: 0.2,
        },
        stop: Some(StopLesson {
            volume_l_per_kg: 5.1,
            extract_kg_per_kg: 0.65,
        }),
        bed: BedLesson::default(),
        ph: None,
        quality: Quality {
            target_reached: true,
            flowing_s: 5400.0,
            ..Quality::default()
        },
    }
}

/// The recorded brew teaches.
fn taught() -> Brewhouse {
    let house = Brewhouse::new();
    let learnt = house.store.run(|database| {
        let tun = database.find_tun(SITE, TUN)?.expect("the tun");
        let brew = database.find_brew(tun, BREW)?.expect("the brew");
        database.learn(tun, brew.id, &lesson(), brew.header.started)
    });
    assert!(house.wait(learnt).unwrap().accepted);
    house
}

fn configuration(house: &Brewhouse) -> String {
    let text = include_str!("../../config/minimal.toml");
    let mut table: toml::Table = text.parse().unwrap();
    let set = |table: &mut toml::Table, section: &str, key: &str, value: &str| {
        let section = table
            .entry(section)
            .or_insert_with(|| toml::Table::new().into());
        let section = section.as_table_mut().unwrap();
        section.insert(key.to_owned(), value.into());
    };
    set(&mut table, "site", "name", SITE);
    set(&mut table, "tun", "name", TUN);
    set(&mut table, "web", "listen", &house.address.to_string());
    set(
        &mut table,
        "store",
        "directory",
        &house.directory.path().display().to_string(),
    );
    let path = house.write("tun.toml", &toml::to_string(&table).unwrap());
    path.display().to_string()
}

#[test]
fn before_any_lesson_the_profile_is_empty() {
    let house = Brewhouse::new();
    let known = house.get("/profile").json();
    assert_eq!(known["version"], serde_json::Value::Null);
    assert_eq!(known["figures"]["accepted"], 0);
}

#[test]
fn what_a_brew_taught_is_shown_and_a_reset_forgets_it_but_keeps_the_version() {
    let house = taught();
    let known = house.get("/profile").json();
    assert_eq!(known["version"], 1);
    assert_eq!(known["profile"]["lessons"][0]["brew"], BREW);
    assert_eq!(known["figures"]["extract_kg_per_kg"]["median"], 0.65);
    let path = format!("/api/v1/tuns/{SITE}/{TUN}/profile");
    let reset = http::request(house.address, "DELETE", &path, &[], "");
    assert_eq!(reset.json()["version"], 2);
    assert_eq!(house.get("/profile").json()["figures"]["accepted"], 0);
}

#[test]
fn the_command_reads_beside_the_service_and_resets_through_it() {
    let house = taught();
    let config = configuration(&house);
    let tun = |command: &str| lauterd(&["tun", command, "--config", &config]);
    let shown = tun("show");
    let page = shown.done();
    assert!(
        page.contains("brews that teach: 1") && page.contains("65.0"),
        "{page}"
    );
    assert!(
        page.contains("teaches: nothing speaks against it"),
        "{page}"
    );
    let exported: serde_json::Value = serde_json::from_str(tun("export").done()).unwrap();
    assert_eq!(exported, house.get("/profile").json());
    assert!(tun("reset").done().contains("version 2"));
    let history = tun("history");
    let rows: Vec<&str> = history.done().lines().collect();
    assert!(
        rows[1].contains("reset") && rows[2].contains(BREW),
        "{rows:?}"
    );
}

#[test]
fn without_a_configuration_or_a_record_the_command_says_what_is_missing() {
    assert!(lauterd(&["tun", "show"]).failed(64).contains("--config"));
    let house = Brewhouse::new();
    let config = configuration(&house);
    let nowhere = house.directory.path().join("nowhere").display().to_string();
    let missing = lauterd(&["tun", "show", "--config", &config, "--store", &nowhere]);
    assert!(missing.failed(66).contains("nowhere"));
}
