//! Each instrument's last loop check, as the record has it, onto the acceptance sheet.
//!
//! Owns what a check of the record means for an acceptance. It only reads: the service may be writing meanwhile.

use jiff::Timestamp;
use lauter_core::calibration::{Parameters, Verdict as Outcome, evaluate};
use lauter_core::units::Unit;

use super::walk::line;
use crate::cli::loop_check::result;
use crate::clock;
use crate::commission::plausible::Found;
use crate::commission::sheet::{Line, Part, Verdict};
use crate::config::Configuration;
use crate::config::model::Source;
use crate::store::{Database, StoreError, StoredCheck};

/// One line for each instrument that can be held against a reference.
pub fn lines(configuration: &Configuration) -> Vec<Line> {
    let ids: Vec<&str> = configuration
        .instruments
        .iter()
        .filter(|each| each.instrument.unit != Unit::Bool)
        .filter(|each| !matches!(each.source, Source::Recorded))
        .map(|each| each.instrument.id.as_str())
        .collect();
    match checks(configuration) {
        Ok(checks) => ids
            .into_iter()
            .map(|id| {
                let last = checks.iter().rfind(|stored| stored.check.instrument == id);
                line(Part::LoopChecks, id, found(id, last, clock::wall_now()))
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

fn found(id: &str, last: Option<&StoredCheck>, now: Timestamp) -> Found {
    let Some(stored) = last else {
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
    let verdict = match evaluation.verdict {
        Outcome::Fail => Verdict::Fail,
        Outcome::Pass if overdue.is_some() => Verdict::NotDone,
        Outcome::Pass => Verdict::Pass,
    };
    (verdict, words)
}

/// In UTC, as everything on the sheet.
fn day(time: Timestamp) -> String {
    let text = time.to_string();
    text.split_once('T')
        .map_or_else(|| text.clone(), |(day, _)| day.to_owned())
}

#[cfg(test)]
mod tests {
    use lauter_core::calibration::{Applied, Direction, LoopCheck, Point, Reference};
    use lauter_core::reading::Measures;

    use super::*;

    fn stored(reads: f64) -> StoredCheck {
        let point = Point {
            direction: Direction::Up,
            applied: Applied::Value { value: 2.0 },
            reading: reads,
            uncorrected: None,
            scatter: None,
            readings: None,
        };
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
                as_found: vec![point],
                as_left: Vec::new(),
            },
        }
    }

    fn at(text: &str) -> Timestamp {
        text.parse().expect("a time")
    }

    #[test]
    fn an_instrument_is_accepted_with_a_check_that_passed_and_is_not_out_of_date() {
        let verdict = |reads: f64, now: &str| found("bed_pressure", Some(&stored(reads)), at(now));
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
        let (verdict, words) = found("ph", None, at("2026-05-01T00:00:00Z"));
        assert_eq!(verdict, Verdict::NotDone);
        assert!(
            words.contains("loop-check guide --instrument ph"),
            "{words}"
        );
    }
}
