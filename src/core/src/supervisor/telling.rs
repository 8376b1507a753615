//! The words of an alarm's change of state: what is so, who did what and why, and the next step.
//!
//! Owns message and advice. A reader at the tun sees nothing else of it, so each stands on its own.

use crate::alarm::{AlarmId, AlarmState, OperatorAction, Reason, Transition, definition};

/// What a person did, and who.
#[derive(Clone, Copy)]
pub(super) struct Deed<'a> {
    pub who: &'a str,
    pub action: &'a OperatorAction,
}

/// A change to be told.
pub(super) struct Told<'a> {
    pub alarm: AlarmId,
    /// What the last finding said.
    pub finding: &'a str,
    /// Why it is suppressed.
    pub reason: Option<&'a Reason>,
    pub transition: Transition,
    /// None for what happened by itself.
    pub deed: Option<Deed<'a>>,
}

impl Deed<'_> {
    /// In words, as the record keeps it.
    pub fn words(&self) -> String {
        match self.action {
            OperatorAction::Acknowledge => "acknowledged".to_owned(),
            OperatorAction::Shelve { minutes, reason } => {
                format!("shelved for {minutes:.0} min ({reason})")
            }
            OperatorAction::Unshelve => "taken from the shelf".to_owned(),
            OperatorAction::OutOfService { reason } => format!("taken out of service ({reason})"),
            OperatorAction::ReturnToService => "returned to service".to_owned(),
        }
    }

    fn sentence(&self) -> String {
        let words = self.words();
        let mut letters = words.chars();
        let first = letters.next().map(|letter| letter.to_ascii_uppercase());
        let (first, rest) = (first.into_iter().collect::<String>(), letters.as_str());
        format!("{first}{rest} by {}", self.who)
    }
}

impl Told<'_> {
    pub fn message(&self) -> String {
        let Transition { from, to } = self.transition;
        let deed = self.deed.map(|deed| deed.sentence());
        let before = match (&deed, from) {
            (Some(deed), AlarmState::Shelved | AlarmState::OutOfService) => format!("{deed}. "),
            (None, AlarmState::Shelved) => "Its time on the shelf is over. ".to_owned(),
            _ => String::new(),
        };
        let finding = self.finding;
        let deed = deed.unwrap_or_default();
        match to {
            AlarmState::Unacknowledged => format!("{before}{finding}"),
            AlarmState::Acknowledged if deed.is_empty() => finding.to_owned(),
            AlarmState::Acknowledged => format!("{finding} {deed}."),
            AlarmState::Shelved => format!("{deed}. It returns by itself."),
            AlarmState::OutOfService => format!("{deed}, until somebody returns it."),
            AlarmState::Suppressed => match self.reason {
                Some(reason) => format!("{before}{finding} Suppressed: {reason}."),
                None => format!("{before}{finding}"),
            },
            AlarmState::Normal | AlarmState::ReturnedUnacknowledged if !before.is_empty() => {
                format!("{before}There is nothing to do.")
            }
            AlarmState::Normal | AlarmState::ReturnedUnacknowledged => {
                let over = format!("No longer so: {}", definition(self.alarm).cause);
                if deed.is_empty() {
                    over
                } else {
                    format!("{over} {deed}.")
                }
            }
        }
    }

    pub fn advice(&self) -> String {
        let row = definition(self.alarm);
        match (self.transition.to, self.reason) {
            (AlarmState::Unacknowledged | AlarmState::Acknowledged, _) => {
                [row.response, row.caution].join(" ").trim().to_owned()
            }
            (AlarmState::Suppressed, Some(Reason::Follows(cause, _))) => {
                format!("See to {} first.", cause.name())
            }
            _ => String::new(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn told(from: AlarmState, to: AlarmState, deed: Option<&OperatorAction>) -> String {
        let told = Told {
            alarm: AlarmId::RunoffTooSlow,
            finding: "Flow is 20 L/min; the plan's pace is 60 L/min.",
            reason: Some(&Reason::Follows(AlarmId::StuckBed, None)),
            transition: Transition { from, to },
            deed: deed.map(|action| Deed {
                who: "shift brewer",
                action,
            }),
        };
        told.message()
    }

    #[test]
    fn every_change_says_what_is_so_who_did_it_and_why() {
        use AlarmState::{Acknowledged, Normal, OutOfService, Shelved, Suppressed, Unacknowledged};
        let reason = || "pump seal".to_owned();
        let shelve = OperatorAction::Shelve {
            minutes: 30.0,
            reason: reason(),
        };
        let out = OperatorAction::OutOfService { reason: reason() };
        let back = OperatorAction::ReturnToService;
        let flow = "Flow is 20 L/min; the plan's pace is 60 L/min.";
        let gone = "No longer so: Flow is well below the pace of the plan.";
        for (from, to, deed, expected) in [
            (Normal, Unacknowledged, None, flow.to_owned()),
            (
                Unacknowledged,
                Acknowledged,
                Some(&OperatorAction::Acknowledge),
                format!("{flow} Acknowledged by shift brewer."),
            ),
            (
                Unacknowledged,
                Shelved,
                Some(&shelve),
                "Shelved for 30 min (pump seal) by shift brewer. It returns by itself.".to_owned(),
            ),
            (
                Normal,
                OutOfService,
                Some(&out),
                "Taken out of service (pump seal) by shift brewer, until somebody returns it."
                    .to_owned(),
            ),
            (
                OutOfService,
                Normal,
                Some(&back),
                "Returned to service by shift brewer. There is nothing to do.".to_owned(),
            ),
            (
                Shelved,
                Unacknowledged,
                None,
                format!("Its time on the shelf is over. {flow}"),
            ),
            (
                Normal,
                Suppressed,
                None,
                format!("{flow} Suppressed: it follows from stuck-bed."),
            ),
            (Acknowledged, Normal, None, gone.to_owned()),
            (
                AlarmState::ReturnedUnacknowledged,
                Normal,
                Some(&OperatorAction::Acknowledge),
                format!("{gone} Acknowledged by shift brewer."),
            ),
        ] {
            assert_eq!(told(from, to, deed), expected);
        }
    }
}
