//! The state machine of IEC 62682 / ISA-18.2, once for each alarm and instrument.
//!
//! Owns states, delays, shelving, suppression and acknowledgement. It is told whether a condition holds and
//! never why; it reports each change of state once, so that the record of changes is the audit trail.

use serde::{Deserialize, Serialize};

use crate::reading::Moment;

use super::identity::AlarmState;

/// Delays of one alarm, s.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Delays {
    pub on_s: f64,
    pub off_s: f64,
}

/// A change of state.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Transition {
    pub from: AlarmState,
    pub to: AlarmState,
}

/// Why an alarm is kept from annunciating.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
enum Silence {
    Shelved { until: Moment },
    OutOfService,
}

/// One alarm's life.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Machine {
    state: AlarmState,
    condition: bool,
    /// Since when the condition has been as it is.
    since: Option<Moment>,
    silence: Option<Silence>,
    suppressed: bool,
}

impl Default for Machine {
    fn default() -> Self {
        Self {
            state: AlarmState::Normal,
            condition: false,
            since: None,
            silence: None,
            suppressed: false,
        }
    }
}

impl Machine {
    pub fn state(&self) -> AlarmState {
        self.state
    }

    /// The condition has been annunciated and still holds (with the deadband's help of the caller).
    pub fn is_annunciated(&self) -> bool {
        matches!(
            self.state,
            AlarmState::Unacknowledged | AlarmState::Acknowledged
        )
    }

    /// The condition has lasted its on-delay and has not gone, whether it is shown or kept quiet.
    pub fn is_met(&self) -> bool {
        self.is_annunciated() || (self.state == AlarmState::Suppressed && self.condition)
    }

    /// Tells the machine the condition and the time, and whether the plant's state suppresses this alarm.
    pub fn update(
        &mut self,
        condition: bool,
        suppressed: bool,
        delays: Delays,
        now: Moment,
    ) -> Option<Transition> {
        if self.since.is_none() || condition != self.condition {
            self.condition = condition;
            self.since = Some(now);
        }
        self.suppressed = suppressed;
        if let Some(Silence::Shelved { until }) = self.silence
            && now >= until
        {
            self.silence = None;
        }
        self.settle(delays, now)
    }

    /// Acknowledges what has been shown; anything else is refused, so that nobody acknowledges the unseen.
    pub fn acknowledge(&mut self) -> Option<Transition> {
        match self.state {
            AlarmState::Unacknowledged => self.go(AlarmState::Acknowledged),
            AlarmState::ReturnedUnacknowledged => self.go(AlarmState::Normal),
            _ => None,
        }
    }

    pub fn shelve(&mut self, until: Moment) -> Option<Transition> {
        if self.silence == Some(Silence::OutOfService) {
            return None;
        }
        self.silence = Some(Silence::Shelved { until });
        self.go(AlarmState::Shelved)
    }

    /// Back from the shelf; the state follows from the condition as it is now.
    pub fn unshelve(&mut self, delays: Delays, now: Moment) -> Option<Transition> {
        if !matches!(self.silence, Some(Silence::Shelved { .. })) {
            return None;
        }
        self.silence = None;
        self.settle(delays, now)
    }

    pub fn take_out_of_service(&mut self) -> Option<Transition> {
        self.silence = Some(Silence::OutOfService);
        self.go(AlarmState::OutOfService)
    }

    pub fn return_to_service(&mut self, delays: Delays, now: Moment) -> Option<Transition> {
        if self.silence != Some(Silence::OutOfService) {
            return None;
        }
        self.silence = None;
        self.settle(delays, now)
    }

    fn settle(&mut self, delays: Delays, now: Moment) -> Option<Transition> {
        if self.silence.is_some() {
            return None;
        }
        let lasted_s = self.since.map_or(0.0, |since| now.since(since));
        let on = self.condition && lasted_s >= delays.on_s;
        let off = !self.condition && lasted_s >= delays.off_s;
        if self.suppressed {
            // Only what would be shown is recorded as suppressed; a quiet alarm stays normal, and what went
            // away unseen still waits for its acknowledgement.
            if self.state == AlarmState::ReturnedUnacknowledged && !on {
                return None;
            }
            let shown = on || (self.state != AlarmState::Normal && !off);
            return self.go(if shown {
                AlarmState::Suppressed
            } else {
                AlarmState::Normal
            });
        }
        let next = match self.state {
            AlarmState::Unacknowledged | AlarmState::Acknowledged if !off => self.state,
            AlarmState::Unacknowledged => AlarmState::ReturnedUnacknowledged,
            AlarmState::ReturnedUnacknowledged if !on => self.state,
            _ if on => AlarmState::Unacknowledged,
            _ => AlarmState::Normal,
        };
        self.go(next)
    }

    fn go(&mut self, to: AlarmState) -> Option<Transition> {
        let from = std::mem::replace(&mut self.state, to);
        (from != to).then_some(Transition { from, to })
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    const DELAYS: Delays = Delays {
        on_s: 10.0,
        off_s: 20.0,
    };

    fn at(second: u32) -> Moment {
        Moment::from_seconds(f64::from(second))
    }

    #[test]
    fn a_condition_is_annunciated_after_its_on_delay() {
        let mut machine = Machine::default();
        assert_eq!(machine.update(true, false, DELAYS, at(0)), None);
        assert_eq!(machine.update(true, false, DELAYS, at(9)), None);
        let transition = machine.update(true, false, DELAYS, at(10)).unwrap();
        assert_eq!(
            transition,
            Transition {
                from: AlarmState::Normal,
                to: AlarmState::Unacknowledged
            }
        );
    }

    #[test]
    fn what_went_away_unseen_stays_until_acknowledged() {
        let mut machine = Machine::default();
        machine.update(true, false, DELAYS, at(0));
        machine.update(true, false, DELAYS, at(10));
        machine.update(false, false, DELAYS, at(15));
        machine.update(false, false, DELAYS, at(35));
        assert_eq!(machine.state(), AlarmState::ReturnedUnacknowledged);
        machine.acknowledge();
        assert_eq!(machine.state(), AlarmState::Normal);
    }

    #[test]
    fn a_shelf_runs_out() {
        let mut machine = Machine::default();
        machine.update(true, false, DELAYS, at(0));
        machine.update(true, false, DELAYS, at(10));
        machine.shelve(at(100));
        assert_eq!(machine.update(true, false, DELAYS, at(99)), None);
        let back = machine.update(true, false, DELAYS, at(100)).unwrap();
        assert_eq!(back.to, AlarmState::Unacknowledged);
    }

    #[test]
    fn a_suppressed_alarm_that_is_not_due_stays_normal() {
        let mut machine = Machine::default();
        assert_eq!(machine.update(false, true, DELAYS, at(0)), None);
        machine.update(true, true, DELAYS, at(5));
        assert_eq!(
            machine.update(true, true, DELAYS, at(20)).unwrap().to,
            AlarmState::Suppressed
        );
        assert_eq!(
            machine.update(true, false, DELAYS, at(30)).unwrap().to,
            AlarmState::Unacknowledged
        );
    }

    proptest! {
        #[test]
        fn no_order_of_events_acknowledges_what_was_never_shown_or_loses_a_lasting_condition(
            events in prop::collection::vec((0_u8..7, 1_u32..30), 1..80)
        ) {
            let mut machine = Machine::default();
            let mut clock = 0;
            let mut shown = false;
            for (event, gap) in events {
                clock += gap;
                let before = machine.state();
                let transition = match event {
                    0 => machine.update(true, false, DELAYS, at(clock)),
                    1 => machine.update(false, false, DELAYS, at(clock)),
                    2 => machine.update(true, true, DELAYS, at(clock)),
                    3 => machine.acknowledge(),
                    4 => machine.shelve(at(clock + 50)),
                    5 => machine.unshelve(DELAYS, at(clock)),
                    _ => if machine.state() == AlarmState::OutOfService {
                        machine.return_to_service(DELAYS, at(clock))
                    } else {
                        machine.take_out_of_service()
                    },
                };
                if let Some(transition) = transition {
                    prop_assert_eq!(transition.from, before);
                    prop_assert_eq!(transition.to, machine.state());
                    shown |= transition.to == AlarmState::Unacknowledged;
                    if transition.to == AlarmState::Acknowledged {
                        prop_assert!(shown);
                    }
                }
            }
            machine.return_to_service(DELAYS, at(clock));
            machine.unshelve(DELAYS, at(clock));
            machine.update(true, false, DELAYS, at(clock + 1));
            machine.update(true, false, DELAYS, at(clock + 100));
            prop_assert!(machine.is_annunciated());
        }
    }
}
