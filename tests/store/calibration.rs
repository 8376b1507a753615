//! Loop checks and corrections in the record.

use jiff::Timestamp;
use lauter_core::calibration::{
    Applied, Correction, Direction, LoopCheck, MeasuredPoint, Point, Reference, Rule,
};
use lauter_core::projection::{PhBasis, Plan};
use lauter_core::reading::{Measures, Moment};
use lauter_core::supervisor::Event;
use lauter_core::units::Unit;
use lauterd::store::{
    Batch, Changed, Database, DatedEvent, MadeCorrection, NewCheck, StoredCorrection, changes,
    export_files,
};
use tempfile::tempdir;

use crate::fixtures::{START, header, wall};

fn check(instrument: &str, reading: f64) -> NewCheck {
    NewCheck {
        check: LoopCheck {
            instrument: instrument.to_owned(),
            measures: Measures::RunningsGravity,
            unit: Unit::DegreePlato,
            wort_factor: 1.04,
            reference: Reference {
                name: "solution".to_owned(),
                expanded_uncertainty: 0.02,
                temperature_uncertainty_c: 0.0,
            },
            tolerance: 0.1,
            resolution: 0.01,
            as_found: vec![Point {
                direction: Direction::Up,
                applied: Applied::Gravity {
                    gravity_p: 12.0,
                    temperature_c: None,
                },
                reading,
                uncorrected: Some(reading + 0.1),
                scatter: Some(0.003),
                readings: Some(5),
            }],
            as_left: Vec::new(),
        },
        due: Some(wall(9_000.0)),
        who: "engineer".to_owned(),
        note: String::new(),
    }
}

fn correction(instrument: &str, made: Timestamp, offset: Option<f64>) -> StoredCorrection {
    StoredCorrection {
        instrument: instrument.to_owned(),
        version: 0,
        made,
        due: Some(wall(5_000.0)),
        who: "engineer".to_owned(),
        correction: offset.map(|offset| MadeCorrection {
            measures: Measures::RunningsGravity,
            unit: Unit::DegreePlato,
            rule: Rule::Line { slope: 1.0, offset },
            points: vec![MeasuredPoint {
                applied: Applied::Value { value: 12.0 },
                reading: 12.0 - offset,
            }],
        }),
    }
}

#[test]
fn checks_keep_their_numbers_and_come_back_as_they_were() {
    let directory = tempdir().unwrap();
    let mut database = Database::open(directory.path()).unwrap();
    let tun = database.tun("north-yard", "tun-1").unwrap();
    let other = database.tun("north-yard", "tun-2").unwrap();
    let first = check("runnings_gravity", 12.05);
    let entered = database
        .enter_check(tun, wall(100.0), first.clone())
        .unwrap();
    assert_eq!(entered.number, 1);
    let second = check("kettle_gravity", 12.5);
    let other_check = database.enter_check(tun, wall(200.0), second).unwrap();
    assert_eq!(other_check.number, 2);
    let stored = database.loop_check(tun, 1).unwrap().unwrap();
    assert_eq!(stored, entered);
    assert_eq!((stored.check, stored.due), (first.check, first.due));
    assert_eq!(stored.checked, wall(100.0));
    assert_eq!(database.loop_checks(tun, None).unwrap().len(), 2);
    let one = database.loop_checks(tun, Some("kettle_gravity")).unwrap();
    assert_eq!(one[0].number, 2);
    // A number is its tun's.
    assert_eq!(database.loop_check(other, 1).unwrap(), None);
}

#[test]
fn the_newest_version_of_a_correction_is_in_force_until_it_is_taken_back() {
    let directory = tempdir().unwrap();
    let mut database = Database::open(directory.path()).unwrap();
    let tun = database.tun("north-yard", "tun-1").unwrap();
    let id = "runnings_gravity";
    for (version, offset) in [(1, Some(0.1)), (2, Some(0.2)), (3, None)] {
        let entry = correction(id, wall(f64::from(version)), offset);
        let stored = database.enter_correction(tun, id, entry).unwrap();
        assert_eq!(stored.version, version);
        let newest = database.corrections(tun).unwrap();
        assert_eq!(newest, [stored]);
        let in_force = newest[0].in_force(Measures::RunningsGravity, Unit::DegreePlato);
        let expected = offset.map(|offset| Correction {
            version,
            rule: Rule::Line { slope: 1.0, offset },
        });
        assert_eq!(in_force, expected);
        // Made for °P: of no use for an instrument that reads in kg/m³ now.
        let strange = newest[0].is_strange(Measures::RunningsGravity, Unit::KilogramPerCubicMetre);
        assert_eq!(strange, offset.is_some());
    }
    assert_eq!(database.correction_history(tun, id).unwrap().len(), 3);
}

#[test]
fn an_instrument_is_due_as_its_newest_check_or_calibration_says() {
    let directory = tempdir().unwrap();
    let mut database = Database::open(directory.path()).unwrap();
    let tun = database.tun("north-yard", "tun-1").unwrap();
    let id = "runnings_gravity";
    assert_eq!(database.last_looked_at(tun, id).unwrap(), None);
    database
        .enter_check(tun, wall(100.0), check(id, 12.0))
        .unwrap();
    let due = |database: &Database| database.last_looked_at(tun, id).unwrap().unwrap().1;
    assert_eq!(due(&database), Some(wall(9_000.0)));
    database
        .enter_correction(tun, id, correction(id, wall(200.0), Some(0.1)))
        .unwrap();
    assert_eq!(due(&database), Some(wall(5_000.0)));
    // To take a correction back is no look at the instrument.
    database
        .enter_correction(tun, id, correction(id, wall(300.0), None))
        .unwrap();
    assert_eq!(due(&database), Some(wall(5_000.0)));
}

fn plan() -> Plan {
    Plan {
        brew: "2026-0412".to_owned(),
        recipe: String::new(),
        grist_kg: 980.0,
        target_gravity_p: 12.4,
        planned_volume_l: 5200.0,
        runoff_minutes: 90.0,
        first_wort_gravity_p: None,
        gravity_floor_p: 3.0,
        ph_ceiling: 6.0,
        ph_basis: PhBasis::Room,
    }
}

#[test]
fn an_export_tells_which_corrections_were_in_force_from_when_on() {
    let directory = tempdir().unwrap();
    let mut database = Database::open(directory.path()).unwrap();
    let tun = database.tun("north-yard", "tun-1").unwrap();
    let header = header(tun, "2026-0412", 2);
    let brew = database.begin_brew(&header).unwrap();
    let made = |version, offset| Correction {
        version,
        rule: Rule::Line { slope: 1.0, offset },
    };
    let batch = Batch {
        events: vec![
            DatedEvent {
                at: START,
                event: Event::BrewStarted {
                    plan: Box::new(plan()),
                    zero: START,
                    profile: None,
                    corrections: vec![(1, made(3, 0.1))],
                },
            },
            DatedEvent {
                at: Moment(START.0 + 600_000_001),
                event: Event::Corrected {
                    instrument: 1,
                    correction: None,
                    who: "engineer".to_owned(),
                },
            },
        ],
        ..Batch::new(tun, Some(brew))
    };
    database.append(&batch).unwrap();
    let out = directory.path().join("export");
    database.export(brew, &out).unwrap();
    let text = std::fs::read_to_string(out.join(export_files::CORRECTIONS)).unwrap();
    let told: Vec<Changed> = text
        .lines()
        .map(|line| serde_json::from_str(line).unwrap())
        .collect();
    assert_eq!(told, changes(&header, &batch.events));
    let times: Vec<(f64, Option<u32>)> = told
        .iter()
        .map(|it| (it.elapsed_s, it.correction.map(|made| made.version)))
        .collect();
    assert_eq!(times, [(0.0, Some(3)), (600.000_001, None)]);
}
