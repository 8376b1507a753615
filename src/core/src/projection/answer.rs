//! The answers of a projection, in the shapes other programs rely on.

use serde::{Deserialize, Serialize};

/// Quantiles of an honest forecast: 90 % of true values fall inside p5–p95.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Band {
    pub p5: f64,
    pub p50: f64,
    pub p95: f64,
}

impl Band {
    /// A band of normal errors about `p50`.
    pub fn around(p50: f64, standard_deviation: f64) -> Self {
        const P95: f64 = 1.6448536269514722;
        Self {
            p5: p50 - P95 * standard_deviation,
            p50,
            p95: p50 + P95 * standard_deviation,
        }
    }
}

/// Where a limit or a target will be crossed: kettle volume and time.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Crossing {
    pub volume_l: Band,
    pub elapsed_s: Band,
}

/// What ends the run-off first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum StopCause {
    TargetGravity,
    GravityFloor,
    PhCeiling,
    KettleCapacity,
    /// The brew or its data ended before any of the others.
    RunoffEnded,
}

/// What to do given every limit.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Stop {
    pub cause: StopCause,
    pub volume_l: f64,
    pub elapsed_s: f64,
    /// Liquor to add in the kettle to bring the target gravity, when a limit comes before it.
    pub top_up_l: f64,
    pub final_volume_l: f64,
}
