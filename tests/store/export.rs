//! Exported files give the same numbers back.

use std::fs;

use lauter_core::projection::Plan;
use lauter_core::reading::Cause;
use lauter_core::supervisor::{Event, Line};
use lauterd::store::{Batch, Database, DatedEvent, export_files, write_run};
use proptest::prelude::*;
use tempfile::tempdir;

use crate::fixtures::{START, alarm, any_events, header, reading_event, sample_event, table_line};

/// (microseconds after the origin, instrument, bits of the value) of each cell, row by row, as a replay gives
/// them to the supervisor.
fn cells(run: &[u8]) -> Vec<(i64, usize, u64)> {
    let mut csv = csv::Reader::from_reader(run);
    let mut cells = Vec::new();
    for row in csv.records() {
        let row = row.unwrap();
        let (seconds, micros) = row[0].split_once('.').unwrap();
        let at = seconds.parse::<i64>().unwrap() * 1_000_000 + micros.parse::<i64>().unwrap();
        for (instrument, cell) in row.iter().skip(1).enumerate() {
            if !cell.is_empty() {
                let value: f64 = cell.parse().unwrap();
                cells.push((at, instrument, value.to_bits()));
            }
        }
    }
    cells
}

fn run(events: &[DatedEvent]) -> String {
    let mut out = Vec::new();
    write_run(&mut out, START, &["a", "b", "c"], events).unwrap();
    String::from_utf8(out).unwrap()
}

proptest! {
    #[test]
    fn a_run_gives_back_every_value_bit_for_bit_and_in_order(events in any_events(3)) {
        let expected: Vec<_> = events
            .iter()
            .filter_map(|dated| match dated.event {
                Event::Reading { instrument, reading } => {
                    let value = reading.value.ok()?;
                    Some((dated.at.0 - START.0, instrument, value.to_bits()))
                }
                _ => None,
            })
            .collect();
        prop_assert_eq!(cells(run(&events).as_bytes()), expected);
    }
}

#[test]
fn readings_of_one_moment_share_a_row_unless_their_order_would_be_lost() {
    let events = [
        reading_event(1.0, 0, Ok(0.1)),
        reading_event(1.0, 2, Ok(1e-7)),
        reading_event(1.0, 1, Ok(-0.0)),
        reading_event(2.5, 1, Err(Cause::LinkLost)),
    ];
    assert_eq!(
        run(&events),
        "elapsed_s,a,b,c\n1.000000,0.1,,1e-7\n1.000000,,-0.0,\n2.500000,,,\n"
    );
}

#[test]
fn what_came_before_the_origin_has_a_negative_time() {
    assert_eq!(
        run(&[reading_event(-0.25, 0, Ok(5.0))]),
        "elapsed_s,a,b,c\n-0.250000,5.0,,\n"
    );
}

#[test]
fn the_end_of_the_brew_is_a_row_without_readings() {
    let ended = |at_s| DatedEvent {
        at: START.plus_seconds(at_s),
        event: Event::BrewEnded,
    };
    let read = reading_event(1.0, 0, Ok(5.0));
    assert_eq!(
        run(&[read.clone(), ended(1.75)]),
        "elapsed_s,a,b,c\n1.000000,5.0,,\n1.750000,,,\n"
    );
    assert_eq!(
        run(&[read, ended(1.0)]),
        "elapsed_s,a,b,c\n1.000000,5.0,,\n"
    );
}

#[test]
fn every_file_of_a_brew_is_written() {
    let directory = tempdir().unwrap();
    let mut database = Database::open(directory.path()).unwrap();
    let tun = database.tun("north-yard", "tun-1").unwrap();
    let header = header(tun, "2026-0412", 2);
    let brew = database.begin_brew(&header).unwrap();
    let batch = Batch {
        events: vec![reading_event(1.0, 1, Ok(18.05)), sample_event(600.0, 17.5)],
        outputs: vec![table_line(600.0), alarm(601.0)],
        ..Batch::new(tun, Some(brew))
    };
    database.append(&batch).unwrap();
    let out = directory.path().join("export");
    database.export(brew, &out).unwrap();
    let read = |name: &str| fs::read_to_string(out.join(name)).unwrap();
    assert_eq!(
        read(export_files::RUN),
        "elapsed_s,instrument_0,instrument_1\n1.000000,,18.05\n"
    );
    assert_eq!(
        read(export_files::SAMPLES),
        "elapsed_s,place,gravity_p,ph,volume_l\n600.000000,kettle,17.5,,1204.5\n"
    );
    assert_eq!(
        read(export_files::TABLE),
        "elapsed_s,runnings_gravity_p,runnings_ph,kettle_volume_l,kettle_gravity_p,flow_l_min,\
         pressure_drop_kpa\n600.0,18.0,,602.1,17.9,60.1,1.02\n"
    );
    let plan: Plan = toml::from_str(&read(export_files::PLAN)).unwrap();
    assert_eq!(plan, header.plan);
    let lines: Vec<Line> = read(export_files::LINES)
        .lines()
        .map(|line| serde_json::from_str(line).unwrap())
        .collect();
    let recorded: Vec<Line> = database
        .lines(brew)
        .unwrap()
        .into_iter()
        .map(|l| l.1)
        .collect();
    assert_eq!(lines, recorded);
    assert_eq!(read(export_files::ALARMS).lines().count(), 1);
    assert!(read(export_files::ALARMS).contains(r#""alarm":"channelling""#));
}
