//! How often one instrument's reading is published.
//!
//! Owns `mqtt.reading_every`: between two messages of one instrument at least that long passes, but a change of
//! status or cause goes out at once, since that is what a receiver must not miss. Pure.

use std::collections::HashMap;
use std::time::Duration;

use lauter_core::reading::{Cause, Moment, Status};
use lauter_core::supervisor::ConditionedReading;

/// Remembers what each instrument published last.
#[derive(Clone, Debug)]
pub struct ReadingPace {
    every_s: f64,
    last: HashMap<String, Last>,
}

#[derive(Clone, Copy, Debug)]
struct Last {
    at: Moment,
    status: Status,
    cause: Option<Cause>,
    has_value: bool,
}

impl ReadingPace {
    pub fn new(every: Duration) -> Self {
        Self {
            every_s: every.as_secs_f64(),
            last: HashMap::new(),
        }
    }

    /// Whether this reading is to be published; if so, it is remembered as the last one.
    pub fn is_due(&mut self, reading: &ConditionedReading, at: Moment) -> bool {
        let now = Last {
            at,
            status: reading.status,
            cause: reading.cause,
            has_value: reading.value.is_some(),
        };
        let due = self.last.get(&reading.instrument).is_none_or(|last| {
            at.since(last.at) >= self.every_s
                || (last.status, last.cause, last.has_value)
                    != (now.status, now.cause, now.has_value)
        });
        if due {
            self.last.insert(reading.instrument.clone(), now);
        }
        due
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use lauter_core::units::Unit;

    fn reading(instrument: &str, cause: Option<Cause>) -> ConditionedReading {
        ConditionedReading {
            instrument: instrument.to_owned(),
            value: cause.is_none().then_some(1.0),
            unit: Unit::LitrePerMinute,
            standard_error: None,
            rate_per_min: None,
            status: Status::Good,
            cause,
            raw: None,
            measured: None,
            corrected: None,
            correction: None,
        }
    }

    #[test]
    fn readings_are_thinned_per_instrument_but_a_lost_value_goes_out_at_once() {
        let mut pace = ReadingPace::new(Duration::from_secs(5));
        let at = Moment::from_seconds;
        assert!(pace.is_due(&reading("flow", None), at(0.0)));
        assert!(pace.is_due(&reading("level", None), at(0.0)));
        assert!(!pace.is_due(&reading("flow", None), at(4.9)));
        assert!(pace.is_due(&reading("flow", None), at(5.0)));
        assert!(pace.is_due(&reading("flow", Some(Cause::Stale)), at(5.1)));
        assert!(!pace.is_due(&reading("flow", Some(Cause::Stale)), at(5.2)));
        assert!(pace.is_due(&reading("flow", None), at(5.3)));
    }
}
