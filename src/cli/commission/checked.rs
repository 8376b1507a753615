//! Each instrument's last loop check, as the record has it, onto the acceptance sheet.
//!
//! Owns what a check of the record means for an acceptance. It only reads: the service may be writing meanwhile.

use jiff::Timestamp;
use lauter_core::calibration::{
    Applied, LoopCheck, Parameters, Point, Verdict as Outcome, evaluate,
};
use lauter_core::reading::{Instrument, Measures};
use lauter_core::units::{Dimension, Unit};

use super::walk::line;
use crate::cli::loop_check::result;
use crate::clock;
use crate::commission::plausible::Found;
use crate::commission::sheet::{Line, Part, Verdict};
use crate::config::Configuration;
use crate::config::model::Source;
use crate::store::{Database, StoreError, StoredCheck};

/// Share of an instrument's range that applied values must span, 0.3 to 1. Own choice: a span that is out by a tenth shows
/// as a twentieth of the range then; a guided check applies the whole.
const LEAST_RANGE_SHARE: f64 = 0.5;

/// One line for each instrument that can be held against a reference.
pub fn lines(configuration: &Configuration) -> Vec<Line> {
    let instruments: Vec<&Instrument> = configuration
        .instruments
        .iter()
        .filter(|each| each.instrument.unit != Unit::Bool)
        .filter(|each| !matches!(each.source, Source::Recorded))
        .map(|each| &each.instrument)
        .collect();
    match checks(configuration) {
        Ok(checks) => instruments
            .into_iter()
            .map(|instrument| {
                let id = instrument.id.as_str();
                let last = checks.iter().rfind(|stored| stored.check.instrument == id);
                let found = found(instrument, last, clock::wall_now());
                line(Part::LoopChecks, id, found)
            })
            .collect(),
        Err(error) => {
            let words = format!("the record cannot be read: {error}");
            vec![line(
                Part::LoopChecks,
                "all instruments",
                (Verdict::NotDone, words),
            )]
        }
    }
}

/// Those of the tun, the oldest first. Before the first start there is no record, and so there are none.
fn checks(configuration: &Configuration) -> Result<Vec<StoredCheck>, StoreError> {
    let database = match Database::open_read_only(&configuration.store.directory) {
        Err(StoreError::Missing { .. }) => return Ok(Vec::new()),
        other => other?,
    };
    match database.find_tun(&configuration.site, &configuration.tun.name)? {
        Some(tun) => database.loop_checks(tun, None),
        None => Ok(Vec::new()),
    }
}

fn found(instrument: &Instrument, last: Option<&StoredCheck>, now: Timestamp) -> Found {
    let Some(stored) = last else {
        let id = &instrument.id;
        let words = format!("never checked: lauterd loop-check guide --instrument {id}");
        return (Verdict::NotDone, words);
    };
    let evaluation = evaluate(&stored.check, &Parameters::default());
    let series = evaluation.as_left.as_ref().or(evaluation.as_found.as_ref());
    let mut words = format!(
        "loop check {} of {} by {}: {}",
        stored.number,
        day(stored.checked),
        stored.who,
        result(evaluation.verdict, evaluation.in_doubt),
    );
    if let Some(series) = series {
        let (error, unit) = (series.greatest_error, stored.check.unit.name());
        words = format!(
            "{words}, off by {error:.4} {unit} where {} is allowed",
            stored.check.tolerance
        );
    }
    let overdue = stored.due.filter(|due| *due <= now);
    if let Some(due) = stored.due {
        let tense = if overdue.is_some() { "was" } else { "is" };
        words = format!("{words}; the next {tense} due on {}", day(due));
    }
    let lacking = lacking(instrument, &stored.check);
    if let Some(lacking) = &lacking {
        words = format!("{words}; {lacking}");
    }
    let verdict = match evaluation.verdict {
        Outcome::Fail => Verdict::Fail,
        Outcome::Pass if lacking.is_some() => Verdict::NotDone,
        Outcome::Pass if overdue.is_some() => Verdict::NotDone,
        Outcome::Pass => Verdict::Pass,
    };
    (verdict, words)
}

/// What a check would have had to apply besides, in words. A weighed tank and a sample from the line are one value by
/// nature; a counter's range is that of its register, which nobody runs through.
fn lacking(instrument: &Instrument, check: &LoopCheck) -> Option<String> {
    let points = if check.as_left.is_empty() {
        &check.as_found
    } else {
        &check.as_left
    };
    let single = |it: &Point| {
        matches!(
            it.applied,
            Applied::WeighedTank { .. } | Applied::SamplePh { .. }
        )
    };
    if points.iter().any(single) {
        return None;
    }
    let (from, to) = applied(check, points)?;
    let (low, high) = instrument.range()?;
    let (width, parameters) = (high - low, Parameters::default());
    let unit = check.unit.name();
    let different = match instrument.measures.dimension() {
        Dimension::Ph => parameters.same_value_share * parameters.buffer_gap_ph,
        Dimension::Gravity => parameters.same_value_share * parameters.gravity_gap_share * width,
        _ if instrument.measures == Measures::RunoffTotal => 0.0,
        _ if to - from < LEAST_RANGE_SHARE * width => {
            let least = 100.0 * LEAST_RANGE_SHARE;
            return Some(format!(
                "not done: the check covers only {from} to {to} {unit} of {low} to {high} {unit}; apply values over at least \
                 {least:.0} % of the range"
            ));
        }
        _ => return None,
    };
    (to - from <= different).then(|| {
        format!("not done: the check covers only {from} to {to} {unit}; apply two different values or more")
    })
}

/// Least and greatest applied value, rounded for people.
fn applied(check: &LoopCheck, points: &[Point]) -> Option<(f64, f64)> {
    let values = points.iter().filter_map(|it| check.applied(it).ok());
    let rounded = |value: f64| (1e3 * value).round() / 1e3 + 0.0;
    let least = values.clone().reduce(f64::min)?;
    Some((rounded(least), rounded(values.reduce(f64::max)?)))
}

/// In UTC, as everything on the sheet.
fn day(time: Timestamp) -> String {
    let text = time.to_string();
    text.split_once('T')
        .map_or_else(|| text.clone(), |(day, _)| day.to_owned())
}

#[cfg(test)]
mod tests {
    use lauter_core::calibration::{Direction, Reference};
    use lauter_core::units::Buffer;

    use super::*;

    fn instrument(measures: Measures, unit: Unit, (low, high): (f64, f64)) -> Instrument {
        Instrument {
            id: "bed_pressure".to_owned(),
            measures,
            unit,
            span: None,
            temperature: None,
            low: Some(low),
            high: Some(high),
            stale_after_s: 10.0,
            zero: 0.0,
            link: None,
        }
    }

    fn pressure() -> Instrument {
        instrument(Measures::BedPressureDrop, Unit::Kilopascal, (0.0, 2.5))
    }

    fn point(applied: Applied, reading: f64) -> Point {
        Point {
            direction: Direction::Up,
            applied,
            reading,
            uncorrected: None,
            scatter: None,
            readings: None,
        }
    }

    fn stored(reads: f64) -> StoredCheck {
        StoredCheck {
            number: 12,
            checked: at("2026-04-12T08:00:00Z"),
            due: Some(at("2027-04-12T08:00:00Z")),
            who: "engineer".to_owned(),
            note: String::new(),
            check: LoopCheck {
                instrument: "bed_pressure".to_owned(),
                measures: Measures::BedPressureDrop,
                unit: Unit::Kilopascal,
                wort_factor: 1.0,
                reference: Reference {
                    name: "calibrator 4".to_owned(),
                    expanded_uncertainty: 0.004,
                    temperature_uncertainty_c: 0.0,
                },
                tolerance: 0.02,
                resolution: 0.001,
                as_found: vec![
                    point(Applied::Value { value: 0.0 }, 0.0),
                    point(Applied::Value { value: 2.0 }, reads),
                ],
                as_left: Vec::new(),
            },
        }
    }

    fn at(text: &str) -> Timestamp {
        text.parse().expect("a time")
    }

    #[test]
    fn an_instrument_is_accepted_with_a_check_that_passed_and_is_not_out_of_date() {
        let verdict = |reads: f64, now: &str| found(&pressure(), Some(&stored(reads)), at(now));
        let (passed, words) = verdict(2.005, "2026-05-01T00:00:00Z");
        assert_eq!(passed, Verdict::Pass, "{words}");
        assert!(words.contains("loop check 12 of 2026-04-12"), "{words}");
        assert!(words.contains("is due on 2027-04-12"), "{words}");
        let (late, words) = verdict(2.005, "2027-05-01T00:00:00Z");
        assert_eq!(late, Verdict::NotDone, "{words}");
        assert!(words.contains("was due on 2027-04-12"), "{words}");
        let (failed, words) = verdict(2.1, "2026-05-01T00:00:00Z");
        assert_eq!(failed, Verdict::Fail, "{words}");
    }

    #[test]
    fn an_instrument_that_was_never_checked_is_not_done_and_the_command_is_named() {
        let (verdict, words) = found(&pressure(), None, at("2026-05-01T00:00:00Z"));
        assert_eq!(verdict, Verdict::NotDone);
        assert!(
            words.contains("loop-check guide --instrument bed_pressure"),
            "{words}"
        );
    }

    /// Found for a check whose readings are right wherever they were taken.
    fn with(known: &Instrument, applied: &[Applied]) -> Found {
        let mut stored = stored(2.0);
        stored.check.measures = known.measures;
        stored.check.unit = known.unit;
        let right = |it: &Applied| point(*it, it.value(known.unit, 1.0).expect("a value"));
        stored.check.as_found = applied.iter().map(right).collect();
        found(known, Some(&stored), at("2026-05-01T00:00:00Z"))
    }

    #[test]
    fn a_check_of_less_than_half_the_range_is_not_done_and_its_part_is_named() {
        let level = instrument(Measures::KettleVolume, Unit::Litre, (0.0, 5600.0));
        let value = |value: f64| Applied::Value { value };
        let (verdict, words) = with(&level, &[value(0.0)]);
        assert_eq!(verdict, Verdict::NotDone, "{words}");
        assert!(
            words.contains("covers only 0 to 0 L of 0 to 5600 L"),
            "{words}"
        );
        let part = |to: f64| with(&level, &[value(0.0), value(to)]).0;
        assert_eq!(part(2799.0), Verdict::NotDone);
        assert_eq!(part(2800.0), Verdict::Pass);
        // As it was left counts, and a failure stays one.
        let mut broken_off = stored(2.0);
        broken_off.check.as_left = vec![point(value(0.0), 0.0)];
        let now = at("2026-05-01T00:00:00Z");
        assert_eq!(
            found(&pressure(), Some(&broken_off), now).0,
            Verdict::NotDone
        );
        broken_off.check.as_left[0].reading = 0.5;
        assert_eq!(found(&pressure(), Some(&broken_off), now).0, Verdict::Fail);
    }

    #[test]
    fn ph_and_gravity_need_two_values_and_a_tank_or_a_sample_stands_alone() {
        let ph = instrument(Measures::RunningsPh, Unit::Ph, (2.0, 12.0));
        let buffer = |buffer, temperature_c| Applied::Buffer {
            buffer,
            temperature_c,
        };
        let (phosphate, warm) = (
            buffer(Buffer::Phosphate, 20.0),
            buffer(Buffer::Phosphate, 30.0),
        );
        let (verdict, words) = with(&ph, &[phosphate, warm]);
        assert_eq!(verdict, Verdict::NotDone, "{words}");
        assert!(words.contains("two different values"), "{words}");
        assert_eq!(
            with(&ph, &[phosphate, buffer(Buffer::Phthalate, 20.0)]).0,
            Verdict::Pass
        );
        let sample = Applied::SamplePh {
            ph: 5.4,
            temperature_c: 75.0,
        };
        assert_eq!(with(&ph, &[sample]).0, Verdict::Pass);

        let meter = instrument(Measures::RunningsGravity, Unit::DegreePlato, (-1.0, 30.0));
        let gravity = |gravity_p| Applied::Gravity {
            gravity_p,
            temperature_c: None,
        };
        assert_eq!(
            with(&meter, &[gravity(12.0), gravity(12.05)]).0,
            Verdict::NotDone
        );
        assert_eq!(
            with(&meter, &[gravity(0.0), gravity(12.0)]).0,
            Verdict::Pass
        );

        let flow = instrument(Measures::RunoffFlow, Unit::LitrePerMinute, (0.0, 200.0));
        let tank = Applied::WeighedTank {
            mass_kg: 200.0,
            seconds: 240.0,
            temperature_c: 20.0,
        };
        assert_eq!(with(&flow, &[tank]).0, Verdict::Pass);
    }
}
