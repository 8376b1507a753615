//! The forms that a recording may take without changing an answer.

use std::fs;

use super::recorded::{Lines, Recorded, assert_within};
use super::table::Table;

#[test]
fn two_replays_are_byte_identical() {
    let recorded = Recorded::of("orchard-ale-channel");
    let with_samples = recorded.replay().with("--samples", "samples.csv");
    assert_eq!(with_samples.text(), with_samples.text());
    assert_eq!(recorded.replay().text(), recorded.replay().text());
}

#[test]
fn lines_go_to_standard_output_or_into_the_results_file() {
    let recorded = Recorded::of("orchard-ale-channel");
    let printed = recorded.replay().text();
    let silent = recorded.replay().with("--results", "lines.jsonl").text();
    assert_eq!(silent, "");
    assert_eq!(recorded.read("lines.jsonl"), printed);
    // An older file is replaced, not appended to.
    recorded.replay().with("--results", "lines.jsonl").text();
    assert_eq!(recorded.read("lines.jsonl"), printed);
}

#[test]
fn wall_clock_times_give_the_same_lines_as_elapsed_seconds() {
    let recorded = Recorded::of("orchard-ale-channel");
    let expected = recorded.replay().text();
    let start: jiff::Timestamp = "2026-04-12T06:30:00.250Z".parse().expect("a time");
    // In UTC, and as a clock in summer time two hours east writes it.
    for east_h in [0_i8, 2] {
        let zone = jiff::tz::Offset::constant(east_h);
        let mut table = Table::of(&recorded.read("RUN.csv"));
        "time".clone_into(&mut table.header[0]);
        for row in &mut table.rows {
            let elapsed_s: f64 = row[0].parse().expect("a number");
            let time = start + jiff::SignedDuration::from_secs_f64(elapsed_s);
            row[0] = time.display_with_offset(zone).to_string();
        }
        recorded.write("dated.csv", &table.text());
        assert_eq!(recorded.replay().data("dated.csv").text(), expected);
    }
}

#[test]
fn whole_numbers_and_decimals_say_the_same() {
    let recorded = Recorded::of("orchard-ale-channel");
    let expected = recorded.replay().text();
    let mut table = Table::of(&recorded.read("RUN.csv"));
    for cell in table.rows.iter_mut().flatten() {
        // 1 becomes 1.0000, as many recorders write it, a switch too.
        if !cell.is_empty() && !cell.contains('.') {
            cell.push_str(".0000");
        }
    }
    recorded.write("decimals.csv", &table.text());
    assert_eq!(recorded.replay().data("decimals.csv").text(), expected);
}

#[test]
fn columns_may_stand_in_any_order() {
    let recorded = Recorded::of("harbour-stout");
    let mut table = Table::of(&recorded.read("RUN.csv"));
    table.header[1..].reverse();
    for row in &mut table.rows {
        row[1..].reverse();
    }
    recorded.write("reversed.csv", &table.text());
    let lines = recorded.replay().data("reversed.csv").lines();
    let expected = recorded.replay().lines();
    assert_within(
        "stop-point",
        lines.stop_volume_l(),
        expected.stop_volume_l(),
        1e-3,
    );
}

#[test]
fn spaces_and_the_line_ends_of_other_systems_are_taken() {
    let recorded = Recorded::of("orchard-ale-channel");
    let expected = recorded.replay().text();
    let other = recorded
        .read("RUN.csv")
        .replace(',', " , ")
        .replace('\n', "\r\n");
    recorded.write("other.csv", &other);
    assert_eq!(recorded.replay().data("other.csv").text(), expected);
}

#[test]
fn an_empty_cell_is_no_reading_and_a_few_of_them_do_not_matter() {
    let recorded = Recorded::of("harbour-stout");
    let full = recorded.replay().lines();
    let mut table = Table::of(&recorded.read("RUN.csv"));
    for (index, row) in table.rows.iter_mut().enumerate() {
        // Every instrument misses every seventh reading, each another one.
        for (column, cell) in row.iter_mut().enumerate().skip(1) {
            if (index + column) % 7 == 0 {
                cell.clear();
            }
        }
    }
    recorded.write("gaps.csv", &table.text());
    let gaps = recorded.replay().data("gaps.csv").lines();
    let readings = |lines: &Lines| lines.summary()["readings"].as_u64().expect("a count");
    assert!(readings(&gaps) < readings(&full) * 7 / 8);
    assert_eq!(gaps.annunciated("instrument-fault"), Vec::<f64>::new());
    assert_within(
        "stop-point",
        gaps.stop_volume_l(),
        full.stop_volume_l(),
        2e-3,
    );
}

#[test]
fn an_instrument_that_falls_silent_is_reported_and_only_it() {
    let recorded = Recorded::of("harbour-stout");
    let mut table = Table::of(&recorded.read("RUN.csv"));
    let silent = table.column("bed_pressure_drop");
    for row in &mut table.rows[2000..2600] {
        row[silent].clear();
    }
    recorded.write("silent.csv", &table.text());
    let lines = recorded.replay().data("silent.csv").lines();
    let faults: Vec<_> = lines
        .of_kind("alarm")
        .into_iter()
        .filter(|line| line["alarm"] == "instrument-fault")
        .collect();
    assert!(!faults.is_empty());
    assert!(
        faults
            .iter()
            .all(|line| line["instrument"] == "bed_pressure_drop")
    );
    let first = faults[0]["elapsed_s"].as_f64().expect("a time");
    assert!((2000.0..2600.0).contains(&first), "{first}");
}

#[test]
fn a_recording_without_an_instrument_s_column_is_watched_without_it() {
    let recorded = Recorded::of("orchard-ale-channel");
    let mut table = Table::of(&recorded.read("RUN.csv"));
    let turbidity = table.column("runnings_turbidity");
    table.header.remove(turbidity);
    for row in &mut table.rows {
        row.remove(turbidity);
    }
    recorded.write("narrow.csv", &table.text());
    let lines = recorded.replay().data("narrow.csv").lines();
    assert_eq!(lines.annunciated("turbid-runnings"), Vec::<f64>::new());
    assert_within(
        "stop-point",
        lines.stop_volume_l(),
        recorded.target().volume_l,
        0.015,
    );
}

#[test]
fn a_run_that_begins_in_mid_morning_keeps_its_own_clock() {
    let recorded = Recorded::of("orchard-ale-channel");
    let mut table = Table::of(&recorded.read("RUN.csv"));
    table.change("elapsed_s", |elapsed_s, _| elapsed_s + 40_000.0);
    recorded.write("late.csv", &table.text());
    let late = recorded.replay().data("late.csv").lines();
    let usual = recorded.replay().lines();
    let stop_s = |lines: &Lines| lines.summary()["stop_elapsed_s"].as_f64().expect("a time");
    assert!((stop_s(&late) - stop_s(&usual) - 40_000.0).abs() < 1.0);
    assert_within(
        "stop-point",
        late.stop_volume_l(),
        usual.stop_volume_l(),
        1e-3,
    );
}

#[test]
fn nothing_is_left_behind_without_a_store() {
    let recorded = Recorded::of("orchard-ale-channel");
    let names = || {
        let entries = fs::read_dir(recorded.path(".")).expect("the directory");
        let mut names: Vec<_> = entries
            .map(|entry| entry.expect("an entry").file_name())
            .collect();
        names.sort();
        names
    };
    let before = names();
    recorded.replay().text();
    assert_eq!(names(), before);
}
