//! A record on a disk that was mounted read-only, as a machine does by itself after a fault of the disk.

use std::process::Command;

use lauterd::store::Database;

use super::brewhouse::{Brewhouse, flowing_at_once, set};
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
    program
        .until_status("wort is watched", |status| {
            status.pointer("/runoff/flow_l_min")?.as_f64()
        })
        .await;
    remount(&disk, "rw");
    program.until_status("it is written", is_written).await;
    let (status, log) = program.end_by("TERM");
    assert_eq!(status.code(), Some(0), "{log}");
    let database = Database::open_read_only(&site.path("store")).expect("a record");
    let tun = database.find_tun("harbour", "tun-1").expect("readable");
    let brew = database
        .brews(tun.expect("the tun"))
        .expect("brews")
        .remove(0);
    let events = database.events(brew.id).expect("events");
    assert_eq!(events[0].at, brew.header.started_at, "its first moment");
}
