//! Brews, events and outputs: what goes in comes out.

use std::collections::BTreeMap;

use lauter_core::reading::Cause;
use lauter_core::supervisor::{Event, Line, Output, StopCause, SummaryLine};
use lauterd::store::{Batch, Database, FILE_NAME, FinishedBrew, StoreError};
use proptest::prelude::*;
use tempfile::tempdir;

use crate::fixtures::{
    alarm, any_events, at, conditioned, header, reading_event, runoff, sample_event, table_line,
    wall,
};

/// Values by their bits, since -0.0 equals 0.0.
fn bits(event: &Event) -> Option<u64> {
    match event {
        Event::Reading { reading, .. } => reading.value.ok().map(f64::to_bits),
        Event::Delivery { oldest_age_s, .. } => Some(oldest_age_s.to_bits()),
        Event::Sample(sample) => sample.gravity_p.map(f64::to_bits),
        _ => None,
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(40))]

    #[test]
    fn events_come_back_in_order_and_bit_for_bit(events in any_events(3), cut in 0..60_usize) {
        let directory = tempdir().unwrap();
        let mut database = Database::open(directory.path()).unwrap();
        let tun = database.tun("north-yard", "tun-1").unwrap();
        let brew = database.begin_brew(&header(tun, "2026-0412", 3)).unwrap();
        let (first, second) = events.split_at(cut.min(events.len()));
        for part in [first, second] {
            let batch = Batch { events: part.to_vec(), ..Batch::new(tun, Some(brew)) };
            database.append(&batch).unwrap();
            // What is known about the brew must not depend on what the process remembers.
            drop(database);
            database = Database::open(directory.path()).unwrap();
        }
        let recorded = database.events(brew).unwrap();
        prop_assert_eq!(&recorded, &events);
        for (recorded, given) in recorded.iter().zip(&events) {
            prop_assert_eq!(bits(&recorded.event), bits(&given.event));
        }
    }

    #[test]
    fn the_store_holds_exactly_the_latest_record_of_each_brew_id(
        brews in proptest::collection::vec((0..4_u8, 0..2_u8, 0..5_usize), 1..20),
    ) {
        let directory = tempdir().unwrap();
        let mut database = Database::open(directory.path()).unwrap();
        let tuns = [
            database.tun("north-yard", "tun-1").unwrap(),
            database.tun("north-yard", "tun-2").unwrap(),
        ];
        let mut expected = BTreeMap::new();
        for (name, tun, samples) in brews {
            let tun = tuns[usize::from(tun)];
            let name = format!("2026-{name}");
            let brew = database.begin_brew(&header(tun, &name, 1)).unwrap();
            let events: Vec<_> = (0..samples).map(|n| sample_event(n as f64, 12.0)).collect();
            let batch = Batch { events, outputs: vec![alarm(1.0)], ..Batch::new(tun, Some(brew)) };
            database.append(&batch).unwrap();
            expected.insert((tun, name), (brew, samples));
        }
        let mut found = BTreeMap::new();
        for tun in tuns {
            for brew in database.brews(tun).unwrap() {
                prop_assert_eq!(database.alarms(brew.id).unwrap().len(), 1);
                let samples = database.samples(brew.id).unwrap().len();
                found.insert((tun, brew.header.plan.brew), (brew.id, samples));
            }
        }
        prop_assert_eq!(found, expected);
    }
}

#[test]
fn a_replaced_brew_leaves_no_rows_and_its_number_is_not_used_again() {
    let directory = tempdir().unwrap();
    let mut database = Database::open(directory.path()).unwrap();
    let tun = database.tun("north-yard", "tun-1").unwrap();
    let first = database.begin_brew(&header(tun, "2026-0412", 2)).unwrap();
    let batch = Batch {
        events: vec![sample_event(5.0, 17.0)],
        outputs: vec![conditioned(1.0, 0, 17.0)],
        ..Batch::new(tun, Some(first))
    };
    database.append(&batch).unwrap();
    let second = database.begin_brew(&header(tun, "2026-0412", 2)).unwrap();
    assert_ne!(first, second);
    assert!(database.events(first).unwrap().is_empty());
    assert!(matches!(
        database.append(&batch),
        Err(StoreError::NoSuchBrew { .. })
    ));
    assert!(matches!(
        database.readings(first),
        Err(StoreError::NoSuchBrew { .. })
    ));
}

#[test]
fn a_brew_comes_back_with_its_plan_its_instruments_and_its_end() {
    let directory = tempdir().unwrap();
    let mut database = Database::open(directory.path()).unwrap();
    let tun = database.tun("north-yard", "tun-1").unwrap();
    let header = header(tun, "2026-0412", 2);
    let id = database.begin_brew(&header).unwrap();
    assert_eq!(database.unfinished_brew(tun).unwrap().unwrap().id, id);
    let end = FinishedBrew {
        ended: wall(5400.0),
        ended_at: at(5400.0),
        summary: Some(SummaryLine {
            stop_volume_l: Some(5184.0),
            stop_elapsed_s: Some(5175.0),
            stop_cause: StopCause::TargetGravity,
            kettle_gravity_p: Some(12.4),
            extract_kg: Some(657.0),
            brew_length_l_per_kg: Some(5.29),
            readings: 43210,
            rejected: 12,
        }),
    };
    database.finish_brew(id, &end).unwrap();
    database.mark_accepted(id, true).unwrap();
    let brew = database.find_brew(tun, "2026-0412").unwrap().unwrap();
    assert_eq!(brew.header, header);
    assert_eq!(brew.finished, Some(end));
    assert_eq!(brew.accepted, Some(true));
    assert!(brew.readings_kept);
    assert_eq!(database.unfinished_brew(tun).unwrap(), None);
}

#[test]
fn outputs_come_back_by_kind_and_in_order() {
    let directory = tempdir().unwrap();
    let mut database = Database::open(directory.path()).unwrap();
    let tun = database.tun("north-yard", "tun-1").unwrap();
    let brew = database.begin_brew(&header(tun, "2026-0412", 2)).unwrap();
    let outputs = vec![
        conditioned(1.0, 1, 17.25),
        table_line(600.0),
        alarm(601.0),
        conditioned(2.0, 0, -0.0),
        table_line(1200.0),
    ];
    let batch = Batch {
        outputs: outputs.clone(),
        ..Batch::new(tun, Some(brew))
    };
    database.append(&batch).unwrap();
    let lines: Vec<_> = database.lines(brew).unwrap();
    let expected: Vec<(_, Line)> = outputs
        .iter()
        .filter_map(|dated| match &dated.output {
            Output::Line(line) => Some((dated.at, line.clone())),
            _ => None,
        })
        .collect();
    assert_eq!(lines, expected);
    assert_eq!(database.table(brew).unwrap().len(), 2);
    assert_eq!(database.alarms(brew).unwrap().len(), 1);
    let readings = database.readings(brew).unwrap();
    let again: Vec<_> = readings
        .into_iter()
        .map(|r| (r.at, Output::Reading(r.reading)))
        .collect();
    assert_eq!(again[0], (outputs[0].at, outputs[0].output.clone()));
    assert_eq!(again[1], (outputs[3].at, outputs[3].output.clone()));
}

#[test]
fn a_batch_with_an_unknown_instrument_is_refused_as_a_whole() {
    let directory = tempdir().unwrap();
    let mut database = Database::open(directory.path()).unwrap();
    let tun = database.tun("north-yard", "tun-1").unwrap();
    let brew = database.begin_brew(&header(tun, "2026-0412", 1)).unwrap();
    let batch = Batch {
        events: vec![sample_event(1.0, 12.0)],
        outputs: vec![alarm(1.0), conditioned(1.0, 7, 12.0)],
        ..Batch::new(tun, Some(brew))
    };
    let error = database.append(&batch).unwrap_err();
    assert!(error.to_string().contains("instrument_7"), "{error}");
    assert!(database.events(brew).unwrap().is_empty());
    assert!(database.alarms(brew).unwrap().is_empty());
}

#[test]
fn a_value_that_is_not_finite_is_recorded_as_its_cause() {
    let directory = tempdir().unwrap();
    let mut database = Database::open(directory.path()).unwrap();
    let tun = database.tun("north-yard", "tun-1").unwrap();
    let brew = database.begin_brew(&header(tun, "2026-0412", 1)).unwrap();
    let events = vec![
        reading_event(1.0, 0, Ok(f64::NAN)),
        reading_event(2.0, 0, Ok(f64::INFINITY)),
    ];
    let batch = Batch {
        events,
        ..Batch::new(tun, Some(brew))
    };
    database.append(&batch).unwrap();
    let expected = vec![
        reading_event(1.0, 0, Err(Cause::NotFinite)),
        reading_event(2.0, 0, Err(Cause::NotFinite)),
    ];
    assert_eq!(database.events(brew).unwrap(), expected);
}

#[test]
fn between_brews_actions_and_alarms_are_kept_and_readings_are_not() {
    let directory = tempdir().unwrap();
    let mut database = Database::open(directory.path()).unwrap();
    let tun = database.tun("north-yard", "tun-1").unwrap();
    let sample = sample_event(2.0, 12.0);
    let batch = Batch {
        events: vec![reading_event(1.0, 0, Ok(12.0)), sample.clone()],
        outputs: vec![conditioned(1.0, 0, 12.0), alarm(2.0), runoff(2.0)],
        ..Batch::new(tun, None)
    };
    database.append(&batch).unwrap();
    assert_eq!(database.idle_events(tun, at(0.0)).unwrap(), vec![sample]);
    assert!(database.idle_events(tun, at(3.0)).unwrap().is_empty());
    assert_eq!(database.idle_alarms(tun).unwrap().len(), 1);
}

#[test]
fn run_off_states_are_thinned() {
    let directory = tempdir().unwrap();
    let mut database = Database::open(directory.path()).unwrap();
    let tun = database.tun("north-yard", "tun-1").unwrap();
    let brew = database.begin_brew(&header(tun, "2026-0412", 1)).unwrap();
    for second in 0..30 {
        let batch = Batch {
            outputs: vec![runoff(f64::from(second))],
            ..Batch::new(tun, Some(brew))
        };
        database.append(&batch).unwrap();
    }
    let kept: Vec<f64> = database
        .runoff_states(brew)
        .unwrap()
        .into_iter()
        .map(|(_, state)| state.elapsed_s)
        .collect();
    assert_eq!(kept, [0.0, 10.0, 20.0]);
}

#[test]
fn two_hours_of_twelve_instruments_take_less_than_ten_megabytes() {
    let directory = tempdir().unwrap();
    let mut database = Database::open(directory.path()).unwrap();
    let tun = database.tun("north-yard", "tun-1").unwrap();
    let brew = database.begin_brew(&header(tun, "2026-0412", 12)).unwrap();
    for minute in 0..120 {
        let mut batch = Batch::new(tun, Some(brew));
        for second in 0..60 {
            let elapsed = f64::from(minute * 60 + second);
            for instrument in 0..12 {
                let value = 12.0 + (elapsed + instrument as f64).sin();
                // Twelve polls never answer at the same microsecond.
                let arrived = elapsed + 0.000_731 * instrument as f64;
                batch
                    .events
                    .push(reading_event(arrived, instrument, Ok(value)));
                if second % 2 == 0 {
                    batch.outputs.push(conditioned(arrived, instrument, value));
                }
            }
            batch.outputs.push(runoff(elapsed));
        }
        database.append(&batch).unwrap();
    }
    database.close().unwrap();
    let size = std::fs::metadata(directory.path().join(FILE_NAME))
        .unwrap()
        .len();
    println!("{size} bytes");
    assert!(size < 10_000_000, "{size} bytes");
}

#[test]
fn the_latest_line_of_each_alarm_is_found_whichever_brew_it_fell_into() {
    use lauter_core::alarm::AlarmState;
    let directory = tempdir().unwrap();
    let mut database = Database::open(directory.path()).unwrap();
    let tun = database.tun("north-yard", "tun-1").unwrap();
    let to = |seconds, to| {
        let mut dated = alarm(seconds);
        if let Output::Line(Line::Alarm(line)) = &mut dated.output {
            line.to = to;
        }
        dated
    };
    let brew = database.begin_brew(&header(tun, "2026-0412", 1)).unwrap();
    let during = Batch {
        outputs: vec![alarm(1.0), to(2.0, AlarmState::Acknowledged)],
        ..Batch::new(tun, Some(brew))
    };
    database.append(&during).unwrap();
    let latest = |database: &Database, except| {
        let lines = database.latest_alarms(tun, except).unwrap();
        let states = lines.into_iter().map(|(moment, line)| (moment, line.to));
        states.collect::<Vec<_>>()
    };
    assert_eq!(
        latest(&database, None),
        [(at(2.0), AlarmState::Acknowledged)]
    );
    assert_eq!(latest(&database, Some(brew)), []);
    let after = Batch {
        outputs: vec![to(9000.0, AlarmState::Normal)],
        ..Batch::new(tun, None)
    };
    database.append(&after).unwrap();
    assert_eq!(latest(&database, None), [(at(9000.0), AlarmState::Normal)]);
    // A replayed brew has an axis of its own and says nothing about now.
    let mut replayed = header(tun, "2026-0413", 1);
    replayed.started_at = lauter_core::reading::Moment::ZERO;
    let replayed = database.begin_brew(&replayed).unwrap();
    let lines = Batch {
        outputs: vec![alarm(9100.0)],
        ..Batch::new(tun, Some(replayed))
    };
    database.append(&lines).unwrap();
    assert_eq!(latest(&database, None), [(at(9000.0), AlarmState::Normal)]);
}
