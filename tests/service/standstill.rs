//! A service that is stopped and goes on, and one that is cut off: the record says which it was.

use std::process::Command;
use std::time::Duration;

use lauterd::store::Database;

use super::brewhouse::{Brewhouse, Site, flowing_at_once};
use super::program::Program;

fn send(signal: &str, process: u32) {
    let process = process.to_string();
    let sent = Command::new("kill").args(["-s", signal, &process]).status();
    assert!(sent.expect("kill runs").success());
}

/// What the record says of times that nobody watched.
fn marks(site: &Site) -> Vec<String> {
    let database = Database::open_read_only(&site.path("store")).expect("the record");
    let tun = database.find_tun("harbour", "tun-1").expect("readable");
    let brew = database
        .brews(tun.expect("the tun"))
        .expect("brews")
        .remove(0);
    let occurrences = database.occurrences(brew.id).expect("occurrences");
    let marks = occurrences.into_iter().map(|(_, occurrence)| occurrence);
    let marks = marks.filter(|occurrence| occurrence.event == "not-watched");
    marks.map(|occurrence| occurrence.text).collect()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_service_that_was_stopped_says_that_it_stood_still_and_blames_no_instrument() {
    let brewhouse = Brewhouse::start(&flowing_at_once("harbour-stout"), 2.0, None).await;
    let site = brewhouse.site();
    site.configure(|_| ());
    let mut program = Program::start_with(&site, &["--speed", "2"], &[]).await;
    program.start_brew(&site).await;
    let filled = |status: &serde_json::Value| {
        let litres = status.pointer("/runoff/kettle_volume_l")?.as_f64()?;
        (litres > 8.0).then_some(())
    };
    program.until_status("wort in the kettle", filled).await;
    send("STOP", program.id());
    tokio::time::sleep(Duration::from_secs(13)).await;
    // Asked to end while it stands: it says first what has been.
    send("TERM", program.id());
    let (status, log) = program.end_by("CONT");
    assert_eq!(status.code(), Some(0), "{log}");
    let stood = marks(&site);
    assert_eq!(stood.len(), 1, "{stood:?}");
    assert!(stood[0].contains("stood still"), "{stood:?}");
    assert!(!log.contains("its last reading is too old"), "{log}");

    // What came after its end was another thing.
    let program = Program::start_with(&site, &["--speed", "2"], &[]).await;
    assert_eq!(program.status().await["brew"], "2026-0412");
    let (status, log) = program.end_by("TERM");
    assert_eq!(status.code(), Some(0), "{log}");
    let both = marks(&site);
    assert_eq!(both.len(), 2, "{both:?}");
    assert!(
        both[1].contains("was not running, or could not write"),
        "{both:?}"
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn a_service_that_was_cut_off_is_not_said_to_have_known_it() {
    let brewhouse = Brewhouse::start(&flowing_at_once("harbour-stout"), 20.0, None).await;
    let site = brewhouse.site();
    site.configure(|_| ());
    let mut program = Program::start_with(&site, &["--speed", "20"], &[]).await;
    program.start_brew(&site).await;
    program.kill();
    let program = Program::start_with(&site, &["--speed", "20"], &[]).await;
    assert_eq!(program.status().await["brew"], "2026-0412");
    let (status, log) = program.end_by("TERM");
    assert_eq!(status.code(), Some(0), "{log}");
    let cut = marks(&site);
    assert_eq!(cut.len(), 1, "{cut:?}");
    assert!(cut[0].contains("cut off"), "{cut:?}");
    assert!(!cut[0].contains("was not running"), "{cut:?}");
}
