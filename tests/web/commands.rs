//! The commands as people type them: output, exit codes, and the words of what is refused.

use std::fs;
use std::io::{BufRead as _, BufReader};
use std::process::{Command, Stdio};

use crate::brewhouse::{BREW, Brewhouse, SITE, TUN};
use crate::command_line::{Outcome, lauterd};
use crate::invented::plan;

#[test]
fn a_brew_is_started_and_ended() {
    let house = Brewhouse::new();
    let plan = house.plan_file("2026-0413");
    let started = house.command(&["brew", "start", "--plan", &plan]);
    assert_eq!(started.done(), "north-yard/tun-1: brew 2026-0413 started\n");
    let again = house.command(&["brew", "start", "--plan", &plan]);
    assert!(
        again
            .failed(64)
            .contains("brew 2026-0413 is under way; end it first"),
        "{again:?}"
    );
    let ended = house.command(&["brew", "end"]);
    assert_eq!(ended.done(), "north-yard/tun-1: brew 2026-0413 ended\n");
    let none = house.command(&["brew", "end"]);
    assert!(none.failed(64).contains("no brew is under way"), "{none:?}");
}

#[test]
fn a_plan_is_checked_before_the_service_is_asked() {
    let missing = lauterd(&[
        "brew",
        "start",
        "--plan",
        "no-such-plan.toml",
        "--url",
        "http://127.0.0.1:1",
    ]);
    assert!(
        missing.failed(66).contains("no-such-plan.toml"),
        "{missing:?}"
    );
    let house = Brewhouse::new();
    let faulty = house.write("faulty.toml", "brew = \"x\"\ngrist_kg = 0\n");
    let refused = house.command(&["brew", "start", "--plan", faulty.to_str().unwrap()]);
    let words = refused.failed(65);
    assert!(
        words.contains("faulty.toml:2") && words.contains("target_gravity_p"),
        "{words}"
    );
    assert!(house.done().is_empty());
}

#[test]
fn what_the_tun_refuses_of_a_plan_is_data_at_fault() {
    let house = Brewhouse::new();
    let mut heavy = plan("2026-0413");
    heavy.grist_kg = 9000.0;
    let file = house.write("heavy.toml", &toml::to_string(&heavy).unwrap());
    let refused = house.command(&["brew", "start", "--plan", file.to_str().unwrap()]);
    assert!(
        refused.failed(65).contains("more than the tun holds"),
        "{refused:?}"
    );
}

#[test]
fn an_earlier_record_is_replaced_only_when_asked_for() {
    let house = Brewhouse::new();
    let plan = house.plan_file(BREW);
    let refused = house.command(&["brew", "start", "--plan", &plan]);
    assert!(refused.failed(64).contains("--replace"), "{refused:?}");
    house
        .command(&["brew", "start", "--plan", &plan, "--replace"])
        .done();
    assert_eq!(house.done(), [format!("start {BREW}")]);
}

#[test]
fn the_table_is_aligned_in_the_brewers_order_with_units() {
    let house = Brewhouse::new();
    let expected = "\
brew 2026 #0412 Süd (Harbour Stout), started 2026-04-23 12:00, target 12.40 °P in 5200 L

 time  runnings  runnings  kettle  kettle   flow  pressure drop
h:min        °P        pH       L      °P  L/min            kPa
 0:10     18.04      5.36     602   17.90   60.1           1.02
 0:20         –      5.36    1202   17.90   60.1           1.02
";
    assert_eq!(house.command(&["brew", "table"]).done(), expected);
    assert_eq!(house.command(&["brew", "table", BREW]).done(), expected);
    let json = house.command(&["brew", "table", "--json"]);
    let rows: serde_json::Value = serde_json::from_str(json.done()).unwrap();
    assert_eq!(rows[0]["kettle_volume_l"], 602.1);
    let unknown = house.command(&["brew", "table", "2020-0001"]);
    assert!(
        unknown.failed(64).contains("no brew 2020-0001"),
        "{unknown:?}"
    );
}

#[test]
fn the_list_shows_each_brew_with_its_outcome() {
    let house = Brewhouse::with_tuns(&[TUN, "tun-2"]);
    let list = house.command(&["brew", "list", "--tun", "north-yard/tun-1"]);
    assert_eq!(
        list.done(),
        "\
brew            recipe         started           ended             stop-point  kettle  extract  brew length
                                                                            L      °P       kg         L/kg
2026 #0412 Süd  Harbour Stout  2026-04-23 12:00  2026-04-23 13:30        5184   12.40      657         5.29
"
    );
    let none = house.command(&["brew", "list", "--tun", "north-yard/tun-2"]);
    assert_eq!(
        none.done(),
        "north-yard/tun-2 has no brew in its record yet.\n"
    );
    let empty = house.command(&["brew", "table", "--tun", "north-yard/tun-2"]);
    assert!(
        empty.failed(64).contains("no brew in its record yet"),
        "{empty:?}"
    );
}

#[test]
fn an_export_writes_the_stores_files() {
    let house = Brewhouse::new();
    let into = house.directory.path().join("made/for/it");
    let exported = house.command(&["brew", "export", BREW, "--into", into.to_str().unwrap()]);
    let page = exported.done();
    let own = house.directory.path().join("own");
    let target = own.clone();
    house
        .wait(house.store.read(move |database| {
            let tun = database.find_tun(SITE, TUN)?.expect("the tun");
            let brew = database.find_brew(tun, BREW)?.expect("the brew");
            database.export(brew.id, &target)
        }))
        .unwrap();
    for entry in fs::read_dir(&own).unwrap() {
        let name = entry.unwrap().file_name();
        let (theirs, ours) = (
            fs::read(own.join(&name)).unwrap(),
            fs::read(into.join(&name)),
        );
        assert_eq!(ours.unwrap(), theirs, "{name:?}");
        assert!(page.contains(name.to_str().unwrap()), "{page}");
    }
    let blocked = house.write("blocked", "a file where a directory should be");
    let failed = house.command(&["brew", "export", BREW, "--into", blocked.to_str().unwrap()]);
    assert!(failed.failed(74).contains("blocked"), "{failed:?}");
}

#[test]
fn a_sample_is_taken_or_refused_in_the_services_words() {
    let house = Brewhouse::new();
    house
        .command(&["brew", "start", "--plan", &house.plan_file("7")])
        .done();
    let taken = house.command(&[
        "sample",
        "--place",
        "runnings",
        "--gravity",
        "6.2",
        "--ph",
        "5.61",
    ]);
    assert_eq!(
        taken.done(),
        "north-yard/tun-1: sample 1 of the runnings (6.20 °P, pH 5.61) taken\n"
    );
    let wrong = house.command(&["sample", "--place", "kettle", "--gravity", "-2"]);
    assert!(
        wrong
            .failed(65)
            .contains("gravity_p is -2 °P; allowed is 0 to 35 °P"),
        "{wrong:?}"
    );
    for arguments in [
        vec!["sample", "--place", "kettle"],
        vec!["sample", "--gravity", "12"],
        vec!["sample", "--place", "mash", "--gravity", "12"],
        vec!["sample", "--place", "kettle", "--gravity", "NaN"],
        vec!["sample", "--place", "kettle", "--ph", "5,4"],
    ] {
        assert_eq!(house.command(&arguments).code, Some(64), "{arguments:?}");
    }
    assert_eq!(house.done().len(), 2);
}

#[test]
fn alarms_are_operated_by_name() {
    let house = Brewhouse::new();
    let who = ["--who", "shift brewer"];
    let shelve = [
        "alarms",
        "shelve",
        "instrument-fault",
        "--instrument",
        "runnings ph&x=1",
        "--minutes",
        "30",
        "--reason",
        "probe in buffer",
    ];
    let shelved = house.command(&[&shelve[..], &who].concat());
    let expected =
        "north-yard/tun-1: alarm instrument-fault of runnings ph&x=1 shelved for 30 min\n";
    assert_eq!(shelved.done(), expected);
    for action in ["acknowledge", "unshelve", "return-to-service"] {
        house
            .command(&[&["alarms", action, "stuck-bed"], &who[..]].concat())
            .done();
    }
    let out = ["alarms", "out-of-service", "stuck-bed", "--reason", "trial"];
    house.command(&[&out[..], &who].concat()).done();
    assert_eq!(
        house.done(),
        [
            "instrument-fault Some(\"runnings ph&x=1\") shift brewer Shelve { minutes: 30.0, reason: \"probe in buffer\" }",
            "stuck-bed None shift brewer Acknowledge",
            "stuck-bed None shift brewer Unshelve",
            "stuck-bed None shift brewer ReturnToService",
            "stuck-bed None shift brewer OutOfService { reason: \"trial\" }",
        ]
    );
    let state = house.command(&[&["alarms", "acknowledge", "turbid-runnings"], &who[..]].concat());
    assert!(state.failed(64).contains("is in state normal"), "{state:?}");
    let unknown = house.command(&[&["alarms", "acknowledge", "boil-over"], &who[..]].concat());
    assert!(unknown.failed(64).contains("channelling"), "{unknown:?}");
    let nobody = house.command(&["alarms", "acknowledge", "stuck-bed"]);
    assert!(nobody.failed(64).contains("--who"), "{nobody:?}");
}

#[test]
fn the_status_shows_the_run_off_with_units_and_the_advice_of_alarms() {
    let house = Brewhouse::new();
    let idle = house.command(&["status"]);
    assert!(idle.done().contains("no brew under way"), "{idle:?}");
    house
        .command(&["brew", "start", "--plan", &house.plan_file("7")])
        .done();
    let expected = "\
north-yard/tun-1 at 2026-04-23T12:00:00.000Z
brew 7 (Harbour Stout)
phase           first wort, 0:40 h:min
runnings        12.35 ± 0.05 °P, pH –, 75.2 °C
flow            60.1 L/min
pressure drop   1.02 kPa
kettle          2412 L, 17.92 ± 0.04 °P, extract 512 kg
if stopped now  top up with 1142 L of liquor to 3554 L, 3.63 L/kg
target gravity at 5180 L (5000 to 5360), 1:26 h:min (1:23 to 1:29) (90 % bands)
stop-point by gravity floor at 5000 L, 1:23 h:min; then 120 L of liquor, to 5120 L
This is advice: the kettle's hard-wired high-level trip stands.

HIGH channelling, unacknowledged: Resistance fell by 30 % in 3 min
  Slow down, then rake gently

runnings_gravity  12.345  degP
kettle_gravity         –  degP  failure, link lost
";
    assert_eq!(house.command(&["status"]).done(), expected);
    let json = house.command(&["status", "--json"]);
    let all: serde_json::Value = serde_json::from_str(json.done()).unwrap();
    assert_eq!(all[0]["runoff"]["phase"], "first-wort");
}

/// Runs a command whose reader goes away after the first line, as `head -1` does.
fn read_by_one_who_leaves(arguments: &[&str]) -> Outcome {
    let mut child = Command::new(env!("CARGO_BIN_EXE_lauterd"))
        .args(arguments)
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the binary runs");
    let mut first = String::new();
    let out = child.stdout.take().expect("it is piped");
    BufReader::new(out).read_line(&mut first).expect("a line");
    assert!(!first.is_empty());
    child.wait_with_output().expect("it ends").into()
}

#[test]
fn a_reader_that_goes_away_ends_a_command_quietly() {
    let house = Brewhouse::new();
    let url = format!("http://{}", house.address);
    let mut commands = vec![vec!["status", "--url", &url], vec!["calc", "--help"]];
    if cfg!(feature = "demo") {
        commands.push(vec!["demo", "--speed", "600"]);
    }
    for arguments in commands {
        let outcome = read_by_one_who_leaves(&arguments);
        assert_eq!(outcome.code, Some(0), "{arguments:?}: {outcome:?}");
        assert!(!outcome.err.contains("panicked"), "{outcome:?}");
    }
}
