//! The record: batches as the service writes them, against SQLite alone and against the disk alone.
//!
//! A batch is a second of ten instruments: ten raw readings, ten conditioned ones, one commit with one flush. SQLite
//! alone writes the same rows into the same tables by one prepared statement each and nothing else; the disk alone
//! appends as many bytes and waits for them.

mod paired;

use std::fs::File;
use std::io::Write;
use std::path::Path;
use std::time::Instant;

use jiff::Timestamp;
use lauter_core::projection::{PhBasis, Plan};
use lauter_core::reading::{Instrument, Measures, Moment, Reading, Status};
use lauter_core::supervisor::{ConditionedReading, Dated, Event, Output};
use lauter_core::units::Unit;
use lauterd::store::{Batch, BrewHeader, BrewId, Database, DatedEvent, FILE_NAME, TunId};
use rusqlite::{Connection, params};
use tempfile::TempDir;

use paired::{Case, compare, figure, median, rate, rounds, sized};

const INSTRUMENTS: usize = 10;
/// Bytes of a second's rows, about: what `bytes per reading` below comes to.
const BATCH_BYTES: usize = 100 * INSTRUMENTS;
const START: Moment = Moment(1_776_945_600_000_000);

fn directory() -> TempDir {
    tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).expect("a directory on the disk")
}

fn name(index: usize) -> String {
    format!("instrument_{index}")
}

fn instrument(index: usize) -> Instrument {
    Instrument {
        id: name(index),
        measures: Measures::RunningsGravity,
        unit: Unit::DegreePlato,
        span: None,
        temperature: None,
        low: Some(0.0),
        high: Some(30.0),
        stale_after_s: 10.0,
        zero: 0.0,
        link: None,
    }
}

fn header(tun: TunId, brew: &str) -> BrewHeader {
    BrewHeader {
        tun,
        plan: Plan {
            brew: brew.to_owned(),
            recipe: "Harbour Stout".to_owned(),
            grist_kg: 980.0,
            target_gravity_p: 12.4,
            planned_volume_l: 5200.0,
            runoff_minutes: 90.0,
            first_wort_gravity_p: None,
            gravity_floor_p: 3.0,
            ph_ceiling: 6.0,
            ph_basis: PhBasis::Room,
        },
        instruments: (0..INSTRUMENTS).map(instrument).collect(),
        config_digest: "bench".to_owned(),
        started: Timestamp::UNIX_EPOCH,
        started_at: START,
        origin: START,
    }
}

/// What a reading comes to; digits as an instrument sends them.
fn value(second: usize, index: usize) -> f64 {
    let exact = 18.0 - 0.001 * second as f64 + 0.1 * (index as f64) + 0.01 * (second as f64).sin();
    (exact * 1e4).round() / 1e4
}

fn batch(tun: TunId, brew: BrewId, second: usize) -> Batch {
    let at = START.plus_seconds(second as f64);
    let mut batch = Batch::new(tun, Some(brew));
    for index in 0..INSTRUMENTS {
        let value = value(second, index);
        let reading = Reading {
            value: Ok(value),
            status: Status::Good,
            at,
        };
        batch.events.push(DatedEvent {
            at,
            event: Event::Reading {
                instrument: index,
                reading,
            },
        });
        batch.outputs.push(Dated {
            at,
            output: Output::Reading(ConditionedReading {
                instrument: name(index),
                value: Some(value),
                unit: Unit::DegreePlato,
                standard_error: Some(0.012346),
                rate_per_min: Some(-0.012346),
                status: Status::Good,
                cause: None,
                raw: Some(value),
                measured: Some(value),
                corrected: None,
                correction: None,
            }),
        });
    }
    batch
}

fn stored(seconds: usize) -> f64 {
    let directory = directory();
    let mut database = Database::open(directory.path()).expect("it opens");
    let tun = database.tun("bench", "tun-1").expect("a tun");
    let brew = database
        .begin_brew(&header(tun, "2026-0412"))
        .expect("a brew");
    let batches: Vec<Batch> = (0..seconds)
        .map(|second| batch(tun, brew, second))
        .collect();
    rate(seconds, || {
        for batch in &batches {
            database.append(batch).expect("appended");
        }
    })
}

/// The same rows by SQLite alone.
fn bare(seconds: usize) -> f64 {
    let directory = directory();
    let mut database = Database::open(directory.path()).expect("it opens");
    let tun = database.tun("bench", "tun-1").expect("a tun");
    database
        .begin_brew(&header(tun, "2026-0412"))
        .expect("a brew");
    database.close().expect("it closes");
    let mut connection = Connection::open(directory.path().join(FILE_NAME)).expect("it opens");
    connection
        .pragma_update(None, "journal_mode", "WAL")
        .expect("WAL");
    connection
        .pragma_update(None, "synchronous", "FULL")
        .expect("FULL");
    rate(seconds, || {
        for second in 0..seconds {
            let at = START.plus_seconds(second as f64).0;
            let transaction = connection.transaction().expect("begun");
            {
                let mut event = transaction
                    .prepare_cached(
                        "INSERT INTO event (brew_id, seq, at_us, kind, instrument, value) VALUES (1, ?1, ?2, 0, ?3, ?4)",
                    )
                    .expect("prepared");
                let mut conditioned = transaction
                    .prepare_cached(
                        "INSERT INTO conditioned (brew_id, seq, at_us, instrument, unit, value, standard_error, \
                         rate_per_min, raw) VALUES (1, ?1, ?2, ?3, 'degP', ?4, 0.012346, -0.012346, ?4)",
                    )
                    .expect("prepared");
                for index in 0..INSTRUMENTS {
                    let seq = (second * INSTRUMENTS + index).cast_signed();
                    let row = params![seq, at, index.cast_signed(), value(second, index)];
                    event.execute(row).expect("a row");
                    conditioned.execute(row).expect("a row");
                }
            }
            transaction.commit().expect("committed");
        }
    })
}

fn flushed(seconds: usize) -> f64 {
    let directory = directory();
    let mut file = File::create(directory.path().join("log")).expect("a file");
    let bytes = [7; BATCH_BYTES];
    rate(seconds, || {
        for _ in 0..seconds {
            file.write_all(&bytes).expect("written");
            file.sync_data().expect("flushed");
        }
    })
}

/// A record of several brews of 90 minutes: bytes a reading, and one brew asked for.
fn kept() {
    let (brews, seconds) = (sized(10, 2), sized(5400, 60));
    let directory = directory();
    let mut database = Database::open(directory.path()).expect("it opens");
    let tun = database.tun("bench", "tun-1").expect("a tun");
    let mut last = None;
    for number in 0..brews {
        let brew = database
            .begin_brew(&header(tun, &number.to_string()))
            .expect("a brew");
        for begin in (0..seconds).step_by(600) {
            let mut whole = Batch::new(tun, Some(brew));
            for second in begin..(begin + 600).min(seconds) {
                let batch = batch(tun, brew, second);
                whole.events.extend(batch.events);
                whole.outputs.extend(batch.outputs);
            }
            database.append(&whole).expect("appended");
        }
        last = Some(brew);
    }
    database.close().expect("it closes");
    let bytes = std::fs::metadata(directory.path().join(FILE_NAME))
        .expect("the file")
        .len();
    let readings = brews * seconds * INSTRUMENTS;
    figure(
        "on disk, raw and conditioned",
        bytes as f64 / readings as f64,
        1,
        "bytes/reading",
        "at most 25",
    );
    let brew = last.expect("a brew");
    let times = (0..rounds()).map(|_| asked(directory.path(), brew, seconds * INSTRUMENTS));
    figure(
        "one brew's conditioned readings",
        1000.0 * median(times.collect()),
        1,
        "ms",
        "at most 50",
    );
}

fn asked(directory: &Path, brew: BrewId, readings: usize) -> f64 {
    let started = Instant::now();
    let database = Database::open_read_only(directory).expect("it opens");
    assert_eq!(database.readings(brew).expect("readings").len(), readings);
    started.elapsed().as_secs_f64()
}

fn main() {
    let seconds = sized(1500, 20);
    compare(
        "Record, a second of ten instruments a commit",
        "commits/s",
        &mut [
            Case::new("SQLite alone, the same rows", || bare(seconds)),
            Case::new("the record", || stored(seconds)),
            Case::new("limit: append and fdatasync", || flushed(seconds)),
        ],
    );
    println!();
    kept();
}
