//! What people do about alarms, and why it cannot be done.
//!
//! Owns the actions and the words of a refusal: what is wrong, and what to do instead.

use serde::{Deserialize, Serialize};
use thiserror::Error;

use super::identity::AlarmState;

/// What an operator may do about an alarm.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum OperatorAction {
    Acknowledge,
    Shelve { minutes: f64, reason: String },
    Unshelve,
    OutOfService { reason: String },
    ReturnToService,
}

/// Why an action was refused. The text follows the alarm's name.
#[derive(Clone, Debug, Error, PartialEq)]
pub enum OperationFault {
    #[error("is in state {}: there is nothing to acknowledge", state.name())]
    NothingToAcknowledge { state: AlarmState },
    #[error("is shelved already; unshelve it first, then shelve it anew with a reason")]
    AlreadyShelved,
    #[error("is in state {}: it is not on the shelf", state.name())]
    NotShelved { state: AlarmState },
    #[error("is out of service; return it to service first")]
    AlreadyOutOfService,
    #[error("is in state {}: it is in service", state.name())]
    InService { state: AlarmState },
    #[error(
        "may be shelved for {longest_min} min at most, not for {minutes} min; shelve it for less, or take it out of \
         service if somebody answers for it"
    )]
    ShelvedTooLong { minutes: f64, longest_min: f64 },
    #[error("cannot be shelved for {minutes} min; give a time of at least 1 min")]
    ShelvedForNoTime { minutes: f64 },
    #[error("is switched off for this tun (enabled = false); switch it on in the configuration")]
    SwitchedOff,
    #[error("stands for the whole tun and has no {given}; leave the instrument away")]
    NoSubject { given: String },
    #[error("needs to know which: name one of {known}")]
    WhichSubject { known: String },
    #[error("has nothing named {given}; known are {known}")]
    UnknownSubject { given: String, known: String },
}
