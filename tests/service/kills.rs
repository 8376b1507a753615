//! The service killed again and again in the middle of an accelerated run-off: what it acknowledged is there once, what
//! it told is heard, and its state is that of a watch that was never broken, to the last bit.
//!
//! `LAUTERD_KILLS=200` asks for as many kills; the ordinary run has a handful.

use std::collections::BTreeSet;
use std::time::{Duration, Instant};

use lauter_core::reading::Moment;
use lauter_core::supervisor::{Dated, Event, Line, Output, Supervisor};
use lauterd::store::{Brew, Database, FILE_NAME, Publisher};
use serde::Deserialize;
use serde_json::{Value, json};

use super::brewhouse::{Brewhouse, Site, flowing_at_once, set};
use super::mosquitto::{self, Mosquitto, eventually};
use super::owed::heard_at_least_once;
use super::program::Program;

/// Process seconds in a real one: a whole run-off in 50 s.
const SPEED: f64 = 120.0;
const KILLS_IN_A_BREW: u32 = 20;

/// What a kill is followed by.
#[derive(Default)]
struct Counts {
    kills: u32,
    brews: u32,
    events: usize,
    outputs: usize,
    samples: usize,
    heard: usize,
    resumed_ms: Vec<u128>,
}

#[tokio::test(flavor = "multi_thread")]
async fn nothing_is_lost_doubled_or_estimated_otherwise_however_often_it_is_killed() {
    let wanted: u32 = std::env::var("LAUTERD_KILLS")
        .ok()
        .map_or(4, |kills| kills.parse().expect("a number of kills"));
    let mut counts = Counts::default();
    while counts.kills < wanted {
        let left = wanted - counts.kills;
        let seed = u64::from(counts.brews) + 11;
        one_brew(left.min(KILLS_IN_A_BREW), seed, &mut counts).await;
    }
    let Counts {
        kills,
        brews,
        events,
        outputs,
        samples,
        heard,
        mut resumed_ms,
        ..
    } = counts;
    resumed_ms.sort_unstable();
    println!(
        "{kills} kills in {brews} brews: {events} events and {outputs} outputs equal to an unbroken watch's, {samples} \
         acknowledged samples each there once, {heard} alarms and events heard; back after {} ms in the middle, {} ms at \
         most (process start to an answer with the brew)",
        resumed_ms[resumed_ms.len() / 2],
        resumed_ms.last().expect("a kill")
    );
}

async fn one_brew(kills: u32, seed: u64, counts: &mut Counts) {
    println!("seed {seed}");
    let mut chance = fastrand::Rng::with_seed(seed);
    let mut scenario = flowing_at_once("harbour-stout");
    scenario.seed = seed;
    let brewhouse = Brewhouse::start(&scenario, SPEED, None).await;
    let site = brewhouse.site();
    let broker = Mosquitto::start().await;
    site.configure(|table| {
        set(table, "watch.table_every_s", 60.0);
        set(table, "watch.runoff_every_s", 5.0);
        set(table, "projection.every_s", 30.0);
        if let Some(broker) = &broker {
            set(table, "mqtt.host", "127.0.0.1");
            set(table, "mqtt.port", i64::from(broker.port));
            set(table, "mqtt.username", mosquitto::USER);
            let file = site.path("password");
            std::fs::write(&file, mosquitto::PASSWORD).expect("a password");
            set(table, "mqtt.password_file", file.display().to_string());
        }
    });
    let historian = match &broker {
        Some(broker) => {
            let historian = broker.listener("historian", "lauterd/harbour/tun-1/#");
            eventually("the historian's subscription", || historian.ready() == 1).await;
            Some(historian)
        }
        None => None,
    };
    let speed = SPEED.to_string();
    let arguments = ["--speed", speed.as_str()];
    let mut program = Program::start_with(&site, &arguments, &[]).await;
    program.start_brew(&site).await;
    let first = Stored::read(&site);
    let mut asked = Vec::new();
    for number in 0..kills {
        let wait = Duration::from_millis(chance.u64(20..2000));
        let until = Instant::now() + wait;
        while Instant::now() < until {
            // Told apart by its gravity.
            let gravity_p = 18.0 + f64::from(asked.len() as u32) * 1e-4;
            let body = json!({"place": "kettle", "gravity_p": gravity_p}).to_string();
            let asks = program.post("/samples", ("application/json", &body));
            let left = until.saturating_duration_since(Instant::now());
            let answer = tokio::time::timeout(left, asks).await;
            let granted = answer.is_ok_and(|answer| matches!(answer.status, 200..300));
            asked.push((gravity_p, granted));
            tokio::time::sleep(Duration::from_millis(chance.u64(0..400)).min(left)).await;
        }
        program.kill();
        let started = Instant::now();
        program = Program::start_with(&site, &arguments, &[]).await;
        let status = program.status().await;
        assert_eq!(status["brew"], scenario.plan.brew.as_str(), "kill {number}");
        counts.resumed_ms.push(started.elapsed().as_millis());
        counts.kills += 1;
    }
    program
        .until_status("the kettle fills on", |status| {
            status.pointer("/runoff/kettle_volume_l")?.as_f64()
        })
        .await;
    if historian.is_some() {
        // What kill after kill has kept from the broker is owed until it has it, and an end has no time for all of it.
        eventually("everything handed to the broker", || nothing_waits(&site)).await;
    }
    let (status, log) = program.end_by("TERM");
    assert_eq!(status.code(), Some(0), "{log}");
    counts.brews += 1;

    let database = Database::open_read_only(&site.path("store")).expect("the record");
    let tun = database.find_tun("harbour", "tun-1").expect("readable");
    let brews = database.brews(tun.expect("the tun")).expect("brews");
    let [brew] = brews.as_slice() else {
        panic!("one brew, not {}", brews.len());
    };
    same_as_unbroken(&site, first, &database, brew, counts);
    samples_are_there_once(&database, brew, &asked, counts);
    if let Some(historian) = &historian {
        counts.heard += heard_at_least_once(&database, brew, historian).await;
    }
    let true_l = brewhouse.handle.truth().kettle_volume_l;
    let states = database.runoff_states(brew.id).expect("states");
    let believed_l = states.last().expect("a state").1.kettle_volume_l;
    println!("{believed_l:.0} L in the kettle, in truth {true_l:.0} L a moment later");
    assert!(
        (believed_l - true_l).abs() < 0.03 * true_l + 300.0,
        "the counter bridges every gap"
    );
}

fn nothing_waits(site: &Site) -> bool {
    let database = Database::open_read_only(&site.path("store")).expect("the record");
    let tun = database.find_tun("harbour", "tun-1").expect("readable");
    let waiting = database.outbox(tun.expect("the tun"), Publisher::Mqtt, 0, 1);
    waiting.expect("the outbox").is_empty()
}

/// The checkpoint in the record.
struct Stored {
    supervisor: Supervisor,
    next_event: usize,
}

#[derive(Deserialize)]
struct State {
    supervisor: Supervisor,
}

impl Stored {
    fn read(site: &Site) -> Self {
        let file = site.path("store").join(FILE_NAME);
        let file = rusqlite::Connection::open(file).expect("the record");
        let (next_event, text): (i64, String) = file
            .query_row("SELECT next_event, state FROM checkpoint", [], |row| {
                Ok((row.get(0)?, row.get(1)?))
            })
            .expect("a checkpoint");
        let State { supervisor } = serde_json::from_str(&text).expect("a state");
        Self {
            supervisor,
            next_event: usize::try_from(next_event).expect("a number"),
        }
    }
}

/// The supervisor as it stood when the brew began, given all recorded events without a break, says what the record
/// says, and is what was stored at the end.
fn same_as_unbroken(
    site: &Site,
    first: Stored,
    database: &Database,
    brew: &Brew,
    counts: &mut Counts,
) {
    let mut unbroken = first.supervisor;
    let started_at = brew.header.started_at;
    let events = database.events(brew.id).expect("its events");
    counts.events += events.len();
    let stored = Stored::read(site);
    let mut told = Vec::new();
    let mut last = Moment::ZERO;
    assert_eq!(stored.next_event, events.len(), "it ended in order");
    for dated in events.into_iter().skip(first.next_event) {
        assert!(dated.at >= last, "time falls");
        last = dated.at;
        unbroken.handle(dated.event, dated.at);
        told.extend(std::iter::from_fn(|| unbroken.poll_output()));
    }
    assert_same(&mut unbroken, &stored.supervisor, &mut told);

    let later = |at: Moment| at > started_at;
    let line = |at: &Moment, line: &Line| (at.0, serde_json::to_string(line).expect("JSON"));
    let mut recorded = database.lines(brew.id).expect("lines");
    recorded.retain(|(at, _)| later(*at));
    let recorded: Vec<_> = recorded.iter().map(|(at, told)| line(at, told)).collect();
    let again = told.iter().filter_map(|dated| match &dated.output {
        Output::Line(told) => Some(line(&dated.at, told)),
        _ => None,
    });
    equal("lines", &recorded, &again.collect::<Vec<_>>());
    let mut occurrences = database.occurrences(brew.id).expect("occurrences");
    occurrences.retain(|(at, _)| later(*at));
    let again = told.iter().filter_map(|dated| match &dated.output {
        Output::Occurrence(occurrence) => Some((dated.at, occurrence.clone())),
        _ => None,
    });
    equal("occurrences", &occurrences, &again.collect::<Vec<_>>());
    let marks = occurrences.iter();
    let marks = marks.filter(|(_, occurrence)| occurrence.event == "not-watched");
    println!("{} gaps are marked", marks.count());
    let readings = database.readings(brew.id).expect("readings");
    let again: Vec<_> = told.iter().filter_map(reading).collect();
    let readings: Vec<_> = readings
        .into_iter()
        .filter(|recorded| later(recorded.at))
        .map(|recorded| (recorded.at, recorded.reading))
        .collect();
    equal("conditioned readings", &readings, &again);
    counts.outputs += recorded.len() + occurrences.len() + readings.len();
}

/// The stored state is the unbroken one, once time has passed for both.
fn assert_same(unbroken: &mut Supervisor, stored: &Supervisor, told: &mut Vec<Dated>) {
    let (until, _) = stored.next_deadline().expect("a deadline");
    unbroken.handle(Event::Tick, until);
    told.extend(std::iter::from_fn(|| unbroken.poll_output()));
    if unbroken != stored {
        let value = |supervisor: &Supervisor| serde_json::to_value(supervisor).expect("JSON");
        let mut found = Vec::new();
        differences("", &value(unbroken), &value(stored), &mut found);
        panic!("unbroken and stored differ:\n{}", found.join("\n"));
    }
}

fn differences(path: &str, one: &Value, other: &Value, found: &mut Vec<String>) {
    match (one, other) {
        (Value::Object(one), Value::Object(other)) => {
            let keys: BTreeSet<&String> = one.keys().chain(other.keys()).collect();
            for key in keys {
                let (one, other) = (one.get(key), other.get(key));
                let (one, other) = (one.unwrap_or(&Value::Null), other.unwrap_or(&Value::Null));
                differences(&format!("{path}/{key}"), one, other, found);
            }
        }
        (Value::Array(one), Value::Array(other)) if one.len() == other.len() => {
            for (index, (one, other)) in one.iter().zip(other).enumerate() {
                differences(&format!("{path}/{index}"), one, other, found);
            }
        }
        _ if one == other => {}
        _ => found.push(format!("{path}: {one} and {other}")),
    }
}

fn reading(dated: &Dated) -> Option<(Moment, lauter_core::supervisor::ConditionedReading)> {
    match &dated.output {
        // The record keeps what came and what was believed; what a correction made of it follows from the events.
        Output::Reading(reading) => Some((
            dated.at,
            lauter_core::supervisor::ConditionedReading {
                measured: None,
                corrected: None,
                correction: None,
                ..reading.clone()
            },
        )),
        _ => None,
    }
}

/// Equal, but for what a watch would have told after the last batch on the disk.
fn equal<T: PartialEq + std::fmt::Debug>(what: &str, recorded: &[T], unbroken: &[T]) {
    for (number, (one, other)) in recorded.iter().zip(unbroken).enumerate() {
        assert_eq!(one, other, "{what}: number {number}");
    }
    assert_eq!(recorded.len(), unbroken.len(), "{what}");
}

fn samples_are_there_once(
    database: &Database,
    brew: &Brew,
    asked: &[(f64, bool)],
    counts: &mut Counts,
) {
    let recorded = database.samples(brew.id).expect("samples");
    for (gravity_p, granted) in asked {
        let times = recorded
            .iter()
            .filter(|(_, sample)| sample.gravity_p == Some(*gravity_p))
            .count();
        assert!(times <= 1, "{gravity_p} is there {times} times");
        assert!(
            times == 1 || !granted,
            "{gravity_p} was acknowledged and is lost"
        );
    }
    counts.samples += asked.iter().filter(|(_, granted)| *granted).count();
}
