//! In which part of the run-off the tun is, as other programs see it.
//!
//! Owns the names alone. They stand here because detection and the alarm table speak of them first; how a phase is
//! found is the supervisor's work.

use serde::{Deserialize, Serialize};

/// A part of the run-off.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum Phase {
    #[default]
    Idle,
    Recirculation,
    FirstWort,
    Sparge,
    Draining,
    Finished,
}

impl Phase {
    pub const ALL: [Self; 6] = [
        Self::Idle,
        Self::Recirculation,
        Self::FirstWort,
        Self::Sparge,
        Self::Draining,
        Self::Finished,
    ];

    /// In words.
    pub fn words(self) -> &'static str {
        match self {
            Self::Idle => "idle",
            Self::Recirculation => "recirculation",
            Self::FirstWort => "first wort",
            Self::Sparge => "sparge",
            Self::Draining => "draining",
            Self::Finished => "finished",
        }
    }
}
