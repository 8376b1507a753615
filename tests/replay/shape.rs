//! Every kind of line with every field, its type, when it may be null, and the order and spacing of lines.

use serde_json::Value;

use super::recorded::{Lines, Recorded, number};

/// What a field may hold.
#[derive(Clone, Copy, Debug)]
enum Is {
    Number,
    NumberOrNull,
    Text,
    TextOrNull,
    OneOf(&'static [&'static str]),
    /// A whole number.
    Count,
    CrossingOrNull,
    StopOrNull,
    /// Named numbers.
    Numbers,
}

const STATES: &[&str] = &[
    "normal",
    "unacknowledged",
    "acknowledged",
    "returned-unacknowledged",
    "shelved",
    "suppressed",
    "out-of-service",
];
const ALARMS: &[&str] = &[
    "channelling",
    "bed-compaction",
    "stuck-bed",
    "gravity-floor",
    "ph-ceiling",
    "tannin-limit-ahead",
    "stop-point-ahead",
    "stop-point-reached",
    "kettle-high-level",
    "runoff-too-fast",
    "runoff-too-slow",
    "turbid-runnings",
    "instrument-fault",
    "instruments-disagree",
    "link-lost",
    "delivery-delayed",
];
const PRIORITIES: &[&str] = &["low", "medium", "high", "critical"];
const CAUSES: &[&str] = &[
    "target-gravity",
    "gravity-floor",
    "ph-ceiling",
    "kettle-capacity",
    "runoff-ended",
];

const PROJECTION: &[(&str, Is)] = &[
    ("elapsed_s", Is::Number),
    ("kettle_volume_l", Is::Number),
    ("kettle_gravity_p", Is::NumberOrNull),
    ("kettle_gravity_se_p", Is::NumberOrNull),
    ("target", Is::CrossingOrNull),
    ("gravity_floor", Is::CrossingOrNull),
    ("ph_ceiling", Is::CrossingOrNull),
    ("stop", Is::StopOrNull),
];
const ALARM: &[(&str, Is)] = &[
    ("elapsed_s", Is::Number),
    ("alarm", Is::OneOf(ALARMS)),
    ("instrument", Is::TextOrNull),
    ("from", Is::OneOf(STATES)),
    ("to", Is::OneOf(STATES)),
    ("priority", Is::OneOf(PRIORITIES)),
    ("message", Is::Text),
    ("advice", Is::Text),
    ("evidence", Is::Numbers),
];
const TABLE: &[(&str, Is)] = &[
    ("elapsed_s", Is::Number),
    ("runnings_gravity_p", Is::NumberOrNull),
    ("runnings_ph", Is::NumberOrNull),
    ("kettle_volume_l", Is::Number),
    ("kettle_gravity_p", Is::NumberOrNull),
    ("flow_l_min", Is::NumberOrNull),
    ("pressure_drop_kpa", Is::NumberOrNull),
];
const SUMMARY: &[(&str, Is)] = &[
    ("stop_volume_l", Is::NumberOrNull),
    ("stop_elapsed_s", Is::NumberOrNull),
    ("stop_cause", Is::OneOf(CAUSES)),
    ("kettle_gravity_p", Is::NumberOrNull),
    ("extract_kg", Is::NumberOrNull),
    ("brew_length_l_per_kg", Is::NumberOrNull),
    ("readings", Is::Count),
    ("rejected", Is::Count),
];
const STOP: &[(&str, Is)] = &[
    ("cause", Is::OneOf(CAUSES)),
    ("volume_l", Is::Number),
    ("elapsed_s", Is::Number),
    ("top_up_l", Is::Number),
    ("final_volume_l", Is::Number),
];

impl Is {
    fn holds(self, value: &Value) -> bool {
        match self {
            Self::Number => value.is_number(),
            Self::NumberOrNull => value.is_number() || value.is_null(),
            Self::Text => value.is_string(),
            Self::TextOrNull => value.is_string() || value.is_null(),
            Self::OneOf(words) => value.as_str().is_some_and(|word| words.contains(&word)),
            Self::Count => value.is_u64(),
            Self::CrossingOrNull => value.is_null() || is_crossing(value),
            Self::StopOrNull => value.is_null() || faults(value, STOP).is_empty(),
            Self::Numbers => value
                .as_object()
                .is_some_and(|numbers| numbers.values().all(Value::is_number)),
        }
    }
}

/// Exactly these fields, each of its type.
fn faults(object: &Value, fields: &[(&str, Is)]) -> Vec<String> {
    let Some(found) = object.as_object() else {
        return vec![format!("{object} is no object")];
    };
    let mut faults: Vec<String> = found
        .keys()
        .filter(|key| *key != "kind" && !fields.iter().any(|(name, _)| name == key))
        .map(|key| format!("{key} is too much"))
        .collect();
    for (name, is) in fields {
        match found.get(*name) {
            None => faults.push(format!("{name} is missing")),
            Some(value) if !is.holds(value) => {
                faults.push(format!("{name} is {value}, not {is:?}"));
            }
            Some(_) => {}
        }
    }
    faults
}

/// `volume_l` and `elapsed_s`, each with rising quantiles and nothing else.
fn is_crossing(value: &Value) -> bool {
    let quantiles = [("p5", Is::Number), ("p50", Is::Number), ("p95", Is::Number)];
    let bands = ["volume_l", "elapsed_s"];
    value.as_object().is_some_and(|object| object.len() == 2)
        && bands.iter().all(|band| {
            let band = &value[*band];
            faults(band, &quantiles).is_empty()
                && number(band, "/p5") <= number(band, "/p50")
                && number(band, "/p50") <= number(band, "/p95")
        })
}

#[test]
fn every_kind_of_line_comes_with_exactly_its_fields() {
    for name in ["orchard-ale-channel", "harbour-stout", "hill-lager"] {
        let lines = Recorded::of(name).replay().lines();
        for (kind, fields) in [
            ("projection", PROJECTION),
            ("alarm", ALARM),
            ("table", TABLE),
            ("summary", SUMMARY),
        ] {
            let of_kind = lines.of_kind(kind);
            assert!(!of_kind.is_empty(), "{name}: no {kind}");
            for line in of_kind {
                let faults = faults(line, fields);
                assert!(faults.is_empty(), "{name}: {faults:?} in {line}");
            }
        }
        let kinds = ["projection", "alarm", "table", "summary"];
        let other = lines
            .0
            .iter()
            .find(|line| !kinds.iter().any(|kind| line["kind"] == *kind));
        assert_eq!(other, None, "{name}");
    }
}

#[test]
fn lines_stand_in_time_order_and_the_summary_is_the_last() {
    for name in ["orchard-ale-channel", "harbour-stout", "hill-lager"] {
        let lines = Recorded::of(name).replay().lines();
        let (summary, others) = lines.0.split_last().expect("lines");
        assert_eq!(summary["kind"], "summary", "{name}");
        let times: Vec<f64> = others
            .iter()
            .map(|line| number(line, "/elapsed_s"))
            .collect();
        for pair in times.windows(2) {
            assert!(pair[0] <= pair[1], "{name}: {} after {}", pair[1], pair[0]);
        }
    }
}

#[test]
fn projections_come_every_30_s_of_runoff_and_on_past_the_stop_point_to_the_end() {
    for name in ["orchard-ale-channel", "harbour-stout"] {
        let recorded = Recorded::of(name);
        let lines = recorded.replay().lines();
        let times = times_of(&lines, "projection");
        for pair in times.windows(2) {
            assert!(
                pair[1] - pair[0] <= 30.0,
                "{name}: {} to {}",
                pair[0],
                pair[1]
            );
        }
        let end_s = recorded.outcome.last.elapsed_s;
        let last_s = *times.last().expect("projections");
        assert!(end_s - last_s <= 30.0, "{name}: {last_s} of {end_s}");
        let stop_s = number(lines.summary(), "/stop_elapsed_s");
        assert!(
            end_s > stop_s + 600.0,
            "{name}: the recording goes on past {stop_s}"
        );
    }
}

#[test]
fn the_table_has_a_line_every_600_s() {
    let recorded = Recorded::of("harbour-stout");
    let times = times_of(&recorded.replay().lines(), "table");
    let count = (recorded.outcome.last.elapsed_s / 600.0).floor() as usize;
    let expected: Vec<f64> = (1..=count).map(|index| 600.0 * index as f64).collect();
    assert_eq!(times, expected);
}

#[test]
fn a_target_is_given_from_the_first_minute_of_flow_on_and_held_after_the_crossing() {
    for name in ["orchard-ale-channel", "harbour-stout", "hill-lager"] {
        let recorded = Recorded::of(name);
        let lines = recorded.replay().lines();
        let filling_s = kettle_fills_s(&recorded);
        let projections = lines.of_kind("projection");
        let first_s = number(projections[0], "/elapsed_s");
        assert!(
            first_s <= filling_s + 60.0,
            "{name}: first projection at {first_s} s, wort in the kettle from {filling_s} s"
        );
        for line in &projections {
            for field in ["target", "stop", "kettle_gravity_p", "kettle_gravity_se_p"] {
                assert!(!line[field].is_null(), "{name}: no {field} in {line}");
            }
        }
        // What is behind has happened: the estimate of where no longer moves with every reading.
        let reached = lines.annunciated("stop-point-reached");
        let reached_s = *reached.first().expect("the target is reached");
        for line in projections
            .iter()
            .filter(|line| number(line, "/elapsed_s") > reached_s)
        {
            let held_s = number(line, "/target/elapsed_s/p50");
            assert!(
                held_s < number(line, "/elapsed_s"),
                "{name}: crossing still ahead in {line}"
            );
            assert!(
                (held_s - reached_s).abs() < 120.0,
                "{name}: {held_s} for {reached_s}"
            );
        }
    }
}

#[test]
fn an_alarm_changes_from_the_state_it_was_in() {
    for name in ["orchard-ale-channel", "hill-lager"] {
        let lines = Recorded::of(name).replay().lines();
        let mut states = std::collections::BTreeMap::new();
        for line in lines.of_kind("alarm") {
            let key = (line["alarm"].to_string(), line["instrument"].to_string());
            let before = states.insert(key, line["to"].clone());
            let before = before.unwrap_or_else(|| Value::from("normal"));
            assert_eq!(line["from"], before, "{name}: {line}");
            assert_ne!(line["from"], line["to"], "{name}: {line}");
            if line["to"] == "unacknowledged" {
                assert_ne!(line["advice"], "", "{name}: what to do in {line}");
            }
        }
    }
}

fn times_of(lines: &Lines, kind: &str) -> Vec<f64> {
    let lines = lines.of_kind(kind).into_iter();
    lines.map(|line| number(line, "/elapsed_s")).collect()
}

/// When the true kettle first held something.
fn kettle_fills_s(recorded: &Recorded) -> f64 {
    let truth = super::table::Table::of(&recorded.read("truth.csv"));
    let (time, volume) = (truth.column("elapsed_s"), truth.column("kettle_volume_l"));
    let cell = |row: &[String], column: usize| row[column].parse::<f64>().expect("a number");
    let empty_l = cell(&truth.rows[0], volume);
    let first = truth
        .rows
        .iter()
        .find(|row| cell(row, volume) > empty_l + 0.5);
    cell(first.expect("it fills"), time)
}
