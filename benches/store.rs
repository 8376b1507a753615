//! The record: batches as the service writes them, against SQLite alone and against the disk alone.
//!
//! A batch is a second of ten instruments: ten raw readings, ten conditioned ones, one commit with one flush. SQLite
//! alone writes the same rows into the same tables by one prepared statement each and nothing else; the disk alone
//! appends as many bytes and waits for them. The rows of the record become blocks meanwhile, which SQLite alone has not to do.
//!
//! What a reading takes on the disk and how long a brew is looked for is measured on a year of simulated run-offs.

mod paired;
mod simulated;

use std::fs::File;
use std::io::Write;
use std::path::Path;
use std::time::Instant;

use jiff::Timestamp;
use lauter_core::projection::{PhBasis, Plan};
use lauter_core::reading::{Instrument, Measures, Moment, Reading, Status};
use lauter_core::supervisor::{ConditionedReading, Dated, Event, Output};
use lauter_core::units::{Dimension, Unit};
use lauterd::store::{
    Batch, BrewHeader, BrewId, Database, DatedEvent, FILE_NAME, FinishedBrew, TunId,
};
use rusqlite::{Connection, params};
use tempfile::TempDir;

use paired::{Case, Limit, compare, figure, median, rate, rounds, sized};
use simulated::Brew;

const INSTRUMENTS: usize = 10;
/// Bytes of a second's rows, about.
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
            database.pack_slice().expect("packed");
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

/// A value as it comes over the bus: pH and temperatures as whole hundredths and tenths, all else as a number of 32 bits.
fn delivered(measures: Measures, value: f64) -> f64 {
    match measures.dimension() {
        Dimension::Ph => (value * 100.0).round() * 0.01,
        Dimension::Temperature => (value * 10.0).round() * 0.1,
        _ => f64::from(value as f32),
    }
}

/// Noise that every run makes the same.
fn noise(state: &mut u64) -> f64 {
    *state = state
        .wrapping_mul(6_364_136_223_846_793_005)
        .wrapping_add(1_442_695_040_888_963_407);
    (*state >> 11) as f64 / (1_u64 << 53) as f64 - 0.5
}

/// How far a request's answer strays from its second.
const JITTER_S: f64 = 0.002;

/// Writes a simulated run-off as the service would, a batch a second, but none of its lines: they are no readings.
/// Gives the brew and how many readings it has, and adds to `slices_ms` how long each slice of packing took.
fn written(
    database: &mut Database,
    tun: TunId,
    number: usize,
    slices_ms: &mut Vec<f64>,
) -> (BrewId, usize) {
    let simulated = Brew::recorded_with(|scenario| {
        scenario.seed += number as u64;
        for instrument in &mut scenario.instruments {
            instrument.every_s = 1.0;
        }
    });
    let instruments: Vec<Instrument> = simulated
        .configuration
        .instruments
        .iter()
        .map(|each| each.instrument.clone())
        .collect();
    let mut header = header(tun, &format!("simulated-{number}"));
    header.instruments.clone_from(&instruments);
    let brew = database.begin_brew(&header).expect("a brew");
    let mut supervisor = simulated.supervisor();
    let (mut state, mut readings) = (number as u64, 0);
    let events = simulated.events();
    for second in events.chunk_by(|(_, a), (_, b)| a == b) {
        let at = second[0]
            .1
            .plus_seconds(JITTER_S * noise(&mut state) + JITTER_S);
        let mut batch = Batch::new(tun, Some(brew));
        for (event, _) in second {
            let mut event = event.clone();
            if let Event::Reading {
                instrument,
                reading,
            } = &mut event
            {
                let measures = instruments[*instrument].measures;
                reading.value = reading.value.map(|value| delivered(measures, value));
                reading.at = at;
            }
            supervisor.handle(event.clone(), at);
            let since = START.0 + at.0;
            if let Event::Reading { reading, .. } = &mut event {
                reading.at = Moment(since);
            }
            batch.events.push(DatedEvent {
                at: Moment(since),
                event,
            });
        }
        while let Some(Dated { at, output }) = supervisor.poll_output() {
            if matches!(output, Output::Reading(_)) {
                batch.outputs.push(Dated {
                    at: Moment(START.0 + at.0),
                    output,
                });
            }
        }
        readings += batch.events.len();
        database.append(&batch).expect("appended");
        let began = Instant::now();
        if database.pack_slice().expect("packed") {
            slices_ms.push(1000.0 * began.elapsed().as_secs_f64());
        }
    }
    finish(database, brew);
    database.pack_brew(brew).expect("packed");
    (brew, readings)
}

fn finish(database: &mut Database, brew: BrewId) {
    let end = FinishedBrew {
        ended: Timestamp::UNIX_EPOCH,
        ended_at: START,
        summary: None,
    };
    database.finish_brew(brew, &end).expect("finished");
}

/// Seconds of a year.
const YEAR: usize = 365 * 86_400;
/// Different brews; the year is made of copies of their blocks.
const DIFFERENT: usize = 4;

/// A year of ten instruments at 1 Hz: bytes a reading, and one brew asked for.
fn kept() {
    let directory = directory();
    let mut database = Database::open(directory.path()).expect("it opens");
    let tun = database.tun("bench", "tun-1").expect("a tun");
    let mut slices_ms = Vec::new();
    let originals: Vec<(BrewId, usize)> = (0..sized(DIFFERENT, 1))
        .map(|number| written(&mut database, tun, number, &mut slices_ms))
        .collect();
    if !slices_ms.is_empty() {
        let most = slices_ms.iter().copied().fold(0.0, f64::max);
        figure(
            "a slice of packing, the longest",
            most,
            1,
            "ms",
            Limit::Counted("a batch may wait for it"),
        );
        figure(
            "a slice of packing",
            median(slices_ms),
            1,
            "ms",
            Limit::Counted("a batch may wait for it"),
        );
    }
    let of_originals: usize = originals.iter().map(|(_, readings)| readings).sum();
    let wanted = sized(YEAR * INSTRUMENTS, 3 * of_originals);
    let mut copies = Vec::new();
    let mut readings = of_originals;
    while readings < wanted {
        let (original, more) = originals[copies.len() % originals.len()];
        let header = header(tun, &format!("copy-{}", copies.len()));
        let brew = database.begin_brew(&header).expect("a brew");
        finish(&mut database, brew);
        copies.push((original, brew));
        readings += more;
    }
    database.close().expect("it closes");
    copy_blocks(directory.path(), &copies);
    let path = directory.path().join(FILE_NAME);
    let bytes = std::fs::metadata(&path).expect("the file").len();
    println!(
        "  {readings} readings in {} brews, {:.2} GB",
        copies.len() + originals.len(),
        bytes as f64 / 1e9
    );
    figure(
        "on disk, as it came and conditioned",
        bytes as f64 / readings as f64,
        2,
        "bytes/reading",
        Limit::AtMost(25.0),
    );
    let (original, brew) = copies[copies.len() / 2];
    let times = |ask: &dyn Fn(&Database)| {
        let asked = |_| {
            let started = Instant::now();
            ask(&Database::open_read_only(directory.path()).expect("it opens"));
            1000.0 * started.elapsed().as_secs_f64()
        };
        median((0..rounds()).map(asked).collect())
    };
    let conditioned = times(&|database| {
        assert!(!database.readings(brew).expect("readings").is_empty());
    });
    let raw = times(&|database| {
        let (_, count) = originals
            .iter()
            .find(|(it, _)| *it == original)
            .expect("it");
        assert_eq!(database.raw_readings(brew).expect("readings").len(), *count);
    });
    figure(
        "one brew's conditioned readings",
        conditioned,
        1,
        "ms",
        Limit::AtMost(50.0),
    );
    figure(
        "one brew's readings as they came",
        raw,
        1,
        "ms",
        Limit::AtMost(50.0),
    );
}

/// Gives brews the blocks of others.
fn copy_blocks(directory: &Path, copies: &[(BrewId, BrewId)]) {
    let mut connection = Connection::open(directory.join(FILE_NAME)).expect("it opens");
    connection
        .pragma_update(None, "synchronous", "OFF")
        .expect("nothing to wait for");
    for some in copies.chunks(100) {
        let transaction = connection.transaction().expect("begun");
        for (original, brew) in some {
            let copied = transaction.execute(
                "INSERT INTO packed SELECT ?2, kind, first_seq, last_seq, last_at_us, rows, body FROM packed \
                 WHERE brew_id = ?1",
                [original.number(), brew.number()],
            );
            assert!(copied.expect("copied") > 0);
        }
        transaction.commit().expect("committed");
    }
    connection
        .query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |_| Ok(()))
        .expect("folded");
}

fn main() {
    let seconds = sized(1500, 20);
    compare(
        "Record, a second of ten instruments a commit",
        "commits/s",
        &mut [
            Case::new("SQLite alone, the same rows", || bare(seconds)),
            Case::new("the record", || stored(seconds)).beside("SQLite alone, the same rows", 0.7),
            Case::new("limit: append and fdatasync", || flushed(seconds)),
        ],
    );
    println!();
    kept();
}
