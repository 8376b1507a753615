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
    /// The quantiles of the draws; None when half of them never cross, and never beyond `last`. Six of the values are asked
    /// for in all: the others need no order beyond the half they lie in.
    pub(super) fn of_draws(values: &mut [f64], last: f64) -> Option<Self> {
        let count = values.len() as f64;
        let half = values.len() / 2;
        let (lower, middle, upper) = values.select_nth_unstable_by(half, f64::total_cmp);
        if !middle.is_finite() {
            return None;
        }
        let before = lower.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        Some(Self {
            p5: at_rank(lower, 0.05 * count - 0.5, last),
            p50: f64::midpoint(before.min(last), middle.min(last)),
            p95: at_rank(upper, 0.95 * count - 1.5 - half as f64, last),
        })
    }

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

/// The value at a rank, counted from the smallest, and the next one in proportion; neither beyond `last`.
fn at_rank(values: &mut [f64], rank: f64, last: f64) -> f64 {
    let below = rank.floor().max(0.0) as usize;
    let (_, low, beyond) = values.select_nth_unstable_by(below, f64::total_cmp);
    let next = beyond.iter().copied().min_by(f64::total_cmp);
    let (low, high) = (low.min(last), next.unwrap_or(*low).min(last));
    low + (rank - below as f64).clamp(0.0, 1.0) * (high - low)
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
