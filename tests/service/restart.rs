//! A service that was killed takes its brew up again.

use lauter_core::reading::Moment;
use lauter_core::supervisor::Event;
use lauterd::store::{Batch, BrewHeader, Database, DatedEvent};
use serde_json::Value;

use super::agreement::assert_replay_agrees;
use super::brewhouse::{Brewhouse, Site, flowing_at_once, set};
use super::program::Program;

fn kettle_l(status: &Value) -> Option<f64> {
    status.pointer("/runoff/kettle_volume_l")?.as_f64()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_brew_goes_on_after_the_service_was_killed_in_the_middle_of_it() {
    let brewhouse = Brewhouse::start(&flowing_at_once("harbour-stout"), 1.0, None).await;
    let site = brewhouse.site();
    site.configure(|_| ());
    let mut program = Program::start(&site).await;
    program.start_brew(&site).await;
    program
        .until_status("wort in the kettle", |status| {
            kettle_l(status).filter(|litres| *litres > 8.0)
        })
        .await;
    let sample = r#"{"place":"runnings","gravity_p":18.9}"#;
    let answer = program.post("/samples", ("application/json", sample)).await;
    assert!(matches!(answer.status, 200..300), "{}", answer.body);
    let before = program.status().await;
    program.kill();

    let mut program = Program::start(&site).await;
    let log = program.log();
    assert!(log.contains("was under way and goes on"), "{log}");
    let after = program
        .until_status("the run-off is known again", |status| {
            kettle_l(status).map(|_| status.clone())
        })
        .await;
    assert_eq!(after["brew"], before["brew"]);
    assert_eq!(after["plan"], before["plan"]);
    let (before_l, after_l) = (kettle_l(&before).unwrap(), kettle_l(&after).unwrap());
    // At most the second that was not yet on the disk is lost: 70 L/min of a flow that went on.
    assert!(after_l > before_l - 3.0, "{after_l} L after {before_l} L");
    let elapsed_s = |status: &Value| status["runoff"]["elapsed_s"].as_f64().expect("a time");
    assert!(elapsed_s(&after) >= elapsed_s(&before) - 2.0);
    let fuller_l = program
        .until_status("the kettle fills on", |status| {
            kettle_l(status).filter(|litres| *litres > 16.0)
        })
        .await;
    let true_l = brewhouse.handle.truth().kettle_volume_l;
    assert!(
        (fuller_l - true_l).abs() < 0.25 * true_l + 5.0,
        "{fuller_l} L, in truth {true_l} L"
    );
    let refused = program
        .post("/brew", ("application/toml", &site.plan()))
        .await;
    assert_eq!(refused.status, 409, "it is still the same brew");
    let ended = program.post("/brew/end", ("application/json", "")).await;
    assert_eq!(ended.status, 200, "{}", ended.body);
    assert_eq!(ended.json()["brew"], before["brew"]);

    // The record shows no seam: nothing twice, nothing missing.
    let (status, log) = program.end_by("TERM");
    assert_eq!(status.code(), Some(0), "{log}");
    assert_replay_agrees(&site);
}

#[tokio::test(flavor = "multi_thread")]
async fn an_ended_brew_is_not_taken_up_again() {
    let brewhouse = Brewhouse::start(&flowing_at_once("harbour-stout"), 1.0, None).await;
    let site = brewhouse.site();
    site.configure(|_| ());
    let mut program = Program::start(&site).await;
    program.start_brew(&site).await;
    let ended = program.post("/brew/end", ("application/json", "")).await;
    assert_eq!(ended.status, 200, "{}", ended.body);
    program.kill();
    let program = Program::start(&site).await;
    assert_eq!(program.status().await["brew"], Value::Null);
}

#[tokio::test(flavor = "multi_thread")]
async fn what_was_told_between_two_readings_is_not_told_again() {
    let brewhouse = Brewhouse::start(&flowing_at_once("harbour-stout"), 1.0, None).await;
    let site = brewhouse.site();
    site.configure(|table| {
        let instruments = table["instrument"].as_array_mut().expect("instruments");
        for instrument in instruments {
            let instrument = instrument.as_table_mut().expect("a table");
            set(instrument, "stale_after_s", 60.0);
            set(instrument, "modbus.every_ms", 8000);
        }
    });
    let mut program = Program::start(&site).await;
    program.start_brew(&site).await;
    let until_s = |at_s: f64| {
        move |status: &Value| {
            let elapsed_s = status.pointer("/runoff/elapsed_s")?.as_f64()?;
            (elapsed_s >= at_s).then_some(())
        }
    };
    program.until_status("a while", until_s(14.0)).await;
    // Some seconds after a reading, so that the last lines on the disk are younger than the last reading.
    program.kill();
    let mut program = Program::start(&site).await;
    program.until_status("a while more", until_s(25.0)).await;
    let ended = program.post("/brew/end", ("application/json", "")).await;
    assert_eq!(ended.status, 200, "{}", ended.body);
    let (status, log) = program.end_by("TERM");
    assert_eq!(status.code(), Some(0), "{log}");
    let count = assert_replay_agrees(&site);
    assert!(count > 10, "{count} lines");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_brew_under_way_is_not_gone_on_with_by_other_instruments() {
    let site = Site::of(&flowing_at_once("harbour-stout"));
    site.configure(|_| ());
    let mut program = Program::start(&site).await;
    program.start_brew(&site).await;
    program.kill();
    // Another limit is no other instrument.
    site.configure(|table| {
        let first = table["instrument"][0].as_table_mut().expect("a table");
        set(first, "high", 1140.0);
    });
    let mut program = Program::start(&site).await;
    assert_eq!(program.status().await["brew"], "2026-0412");
    program.kill();
    site.configure(|table| {
        let instruments = table["instrument"].as_array_mut().expect("instruments");
        instruments.retain(|instrument| instrument["id"].as_str() != Some("sparge_flow"));
    });
    let program = Program::start(&site).await;
    assert_eq!(program.status().await["brew"], Value::Null);
    let log = program.log();
    for part in ["2026-0412", "other instruments", "with another id"] {
        assert!(log.contains(part), "{part} in {log}");
    }
    let plan = site.plan().replace("2026-0412", "2026-0412-b");
    let answer = program.post("/brew", ("application/toml", &plan)).await;
    assert_eq!(answer.status, 201, "{}", answer.body);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_brew_that_was_ended_but_not_closed_in_the_record_is_closed_at_the_next_start() {
    let site = Site::of(&flowing_at_once("harbour-stout"));
    let configuration = site.configuration(|_| ());
    let plan = lauterd::config::load_plan(&site.path("plan.toml")).expect("a plan");
    let instruments = configuration.instruments.iter();
    let start = Moment(1_800_000_000_000_000);
    let event = |at_s: f64, event: Event| DatedEvent {
        at: start.plus_seconds(at_s),
        event,
    };
    let mut database = Database::open(&site.path("store")).expect("a store");
    let tun = database.tun("harbour", "tun-1").expect("the tun");
    let brew = database
        .begin_brew(&BrewHeader {
            tun,
            plan: plan.clone(),
            instruments: instruments.map(|each| each.instrument.clone()).collect(),
            config_digest: String::new(),
            started: jiff::Timestamp::UNIX_EPOCH,
            started_at: start,
            origin: start,
        })
        .expect("a brew");
    let started = Event::BrewStarted {
        plan: Box::new(plan),
        zero: start,
        profile: None,
        corrections: Vec::new(),
    };
    let batch = Batch {
        events: vec![event(0.0, started), event(60.0, Event::BrewEnded)],
        ..Batch::new(tun, Some(brew))
    };
    database.append(&batch).expect("written");
    database.close().expect("closed");

    let program = Program::start(&site).await;
    assert_eq!(program.status().await["brew"], Value::Null);
    program.end_by("TERM");
    let database = Database::open(&site.path("store")).expect("the record");
    let brew = database.brew(brew).expect("the brew");
    let finished = brew.finished.expect("it is closed");
    assert_eq!(finished.ended_at, start.plus_seconds(60.0));
    assert!(finished.summary.is_some());
}
