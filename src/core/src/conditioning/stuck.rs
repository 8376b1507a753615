//! When a value that does not move is a fault.
//!
//! Owns the decision that an instrument has frozen. A coarse instrument repeats values honestly, so the rule
//! learns how often this one repeats and asks how improbable the present repetition is. It does not know what
//! the value measures; its caller says whether the process must be moving it.

use serde::{Deserialize, Serialize};

use crate::reading::Moment;

/// Readings needed before the instrument's habit of repeating itself is known.
const HABIT_READINGS: u32 = 120;
/// Natural logarithm of the probability below which a repetition is no longer put down to the habit.
const IMPROBABLE_LN: f64 = -23.0;

#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct StuckWatch {
    after_s: f64,
    last: Option<f64>,
    unchanged_since: Moment,
    repeats: u32,
    readings: u32,
    changes: u32,
}

impl StuckWatch {
    pub(super) fn new(after_s: f64) -> Self {
        Self {
            after_s,
            last: None,
            unchanged_since: Moment::ZERO,
            repeats: 0,
            readings: 0,
            changes: 0,
        }
    }

    /// True while the value must be called stuck.
    pub(super) fn observe(&mut self, value: f64, at: Moment, process_moves: bool) -> bool {
        if self.last != Some(value) {
            self.last = Some(value);
            self.unchanged_since = at;
            self.repeats = 0;
            self.readings += 1;
            self.changes += 1;
            return false;
        }
        if !process_moves {
            self.unchanged_since = at;
            self.repeats = 0;
            return false;
        }
        self.repeats += 1;
        if self.improbable() && at.since(self.unchanged_since) >= self.after_s {
            return true;
        }
        self.readings += 1;
        false
    }

    fn improbable(&self) -> bool {
        if self.readings < HABIT_READINGS {
            return false;
        }
        let repeating = 1.0 - f64::from(self.changes) / f64::from(self.readings);
        f64::from(self.repeats) * repeating.max(1e-6).ln() < IMPROBABLE_LN
    }
}
