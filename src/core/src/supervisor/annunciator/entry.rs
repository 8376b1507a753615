//! One alarm of one thing: its machine, what was last found, and what becomes of it while it stands.
//!
//! Owns when a standing alarm is told anew and when it becomes more pressing, and the first of a burst. It does not know
//! other alarms.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::alarm::{AlarmId, AlarmState, Machine, Priority, Reason, Transition, definition};
use crate::reading::Moment;
use crate::supervisor::parameters::Parameters;
use crate::supervisor::silence::minutes;

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Entry {
    pub alarm: AlarmId,
    pub instrument: Option<String>,
    pub machine: Machine,
    /// What the last finding said, for changes that no finding brings.
    pub message: String,
    pub evidence: BTreeMap<String, f64>,
    /// Its place in the burst it last came in.
    pub burst_place: Option<u32>,
    /// Why it is suppressed now.
    pub reason: Option<Reason>,
    /// Who has acknowledged it as it stands.
    pub acknowledged_by: Option<String>,
    /// When its text was last told.
    pub told: Option<Moment>,
    /// It has stood for so long that it is more pressing than its definition says.
    pub risen: bool,
}

/// Alarms that came close after one another.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Burst {
    latest: Option<Moment>,
    size: u32,
}

impl Entry {
    /// One that nothing has been found of yet.
    pub fn new(alarm: AlarmId, instrument: Option<String>) -> Self {
        Self {
            alarm,
            instrument,
            machine: Machine::default(),
            message: definition(alarm).cause.to_owned(),
            evidence: BTreeMap::new(),
            burst_place: None,
            reason: None,
            acknowledged_by: None,
            told: None,
            risen: false,
        }
    }

    /// What the last finding said, and for how long it has been so where that is why it has risen.
    pub fn finding(&self, now: Moment) -> String {
        if self.risen {
            let stands = minutes(self.machine.met_for_s(now));
            return format!("{} It has stood for {stands}.", self.message);
        }
        self.message.clone()
    }

    /// As the site or the definition has it, or what it has risen to.
    pub fn priority(&self, parameters: &Parameters) -> Priority {
        let usual = parameters.alarm(self.alarm).priority(self.alarm);
        let risen = definition(self.alarm).standing.filter(|_| self.risen);
        risen.map_or(usual, |standing| usual.max(standing.rises_to))
    }

    /// Whether it becomes more pressing now, and what that does to its state.
    pub fn rises(&mut self, now: Moment) -> Option<Transition> {
        let standing = definition(self.alarm).standing?;
        let had_risen = self.risen;
        let long = self.machine.met_for_s(now) >= standing.rises_after_s;
        self.risen = self.machine.is_met() && (had_risen || long);
        if had_risen || !self.risen {
            return None;
        }
        self.machine.ask_again()
    }

    /// Its text is due once more: the state as it is.
    pub fn to_be_renewed(&self, now: Moment) -> Option<Transition> {
        let standing = definition(self.alarm).standing?;
        let state = self.machine.state();
        let shown = matches!(state, AlarmState::Unacknowledged | AlarmState::Acknowledged)
            && self.machine.is_met();
        let due = self
            .told
            .is_none_or(|told| now.since(told) >= standing.renewed_every_s);
        (shown && due).then_some(Transition {
            from: state,
            to: state,
        })
    }
}

impl Burst {
    /// The place of an alarm that comes now.
    pub fn next(&mut self, now: Moment, gap_s: f64) -> u32 {
        let goes_on = self.latest.is_some_and(|latest| now.since(latest) <= gap_s);
        self.size = if goes_on { self.size + 1 } else { 1 };
        self.latest = Some(now);
        self.size
    }
}
