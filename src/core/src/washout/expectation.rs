//! What is expected of a washout before it begins.
//!
//! Owns what the plan says and what earlier brews taught, in the fit's terms. How it is weighed is the fit's work.

use serde::{Deserialize, Serialize};

use super::Parameters;
use super::fit::{PlanHint, Prior};

/// What the plan leads one to expect.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Expectation {
    pub grist_kg: f64,
    pub first_wort_gravity_p: Option<f64>,
    pub target_gravity_p: f64,
    pub planned_volume_l: f64,
    pub heel_l: f64,
}

/// What earlier brews on the tun lead one to expect of the next.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Teaching {
    pub prior: Prior,
    pub hint: PlanHint,
}

impl Parameters {
    /// First-wort gravity to expect and its standard deviation, °P.
    pub fn first_wort(&self, expectation: Expectation) -> (f64, f64) {
        match expectation.first_wort_gravity_p {
            Some(planned_p) => (planned_p, self.first_wort_sd_p),
            None => (
                self.usual_first_wort_p
                    .max(expectation.target_gravity_p + 3.0),
                self.usual_first_wort_sd_p,
            ),
        }
    }
}
