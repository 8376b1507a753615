//! A record on a disk that was mounted read-only, as a machine does by itself after a fault of the disk.

use std::process::Command;

use lauter_core::supervisor::Event;
use lauterd::store::{Brew, Database, DatedEvent};
use serde_json::Value;

use super::brewhouse::{Brewhouse, Site, flowing_at_once, set};
use super::disk::{SmallDisk, is_written};
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
    let alarm = program.until_alarm("delivery-delayed").await;
    let message = alarm["message"].as_str().expect("words").to_owned();
    assert!(
        message.starts_with("Nothing is being recorded: "),
        "{message}"
    );
    assert!(message.contains("is read-only"), "{message}");
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
    let alarm = program.until_alarm("delivery-delayed").await;
    assert!(
        alarm["message"]
            .as_str()
            .expect("words")
            .contains("is read-only"),
        "{alarm}"
    );
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
    let alarm = program.until_alarm("delivery-delayed").await;
    assert!(
        alarm["message"]
            .as_str()
            .expect("words")
            .contains("is read-only"),
        "{alarm}"
    );
    remount(&disk, "rw");
    program.until_status("it is written", is_written).await;
    let (status, log) = program.end_by("TERM");
    assert_eq!(status.code(), Some(0), "{log}");
    let (brew, events) = recorded(&site);
    assert_eq!(events[0].at, brew.header.started_at, "its first moment");
}
