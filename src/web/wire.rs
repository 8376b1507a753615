//! The bodies that travel between the service and those who ask it, and what their values may be.
//!
//! Owns the shapes both sides use, so that the command line and the service cannot drift apart. Lines, plans and
//! readings travel in the core's own shapes. Must not know how anything is carried out.

mod alarms;
pub mod calibration;
pub mod gravities;
mod people;
mod profile;
mod samples;

use std::fmt;

use jiff::Timestamp;
use lauter_core::alarm::LONGEST_SHELVING_MIN;
use lauter_core::projection::Plan;
use lauter_core::supervisor::{OperatorAction, SummaryLine};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

pub use alarms::{ALARM_DAYS, AlarmReport, Asked, TrailEntry, trail};
pub use people::{
    ActionEntry, NoteBody, Noted, RakingBody, RakingNoted, SignInBody, SignedIn, actions,
};
pub use profile::{KnownProfile, ProfileVersion};
pub use samples::{SampleBody, SampleTaken};

use crate::store::{Brew, StoreHealth};

/// Everything of the interface stands below this path.
pub const BASE: &str = "/api/v1";

/// How a point in time is described to others: RFC 3339.
#[derive(Debug, JsonSchema)]
#[allow(dead_code, reason = "only its shape is of use")]
#[schemars(inline, extend("format" = "date-time"))]
pub struct Time(String);

/// The service itself.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Health {
    pub service: String,
    pub version: String,
    pub tuns: usize,
    pub record: RecordHealth,
}

/// How the record fares; see `StoreHealth`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RecordHealth {
    pub queued: usize,
    pub refused: u64,
    pub failed: u64,
    pub thinned: u64,
    pub last_error: Option<String>,
}

impl From<StoreHealth> for RecordHealth {
    fn from(health: StoreHealth) -> Self {
        Self {
            queued: health.queued,
            refused: health.refused,
            failed: health.failed,
            thinned: health.thinned,
            last_error: health.last_error,
        }
    }
}

/// A tun that the service serves.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct ServedTun {
    pub site: String,
    pub tun: String,
}

impl fmt::Display for ServedTun {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}/{}", self.site, self.tun)
    }
}

#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct ServedTuns {
    pub tuns: Vec<ServedTun>,
}

/// The brew that was started or ended.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct BrewName {
    pub brew: String,
}

/// A brew of the record.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RecordedBrew {
    pub brew: String,
    #[schemars(with = "Time")]
    pub started: Timestamp,
    /// Where `elapsed_s` of its lines counts from.
    #[schemars(with = "Time")]
    pub elapsed_from: Timestamp,
    /// Null while it runs, or when the service ended before it did.
    #[schemars(with = "Option<Time>")]
    pub ended: Option<Timestamp>,
    /// Whether the tun's profile learnt from it; null while undecided.
    pub accepted: Option<bool>,
    /// False once the readings' time is over: then it cannot be replayed.
    pub readings_kept: bool,
    pub plan: Plan,
    pub summary: Option<SummaryLine>,
}

impl From<Brew> for RecordedBrew {
    fn from(brew: Brew) -> Self {
        let header = brew.header;
        let (ended, summary) = match brew.finished {
            Some(finished) => (Some(finished.ended), finished.summary),
            None => (None, None),
        };
        let before_us = header.started_at.0.saturating_sub(header.origin.0);
        let origin_us = header.started.as_microsecond().saturating_sub(before_us);
        Self {
            brew: header.plan.brew.clone(),
            started: header.started,
            elapsed_from: Timestamp::from_microsecond(origin_us).unwrap_or(header.started),
            ended,
            accepted: brew.accepted,
            readings_kept: brew.readings_kept,
            plan: header.plan,
            summary,
        }
    }
}

/// The newest brews of a tun, newest first.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RecordedBrews {
    /// How many the record has, listed here or not.
    pub total: usize,
    pub brews: Vec<RecordedBrew>,
}

/// Names of the files a brew can be exported as.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct ExportFiles {
    pub files: Vec<String>,
    /// What is missing in them since it cannot be read, in words; empty where they are whole.
    #[serde(default)]
    pub missing: Vec<String>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum AlarmAction {
    Acknowledge,
    Shelve,
    Unshelve,
    OutOfService,
    ReturnToService,
}

/// What an operator does about an alarm, and who does it. `minutes` belongs to shelving; `reason` to shelving
/// and to taking out of service.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct AlarmOperation {
    /// Where people sign in, the signed-in name is written and this one may be left out; a program may say here for
    /// whom it acts.
    #[serde(default)]
    pub who: String,
    pub action: AlarmAction,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub minutes: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reason: Option<String>,
}

/// Longest name or reason that goes into the audit trail, characters (own choice).
const LONGEST_TEXT: usize = 200;

impl AlarmOperation {
    /// The operator's name and action, or everything that is wrong.
    pub fn action(self) -> Result<(String, OperatorAction), Vec<Fault>> {
        let mut faults = Vec::new();
        let Self {
            who,
            action,
            minutes,
            reason,
        } = self;
        check_text("who", Some(&who), &mut faults);
        let needs_minutes = action == AlarmAction::Shelve;
        let needs_reason = needs_minutes || action == AlarmAction::OutOfService;
        let allowed = 1.0..=LONGEST_SHELVING_MIN;
        match minutes {
            Some(_) if !needs_minutes => {
                faults.push(Fault::new("minutes", "belongs to the action shelve only"));
            }
            Some(minutes) if !allowed.contains(&minutes) => faults.push(Fault::new(
                "minutes",
                format!("is {minutes}; allowed is 1 to {LONGEST_SHELVING_MIN}"),
            )),
            None if needs_minutes => faults.push(Fault::new(
                "minutes",
                format!("is missing; needed is 1 to {LONGEST_SHELVING_MIN}"),
            )),
            _ => {}
        }
        if needs_reason {
            check_text("reason", reason.as_deref(), &mut faults);
        } else if reason.is_some() {
            let message = "belongs to the actions shelve and out-of-service only";
            faults.push(Fault::new("reason", message));
        }
        if !faults.is_empty() {
            return Err(faults);
        }
        let reason = reason.unwrap_or_default();
        let action = match action {
            AlarmAction::Acknowledge => OperatorAction::Acknowledge,
            AlarmAction::Shelve => OperatorAction::Shelve {
                minutes: minutes.unwrap_or(1.0),
                reason,
            },
            AlarmAction::Unshelve => OperatorAction::Unshelve,
            AlarmAction::OutOfService => OperatorAction::OutOfService { reason },
            AlarmAction::ReturnToService => OperatorAction::ReturnToService,
        };
        Ok((who, action))
    }
}

/// What goes into the audit trail is one line of text that says something.
pub fn check_text(key: &str, text: Option<&str>, faults: &mut Vec<Fault>) {
    let right = text.is_some_and(|text| {
        !text.trim().is_empty()
            && text.chars().count() <= LONGEST_TEXT
            && !text.chars().any(char::is_control)
    });
    if !right {
        let message = format!("must be one line of 1 to {LONGEST_TEXT} characters");
        faults.push(Fault::new(key, message));
    }
}

/// Why a request was not carried out.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct ErrorBody {
    /// In plain words, with every fault.
    pub error: String,
    /// The faults one by one, where a body's values are wrong.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub faults: Vec<Fault>,
    /// It was done all the same, is kept in memory, and is written as soon as the record can be.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub done: bool,
}

/// One value that is wrong.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Fault {
    /// Empty where the fault is no key's.
    pub key: String,
    /// Line of a TOML body, counted from 1.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub line: Option<usize>,
    pub message: String,
}

impl Fault {
    pub fn new(key: &str, message: impl Into<String>) -> Self {
        Self {
            key: key.to_owned(),
            line: None,
            message: message.into(),
        }
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let Some(line) = self.line {
            write!(f, "line {line}: ")?;
        }
        if self.key.is_empty() {
            f.write_str(&self.message)
        } else {
            write!(f, "{} {}", self.key, self.message)
        }
    }
}

#[cfg(test)]
mod tests;
