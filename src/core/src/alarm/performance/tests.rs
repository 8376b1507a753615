use super::*;
use AlarmState::{
    Acknowledged, Normal, OutOfService, ReturnedUnacknowledged, Shelved, Suppressed, Unacknowledged,
};

fn at(second: f64) -> Moment {
    Moment::from_seconds(second)
}

fn change(second: f64, alarm: AlarmId, from: AlarmState, to: AlarmState) -> Change {
    Change {
        at: at(second),
        alarm,
        instrument: None,
        from,
        to,
        priority: super::super::definition(alarm).priority,
        burst_place: None,
    }
}

fn watch(hours: f64, changes: Vec<Change>) -> Watch {
    Watch {
        from: at(0.0),
        to: at(3600.0 * hours),
        changes,
        carries_over: true,
    }
}

const SLOW: AlarmId = AlarmId::RunoffTooSlow;
const STUCK: AlarmId = AlarmId::StuckBed;

#[test]
fn rates_are_over_the_watched_time_alone() {
    let one = watch(1.5, vec![change(60.0, SLOW, Normal, Unacknowledged)]);
    let other = watch(
        0.5,
        vec![
            change(60.0, SLOW, Normal, Unacknowledged),
            change(120.0, STUCK, Normal, Unacknowledged),
        ],
    );
    let between = [change(9e4, AlarmId::LinkLost, Normal, Unacknowledged)];
    let figures = performance(&[one, other], &between, at(9.1e4));
    assert_eq!((figures.watches, figures.annunciated), (2, 3));
    assert_eq!(
        (figures.per_hour, figures.per_10_min),
        (Some(1.5), Some(0.25))
    );
    assert_eq!(figures.peak_in_10_min, 2);
    let low_and_high = BTreeMap::from([(Priority::Low, 2), (Priority::High, 1)]);
    assert_eq!(figures.by_priority, low_and_high);
    assert_eq!(figures.most_frequent[0].count, 2);
    assert_eq!(figures.most_frequent[0].source.alarm, SLOW);
}

#[test]
fn nothing_watched_is_no_rate_and_no_verdict() {
    let figures = performance(&[], &[], at(0.0));
    assert_eq!((figures.per_hour, figures.standing_mean), (None, None));
    assert_eq!(figures.median_acknowledge_s, None);
    let benchmarks = figures.benchmarks();
    assert_eq!(benchmarks[0].kept, None);
    assert!(
        benchmarks
            .iter()
            .all(|row| row.source.contains("from memory"))
    );
}

#[test]
fn the_peak_and_the_flood_see_what_the_mean_hides() {
    let crowd = (0..12).map(|n| change(650.0 + f64::from(n), SLOW, Normal, Unacknowledged));
    let figures = performance(&[watch(10.0, crowd.collect())], &[], at(4e4));
    assert!(figures.per_10_min.unwrap() < 1.0);
    assert_eq!(figures.peak_in_10_min, 12);
    let flood = figures.flood_share.unwrap();
    assert!((flood - 1.0 / 60.0).abs() < 1e-9, "{flood}");
    let kept: Vec<Option<bool>> = figures.benchmarks().iter().map(|row| row.kept).collect();
    assert_eq!(
        kept[..4],
        [Some(true), Some(true), Some(false), Some(false)]
    );
}

#[test]
fn standing_is_averaged_over_time_and_includes_what_stood_before() {
    let changes = vec![
        // It stood from the beginning, for half an hour.
        change(1800.0, STUCK, Acknowledged, Normal),
        change(1800.0, SLOW, Normal, Unacknowledged),
        change(2000.0, SLOW, Unacknowledged, ReturnedUnacknowledged),
        change(3600.0, SLOW, ReturnedUnacknowledged, Normal),
        change(4000.0, SLOW, Normal, Suppressed),
    ];
    let figures = performance(&[watch(2.0, changes)], &[], at(7200.0));
    let mean = figures.standing_mean.unwrap();
    assert!((mean - 0.5).abs() < 1e-9, "{mean}");
    assert_eq!((figures.standing_most, figures.suppressed), (1, 1));
}

#[test]
fn chattering_fleeting_and_stale_alarms_are_named() {
    let mut changes = Vec::new();
    for second in [100.0, 120.0, 140.0] {
        changes.push(change(second, SLOW, Normal, Unacknowledged));
        let gone = change(second + 10.0, SLOW, Unacknowledged, ReturnedUnacknowledged);
        changes.push(gone);
    }
    changes.push(change(300.0, STUCK, Normal, Unacknowledged));
    changes.push(change(420.0, STUCK, Unacknowledged, Acknowledged));
    let later = [change(2e5, STUCK, Acknowledged, Normal)];
    let figures = performance(&[watch(1.0, changes)], &later, at(3e5));
    let slow = Source {
        alarm: SLOW,
        instrument: None,
    };
    let count = |count| {
        vec![Frequency {
            source: slow.clone(),
            count,
        }]
    };
    assert_eq!((figures.chattering, figures.fleeting), (count(1), count(3)));
    let stuck = Source {
        alarm: STUCK,
        ..slow.clone()
    };
    // The slow run-off was never acknowledged and stands still.
    assert_eq!(figures.stale, vec![stuck, slow]);
    let replayed = Watch {
        carries_over: false,
        ..watch(1.0, vec![change(300.0, STUCK, Normal, Unacknowledged)])
    };
    assert_eq!(performance(&[replayed], &[], at(3e5)).stale, []);
    assert_eq!(figures.median_acknowledge_s, Some(120.0));
}

#[test]
fn what_people_put_aside_is_counted_and_no_alarm() {
    let changes = vec![
        change(10.0, SLOW, Normal, Shelved),
        change(20.0, STUCK, Normal, OutOfService),
    ];
    let figures = performance(&[watch(1.0, changes)], &[], at(3600.0));
    assert_eq!((figures.annunciated, figures.shelved), (0, 1));
    assert_eq!(figures.taken_out_of_service, 1);
    assert_eq!(figures.standing_most, 0);
}
