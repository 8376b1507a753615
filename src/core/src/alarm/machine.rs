//! The state machine of IEC 62682 / ISA-18.2, once for each alarm and instrument.
//!
//! Owns states, delays, latching, shelving, suppression and acknowledgement. It is told whether a condition holds
//! and never why; it reports each change of state once, so that the record of changes is the audit trail.
//!
//! Whether the condition counts as met (`is_met`) depends on the condition and its delays alone. What people do
//! about the alarm and what suppresses it only decide how it is shown.

use serde::{Deserialize, Serialize};

use crate::reading::Moment;

use super::identity::AlarmState;
use super::operation::OperationFault;
use super::suppression::{Bearing, Hold};

/// How one alarm moves.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Conduct {
    /// The condition must last this long, s.
    pub on_s: f64,
    /// It must be gone this long, s.
    pub off_s: f64,
    /// It stays unacknowledged when its condition goes.
    pub latching: bool,
}

/// A change of state.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Transition {
    pub from: AlarmState,
    pub to: AlarmState,
}

/// What people have decided about showing the alarm.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
enum Silence {
    Shelved { until: Moment },
    OutOfService,
}

/// One alarm's life.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Machine {
    state: AlarmState,
    condition: bool,
    /// Since when the condition has been as it is.
    since: Option<Moment>,
    /// The condition has lasted its on-delay, and has not been gone for the off-delay since.
    met: bool,
    silence: Option<Silence>,
    hold: Hold,
    /// When suppression last ended.
    lifted: Option<Moment>,
}

impl Machine {
    /// As it was recorded: in `state` since `at`, and on the shelf until `until`.
    pub fn taken_up(state: AlarmState, until: Moment, at: Moment) -> Self {
        let met = matches!(
            state,
            AlarmState::Unacknowledged | AlarmState::Acknowledged | AlarmState::Suppressed
        );
        Self {
            state,
            condition: met,
            since: Some(at),
            met,
            silence: match state {
                AlarmState::Shelved => Some(Silence::Shelved { until }),
                AlarmState::OutOfService => Some(Silence::OutOfService),
                _ => None,
            },
            ..Self::default()
        }
    }

    pub fn state(&self) -> AlarmState {
        self.state
    }

    /// The condition has lasted its on-delay and has not gone, however it is shown.
    pub fn is_met(&self) -> bool {
        self.met
    }

    /// Until when it lies on the shelf.
    pub fn shelved_until(&self) -> Option<Moment> {
        match self.silence {
            Some(Silence::Shelved { until }) => Some(until),
            Some(Silence::OutOfService) | None => None,
        }
    }

    /// How it bears on alarms that would follow from it.
    pub fn bearing(&self) -> Bearing {
        match (self.state.explains(), self.met, self.condition) {
            (false, _, _) | (true, false, false) => Bearing::None,
            (true, true, _) => Bearing::Met,
            (true, false, true) => Bearing::Pending,
        }
    }

    /// How long the condition has been met without a break, s; nought where it is not.
    pub fn met_for_s(&self, now: Moment) -> f64 {
        match self.since {
            Some(since) if self.met && self.condition => now.since(since),
            _ => 0.0,
        }
    }

    /// It is more pressing than it was: who has acknowledged it is asked once more. None where it is not shown.
    pub fn ask_again(&mut self) -> Option<Transition> {
        matches!(
            self.state,
            AlarmState::Unacknowledged | AlarmState::Acknowledged
        )
        .then(|| self.moved(AlarmState::Unacknowledged))
    }

    /// Tells the machine the condition and the time, and what suppression makes of the alarm now.
    pub fn update(
        &mut self,
        condition: bool,
        hold: Hold,
        conduct: Conduct,
        now: Moment,
    ) -> Option<Transition> {
        if self.since.is_none() || condition != self.condition {
            self.condition = condition;
            self.since = Some(now);
        }
        let lasted_s = self.since.map_or(0.0, |since| now.since(since));
        if condition && lasted_s >= conduct.on_s {
            self.met = true;
        } else if !condition && lasted_s >= conduct.off_s {
            self.met = false;
        }
        if self.hold == Hold::Suppressed && hold != Hold::Suppressed {
            self.lifted = Some(now);
        }
        self.hold = hold;
        if self.shelved_until().is_some_and(|until| now >= until) {
            self.silence = None;
        }
        self.settle(conduct, now)
    }

    /// The condition cannot be judged any more and counts as gone at once.
    pub fn end_condition(&mut self, conduct: Conduct, now: Moment) -> Option<Transition> {
        self.condition = false;
        self.since = Some(now);
        self.met = false;
        self.hold = Hold::Free;
        self.settle(conduct, now)
    }

    /// Acknowledges what has been shown; anything else is refused, so that nobody acknowledges the unseen.
    pub fn acknowledge(&mut self) -> Result<Transition, OperationFault> {
        let to = match self.state {
            AlarmState::Unacknowledged if self.met => AlarmState::Acknowledged,
            // A latched alarm whose condition has gone, or one that returned by itself.
            AlarmState::Unacknowledged | AlarmState::ReturnedUnacknowledged => AlarmState::Normal,
            state => return Err(OperationFault::NothingToAcknowledge { state }),
        };
        Ok(self.moved(to))
    }

    pub fn shelve(&mut self, until: Moment) -> Result<Transition, OperationFault> {
        match self.silence {
            Some(Silence::OutOfService) => Err(OperationFault::AlreadyOutOfService),
            Some(Silence::Shelved { .. }) => Err(OperationFault::AlreadyShelved),
            None => {
                self.silence = Some(Silence::Shelved { until });
                Ok(self.moved(AlarmState::Shelved))
            }
        }
    }

    /// Back from the shelf; the state follows from the condition as it is now.
    pub fn unshelve(
        &mut self,
        conduct: Conduct,
        now: Moment,
    ) -> Result<Transition, OperationFault> {
        if self.shelved_until().is_none() {
            return Err(OperationFault::NotShelved { state: self.state });
        }
        Ok(self.speak_again(conduct, now))
    }

    pub fn take_out_of_service(&mut self) -> Result<Transition, OperationFault> {
        if self.silence == Some(Silence::OutOfService) {
            return Err(OperationFault::AlreadyOutOfService);
        }
        self.silence = Some(Silence::OutOfService);
        Ok(self.moved(AlarmState::OutOfService))
    }

    pub fn return_to_service(
        &mut self,
        conduct: Conduct,
        now: Moment,
    ) -> Result<Transition, OperationFault> {
        if self.silence != Some(Silence::OutOfService) {
            return Err(OperationFault::InService { state: self.state });
        }
        Ok(self.speak_again(conduct, now))
    }

    fn speak_again(&mut self, conduct: Conduct, now: Moment) -> Transition {
        let from = self.state;
        self.silence = None;
        self.settle(conduct, now);
        Transition {
            from,
            to: self.state,
        }
    }

    /// The state that follows from everything known.
    fn settle(&mut self, conduct: Conduct, now: Moment) -> Option<Transition> {
        if self.silence.is_some() {
            return None;
        }
        let to = if self.met {
            self.while_met(conduct, now)
        } else {
            self.while_gone(conduct)
        };
        (to != self.state).then(|| self.moved(to))
    }

    fn while_met(&self, conduct: Conduct, now: Moment) -> AlarmState {
        if self.hold == Hold::Suppressed {
            return AlarmState::Suppressed;
        }
        match self.state {
            AlarmState::Unacknowledged | AlarmState::Acknowledged => self.state,
            // It must last without its cause before it speaks for itself.
            AlarmState::Suppressed if !self.is_on_its_own(conduct, now) => AlarmState::Suppressed,
            // What is about to go, or about to be explained, is not shown for the first time.
            AlarmState::ReturnedUnacknowledged if !self.may_be_shown() => self.state,
            _ if !self.may_be_shown() => AlarmState::Normal,
            _ => AlarmState::Unacknowledged,
        }
    }

    fn may_be_shown(&self) -> bool {
        self.condition && self.hold == Hold::Free
    }

    fn is_on_its_own(&self, conduct: Conduct, now: Moment) -> bool {
        self.may_be_shown()
            && self
                .lifted
                .is_none_or(|lifted| now.since(lifted) >= conduct.on_s)
    }

    fn while_gone(&self, conduct: Conduct) -> AlarmState {
        match self.state {
            AlarmState::Unacknowledged if conduct.latching => self.state,
            AlarmState::Unacknowledged | AlarmState::ReturnedUnacknowledged => {
                AlarmState::ReturnedUnacknowledged
            }
            _ => AlarmState::Normal,
        }
    }

    fn moved(&mut self, to: AlarmState) -> Transition {
        let from = std::mem::replace(&mut self.state, to);
        Transition { from, to }
    }
}

#[cfg(test)]
mod tests;
