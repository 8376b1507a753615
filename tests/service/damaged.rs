//! What people do to a record while it is in use, and blocks of it that cannot be read.

use std::fs;
use std::process::Output;

use lauter_core::supervisor::Event;
use lauterd::store::{Database, FILE_NAME};
use rusqlite::Connection;

use super::brewhouse::{Brewhouse, Site, flowing_at_once};
use super::disk::is_written;
use super::http::get;
use super::program::{Program, command};

fn readings(site: &Site) -> Option<usize> {
    let database = Database::open_read_only(&site.path("store")).ok()?;
    let tun = database.find_tun("harbour", "tun-1").ok()??;
    let brew = database.find_brew(tun, "2026-0412").ok()??;
    let events = database.events(brew.id).ok()?.into_iter();
    Some(
        events
            .filter(|dated| matches!(dated.event, Event::Reading { .. }))
            .count(),
    )
}

#[tokio::test(flavor = "multi_thread")]
async fn a_record_removed_in_the_middle_of_a_brew_is_put_back_and_said() {
    let brewhouse = Brewhouse::start(&flowing_at_once("harbour-stout"), 1.0, None).await;
    let site = brewhouse.site();
    site.configure(|_| ());
    let mut program = Program::start(&site).await;
    program.start_brew(&site).await;
    let some = async || readings(&site).filter(|count| *count > 20);
    let before = program.until("a record of some length", some).await;
    fs::remove_dir_all(site.path("store")).expect("it is removed");
    let more = async || readings(&site).filter(|count| *count > before);
    program.until("it is back and goes on", more).await;
    program.until_status("it is written", is_written).await;
    program.kill();
    let program = Program::start(&site).await;
    assert_eq!(program.status().await["brew"], "2026-0412");
    let (status, log) = program.end_by("TERM");
    assert_eq!(status.code(), Some(0), "{log}");
    assert!(log.contains("was removed or replaced"), "{log}");
    assert!(log.contains("it has been put back"), "{log}");
}

fn says(output: &Output, code: i32, part: &str) {
    let errors = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(code), "{errors}");
    assert!(errors.contains(part), "{errors}");
}

#[tokio::test(flavor = "multi_thread")]
async fn what_a_damaged_block_costs_is_named_by_copy_export_and_status() {
    const NAMED: &str = "brew 2026-0412 of harbour/tun-1, readings as they came from ";
    let brewhouse = Brewhouse::start(&flowing_at_once("harbour-stout"), 1.0, None).await;
    let site = brewhouse.site();
    site.configure(|_| ());
    let mut program = Program::start(&site).await;
    program.start_brew(&site).await;
    let some = async || readings(&site).filter(|count| *count > 20);
    program.until("a record of some length", some).await;
    let answer = program.post("/brew/end", ("application/json", "")).await;
    assert_eq!(answer.status, 200, "{}", answer.body);
    let file = site.path("store").join(FILE_NAME);
    program
        .until("its readings are packed", async || {
            let file = Connection::open(&file).ok()?;
            let query = "SELECT 1 FROM packed WHERE kind = 0";
            file.query_row(query, [], |_| Ok(())).ok()
        })
        .await;
    program.end_by("TERM");
    Connection::open(&file)
        .expect("the record")
        .execute("UPDATE packed SET body = zeroblob(40) WHERE kind = 0", [])
        .expect("it is changed");

    let path = |name: &str| site.path(name).display().to_string();
    let config = path("tun.toml");
    let copied = command(&["backup", "--config", &config, "--to", &path("copy")]).output();
    let copied = copied.expect("the binary runs");
    says(&copied, 74, NAMED);
    let page = String::from_utf8_lossy(&copied.stdout);
    assert!(page.contains("as damaged as the record"), "{page}");
    assert!(site.path("copy").join(FILE_NAME).is_file(), "it is made");

    let mut program = Program::start(&site).await;
    let found = program
        .until_status("the check has found it", |status| {
            let blocks = status.pointer("/health/store/damaged_blocks")?.as_str()?;
            Some(blocks.to_owned())
        })
        .await;
    assert!(found.contains(NAMED), "{found}");
    let ready = get(program.page_port(), "/readyz")
        .await
        .expect("an answer");
    assert_eq!(ready.status, 200, "it takes readings: {}", ready.body);
    assert!(ready.body.contains(NAMED), "{}", ready.body);
    let arguments = ["brew", "export", "2026-0412", "--config", &config];
    let exported = command(&arguments).args(["--into", &path("out")]).output();
    says(&exported.expect("the binary runs"), 74, NAMED);
    let run = fs::read_to_string(site.path("out/RUN.csv")).expect("what there is");
    assert!(run.starts_with("elapsed_s,"), "{run}");
}
