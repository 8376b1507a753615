//! What keeps an alarm quiet by design: the state of the plant, and alarms of which it is a mere consequence.
//!
//! Owns the vocabulary of suppression and the question whether the plant's state suppresses an alarm. It does not
//! know which alarms are on, nor which instrument hangs on which link; who asks it tells.

use std::fmt;

use serde::{Deserialize, Serialize};

use super::identity::AlarmState;
use crate::detect::{AlarmId, Phase};

/// States of the plant in which an alarm has nothing to say.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Quiet {
    pub phases: &'static [Phase],
    /// Once the stop-point has been reached, what comes of running on is known.
    pub after_stop: bool,
    pub without_brew: bool,
}

/// Nothing but a cause keeps it quiet.
pub const NEVER: Quiet = Quiet {
    phases: &[],
    after_stop: false,
    without_brew: false,
};

/// The state of the plant, as far as suppression asks.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Circumstances {
    pub phase: Phase,
    pub after_stop: bool,
    pub without_brew: bool,
}

impl Quiet {
    /// Why the plant's state suppresses the alarm; None while it does not.
    pub fn reason(&self, circumstances: Circumstances) -> Option<Reason> {
        if self.without_brew && circumstances.without_brew {
            Some(Reason::WithoutBrew)
        } else if self.after_stop && circumstances.after_stop {
            Some(Reason::AfterStop)
        } else {
            let phase = circumstances.phase;
            (!circumstances.without_brew && self.phases.contains(&phase))
                .then_some(Reason::Phase(phase))
        }
    }
}

/// Which instances of a cause explain an alarm.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Reach {
    /// Any on the tun.
    Tun,
    /// That of the instrument's own link.
    OwnLink,
    /// That of the same instrument, or of one it is compared with.
    Compared,
    /// That of the same name.
    SameName,
}

/// The alarm is a mere consequence of another while that one is met.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct Follows {
    pub cause: AlarmId,
    pub reach: Reach,
}

impl Follows {
    pub const fn from(cause: AlarmId, reach: Reach) -> Self {
        Self { cause, reach }
    }
}

/// Why an alarm is suppressed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Reason {
    WithoutBrew,
    AfterStop,
    Phase(Phase),
    /// The alarm that explains it, and the instrument or link of that one.
    Follows(AlarmId, Option<String>),
}

impl fmt::Display for Reason {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::WithoutBrew => f.write_str("no brew is under way"),
            Self::AfterStop => f.write_str("the stop-point has been reached"),
            Self::Phase(Phase::Idle) => f.write_str("no wort flows yet"),
            Self::Phase(phase) => write!(f, "the tun is in the phase {}", phase.words()),
            Self::Follows(cause, None) => write!(f, "it follows from {}", cause.name()),
            Self::Follows(cause, Some(about)) => {
                write!(f, "it follows from {} of {about}", cause.name())
            }
        }
    }
}

/// What suppression makes of an alarm now.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Hold {
    #[default]
    Free,
    /// A cause that would explain it is about to be met: what has not been shown yet waits for its decision.
    Waiting,
    Suppressed,
}

/// How an alarm bears on those that would follow from it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Bearing {
    None,
    Pending,
    Met,
}

impl AlarmState {
    /// Whether an alarm in this state may explain others: what is out of service explains nothing.
    pub(super) fn explains(self) -> bool {
        self != Self::OutOfService
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn circumstances(phase: Phase) -> Circumstances {
        Circumstances {
            phase,
            after_stop: false,
            without_brew: false,
        }
    }

    #[test]
    fn each_state_of_the_plant_suppresses_on_its_own() {
        let quiet = Quiet {
            phases: &[Phase::Recirculation],
            after_stop: true,
            without_brew: true,
        };
        let reason = |circumstances| quiet.reason(circumstances).map(|reason| reason.to_string());
        assert_eq!(reason(circumstances(Phase::Sparge)), None);
        assert_eq!(
            reason(circumstances(Phase::Recirculation)).as_deref(),
            Some("the tun is in the phase recirculation")
        );
        let stopped = Circumstances {
            after_stop: true,
            ..circumstances(Phase::Sparge)
        };
        assert_eq!(
            reason(stopped).as_deref(),
            Some("the stop-point has been reached")
        );
        assert_eq!(NEVER.reason(stopped), None);
        let idle = Circumstances {
            without_brew: true,
            ..circumstances(Phase::Idle)
        };
        assert_eq!(reason(idle).as_deref(), Some("no brew is under way"));
    }
}
