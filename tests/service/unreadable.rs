//! Single rows of the record that cannot be read back: the service starts, says so, puts them aside, and brews on.

use serde_json::Value;

use super::brewhouse::{Site, flowing_at_once};
use super::http::get;
use super::program::Program;

/// A brew under way, its service killed, and its record changed by other hands.
async fn changed(statements: &str) -> Site {
    let site = Site::of(&flowing_at_once("harbour-stout"));
    site.configure(|_| ());
    let mut program = Program::start(&site).await;
    program.start_brew(&site).await;
    program.kill();
    let file = site.path("store").join(lauterd::store::FILE_NAME);
    let file = rusqlite::Connection::open(file).expect("the record");
    file.execute_batch(statements).expect("it is changed");
    site
}

/// Starts on it: it answers, says in log and record what is not taken up, lists its brews, and a new brew begins and
/// survives a kill.
async fn is_put_aside(site: &Site, told: &[&str]) {
    let mut program = Program::start(site).await;
    assert_eq!(program.status().await["brew"], Value::Null);
    let log = program.log();
    for part in told {
        assert!(log.contains(part), "{part} in {log}");
    }
    let list = "/api/v1/tuns/harbour/tun-1/brews";
    let listed = get(program.page_port(), list).await.expect("an answer");
    assert_eq!(listed.status, 200, "{}", listed.body);
    let plan = site.plan().replace("2026-0412", "2026-0413");
    let begun = program.post("/brew", ("application/toml", &plan)).await;
    assert_eq!(begun.status, 201, "{}", begun.body);
    let file = site.path("store").join(lauterd::store::FILE_NAME);
    program
        .until("the record says so", async || {
            let file = rusqlite::Connection::open(&file).ok()?;
            let query = "SELECT body FROM output WHERE kind = 'occurrence' AND body LIKE '%cannot be taken up%'";
            file.query_row(query, [], |row| row.get::<_, String>(0)).ok()
        })
        .await;
    program.kill();
    let program = Program::start(site).await;
    assert_eq!(
        program.status().await["brew"],
        "2026-0413",
        "it is gone on with"
    );
    let log = program.log();
    let times = log.matches("and cannot be taken up").count();
    assert!(
        (1..=2).contains(&times),
        "told by one start alone, in log and event: {log}"
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn a_stored_plan_that_cannot_be_read_is_said_and_put_aside_and_the_tun_brews_on() {
    let site = changed("UPDATE brew SET plan = '{\"brew\":'").await;
    is_put_aside(&site, &["the plan of brew 2026-0412", "with another id"]).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_stored_event_that_cannot_be_read_is_said_and_its_brew_put_aside_and_the_tun_brews_on() {
    let site =
        changed("UPDATE event SET body = '{\"brew' WHERE kind = 2; DELETE FROM checkpoint").await;
    is_put_aside(&site, &["Brew 2026-0412 was under way", "with another id"]).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_stored_alarm_that_cannot_be_read_costs_no_brew() {
    let torn = "INSERT INTO output (tun_id, at_us, kind, body) SELECT id, 1, 'alarm', '{' FROM tun; \
                INSERT INTO output (tun_id, at_us, kind, body) SELECT id, 2, 'alarm', '{\"alarm\":\"no-such\"}' FROM tun";
    let site = changed(torn).await;
    let program = Program::start(&site).await;
    assert_eq!(program.status().await["brew"], "2026-0412");
    let log = program.log();
    assert!(log.contains("an alarm is not taken up"), "{log}");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_stored_state_that_cannot_be_read_is_passed_over_for_the_events_before_it() {
    let site = changed("UPDATE checkpoint SET state = '{'").await;
    let program = Program::start(&site).await;
    assert_eq!(program.status().await["brew"], "2026-0412");
    let log = program.log();
    assert!(
        log.contains("the stored state of the watch cannot be read"),
        "{log}"
    );
}
