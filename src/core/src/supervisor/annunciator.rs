//! The alarm machines of all alarms and instruments, and the lines their changes make.
//!
//! Owns which machine belongs to which finding and which alarm explains which. It does not judge conditions, and nothing
//! that people do here changes what counts as met. The words are `telling`'s; what becomes of one alarm that stands is
//! `entry`'s.

mod entry;

use serde::{Deserialize, Serialize};

use crate::alarm::{
    AlarmId, AlarmState, Bearing, Circumstances, Conduct, Follows, Hold, Machine, OperationFault,
    OperatorAction, Reason, Transition, definition,
};
use crate::detect::Finding;
use crate::reading::Moment;

use super::output::AlarmLine;
use super::parameters::Parameters;
use super::telling::{Deed, Told};
use entry::{Burst, Entry};

/// The name under which a line's evidence says the place of an alarm in its burst; 1 came first.
pub const BURST_PLACE: &str = "place_in_burst";

/// The name under which the evidence says for how long somebody shelved an alarm.
const SHELVED_MIN: &str = "shelved_min";
/// Under which a risen alarm says how long it has stood.
const STANDS_S: &str = "stands_s";

/// What a finding made of an alarm.
pub(super) enum News {
    /// Its state or its priority is another: a line of the record.
    Changed(AlarmLine),
    /// It stands as it did, and its figures are new.
    Renewed(AlarmLine),
}

/// All alarms of one tun.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Annunciator {
    entries: Vec<Entry>,
    burst: Burst,
}

/// Whether one instance of a cause bears on an instance of an alarm: the relation, the alarm's instrument, the
/// cause's.
pub(super) type Related<'a> = &'a dyn Fn(Follows, Option<&str>, Option<&str>) -> bool;

/// What one step knows beside the findings.
pub(super) struct Situation<'a> {
    pub circumstances: Circumstances,
    pub related: Related<'a>,
    pub parameters: &'a Parameters,
    pub now: Moment,
    pub elapsed_s: f64,
}

impl Annunciator {
    /// The alarm's condition is met, whether it is shown or kept quiet.
    pub fn is_met(&self, alarm: AlarmId, instrument: Option<&str>) -> bool {
        self.find(alarm, instrument)
            .is_some_and(|entry| entry.machine.is_met())
    }

    /// The alarm has been pending, shown or operated: it may have something to return from.
    pub fn knows(&self, alarm: AlarmId, instrument: Option<&str>) -> bool {
        self.find(alarm, instrument).is_some()
    }

    /// The condition of any instance of the alarm is met.
    pub fn any_met(&self, alarm: AlarmId) -> bool {
        self.entries
            .iter()
            .any(|entry| entry.alarm == alarm && entry.machine.is_met())
    }

    /// Takes up an alarm as its latest recorded line left it at `at`.
    pub fn take_up(&mut self, line: AlarmLine, at: Moment) {
        let shelved_min = line.evidence.get(SHELVED_MIN).copied().unwrap_or(0.0);
        let until = at.plus_seconds(60.0 * shelved_min);
        let index = self.place(line.alarm, line.instrument);
        let entry = &mut self.entries[index];
        entry.machine = Machine::taken_up(line.to, until, at);
        if line.to == AlarmState::Unacknowledged {
            entry.message = line.message;
        }
        let place = line.evidence.get(BURST_PLACE);
        entry.burst_place = place.map(|place| *place as u32);
        entry.evidence = line.evidence;
        entry.told = Some(at);
        let standing = definition(line.alarm).standing;
        entry.risen = standing.is_some_and(|standing| line.priority >= standing.rises_to);
    }

    /// Takes a finding; returns what is to be told of it.
    pub fn take(&mut self, finding: Finding, situation: &Situation<'_>) -> Option<News> {
        let settings = situation.parameters.alarm(finding.alarm);
        if settings.enabled == Some(false) {
            return None;
        }
        let known = self.find(finding.alarm, finding.instrument.as_deref());
        if known.is_none() && !finding.holds {
            return None;
        }
        let (hold, reason) = self.hold(finding.alarm, finding.instrument.as_deref(), situation);
        let index = self.place(finding.alarm, finding.instrument);
        let entry = &mut self.entries[index];
        entry.reason = reason;
        if finding.holds {
            entry.message = finding.message;
            entry.evidence = finding.evidence;
        }
        let conduct = settings.conduct(finding.alarm);
        let transition = entry
            .machine
            .update(finding.holds, hold, conduct, situation.now);
        let rises = entry.rises(situation.now);
        if let Some(transition) = transition.or(rises) {
            let line = self.tell(index, transition, None, situation);
            return Some(News::Changed(line));
        }
        let as_it_is = entry.to_be_renewed(situation.now)?;
        let who = entry.acknowledged_by.clone();
        let deed = who.as_deref().map(|who| Deed {
            who,
            action: &OperatorAction::Acknowledge,
        });
        let line = self.tell(index, as_it_is, deed, situation);
        Some(News::Renewed(line))
    }

    /// An alarm whose instrument has gone is judged by nobody, and would stay on the shelf past its time.
    pub fn end_shelving(&mut self, situation: &Situation<'_>) -> Vec<AlarmLine> {
        let mut lines = Vec::new();
        for index in 0..self.entries.len() {
            let entry = &mut self.entries[index];
            let until = entry.machine.shelved_until();
            if until.is_none_or(|until| situation.now < until) {
                continue;
            }
            let conduct = situation.parameters.alarm(entry.alarm).conduct(entry.alarm);
            let changed = entry
                .machine
                .update(false, Hold::Free, conduct, situation.now);
            lines.extend(changed.map(|change| self.tell(index, change, None, situation)));
        }
        lines
    }

    /// Between brews nobody judges the run-off: what stood at the end of the last one runs out, or at the beginning
    /// of the next one ends `at_once`, so that no brew inherits the conditions of another.
    pub fn end_runoff(&mut self, at_once: bool, situation: &Situation<'_>) -> Vec<AlarmLine> {
        let mut lines = Vec::new();
        for index in 0..self.entries.len() {
            let entry = &mut self.entries[index];
            if !definition(entry.alarm).needs_brew() {
                continue;
            }
            let conduct = situation.parameters.alarm(entry.alarm).conduct(entry.alarm);
            let changed = if at_once {
                // What is latched is of the old brew as well: it stays unacknowledged, but gives no order any more.
                let conduct = Conduct {
                    latching: false,
                    ..conduct
                };
                entry.machine.end_condition(conduct, situation.now)
            } else {
                entry
                    .machine
                    .update(false, Hold::Free, conduct, situation.now)
            };
            lines.extend(changed.map(|change| self.tell(index, change, None, situation)));
        }
        lines
    }

    /// Whether an operator's action can be done now.
    pub fn may_operate(
        &self,
        alarm: AlarmId,
        instrument: Option<&str>,
        action: &OperatorAction,
        parameters: &Parameters,
        now: Moment,
    ) -> Result<(), OperationFault> {
        let known = self.find(alarm, instrument);
        let mut machine = known.map_or_else(Machine::default, |entry| entry.machine.clone());
        act(&mut machine, alarm, action, parameters, now).map(|_| ())
    }

    /// An operator's action: the line of the change it made.
    pub fn operate(
        &mut self,
        alarm: AlarmId,
        instrument: Option<String>,
        deed: Deed<'_>,
        situation: &Situation<'_>,
    ) -> Result<AlarmLine, OperationFault> {
        let (parameters, now) = (situation.parameters, situation.now);
        self.may_operate(alarm, instrument.as_deref(), deed.action, parameters, now)?;
        let index = self.place(alarm, instrument);
        let machine = &mut self.entries[index].machine;
        let transition = act(machine, alarm, deed.action, parameters, now)?;
        Ok(self.tell(index, transition, Some(deed), situation))
    }

    /// What suppression makes of an alarm now, and why.
    fn hold(
        &self,
        alarm: AlarmId,
        instrument: Option<&str>,
        situation: &Situation<'_>,
    ) -> (Hold, Option<Reason>) {
        let row = definition(alarm);
        if let Some(reason) = row.quiet.reason(situation.circumstances) {
            return (Hold::Suppressed, Some(reason));
        }
        let mut hold = Hold::Free;
        for follows in row.follows {
            for cause in self.entries.iter().filter(|e| e.alarm == follows.cause) {
                let about = cause.instrument.as_deref();
                if !(situation.related)(*follows, instrument, about) {
                    continue;
                }
                match cause.machine.bearing() {
                    Bearing::Met => {
                        let reason = Reason::Follows(cause.alarm, cause.instrument.clone());
                        return (Hold::Suppressed, Some(reason));
                    }
                    Bearing::Pending => hold = Hold::Waiting,
                    Bearing::None => {}
                }
            }
        }
        (hold, None)
    }

    fn find(&self, alarm: AlarmId, instrument: Option<&str>) -> Option<&Entry> {
        self.entries
            .iter()
            .find(|entry| entry.alarm == alarm && entry.instrument.as_deref() == instrument)
    }

    /// Where an alarm's entry stands; made if it is new.
    fn place(&mut self, alarm: AlarmId, instrument: Option<String>) -> usize {
        let position = self
            .entries
            .iter()
            .position(|entry| entry.alarm == alarm && entry.instrument == instrument);
        position.unwrap_or_else(|| {
            self.entries.push(Entry::new(alarm, instrument));
            self.entries.len() - 1
        })
    }

    /// The line of a change. What comes to be shown takes its place in the burst.
    fn tell(
        &mut self,
        index: usize,
        transition: Transition,
        deed: Option<Deed<'_>>,
        situation: &Situation<'_>,
    ) -> AlarmLine {
        let entry = &mut self.entries[index];
        entry.told = Some(situation.now);
        entry.acknowledged_by = match (transition.to, deed) {
            (AlarmState::Acknowledged, Some(deed)) => Some(deed.who.to_owned()),
            _ => None,
        };
        let comes = transition.to == AlarmState::Unacknowledged;
        if comes && transition.from != transition.to {
            let gap_s = situation.parameters.annunciation.burst_gap_s;
            entry.burst_place = Some(self.burst.next(situation.now, gap_s));
        }
        let mut evidence = entry.evidence.clone();
        if let Some(place) = entry.burst_place {
            evidence.insert(BURST_PLACE.to_owned(), f64::from(place));
        }
        if entry.risen {
            let stands_s = entry.machine.met_for_s(situation.now);
            evidence.insert(STANDS_S.to_owned(), stands_s);
        }
        if let Some(OperatorAction::Shelve { minutes, .. }) = deed.map(|deed| deed.action) {
            evidence.insert(SHELVED_MIN.to_owned(), *minutes);
        }
        let finding = entry.finding(situation.now);
        let told = Told {
            alarm: entry.alarm,
            finding: &finding,
            reason: entry.reason.as_ref(),
            transition,
            deed,
        };
        AlarmLine {
            elapsed_s: situation.elapsed_s,
            alarm: entry.alarm,
            instrument: entry.instrument.clone(),
            from: transition.from,
            to: transition.to,
            priority: entry.priority(situation.parameters),
            message: told.message(),
            advice: told.advice(),
            evidence,
        }
    }
}

fn act(
    machine: &mut Machine,
    alarm: AlarmId,
    action: &OperatorAction,
    parameters: &Parameters,
    now: Moment,
) -> Result<Transition, OperationFault> {
    let settings = parameters.alarm(alarm);
    if settings.enabled == Some(false) {
        return Err(OperationFault::SwitchedOff);
    }
    let conduct = settings.conduct(alarm);
    match action {
        OperatorAction::Acknowledge => machine.acknowledge(),
        OperatorAction::Shelve { minutes, .. } => {
            let (minutes, longest_min) = (*minutes, settings.longest_shelving_min(alarm));
            if minutes.is_nan() || minutes < 1.0 {
                return Err(OperationFault::ShelvedForNoTime { minutes });
            }
            if minutes > longest_min {
                return Err(OperationFault::ShelvedTooLong {
                    minutes,
                    longest_min,
                });
            }
            machine.shelve(now.plus_seconds(60.0 * minutes))
        }
        OperatorAction::Unshelve => machine.unshelve(conduct, now),
        OperatorAction::OutOfService { .. } => machine.take_out_of_service(),
        OperatorAction::ReturnToService => machine.return_to_service(conduct, now),
    }
}

#[cfg(test)]
mod tests;
