//! Readings in blocks: nothing of them is lost, and they take little room.

use std::fs;
use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};

use lauter_core::reading::{Cause, Status};
use lauter_core::supervisor::{Dated, Event, Output};
use lauterd::store::{
    Batch, BrewId, Checkpoint, Database, DatedEvent, FILE_NAME, FinishedBrew, Keep,
    RecordedReading, Store, StoreParameters, TunId,
};
use proptest::prelude::*;
use rusqlite::Connection;
use tempfile::{TempDir, tempdir};

use crate::fixtures::{
    any_events, any_value, at, conditioned, header, reading_event, sample_event, wall,
};

pub fn blocks_of(packed_rows: u32) -> StoreParameters {
    StoreParameters {
        packed_rows,
        ..StoreParameters::default()
    }
}

pub fn end(seconds: f64) -> FinishedBrew {
    FinishedBrew {
        ended: wall(seconds),
        ended_at: at(seconds),
        summary: None,
    }
}

/// Packs until nothing is due; how many slices that took.
pub fn pack(database: &mut Database) -> usize {
    let mut slices = 0;
    while database.pack_slice().unwrap() {
        slices += 1;
        assert!(slices < 10_000, "it comes to an end");
    }
    slices
}

/// The bits of every number, since 0 and −0 are equal.
fn bits(events: &[DatedEvent]) -> Vec<Option<u64>> {
    let value = |dated: &DatedEvent| match &dated.event {
        Event::Reading { reading, .. } => reading.value.ok().map(f64::to_bits),
        _ => None,
    };
    events.iter().map(value).collect()
}

fn reading_bits(recorded: &RecordedReading) -> [Option<u64>; 4] {
    let reading = &recorded.reading;
    [
        reading.value,
        reading.standard_error,
        reading.rate_per_min,
        reading.raw,
    ]
    .map(|number| number.map(f64::to_bits))
}

pub fn count(directory: &Path, what: &str) -> i64 {
    Connection::open(directory.join(FILE_NAME))
        .unwrap()
        .query_row(&format!("SELECT count(*) FROM {what}"), [], |row| {
            row.get(0)
        })
        .unwrap()
}

prop_compose! {
    fn any_conditioned()(
        instrument in 0..3_usize,
        numbers in [proptest::option::of(any_value()), proptest::option::of(any_value()), proptest::option::of(any_value())],
        faulty in any::<bool>(),
        seconds in 0.0..9000.0,
    ) -> Dated {
        let mut dated = conditioned(seconds, instrument, 0.0);
        if let Output::Reading(reading) = &mut dated.output {
            [reading.value, reading.rate_per_min, reading.raw] = numbers;
            if faulty {
                reading.status = Status::OutOfSpecification;
                reading.cause = Some(Cause::Spike);
            }
        }
        dated
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn a_record_reads_the_same_whether_it_is_packed_or_not(
        events in any_events(3),
        outputs in proptest::collection::vec(any_conditioned(), 0..40),
        packed_rows in 1..40_u32,
        cut in 0..60_usize,
        ended in any::<bool>(),
    ) {
        let directory = tempdir().unwrap();
        let mut database = Database::open_with(directory.path(), blocks_of(packed_rows)).unwrap();
        let tun = database.tun("north-yard", "tun-1").unwrap();
        let brew = database.begin_brew(&header(tun, "2026-0412", 3)).unwrap();
        let cut = cut.min(events.len());
        let checkpoint = Checkpoint { engine: "1".to_owned(), state: "{}".to_owned() };
        let first = Batch {
            events: events[..cut].to_vec(),
            checkpoint: Some(Box::new(checkpoint)),
            ..Batch::new(tun, Some(brew))
        };
        database.append(&first).unwrap();
        pack(&mut database);
        let rest = Batch { events: events[cut..].to_vec(), outputs, ..Batch::new(tun, Some(brew)) };
        database.append(&rest).unwrap();
        let read = |database: &Database| {
            let of = (database.events(brew).unwrap(), database.raw_readings(brew).unwrap());
            let from = database.beginning(brew, "1").unwrap().events;
            let last = database.last_event_at(brew).unwrap();
            (of, from, last, database.readings(brew).unwrap(), database.other_events(brew).unwrap())
        };
        let rows = read(&database);
        prop_assert_eq!(&rows.0.0, &events);
        prop_assert_eq!(bits(&rows.0.0), bits(&events));
        prop_assert_eq!(&rows.1, &events[cut..]);
        if ended {
            database.finish_brew(brew, &end(9000.0)).unwrap();
        }
        pack(&mut database);
        let packed = read(&database);
        prop_assert_eq!(bits(&packed.0.0), bits(&events));
        let numbers = |readings: &[RecordedReading]| readings.iter().map(reading_bits).collect::<Vec<_>>();
        prop_assert_eq!(numbers(&packed.3), numbers(&rows.3));
        if ended {
            // The checkpoint of an ended brew is gone.
            prop_assert_eq!(count(directory.path(), "event WHERE kind <> 2"), 0);
            prop_assert_eq!(count(directory.path(), "conditioned"), 0);
            prop_assert_eq!((packed.0, packed.3, packed.4), (rows.0, rows.3, rows.4));
        } else {
            prop_assert!(count(directory.path(), "event WHERE kind <> 2") < i64::from(packed_rows));
            prop_assert_eq!(packed, rows);
        }
        database.check().unwrap();
    }
}

/// A brew with a reading a second of each of two instruments and a sample every hundred seconds.
pub fn batch(tun: TunId, brew: BrewId, seconds: std::ops::Range<u32>) -> Batch {
    let mut batch = Batch::new(tun, Some(brew));
    for second in seconds {
        let time = f64::from(second);
        for instrument in 0..2 {
            let value = 12.0 + time * 0.001 + instrument as f64;
            batch
                .events
                .push(reading_event(time, instrument, Ok(value)));
            batch.outputs.push(conditioned(time, instrument, value));
        }
        if second % 100 == 0 {
            batch.events.push(sample_event(time, 12.0));
        }
    }
    batch
}

/// A record with the brews `names`, each of 500 s, ended and packed in blocks of a hundred rows.
pub fn packed(names: &[&str]) -> (TempDir, Database, Vec<BrewId>) {
    let directory = tempdir().unwrap();
    let mut database = Database::open_with(directory.path(), blocks_of(100)).unwrap();
    let tun = database.tun("north-yard", "tun-1").unwrap();
    let brews = names.iter().map(|name| {
        let brew = database.begin_brew(&header(tun, name, 2)).unwrap();
        database.append(&batch(tun, brew, 0..500)).unwrap();
        database.finish_brew(brew, &end(500.0)).unwrap();
        pack(&mut database);
        brew
    });
    let brews = brews.collect();
    (directory, database, brews)
}

#[test]
fn a_brew_under_way_has_whole_blocks_and_goes_on_with_its_numbers_after_a_restart() {
    let directory = tempdir().unwrap();
    let mut database = Database::open_with(directory.path(), blocks_of(100)).unwrap();
    let tun = database.tun("north-yard", "tun-1").unwrap();
    let brew = database.begin_brew(&header(tun, "2026-0412", 2)).unwrap();
    for begin in (0..125).step_by(5) {
        database
            .append(&batch(tun, brew, begin..begin + 5))
            .unwrap();
        database.pack_slice().unwrap();
    }
    assert_eq!(count(directory.path(), "packed WHERE rows = 100"), 4);
    assert_eq!(count(directory.path(), "packed"), 4);
    assert_eq!(count(directory.path(), "event WHERE kind = 0"), 50);
    assert_eq!(count(directory.path(), "event WHERE kind = 2"), 2);
    drop(database);
    let mut database = Database::open_with(directory.path(), blocks_of(100)).unwrap();
    assert_eq!(
        pack(&mut database),
        0,
        "it is the newest and may be running"
    );
    database.append(&batch(tun, brew, 125..200)).unwrap();
    assert_eq!(
        database.events(brew).unwrap(),
        batch(tun, brew, 0..200).events
    );
    assert!(pack(&mut database) > 0);
    assert_eq!(
        database.events(brew).unwrap(),
        batch(tun, brew, 0..200).events
    );
    assert_eq!(database.readings(brew).unwrap().len(), 400);
}

#[test]
fn a_brew_that_is_added_to_after_its_end_is_packed_again() {
    let (directory, mut database, brews) = packed(&["2026-0412"]);
    let tun = database.find_tun("north-yard", "tun-1").unwrap().unwrap();
    assert_eq!(pack(&mut database), 0);
    database.append(&batch(tun, brews[0], 500..520)).unwrap();
    database.finish_brew(brews[0], &end(520.0)).unwrap();
    assert_eq!(count(directory.path(), "event WHERE kind = 0"), 40);
    pack(&mut database);
    assert_eq!(count(directory.path(), "event WHERE kind = 0"), 0);
    let events = batch(tun, brews[0], 0..520).events;
    assert_eq!(database.events(brews[0]).unwrap(), events);
}

#[tokio::test]
async fn the_thread_packs_an_old_record_while_it_serves() {
    let directory = tempdir().unwrap();
    let mut database = Database::open(directory.path()).unwrap();
    let tun = database.tun("north-yard", "tun-1").unwrap();
    let brew = database.begin_brew(&header(tun, "2026-0412", 2)).unwrap();
    database.append(&batch(tun, brew, 0..500)).unwrap();
    database.finish_brew(brew, &end(500.0)).unwrap();
    database.close().unwrap();
    let store = Store::open_with(directory.path(), blocks_of(100)).unwrap();
    let mut left = i64::MAX;
    while left > 0 {
        store.flush().await.unwrap();
        let now = count(directory.path(), "event WHERE kind = 0");
        assert!(now <= left);
        left = now;
    }
    let events = store.read(move |database| database.events(brew)).await;
    assert_eq!(events.unwrap(), batch(tun, brew, 0..500).events);
    assert_eq!(store.health().failed, 0);
    store.close().await.unwrap();
}

#[test]
fn a_reader_sees_every_reading_once_while_they_are_packed() {
    let directory = tempdir().unwrap();
    let mut database = Database::open_with(directory.path(), blocks_of(50)).unwrap();
    let tun = database.tun("north-yard", "tun-1").unwrap();
    let brew = database.begin_brew(&header(tun, "2026-0412", 2)).unwrap();
    database.append(&batch(tun, brew, 0..2000)).unwrap();
    let expected = batch(tun, brew, 0..2000).events;
    let done = AtomicBool::new(false);
    std::thread::scope(|scope| {
        let reading = scope.spawn(|| {
            let reader = Database::open_read_only(directory.path()).unwrap();
            let mut reads = 0;
            while !done.load(Ordering::Relaxed) || reads == 0 {
                assert_eq!(reader.events(brew).unwrap(), expected);
                assert_eq!(reader.readings(brew).unwrap().len(), 4000);
                reads += 1;
            }
        });
        pack(&mut database);
        done.store(true, Ordering::Relaxed);
        reading.join().unwrap();
    });
    assert_eq!(count(directory.path(), "event WHERE kind = 0"), 0);
}

#[test]
fn packed_readings_go_when_their_time_is_over() {
    let (directory, mut database, brews) = packed(&["2026-0412"]);
    let keep = Keep {
        readings_days: 1.0,
        brews_days: None,
    };
    for day in 0..4 {
        database.age(wall(f64::from(day) * 86_400.0)).unwrap();
    }
    while database.retention_slice(keep).unwrap().more {}
    assert_eq!(count(directory.path(), "packed"), 0);
    assert!(database.readings(brews[0]).unwrap().is_empty());
    assert_eq!(database.samples(brews[0]).unwrap().len(), 5);
    assert!(!database.brew(brews[0]).unwrap().readings_kept);
}

#[test]
fn a_replaced_brew_leaves_no_blocks() {
    let (directory, mut database, _) = packed(&["2026-0412"]);
    assert!(count(directory.path(), "packed") > 0);
    let tun = database.find_tun("north-yard", "tun-1").unwrap().unwrap();
    database.begin_brew(&header(tun, "2026-0412", 2)).unwrap();
    assert_eq!(count(directory.path(), "packed"), 0);
}

/// Noise that any machine makes the same.
fn noise(state: &mut u64) -> f64 {
    *state = state
        .wrapping_mul(6_364_136_223_846_793_005)
        .wrapping_add(1_442_695_040_888_963_407);
    (*state >> 11) as f64 / (1_u64 << 53) as f64 - 0.5
}

#[test]
fn a_reading_takes_less_than_25_bytes_and_the_file_shrinks_when_it_is_packed() {
    let directory = tempdir().unwrap();
    let path = directory.path().join(FILE_NAME);
    let mut database = Database::open(directory.path()).unwrap();
    let tun = database.tun("north-yard", "tun-1").unwrap();
    let brew = database.begin_brew(&header(tun, "2026-0412", 10)).unwrap();
    let (seconds, instruments, mut state) = (3000, 10, 1);
    for begin in (0..seconds).step_by(100) {
        let mut batch = Batch::new(tun, Some(brew));
        for second in begin..begin + 100 {
            // The answers come when they come.
            let time = f64::from(second) + 0.002 * noise(&mut state);
            for instrument in 0..instruments {
                let exact = 18.0 - 0.004 * time + 0.1 * noise(&mut state);
                let value = match instrument % 2 {
                    0 => f64::from(exact as f32),
                    _ => (exact * 100.0).round() * 0.01,
                };
                batch
                    .events
                    .push(reading_event(time, instrument, Ok(value)));
                let mut dated = conditioned(f64::from(second), instrument, value);
                if let Output::Reading(reading) = &mut dated.output {
                    let six = |value: f64| (value * 1e6).round() / 1e6;
                    reading.value = Some(six(exact + 0.02 * noise(&mut state)));
                    reading.standard_error = Some(six(0.01 + 0.001 * noise(&mut state)));
                    reading.rate_per_min = Some(six(-0.24 + 0.1 * noise(&mut state)));
                    reading.raw = Some(value);
                }
                batch.outputs.push(dated);
            }
        }
        database.append(&batch).unwrap();
    }
    database.close().unwrap();
    let rows = fs::metadata(&path).unwrap().len();
    let mut database = Database::open(directory.path()).unwrap();
    database.finish_brew(brew, &end(3000.0)).unwrap();
    pack(&mut database);
    database.close().unwrap();
    let blocks = fs::metadata(&path).unwrap().len();
    // What is left of the free pages is for the rows to come.
    let free: u64 = Connection::open(&path)
        .unwrap()
        .pragma_query_value(None, "freelist_count", |row| row.get::<_, i64>(0))
        .unwrap()
        .cast_unsigned();
    assert!(free <= 256, "{free}");
    let each = (blocks - 4096 * free) as f64 / f64::from(seconds) / instruments as f64;
    println!("{each:.1} bytes a reading, {rows} bytes in rows, {blocks} packed");
    assert!(each < 25.0, "{each}");
    assert!(blocks < rows / 2, "{blocks} of {rows}");
}
