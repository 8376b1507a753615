//! What a site changes about alarms, and the tuning of their management.

use serde::{Deserialize, Serialize};

use super::definitions::definition;
use super::identity::Priority;
use super::machine::Conduct;
use crate::detect::AlarmId;

/// Longest time on the shelf that any alarm or site may allow, min: one shift of 8 h (own choice). A shelf is not a
/// place to forget an alarm on; taking it out of service is the way to be rid of it for longer.
pub const LONGEST_SHELVING_MIN: f64 = 480.0;

/// Tuning of alarm management.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Parameters {
    /// Alarms that come within this time after one another are one burst, and the first of it is marked, s, 10 to
    /// 600. Own choice: longer than most on-delays, so that the order of the delays does not split one upset.
    pub burst_gap_s: f64,
}

impl Default for Parameters {
    fn default() -> Self {
        Self { burst_gap_s: 120.0 }
    }
}

impl Parameters {
    /// Everything outside its range, as sentences.
    pub fn check(&self) -> Vec<String> {
        crate::units::outside_ranges(&[("burst_gap_s", self.burst_gap_s, 10.0, 600.0)])
    }
}

/// What a site changes about an alarm; None keeps the definition's own value.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Settings {
    pub enabled: Option<bool>,
    pub priority: Option<Priority>,
    pub on_delay_s: Option<f64>,
    pub off_delay_s: Option<f64>,
    pub limit: Option<f64>,
    pub deadband: Option<f64>,
    pub longest_shelving_min: Option<f64>,
}

impl Settings {
    pub fn conduct(&self, alarm: AlarmId) -> Conduct {
        let definition = definition(alarm);
        Conduct {
            on_s: self.on_delay_s.unwrap_or(definition.on_delay_s),
            off_s: self.off_delay_s.unwrap_or(definition.off_delay_s),
            latching: definition.latching,
        }
    }

    pub fn priority(&self, alarm: AlarmId) -> Priority {
        self.priority.unwrap_or(definition(alarm).priority)
    }

    pub fn deadband(&self, alarm: AlarmId) -> f64 {
        self.deadband.unwrap_or(definition(alarm).deadband)
    }

    pub fn longest_shelving_min(&self, alarm: AlarmId) -> f64 {
        self.longest_shelving_min
            .unwrap_or(definition(alarm).longest_shelving_min)
            .min(LONGEST_SHELVING_MIN)
    }
}
