//! Certificates against an example worked by hand and against the published table of buffers.
//!
//! The example and its source stand in tests/reference/loop_check.csv.

use std::fmt::Write as _;

use jiff::Timestamp;
use lauter_core::calibration::{Applied, Direction, LoopCheck, Point, Reference};
use lauter_core::reading::Measures;
use lauter_core::units::{Buffer, Unit};
use lauterd::certificate::{self, Certificate};
use lauterd::display::{Display, Voice};
use lauterd::store::StoredCheck;

const EXAMPLE: &str = include_str!("reference/loop_check.csv");

fn rows() -> impl Iterator<Item = Vec<&'static str>> {
    EXAMPLE
        .lines()
        .filter(|line| !line.starts_with('#'))
        .skip(1)
        .map(|line| line.split(',').collect())
}

fn number(text: &str) -> f64 {
    text.parse().unwrap_or_else(|_| panic!("no number: {text}"))
}

fn point(direction: Direction, applied: Applied, reading: f64) -> Point {
    Point {
        direction,
        applied,
        reading,
        uncorrected: None,
        scatter: None,
        readings: None,
    }
}

fn series(name: &str) -> Vec<Point> {
    let of = rows().filter(|row| row[0] == "reading" && row[1] == name);
    of.map(|row| {
        let direction = match row[2] {
            "up" => Direction::Up,
            _ => Direction::Down,
        };
        let value = number(row[3]);
        point(direction, Applied::Value { value }, number(row[4]))
    })
    .collect()
}

fn stored(check: LoopCheck) -> StoredCheck {
    StoredCheck {
        number: 12,
        checked: Timestamp::from_second(1_790_000_000).unwrap(),
        due: None,
        who: "engineer".to_owned(),
        note: String::new(),
        check,
    }
}

fn pressure() -> LoopCheck {
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
        as_found: series("as-found"),
        as_left: series("as-left"),
    }
}

fn with_certificate<T>(check: LoopCheck, ask: impl FnOnce(&Certificate<'_>) -> T) -> T {
    let stored = stored(check);
    ask(&Certificate {
        site: "north-yard",
        tun: "tun-1",
        stored: &stored,
        history: std::slice::from_ref(&stored),
        correction: None,
        voice: Voice::new(Display::default()),
    })
}

/// Every figure worked by hand, to half its last digit.
#[test]
fn the_certificate_as_rows_agrees_with_the_example_worked_by_hand() {
    let text = with_certificate(pressure(), |it| certificate::csv(it).unwrap());
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let header = reader.headers().unwrap().clone();
    let records: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
    assert_eq!(records.len(), 10);
    let cell = |record: &csv::StringRecord, name: &str| {
        let place = header.iter().position(|column| column == name);
        record[place.unwrap_or_else(|| panic!("no column {name}"))].to_owned()
    };
    let mut compared = 0;
    for row in rows().filter(|row| row[0] != "reading") {
        let record = records
            .iter()
            .find(|record| {
                cell(record, "series") == row[1]
                    && (number(&cell(record, "applied")) - number(row[3])).abs() < 1e-9
            })
            .unwrap_or_else(|| panic!("no row for {row:?}"));
        let column = match row[0] {
            "combined" => "combined_uncertainty",
            other => other,
        };
        let got = number(&cell(record, column));
        assert!((got - number(row[4])).abs() < 6e-8, "{row:?}: {got}");
        compared += 1;
    }
    assert_eq!(compared, 25);
    let results: Vec<String> = records.iter().map(|it| cell(it, "result")).collect();
    let failed = results.iter().filter(|it| *it == "fail").count();
    assert_eq!(failed, 2, "{results:?}");
}

#[test]
fn the_printed_certificate_shows_the_worked_figures() {
    let html = with_certificate(pressure(), |it| certificate::html(it).unwrap());
    // 0.0185 with its U of 0.0087331 at 2.5 kPa, and the pooled deviation.
    for figure in [
        "0.0185",
        "0.00873",
        "0.00161",
        "10 degrees of freedom",
        "No. 12",
    ] {
        assert!(html.contains(figure), "{figure}");
    }
}

/// NIST / DIN 19266 tables at 0, 20, 25, 40 and 60 °C. Exact: the values stand in the table.
#[test]
fn the_applied_values_of_buffers_are_those_of_the_published_table() {
    let table = [
        (Buffer::Phthalate, [4.000, 4.001, 4.005, 4.027, 4.080]),
        (Buffer::Phosphate, [6.984, 6.881, 6.865, 6.838, 6.836]),
        (Buffer::Borate, [9.464, 9.225, 9.180, 9.068, 8.962]),
    ];
    for (place, temperature_c) in [0.0, 20.0, 25.0, 40.0, 60.0].into_iter().enumerate() {
        let applied = table.map(|(buffer, _)| Applied::Buffer {
            buffer,
            temperature_c,
        });
        let check = LoopCheck {
            instrument: "runnings_ph".to_owned(),
            measures: Measures::RunningsPh,
            unit: Unit::Ph,
            tolerance: 0.1,
            resolution: 0.01,
            as_found: applied.map(|it| point(Direction::Up, it, 7.0)).to_vec(),
            as_left: Vec::new(),
            ..pressure()
        };
        let data = with_certificate(check, certificate::json);
        let mut shown = String::new();
        for (level, (buffer, row)) in table.iter().enumerate() {
            let got = data["evaluation"]["as_found"]["levels"][level]["applied"].as_f64();
            let got = got.unwrap();
            let _ = write!(shown, "{got} ");
            assert!(
                (got - row[place]).abs() < 1e-9,
                "{buffer:?} {temperature_c} °C: {shown}"
            );
        }
    }
}

/// 20.1 - 20.14036 is -0.04035999999999973 in binary fractions.
#[test]
fn rows_bear_no_rest_of_binary_fractions_and_neither_they_nor_data_a_negative_nought() {
    let applied = |value: f64| Applied::Value { value };
    let check = LoopCheck {
        as_found: vec![
            point(Direction::Up, applied(0.0), -0.0),
            point(Direction::Down, applied(0.0), 1e-13),
            point(Direction::Up, applied(20.140_36), 20.1),
        ],
        as_left: Vec::new(),
        ..pressure()
    };
    let (text, data) = with_certificate(check, |it| {
        (certificate::csv(it).unwrap(), certificate::json(it))
    });
    let rows: Vec<Vec<&str>> = text.lines().map(|row| row.split(',').collect()).collect();
    // Up less down is -1e-13.
    assert_eq!(rows[1][4..8], ["0", "0", "0", "0"], "{text}");
    assert_eq!(rows[2][4..7], ["20.14036", "20.1", "-0.04036"], "{text}");
    let read = &data["check"]["as_found"][0]["reading"];
    assert_eq!(read.to_string(), "0.0");
}
