//! Wall clocks that are set, forwards and backwards and over the change of an hour: what is measured keeps its order and its
//! durations, and what is told bears the time as it is now.

use std::sync::atomic::{AtomicI64, Ordering};

use jiff::Timestamp;
use lauter_core::supervisor::{Dated, Line, Output};
use lauterd::runtime::Options;
use lauterd::store::Database;
use tokio::sync::mpsc;

use super::brewhouse::{Brewhouse, begin_brew, flowing_at_once, set};
use super::mosquitto::{self, Mosquitto, PATIENCE, eventually};

/// What the wall clock is ahead of the machine's, s.
static AHEAD_S: AtomicI64 = AtomicI64::new(0);

fn set_clock() -> Timestamp {
    let ahead_us = AHEAD_S.load(Ordering::Relaxed) * 1_000_000;
    Timestamp::from_microsecond(Timestamp::now().as_microsecond() + ahead_us).expect("a time")
}

/// The next state of the run-off that is told.
async fn next_state(outputs: &mut mpsc::Receiver<Dated>) -> (i64, f64) {
    let wait = async {
        loop {
            let dated = outputs.recv().await.expect("the service runs");
            if let Output::Runoff(state) = dated.output {
                return (dated.at.0, state.elapsed_s);
            }
        }
    };
    tokio::time::timeout(PATIENCE, wait).await.expect("a state")
}

#[tokio::test(flavor = "multi_thread")]
async fn steps_of_the_wall_clock_change_neither_the_order_nor_the_durations() {
    let Some(broker) = Mosquitto::start_with("allow_anonymous true").await else {
        return;
    };
    // Ten seconds before clocks in Europe go back from 3:00 to 2:00 of the night, 2026-10-25, 01:00 UTC.
    let change: Timestamp = "2026-10-25T00:59:50Z".parse().expect("a time");
    let to_change = change.as_second() - Timestamp::now().as_second();
    AHEAD_S.store(to_change, Ordering::Relaxed);
    let brewhouse = Brewhouse::start(&flowing_at_once("harbour-stout"), 1.0, None).await;
    let site = brewhouse.site();
    let configuration = site.configuration(|table| {
        set(table, "mqtt.host", "127.0.0.1");
        set(table, "mqtt.port", i64::from(broker.port));
    });
    let panel = broker.listener("panel", "lauterd/harbour/tun-1/runoff");
    eventually("the panel's subscription", || panel.ready() == 1).await;
    let (observer, mut outputs) = mpsc::channel(100_000);
    let options = Options {
        observer: Some(observer),
        wall: Some(set_clock),
        ..Options::default()
    };
    let (service, _) = begin_brew(&site, configuration, options).await;
    // Over the change, then an hour forwards, an hour back, and to the time of a machine without a battery.
    let mut states = vec![next_state(&mut outputs).await];
    for (after, ahead_s) in [
        (12, to_change + 3600),
        (5, to_change),
        (5, -Timestamp::now().as_second() + 86_400),
        (5, to_change),
        (5, to_change),
    ] {
        for _ in 0..after {
            states.push(next_state(&mut outputs).await);
        }
        AHEAD_S.store(ahead_s, Ordering::Relaxed);
    }
    for pair in states.windows(2) {
        let (axis_us, elapsed_s) = (pair[1].0 - pair[0].0, pair[1].1 - pair[0].1);
        assert_eq!(axis_us, 1_000_000, "{states:?}");
        assert!((elapsed_s - 1.0).abs() < 1e-9, "{states:?}");
    }
    // What is told bears the hour that the wall clock showed, and its numbers go on rising.
    let messages: Vec<_> = panel
        .messages()
        .iter()
        .map(mosquitto::HeardMessage::json)
        .collect();
    let hours = [
        "2026-10-25T00:59",
        "2026-10-25T01:00",
        "2026-10-25T02:00",
        "1970-01-02T",
    ];
    for hour in hours {
        let told = |message: &serde_json::Value| {
            message["time"]
                .as_str()
                .is_some_and(|time| time.starts_with(hour))
        };
        assert!(messages.iter().any(told), "{hour}: {messages:?}");
    }
    let numbers: Vec<_> = messages
        .iter()
        .filter_map(|message| message["seq"].as_u64())
        .collect();
    assert!(numbers.is_sorted());
    service.end().await;

    let mut database = Database::open(&site.path("store")).expect("the record");
    let id = database.tun("harbour", "tun-1").expect("the tun");
    let brew = database.brews(id).expect("brews").remove(0);
    let lines = database.lines(brew.id).expect("lines");
    let table: Vec<_> = lines
        .iter()
        .filter_map(|(_, line)| match line {
            Line::Table(line) => Some(line.elapsed_s),
            _ => None,
        })
        .collect();
    println!("table at {table:?} s over {} steps of the clock", 4);
    assert!(table.len() >= 3);
    assert!(
        table
            .windows(2)
            .all(|pair| (pair[1] - pair[0] - 10.0).abs() < 1e-9),
        "{table:?}"
    );
    let events = database.events(brew.id).expect("events");
    assert!(events.is_sorted_by_key(|dated| dated.at));
}
