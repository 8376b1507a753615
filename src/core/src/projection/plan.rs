//! The run-off plan: what the brewer intends with this brew.
//!
//! Owns the plan's fields, their limits and defaults. The shell reads the file; unknown keys are its concern.

use serde::{Deserialize, Serialize};

/// On which basis the pH ceiling holds.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum PhBasis {
    /// A sample cooled to 20 °C.
    #[default]
    Room,
    /// As read in the line.
    Process,
}

/// One brew's run-off plan.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct Plan {
    pub brew: String,
    #[serde(default)]
    pub recipe: String,
    pub grist_kg: f64,
    /// Start-of-boil gravity: kettle gravity at which run-off should end, °P.
    pub target_gravity_p: f64,
    /// Kettle volume the brewer expects at that gravity, as metered.
    pub planned_volume_l: f64,
    /// Common practice, no source: a run-off takes about 90 minutes.
    #[serde(default = "Plan::default_runoff_minutes")]
    pub runoff_minutes: f64,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub first_wort_gravity_p: Option<f64>,
    /// Common practice, no source: not below 3 °P.
    #[serde(default = "Plan::default_gravity_floor_p")]
    pub gravity_floor_p: f64,
    /// Common practice, no source: not above pH 6.
    #[serde(default = "Plan::default_ph_ceiling")]
    pub ph_ceiling: f64,
    #[serde(default)]
    pub ph_basis: PhBasis,
}

/// One thing wrong with a plan.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PlanFault {
    pub key: &'static str,
    pub message: String,
}

impl Plan {
    /// The plan's gravities and what each may be, °P.
    pub const GRAVITIES_P: [(&'static str, (f64, f64)); 3] = [
        ("target_gravity_p", (1.0, 35.0)),
        ("gravity_floor_p", (0.0, 15.0)),
        ("first_wort_gravity_p", (2.0, 35.0)),
    ];

    fn default_runoff_minutes() -> f64 {
        90.0
    }

    fn default_gravity_floor_p() -> f64 {
        3.0
    }

    fn default_ph_ceiling() -> f64 {
        6.0
    }

    /// Every value outside its range, all at once.
    pub fn check(&self) -> Vec<PlanFault> {
        let mut faults = Vec::new();
        if self.brew.trim().is_empty() || self.brew.chars().any(|c| c.is_control() || c == '/') {
            faults.push(PlanFault {
                key: "brew",
                message: "must be a name without control characters or '/'".to_owned(),
            });
        } else if matches!(self.brew.as_str(), "." | "..") {
            faults.push(PlanFault {
                key: "brew",
                message: format!("is {:?}, which means a directory; give a name", self.brew),
            });
        }
        let [target, floor, first_wort] = Self::GRAVITIES_P;
        let ranges = [
            (("grist_kg", (1.0, 100_000.0)), Some(self.grist_kg)),
            (target, Some(self.target_gravity_p)),
            (
                ("planned_volume_l", (1.0, 1_000_000.0)),
                Some(self.planned_volume_l),
            ),
            (
                ("runoff_minutes", (5.0, 1_440.0)),
                Some(self.runoff_minutes),
            ),
            (floor, Some(self.gravity_floor_p)),
            (("ph_ceiling", (4.0, 8.0)), Some(self.ph_ceiling)),
            (first_wort, self.first_wort_gravity_p),
        ];
        for ((key, (low, high)), value) in ranges {
            let Some(value) = value else {
                continue;
            };
            if !(low..=high).contains(&value) {
                faults.push(PlanFault {
                    key,
                    message: format!("is {value}; allowed is {low} to {high}"),
                });
            }
        }
        if let Some(first_wort_gravity_p) = self.first_wort_gravity_p
            && first_wort_gravity_p <= self.target_gravity_p
        {
            faults.push(PlanFault {
                key: "first_wort_gravity_p",
                message: format!(
                    "is {first_wort_gravity_p}; it must be above target_gravity_p ({})",
                    self.target_gravity_p
                ),
            });
        }
        faults
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_brew_is_not_named_as_a_directory_is() {
        let mut plan = Plan {
            brew: "..".to_owned(),
            recipe: String::new(),
            grist_kg: 980.0,
            target_gravity_p: 12.4,
            planned_volume_l: 5200.0,
            runoff_minutes: 90.0,
            first_wort_gravity_p: None,
            gravity_floor_p: 3.0,
            ph_ceiling: 6.0,
            ph_basis: PhBasis::Room,
        };
        for (brew, faults) in [("..", 1), (".", 1), ("...", 0), ("7", 0), ("a/b", 1)] {
            plan.brew = brew.to_owned();
            assert_eq!(plan.check().len(), faults, "{brew}");
        }
    }
}
