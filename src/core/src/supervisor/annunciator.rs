//! The alarm machines of all alarms and instruments, and the lines their changes make.
//!
//! Owns which machine belongs to which finding, the wording of a change, and the operator's actions. It does
//! not judge conditions.

use serde::{Deserialize, Serialize};

use crate::alarm::{AlarmId, AlarmState, Machine, Transition, definition};
use crate::detect::Finding;
use crate::reading::Moment;

use super::event::OperatorAction;
use super::output::AlarmLine;
use super::parameters::Parameters;

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
struct Entry {
    alarm: AlarmId,
    instrument: Option<String>,
    machine: Machine,
    /// What the last finding said, for changes that no finding brings.
    message: String,
    evidence: std::collections::BTreeMap<String, f64>,
}

/// All alarms of one tun.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Annunciator {
    entries: Vec<Entry>,
}

impl Annunciator {
    /// The alarm is annunciated and its condition has not gone.
    pub fn is_active(&self, alarm: AlarmId, instrument: Option<&str>) -> bool {
        self.find(alarm, instrument)
            .is_some_and(|entry| entry.machine.is_annunciated())
    }

    /// The alarm's condition is met, whether it is shown or suppressed.
    pub fn is_met(&self, alarm: AlarmId) -> bool {
        self.find(alarm, None)
            .is_some_and(|entry| entry.machine.is_met())
    }

    /// Any instance of the alarm is annunciated.
    pub fn any_active(&self, alarm: AlarmId) -> bool {
        self.entries
            .iter()
            .any(|entry| entry.alarm == alarm && entry.machine.is_annunciated())
    }

    /// Takes a finding; returns the line if the alarm's state changed.
    pub fn take(
        &mut self,
        finding: Finding,
        suppressed: bool,
        parameters: &Parameters,
        (now, elapsed_s): (Moment, f64),
    ) -> Option<AlarmLine> {
        let settings = parameters.alarm(finding.alarm);
        if settings.enabled == Some(false) {
            return None;
        }
        let known = self
            .find(finding.alarm, finding.instrument.as_deref())
            .is_some();
        if !known && !finding.holds {
            return None;
        }
        let delays = settings.delays(finding.alarm);
        let entry = self.entry(finding.alarm, finding.instrument.clone());
        if finding.holds {
            entry.message = finding.message;
            entry.evidence = finding.evidence;
        }
        let transition = entry
            .machine
            .update(finding.holds, suppressed, delays, now)?;
        Some(Self::line(entry, transition, parameters, elapsed_s))
    }

    /// An operator's action; the line if the state changed, None if it does not apply.
    pub fn operate(
        &mut self,
        alarm: AlarmId,
        instrument: Option<String>,
        action: &OperatorAction,
        parameters: &Parameters,
        (now, elapsed_s): (Moment, f64),
    ) -> Option<AlarmLine> {
        let delays = parameters.alarm(alarm).delays(alarm);
        let entry = self.entry(alarm, instrument);
        let transition = match action {
            OperatorAction::Acknowledge => entry.machine.acknowledge(),
            OperatorAction::Shelve { minutes, .. } => {
                entry.machine.shelve(now.plus_seconds(60.0 * minutes))
            }
            OperatorAction::Unshelve => entry.machine.unshelve(delays, now),
            OperatorAction::OutOfService { .. } => entry.machine.take_out_of_service(),
            OperatorAction::ReturnToService => entry.machine.return_to_service(delays, now),
        }?;
        Some(Self::line(entry, transition, parameters, elapsed_s))
    }

    fn find(&self, alarm: AlarmId, instrument: Option<&str>) -> Option<&Entry> {
        self.entries
            .iter()
            .find(|entry| entry.alarm == alarm && entry.instrument.as_deref() == instrument)
    }

    fn entry(&mut self, alarm: AlarmId, instrument: Option<String>) -> &mut Entry {
        let position = self
            .entries
            .iter()
            .position(|entry| entry.alarm == alarm && entry.instrument == instrument);
        let position = position.unwrap_or_else(|| {
            self.entries.push(Entry {
                alarm,
                instrument,
                machine: Machine::default(),
                message: definition(alarm).cause.to_owned(),
                evidence: std::collections::BTreeMap::new(),
            });
            self.entries.len() - 1
        });
        &mut self.entries[position]
    }

    fn line(
        entry: &Entry,
        transition: Transition,
        parameters: &Parameters,
        elapsed_s: f64,
    ) -> AlarmLine {
        let row = definition(entry.alarm);
        let returned = matches!(
            transition.to,
            AlarmState::Normal | AlarmState::ReturnedUnacknowledged
        );
        let (message, advice) = if returned {
            (format!("No longer so: {}", row.cause), String::new())
        } else {
            (
                entry.message.clone(),
                [row.response, row.caution].join(" ").trim().to_owned(),
            )
        };
        AlarmLine {
            elapsed_s,
            alarm: entry.alarm,
            instrument: entry.instrument.clone(),
            from: transition.from,
            to: transition.to,
            priority: parameters.alarm(entry.alarm).priority(entry.alarm),
            message,
            advice,
            evidence: entry.evidence.clone(),
        }
    }
}
