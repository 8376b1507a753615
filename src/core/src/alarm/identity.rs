//! The states and priorities of alarms, as other programs see them.

use serde::{Deserialize, Serialize};

/// The states of IEC 62682 / ISA-18.2.
#[derive(
    Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize,
)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum AlarmState {
    #[default]
    Normal,
    Unacknowledged,
    Acknowledged,
    ReturnedUnacknowledged,
    Shelved,
    Suppressed,
    OutOfService,
}

impl AlarmState {
    /// The state as it stands on lines and in topics.
    pub fn name(self) -> &'static str {
        match self {
            Self::Normal => "normal",
            Self::Unacknowledged => "unacknowledged",
            Self::Acknowledged => "acknowledged",
            Self::ReturnedUnacknowledged => "returned-unacknowledged",
            Self::Shelved => "shelved",
            Self::Suppressed => "suppressed",
            Self::OutOfService => "out-of-service",
        }
    }
}

/// ISA-18.2 asks for few priorities, set by consequence and time to respond.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum Priority {
    Low,
    Medium,
    High,
    Critical,
}

impl Priority {
    /// The most pressing first.
    pub const ALL: [Self; 4] = [Self::Critical, Self::High, Self::Medium, Self::Low];

    pub fn name(self) -> &'static str {
        match self {
            Self::Low => "low",
            Self::Medium => "medium",
            Self::High => "high",
            Self::Critical => "critical",
        }
    }
}
