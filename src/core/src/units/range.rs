//! The one error of a formula that was asked outside the range its source covers.
//!
//! Owns the message only: which quantity, which value, which range. What to do about it is the caller's.

use serde::Serialize;
use thiserror::Error;

/// A value outside the range a formula is published for (or not a number at all).
#[derive(Clone, Copy, Debug, PartialEq, Error, Serialize)]
#[error("{quantity} is {value} {unit}; the formula holds from {low:.3} to {high:.3} {unit}")]
pub struct OutsideRange {
    pub quantity: &'static str,
    pub value: f64,
    pub low: f64,
    pub high: f64,
    pub unit: &'static str,
}

/// `value` when it lies in `low..=high`; NaN never does.
pub(super) fn within(
    quantity: &'static str,
    value: f64,
    (low, high): (f64, f64),
    unit: &'static str,
) -> Result<f64, OutsideRange> {
    if (low..=high).contains(&value) {
        Ok(value)
    } else {
        Err(OutsideRange {
            quantity,
            value,
            low,
            high,
            unit,
        })
    }
}

/// The parameters outside their range, as sentences: (name, value, least, greatest).
pub fn outside_ranges(parameters: &[(&str, f64, f64, f64)]) -> Vec<String> {
    parameters
        .iter()
        .filter(|(_, value, low, high)| !(*low..=*high).contains(value))
        .map(|(name, value, low, high)| format!("{name} is {value}; allowed is {low} to {high}"))
        .collect()
}
