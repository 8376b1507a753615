//! Brokers and databases that stall, die and come back under load: what must arrive does.
//!
//! `LAUTERD_OUTAGES` sets how often the broker is hit (20 for the whole proof), `LAUTERD_DOWN_S` for how many seconds of
//! the process the database is away (3600 for the whole proof).

use std::collections::BTreeMap;
use std::time::Duration;

use lauterd::store::{Brew, Database};
use serde_json::{Value, json};
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpListener;

use super::brewhouse::{Brewhouse, Site, flowing_at_once, set};
use super::http::{encode, get};
use super::mosquitto::{self, Mosquitto, PATIENCE, eventually};
use super::owed::heard_at_least_once;
use super::peer::Peer;
use super::program::Program;

fn number(variable: &str, usually: u32) -> u32 {
    std::env::var(variable)
        .ok()
        .map_or(usually, |number| number.parse().expect("a number"))
}

fn the_brew(site: &Site) -> (Database, Brew) {
    let database = Database::open_read_only(&site.path("store")).expect("the record");
    let tun = database.find_tun("harbour", "tun-1").expect("readable");
    let brew = database
        .brews(tun.expect("the tun"))
        .expect("brews")
        .remove(0);
    (database, brew)
}

/// People who type: samples, and an alarm that is shelved and taken back.
async fn load(program: &Program, rounds: u32) -> u32 {
    let mut granted = 0;
    for round in 0..rounds {
        let sample = json!({"place": "kettle", "gravity_p": 18.0 + f64::from(round) * 0.001});
        let shelve = json!({"who": "load", "action": "shelve", "minutes": 5.0, "reason": "load"});
        let back = json!({"who": "load", "action": "unshelve"});
        for (below, body) in [
            ("/samples", sample),
            ("/alarms/turbid-runnings", shelve),
            ("/alarms/turbid-runnings", back),
        ] {
            let body = body.to_string();
            let answer = program.try_post(below, ("application/json", &body)).await;
            granted += u32::from(answer.is_ok_and(|answer| matches!(answer.status, 200..300)));
        }
    }
    granted
}

#[tokio::test(flavor = "multi_thread")]
async fn every_alarm_and_event_arrives_however_often_the_broker_stalls_dies_and_returns() {
    let Some(mut broker) = Mosquitto::start().await else {
        return;
    };
    let hits = number("LAUTERD_OUTAGES", 3);
    let brewhouse = Brewhouse::start(&flowing_at_once("harbour-stout"), 20.0, None).await;
    let site = brewhouse.site();
    std::fs::write(site.path("password"), mosquitto::PASSWORD).expect("a password");
    site.configure(|table| {
        set(table, "mqtt.host", "127.0.0.1");
        set(table, "mqtt.port", i64::from(broker.port));
        set(table, "mqtt.username", mosquitto::USER);
        set(table, "mqtt.keep_alive_s", 5);
        let file = site.path("password").display().to_string();
        set(table, "mqtt.password_file", file);
    });
    let historian = broker.listener("historian", "lauterd/harbour/tun-1/#");
    eventually("the historian's subscription", || historian.ready() == 1).await;
    // An orderly restart writes the historian's session to disk, where a kill cannot reach it.
    broker.stop();
    broker.resume_from_disk().await;
    eventually("the historian's session", || historian.ready() == 2).await;

    let mut program = Program::start_with(&site, &["--speed", "20"], &[]).await;
    program.start_brew(&site).await;
    let mut granted = 0;
    for hit in 0..hits {
        granted += load(&program, 10).await;
        match hit % 3 {
            0 => {
                broker.freeze();
                granted += load(&program, 20).await;
                tokio::time::sleep(Duration::from_secs(4)).await;
                broker.thaw();
            }
            1 => {
                broker.freeze();
                granted += load(&program, 10).await;
                broker.kill();
                granted += load(&program, 10).await;
                broker.resume_from_disk().await;
            }
            _ => {
                broker.stop();
                granted += load(&program, 20).await;
                broker.resume_from_disk().await;
            }
        }
    }
    granted += load(&program, 10).await;
    let published = |status: &Value| status.pointer("/health/publishers/mqtt").cloned();
    let health = program.until_status("the publisher", published).await;
    let ended = program.post("/brew/end", ("application/json", "")).await;
    assert_eq!(ended.status, 200, "{}", ended.body);
    let (database, brew) = the_brew(&site);
    let heard = heard_at_least_once(&database, &brew, &historian).await;
    println!(
        "{hits} outages, {granted} requests granted in them: {heard} alarms and events, all heard in order; {health}"
    );
    let (status, log) = program.end_by("TERM");
    assert_eq!(status.code(), Some(0), "{log}");
}

/// Samples of a series by instrument, also those ahead of the wall clock: the brew runs fast.
async fn points(metrics: &Peer) -> BTreeMap<String, Vec<i64>> {
    get(metrics.port, "/internal/force_flush")
        .await
        .expect("flushed");
    let target = format!(
        "/api/v1/export?start=1600000000&end=4000000000&match[]={}",
        encode(r#"{__name__="reading_value"}"#)
    );
    let answer = get(metrics.port, &target).await.expect("an answer");
    let mut found: BTreeMap<String, Vec<i64>> = BTreeMap::new();
    for line in answer.body.lines() {
        let line: Value = serde_json::from_str(line).expect("JSON");
        let name = line["metric"]["instrument"].as_str().expect("a name");
        let times = line["timestamps"].as_array().expect("times");
        let times = times.iter().map(|time| time.as_i64().expect("ms"));
        found.entry(name.to_owned()).or_default().extend(times);
    }
    for times in found.values_mut() {
        times.sort_unstable();
        times.dedup();
    }
    found
}

#[tokio::test(flavor = "multi_thread")]
async fn points_wait_for_a_database_that_is_away_and_all_of_them_arrive() {
    const SPEED: f64 = 60.0;
    let Some(mut metrics) = Peer::victoria_metrics().await else {
        return;
    };
    let down_s = number("LAUTERD_DOWN_S", 300);
    let brewhouse = Brewhouse::start(&flowing_at_once("harbour-stout"), SPEED, None).await;
    let site = brewhouse.site();
    let url = format!("http://127.0.0.1:{}", metrics.port);
    site.configure(|table| {
        set(table, "influx.url", url);
        set(table, "influx.organisation", "harbour");
        set(table, "influx.bucket", "brewhouse");
        set(table, "influx.every_s", 0.5);
        set(table, "watch.reading_every_s", 5.0);
        set(table, "watch.runoff_every_s", 5.0);
        set(table, "projection.every_s", 30.0);
    });
    let mut program = Program::start_with(&site, &["--speed", "60"], &[]).await;
    program.start_brew(&site).await;
    let running = Duration::from_secs(3);
    tokio::time::sleep(running).await;
    metrics.stop();
    tokio::time::sleep(Duration::from_secs_f64(f64::from(down_s) / SPEED)).await;
    let delayed = program.status().await;
    println!("while it is away: {}", delayed["health"]["publishers"]);
    metrics.resume().await;
    tokio::time::sleep(running).await;
    let ended = program.post("/brew/end", ("application/json", "")).await;
    assert_eq!(ended.status, 200, "{}", ended.body);
    let (database, brew) = the_brew(&site);
    // Nothing waits any more. After a long outage the database is tried once a minute only.
    let empty = async || {
        let waiting = database.outbox(brew.header.tun, lauterd::store::Publisher::Influx, 0, 1);
        waiting.expect("readable").is_empty().then_some(())
    };
    let found_again = async {
        loop {
            let status = program.status().await;
            if status["health"]["publishers"]["influx"]["state"] == "delivering" {
                return;
            }
            tokio::time::sleep(Duration::from_millis(500)).await;
        }
    };
    let in_time = tokio::time::timeout(3 * PATIENCE, found_again).await;
    assert!(
        in_time.is_ok(),
        "the database is not found again:\n{}",
        program.log()
    );
    program.until("an empty outbox", empty).await;
    let mut expected: BTreeMap<String, Vec<i64>> = BTreeMap::new();
    for recorded in database.readings(brew.id).expect("readings") {
        if recorded.reading.value.is_some() {
            let times = expected.entry(recorded.reading.instrument).or_default();
            times.push(recorded.at.0 / 1000);
        }
    }
    let found = points(&metrics).await;
    let mut count = 0;
    for (instrument, times) in &expected {
        let found = &found[instrument];
        let missing: Vec<_> = times
            .iter()
            .filter(|time| found.binary_search(time).is_err())
            .collect();
        assert!(
            missing.is_empty(),
            "{instrument}: {} of {} points are missing: {missing:?}",
            missing.len(),
            times.len()
        );
        count += times.len();
    }
    println!(
        "away for {down_s} s of the process: all {count} points of {} instruments are there",
        expected.len()
    );
}

/// Takes every write but those that speak of one instrument.
async fn choosy_database(refused: &'static str) -> u16 {
    let listener = TcpListener::bind("127.0.0.1:0").await.expect("a free port");
    let port = listener.local_addr().expect("its address").port();
    tokio::spawn(async move {
        while let Ok((mut stream, _)) = listener.accept().await {
            tokio::spawn(async move {
                let mut bytes = Vec::new();
                let mut chunk = vec![0; 64 * 1024];
                while let Ok(length @ 1..) = stream.read(&mut chunk).await {
                    bytes.extend_from_slice(&chunk[..length]);
                    let Some(end) = bytes.windows(4).position(|four| four == b"\r\n\r\n") else {
                        continue;
                    };
                    let head = String::from_utf8_lossy(&bytes[..end]).to_ascii_lowercase();
                    let length = head
                        .lines()
                        .find_map(|line| line.strip_prefix("content-length:"))
                        .and_then(|length| length.trim().parse::<usize>().ok())
                        .expect("a length");
                    if bytes.len() < end + 4 + length {
                        continue;
                    }
                    let body = String::from_utf8_lossy(&bytes[end + 4..end + 4 + length]);
                    let answer = if body.contains(refused) {
                        "HTTP/1.1 400 Bad Request\r\nContent-Length: 20\r\n\r\n{\"message\":\"no such\"}"
                    } else {
                        "HTTP/1.1 204 No Content\r\n\r\n"
                    };
                    bytes.drain(..end + 4 + length);
                    if stream.write_all(answer.as_bytes()).await.is_err() {
                        return;
                    }
                }
            });
        }
    });
    port
}

#[tokio::test(flavor = "multi_thread")]
async fn what_a_database_refuses_alone_is_set_aside_and_shown_and_the_rest_goes_on() {
    let port = choosy_database("instrument=runnings_ph").await;
    let brewhouse = Brewhouse::start(&flowing_at_once("harbour-stout"), 1.0, None).await;
    let site = brewhouse.site();
    site.configure(|table| {
        set(table, "influx.url", format!("http://127.0.0.1:{port}"));
        set(table, "influx.organisation", "harbour");
        set(table, "influx.bucket", "brewhouse");
        set(table, "influx.every_s", 0.2);
    });
    let mut program = Program::start(&site).await;
    program.start_brew(&site).await;
    let aside = program
        .until_status("a point set aside", |status| {
            let all = status.pointer("/health/set_aside")?.as_array()?;
            all.first().cloned()
        })
        .await;
    assert_eq!(aside["publisher"], "influx", "{aside}");
    let payload = aside["payload"].as_str().expect("a line");
    assert!(payload.contains("instrument=runnings_ph"), "{aside}");
    assert_ne!(aside["reason"], "");
    program
        .until_status("others are delivered", |status| {
            let delivered = status.pointer("/health/publishers/influx/delivered")?;
            delivered.as_u64().filter(|delivered| *delivered > 100)
        })
        .await;
    let (_, log) = program.end_by("TERM");
    assert!(log.contains("a point is set aside"), "{log}");
}
