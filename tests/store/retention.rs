//! What has passed its time goes, and nothing else.

use lauterd::store::{Batch, BrewId, Database, FinishedBrew, Keep, Store, StoreParameters, TunId};
use tempfile::tempdir;

use crate::fixtures::{
    alarm, at, conditioned, header, reading_event, runoff, sample_event, table_line, wall,
};

const DAY_S: f64 = 86_400.0;

/// A brew that began `day` days after the first.
fn record(database: &mut Database, tun: TunId, day: f64, name: &str, ended: bool) -> BrewId {
    let start = day * DAY_S;
    let mut header = header(tun, name, 2);
    header.started = wall(start);
    header.started_at = at(start);
    let brew = database.begin_brew(&header).unwrap();
    let batch = Batch {
        events: (0..50)
            .map(|n| reading_event(start + f64::from(n), 0, Ok(12.0)))
            .chain([sample_event(start + 60.0, 12.0)])
            .collect(),
        outputs: vec![
            conditioned(start, 0, 12.0),
            runoff(start),
            table_line(start),
            alarm(start),
        ],
        ..Batch::new(tun, Some(brew))
    };
    database.append(&batch).unwrap();
    if ended {
        let end = FinishedBrew {
            ended: wall(start + 5400.0),
            ended_at: at(start + 5400.0),
            summary: None,
        };
        database.finish_brew(brew, &end).unwrap();
    }
    brew
}

/// The service runs from one day to another and looks at its record twice a day.
fn age(database: &mut Database, from_day: u32, to_day: u32) {
    for half in from_day * 2..=to_day * 2 {
        database.age(wall(f64::from(half) * 0.5 * DAY_S)).unwrap();
    }
}

#[test]
fn old_readings_go_and_tables_alarms_and_samples_stay() {
    let directory = tempdir().unwrap();
    let parameters = StoreParameters {
        retention_rows: 7,
        ..StoreParameters::default()
    };
    let mut database = Database::open_with(directory.path(), parameters).unwrap();
    let tun = database.tun("north-yard", "tun-1").unwrap();
    let old = record(&mut database, tun, 0.0, "old", true);
    let abandoned = record(&mut database, tun, 1.0, "abandoned", false);
    age(&mut database, 2, 39);
    let young = record(&mut database, tun, 39.0, "young", true);
    age(&mut database, 39, 40);
    let keep = Keep {
        readings_days: 30.0,
        brews_days: None,
    };
    let mut slices = 0;
    while database.retention_slice(keep).unwrap().more {
        slices += 1;
        // Each slice is small: seven rows of each kind.
        assert!(slices < 100);
    }
    assert!(slices >= 14);
    for brew in [old, abandoned] {
        assert!(!database.brew(brew).unwrap().readings_kept);
        assert!(database.raw_readings(brew).unwrap().is_empty());
        assert!(database.readings(brew).unwrap().is_empty());
        assert!(database.runoff_states(brew).unwrap().is_empty());
        assert_eq!(database.samples(brew).unwrap().len(), 1);
        assert_eq!(database.table(brew).unwrap().len(), 1);
        assert_eq!(database.alarms(brew).unwrap().len(), 1);
    }
    assert!(database.brew(young).unwrap().readings_kept);
    assert_eq!(database.raw_readings(young).unwrap().len(), 50);
}

#[tokio::test]
async fn whole_brews_go_when_the_site_says_so_but_never_the_running_one() {
    let directory = tempdir().unwrap();
    let mut database = Database::open(directory.path()).unwrap();
    let tun = database.tun("north-yard", "tun-1").unwrap();
    let other = database.tun("north-yard", "tun-2").unwrap();
    record(&mut database, tun, 0.0, "old", true);
    let running = record(&mut database, other, 0.0, "running", false);
    let idle = Batch {
        outputs: vec![alarm(0.0)],
        ..Batch::new(tun, None)
    };
    database.append(&idle).unwrap();
    age(&mut database, 1, 399);
    let kept = record(&mut database, tun, 399.0, "young", true);
    drop(database);
    let store = Store::open(directory.path()).unwrap();
    let keep = Keep {
        readings_days: 1000.0,
        brews_days: Some(365.0),
    };
    store.retention(wall(400.0 * DAY_S), keep).await.unwrap();
    store.close().await.unwrap();
    let database = Database::open(directory.path()).unwrap();
    let left: Vec<BrewId> = database.brews(tun).unwrap().iter().map(|b| b.id).collect();
    assert_eq!(left, [kept]);
    assert_eq!(database.raw_readings(kept).unwrap().len(), 50);
    assert_eq!(database.raw_readings(running).unwrap().len(), 50);
    assert!(database.idle_alarms(tun).unwrap().is_empty());
}

#[test]
fn a_clock_that_is_wrong_at_a_start_makes_nothing_old() {
    let directory = tempdir().unwrap();
    let mut database = Database::open(directory.path()).unwrap();
    let tun = database.tun("north-yard", "tun-1").unwrap();
    let keep = Keep {
        readings_days: 30.0,
        brews_days: Some(40.0),
    };
    let removed = |database: &mut Database, day: f64| {
        database.age(wall(day * DAY_S)).unwrap();
        database.retention_slice(keep).unwrap().removed
    };
    // Made while the clock stood years back, and set right afterwards; then years ahead, and back.
    let early = record(&mut database, tun, -9400.0, "early", true);
    let days = [-9400.0, 0.0, 500.0, 0.5, 9000.0, 1.0];
    for day in days {
        assert_eq!(removed(&mut database, day), 0, "day {day}");
    }
    assert_eq!(database.raw_readings(early).unwrap().len(), 50);
    // Not even by starting with the wrong clock again and again within minutes.
    for start in 0..20 {
        let day = 9000.0 + f64::from(start) * 0.001;
        assert_eq!(removed(&mut database, day), 0, "start {start}");
    }
}
