//! A record on a disk that was mounted read-only, as a machine does by itself after a fault of the disk.

use std::collections::BTreeMap;
use std::process::Command;

use lauter_core::supervisor::Event;
use lauterd::store::{Brew, Database, DatedEvent};
use serde_json::Value;

use super::brewhouse::{Brewhouse, Site, flowing_at_once, set};
use super::disk::{SmallDisk, is_written};
use super::mosquitto::{HeardMessage, Mosquitto, eventually};
use super::program::Program;

fn remount(disk: &SmallDisk, how: &str) {
    let options = format!("remount,{how}");
    let done = Command::new("mount")
        .args(["-o", &options])
        .arg(disk.path())
        .status();
    assert!(done.expect("mount runs").success());
}

#[tokio::test(flavor = "multi_thread")]
async fn on_a_read_only_disk_a_service_watches_says_so_and_writes_all_of_it_once_it_may() {
    let brewhouse = Brewhouse::start(&flowing_at_once("harbour-stout"), 1.0, None).await;
    let site = brewhouse.site();
    let Some(disk) = SmallDisk::mount(&site.path("store"), 8) else {
        return;
    };
    site.configure(|table| set(table, "alarms.delivery-delayed.on_delay_s", 1.0));
    let before = Program::start(&site).await;
    let (status, log) = before.end_by("TERM");
    assert_eq!(status.code(), Some(0), "{log}");
    remount(&disk, "ro");
    let mut program = Program::start(&site).await;
    program.start_brew(&site).await;
    let message = program.until_not_recorded("is read-only").await;
    assert!(
        message.starts_with("Nothing is being recorded: "),
        "{message}"
    );
    assert!(!message.contains("permission"), "{message}");
    program
        .until_status("wort is watched", |status| {
            status.pointer("/runoff/flow_l_min")?.as_f64()
        })
        .await;
    remount(&disk, "rw");
    program.until_status("it is written", is_written).await;
    let (status, log) = program.end_by("TERM");
    assert_eq!(status.code(), Some(0), "{log}");
    let (brew, events) = recorded(&site);
    assert_eq!(events[0].at, brew.header.started_at, "its first moment");
}

fn recorded(site: &Site) -> (Brew, Vec<DatedEvent>) {
    let database = Database::open_read_only(&site.path("store")).expect("a record");
    let tun = database.find_tun("harbour", "tun-1").expect("readable");
    let brews = database.brews(tun.expect("the tun")).expect("brews");
    assert_eq!(brews.len(), 1);
    let brew = brews.into_iter().next().expect("a brew");
    let events = database.events(brew.id).expect("events");
    (brew, events)
}

fn volume_l(status: &Value) -> Option<f64> {
    status.pointer("/runoff/kettle_volume_l")?.as_f64()
}

/// A brew is under way, the service ends as told, and the disk is read-only when it is started again.
async fn is_taken_up_from_a_disk_that_can_only_be_read(end: impl FnOnce(Program)) {
    let brewhouse = Brewhouse::start(&flowing_at_once("harbour-stout"), 1.0, None).await;
    let site = brewhouse.site();
    let Some(disk) = SmallDisk::mount(&site.path("store"), 8) else {
        return;
    };
    site.configure(|table| set(table, "alarms.delivery-delayed.on_delay_s", 1.0));
    let mut program = Program::start(&site).await;
    program.start_brew(&site).await;
    let before_l = program
        .until_status("wort in the kettle", |status| {
            volume_l(status).filter(|volume_l| *volume_l > 3.0)
        })
        .await;
    program
        .until("the record has it", async || {
            (recorded(&site).1.len() > 20).then_some(())
        })
        .await;
    end(program);
    let (_, before) = recorded(&site);
    remount(&disk, "ro");

    let mut program = Program::start(&site).await;
    let status = program.status().await;
    assert_eq!(status["brew"], "2026-0412", "{}", program.log());
    program
        .until_status("it goes on where it was", |status| {
            volume_l(status).filter(|volume_l| *volume_l >= before_l)
        })
        .await;
    program.until_not_recorded("is read-only").await;
    remount(&disk, "rw");
    program.until_status("it is written", is_written).await;
    let answer = program.post("/brew/end", ("application/json", "")).await;
    assert_eq!(answer.status, 200, "{}", answer.body);
    let (status, log) = program.end_by("TERM");
    assert_eq!(status.code(), Some(0), "{log}");

    let (brew, after) = recorded(&site);
    assert!(brew.finished.is_some());
    assert_eq!(after[..before.len()], before, "what was recorded stays");
    let begun = after
        .iter()
        .filter(|dated| matches!(dated.event, Event::BrewStarted { .. }));
    assert_eq!(begun.count(), 1, "it is one brew");
    let readings = |events: &[DatedEvent]| {
        let is_reading = |dated: &&DatedEvent| matches!(dated.event, Event::Reading { .. });
        events.iter().filter(is_reading).count()
    };
    assert!(readings(&after) > readings(&before), "and it goes on");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_brew_is_taken_up_from_a_read_only_disk_after_an_orderly_end() {
    is_taken_up_from_a_disk_that_can_only_be_read(|program| {
        program.end_by("TERM");
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_brew_is_taken_up_from_a_read_only_disk_after_a_kill() {
    is_taken_up_from_a_disk_that_can_only_be_read(|mut program| program.kill()).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_service_that_never_had_a_record_watches_on_a_read_only_disk() {
    let brewhouse = Brewhouse::start(&flowing_at_once("harbour-stout"), 1.0, None).await;
    let site = brewhouse.site();
    let Some(disk) = SmallDisk::mount(&site.path("store"), 8) else {
        return;
    };
    site.configure(|table| set(table, "alarms.delivery-delayed.on_delay_s", 1.0));
    remount(&disk, "ro");
    let mut program = Program::start(&site).await;
    program.start_brew(&site).await;
    program.until_not_recorded("is read-only").await;
    remount(&disk, "rw");
    program.until_status("it is written", is_written).await;
    let (status, log) = program.end_by("TERM");
    assert_eq!(status.code(), Some(0), "{log}");
    let (brew, events) = recorded(&site);
    assert_eq!(events[0].at, brew.header.started_at, "its first moment");
}

/// On every topic each number is above the one before; those of the last will are given ahead.
fn assert_numbers_grow(heard: &[HeardMessage]) {
    let mut last: BTreeMap<&str, u64> = BTreeMap::new();
    let live = heard.iter().filter(|message| !message.retained);
    for message in live.filter(|message| !message.topic.ends_with("/online")) {
        let seq = message.json()["seq"].as_u64().expect("a number");
        if let Some(before) = last.insert(&message.topic, seq) {
            assert!(before < seq, "{}: {seq} after {before}", message.topic);
        }
    }
}

fn state_of(heard: &[HeardMessage], alarm: &str) -> Option<Value> {
    let message = heard.iter().rfind(|heard| heard.topic.ends_with(alarm))?;
    Some(message.json()["to"].clone())
}

#[tokio::test(flavor = "multi_thread")]
async fn after_a_run_that_could_write_nothing_numbers_alarms_and_the_gap_are_told_truly() {
    let Some(broker) = Mosquitto::start_with("allow_anonymous true").await else {
        return;
    };
    let brewhouse = Brewhouse::start(&flowing_at_once("harbour-stout"), 1.0, None).await;
    let site = brewhouse.site();
    let Some(disk) = SmallDisk::mount(&site.path("store"), 8) else {
        return;
    };
    site.configure(|table| {
        set(table, "mqtt.host", "127.0.0.1");
        set(table, "mqtt.port", i64::from(broker.port));
        set(table, "alarms.delivery-delayed.on_delay_s", 1.0);
        set(table, "alarms.delivery-delayed.off_delay_s", 600.0);
    });
    let panel = broker.listener("panel", "lauterd/harbour/tun-1/#");
    eventually("the panel's subscription", || panel.ready() == 1).await;
    let program = Program::start(&site).await;
    program.start_brew(&site).await;
    program.end_by("TERM");

    remount(&disk, "ro");
    let program = Program::start(&site).await;
    let record = "alarm/delivery-delayed/record";
    eventually("the alarm about the record", || {
        state_of(&panel.messages(), record).is_some_and(|state| state == "unacknowledged")
    })
    .await;
    let sample = r#"{"place":"kettle","gravity_p":18.4}"#;
    let answer = program.post("/samples", ("application/json", sample)).await;
    assert!(
        answer.body.contains("\"recorded\":false"),
        "{}",
        answer.body
    );
    let (status, log) = program.end_by("TERM");
    assert_eq!(status.code(), Some(0), "{log}");
    assert!(
        log.contains("is not on the disk, 1 in all")
            && log.contains("sample of the kettle 18.40 °P"),
        "{log}"
    );

    remount(&disk, "rw");
    let program = Program::start(&site).await;
    eventually("the alarm is taken back", || {
        state_of(&panel.messages(), record).is_some_and(|state| state == "normal")
    })
    .await;
    let (status, log) = program.end_by("TERM");
    assert_eq!(status.code(), Some(0), "{log}");
    assert_numbers_grow(&panel.messages());
    let late = broker.listener("late", "lauterd/harbour/tun-1/alarm/#");
    eventually("what the broker retains", || {
        state_of(&late.messages(), record).is_some_and(|state| state == "normal")
    })
    .await;
    let database = Database::open_read_only(&site.path("store")).expect("a record");
    let (brew, _) = recorded(&site);
    let marks = database.occurrences(brew.id).expect("occurrences");
    let marks = marks.into_iter().map(|(_, occurrence)| occurrence);
    let marks: Vec<_> = marks
        .filter(|occurrence| occurrence.event == "not-watched")
        .map(|occurrence| occurrence.text)
        .collect();
    assert_eq!(marks.len(), 1, "{marks:?}");
    assert!(
        marks[0].contains("not running, or could not write"),
        "{marks:?}"
    );
}
