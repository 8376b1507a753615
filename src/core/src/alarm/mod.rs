//! Alarm definitions and the state machine of IEC 62682 / ISA-18.2.
//!
//! Owns what an alarm is, which states it may be in, and how it moves among them. It does not know when a
//! condition holds; detection tells it.

mod definitions;
mod identity;
mod machine;

pub use crate::detect::AlarmId;
pub use definitions::{DEFINITIONS, Definition, definition};
pub use identity::{AlarmState, Priority};
pub use machine::{Delays, Machine, Transition};

use serde::{Deserialize, Serialize};

/// What a site changes about an alarm; None keeps the definition's own value.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Settings {
    pub enabled: Option<bool>,
    pub priority: Option<Priority>,
    pub on_delay_s: Option<f64>,
    pub off_delay_s: Option<f64>,
    pub limit: Option<f64>,
    pub deadband: Option<f64>,
}

impl Settings {
    pub fn delays(&self, alarm: AlarmId) -> Delays {
        let definition = definition(alarm);
        Delays {
            on_s: self.on_delay_s.unwrap_or(definition.on_delay_s),
            off_s: self.off_delay_s.unwrap_or(definition.off_delay_s),
        }
    }

    pub fn priority(&self, alarm: AlarmId) -> Priority {
        self.priority.unwrap_or(definition(alarm).priority)
    }

    pub fn deadband(&self, alarm: AlarmId) -> f64 {
        self.deadband.unwrap_or(definition(alarm).deadband)
    }
}
