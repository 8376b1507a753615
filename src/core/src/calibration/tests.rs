//! Loop checks against an example worked by hand, corrections against the electrode's own equation.

mod correction;

use proptest::prelude::*;

use super::*;
use crate::reading::Measures;
use crate::units::{Buffer, Unit};

/// Worked step by step in the file's head.
const EXAMPLE: &str = include_str!("../../../../tests/reference/loop_check.csv");

fn rows() -> impl Iterator<Item = Vec<&'static str>> {
    EXAMPLE
        .lines()
        .filter(|line| !line.starts_with('#') && !line.is_empty())
        .skip(1)
        .map(|line| line.split(',').collect())
}

fn readings(series: &str) -> Vec<Point> {
    rows()
        .filter(|row| row[0] == "reading" && row[1] == series)
        .map(|row| Point {
            direction: if row[2] == "up" {
                Direction::Up
            } else {
                Direction::Down
            },
            applied: Applied::Value {
                value: row[3].parse().unwrap(),
            },
            reading: row[4].parse().unwrap(),
            uncorrected: None,
            scatter: None,
            readings: None,
        })
        .collect()
}

fn pressure_check() -> LoopCheck {
    LoopCheck {
        instrument: "bed_pressure".to_owned(),
        measures: Measures::BedPressureDrop,
        unit: Unit::Kilopascal,
        wort_factor: 1.04,
        reference: Reference {
            name: "pressure calibrator".to_owned(),
            expanded_uncertainty: 0.004,
            temperature_uncertainty_c: 0.0,
        },
        tolerance: 0.020,
        resolution: 0.002,
        as_found: readings("as-found"),
        as_left: readings("as-left"),
    }
}

/// tests/reference/loop_check.csv. 6e-8: half its last digit, and the arithmetic of decimals.
#[test]
fn a_loop_check_agrees_with_the_example_worked_by_hand() {
    let check = pressure_check();
    assert_eq!(check.check(), []);
    let evaluation = evaluate(&check, &Parameters::default());
    let found = evaluation.as_found.as_ref().unwrap();
    let left = evaluation.as_left.as_ref().unwrap();
    let mut compared = 0;
    for row in rows().filter(|row| row[0] != "reading") {
        let series = if row[1] == "as-found" { found } else { left };
        let applied: f64 = row[3].parse().unwrap();
        let level = series
            .levels
            .iter()
            .find(|level| (level.applied - applied).abs() < 1e-9);
        let level = level.unwrap_or_else(|| panic!("no level at {applied}"));
        let got = match row[0] {
            "error" => level.error,
            "hysteresis" => level.hysteresis.unwrap(),
            _ => level.uncertainty.combined,
        };
        let expected: f64 = row[4].parse().unwrap();
        assert!((got - expected).abs() < 6e-8, "{row:?}: {got}");
        assert!((level.uncertainty.expanded - 2.0 * level.uncertainty.combined).abs() < 1e-12);
        compared += 1;
    }
    assert_eq!(compared, 25);
    assert!((found.repeatability.unwrap() - 2.6e-6_f64.sqrt()).abs() < 1e-12);
    assert_eq!(found.repeatability_degrees_of_freedom, Some(10.0));
    assert!((found.greatest_error - 0.022).abs() < 1e-9);
    assert!((found.greatest_hysteresis.unwrap() + 0.013).abs() < 1e-9);
    let freedom = found.levels[2].uncertainty.degrees_of_freedom.unwrap();
    assert!((freedom - 8604.4).abs() < 0.1, "{freedom}");
    let verdicts: Vec<(Verdict, bool)> = found
        .levels
        .iter()
        .map(|level| (level.verdict, level.in_doubt))
        .collect();
    // 0.0140 + 0.0057 stays below the limit, 0.0140 + 0.0073 does not; 0.0210 and 0.0220 are beyond it by less than U.
    assert_eq!(
        verdicts,
        [
            (Verdict::Pass, false),
            (Verdict::Pass, true),
            (Verdict::Pass, true),
            (Verdict::Fail, true),
            (Verdict::Fail, true),
        ]
    );
    assert_eq!((found.verdict, found.in_doubt), (Verdict::Fail, true));
    assert_eq!((left.verdict, left.in_doubt), (Verdict::Pass, false));
    assert_eq!(left.repeatability, None);
    assert_eq!(evaluation.verdict, Verdict::Pass);
}

/// tests/reference/loop_check.csv, the weighed tank: few repeats make the coverage factor larger than 2.
#[test]
fn three_runs_into_a_weighed_tank_have_few_degrees_of_freedom() {
    let run = |reading: f64| Point {
        direction: Direction::Up,
        applied: Applied::WeighedTank {
            mass_kg: 200.0,
            seconds: 240.0,
            temperature_c: 20.0,
        },
        reading,
        uncorrected: None,
        scatter: None,
        readings: None,
    };
    let check = LoopCheck {
        instrument: "runoff_flow".to_owned(),
        measures: Measures::RunoffFlow,
        unit: Unit::LitrePerMinute,
        reference: Reference {
            name: "tank on a scale".to_owned(),
            expanded_uncertainty: 0.05,
            temperature_uncertainty_c: 1.0,
        },
        tolerance: 0.5,
        resolution: 0.01,
        as_found: [50.30, 50.42, 50.36].map(run).to_vec(),
        as_left: Vec::new(),
        ..pressure_check()
    };
    let evaluation = evaluate(&check, &Parameters::default());
    let level = &evaluation.as_found.unwrap().levels[0];
    assert_eq!(level.points, 3);
    assert!((level.error - 0.2174).abs() < 1e-4, "{}", level.error);
    let uncertainty = &level.uncertainty;
    assert!(
        (uncertainty.combined - 0.043130).abs() < 2e-5,
        "{uncertainty:?}"
    );
    let freedom = uncertainty.degrees_of_freedom.unwrap();
    assert!((freedom - 4.806).abs() < 0.01, "{freedom}");
    assert!((uncertainty.coverage_factor - 2.87).abs() < 6e-3);
    assert!(
        (uncertainty.expanded - 0.1237).abs() < 2e-4,
        "{uncertainty:?}"
    );
    assert_eq!(level.hysteresis, None);
}

#[test]
fn everything_wrong_with_a_check_is_said_at_once() {
    let mut check = pressure_check();
    check.tolerance = 0.0;
    check.reference.expanded_uncertainty = -1.0;
    check.as_found[0].reading = f64::NAN;
    check.as_left[3].applied = Applied::Buffer {
        buffer: Buffer::Borate,
        temperature_c: 25.0,
    };
    let faults = check.check();
    let keys: Vec<&str> = faults.iter().map(|fault| fault.key.as_str()).collect();
    assert_eq!(
        keys,
        [
            "tolerance",
            "reference.expanded_uncertainty",
            "as_found[0]",
            "as_left[3]"
        ]
    );
    check.as_found.clear();
    check.as_left.clear();
    assert!(check.check().iter().any(|fault| fault.key == "as_found"));
}

proptest! {
    /// The uncertainty never shrinks when the reference gets worse, and the error does not depend on it.
    #[test]
    fn a_worse_reference_never_makes_a_check_look_better(worse in 0.0..0.1f64) {
        let better = evaluate(&pressure_check(), &Parameters::default());
        let mut check = pressure_check();
        check.reference.expanded_uncertainty += worse;
        let evaluation = evaluate(&check, &Parameters::default());
        let (better, other) = (better.as_found.unwrap(), evaluation.as_found.unwrap());
        for (before, after) in better.levels.iter().zip(&other.levels) {
            prop_assert!(after.uncertainty.combined >= before.uncertainty.combined);
            prop_assert!((after.error - before.error).abs() < 1e-12);
        }
    }
}
