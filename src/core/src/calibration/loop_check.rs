//! A loop check as a person makes it: which values were applied, what the instrument read.
//!
//! Owns the shape and everything that can be wrong with it. What it amounts to is `evaluation`'s to say.

use serde::{Deserialize, Serialize};
use thiserror::Error;

use super::applied::{Applied, GREATEST, ReferenceError};
use crate::reading::Measures;
use crate::units::{Dimension, Unit};

/// From where the applied value was approached.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum Direction {
    Up,
    Down,
}

/// One applied value and what the instrument read.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct Point {
    pub direction: Direction,
    pub applied: Applied,
    /// In the unit of the check, with the correction in force.
    pub reading: f64,
    /// The same before any correction, where one was in force.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub uncorrected: Option<f64>,
    /// Standard deviation of the readings that `reading` is the mean of, and how many they were.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub scatter: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub readings: Option<u32>,
}

/// What the instrument is held against.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct Reference {
    /// In words: which calibrator, buffer or solution, and its certificate.
    pub name: String,
    /// Expanded uncertainty (k = 2) of the applied value, in the unit of the check.
    pub expanded_uncertainty: f64,
    /// Expanded uncertainty (k = 2) of its temperature, K.
    #[serde(default)]
    pub temperature_uncertainty_c: f64,
}

/// A loop check.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct LoopCheck {
    pub instrument: String,
    pub measures: Measures,
    /// Of readings, tolerance and resolution: the instrument's, or its span's for a current loop.
    pub unit: Unit,
    /// Refractometer reading over true gravity.
    pub wort_factor: f64,
    pub reference: Reference,
    /// Greatest error allowed either way.
    pub tolerance: f64,
    /// Least step of the reading; 0 where it has none worth speaking of.
    pub resolution: f64,
    /// Before anything was adjusted or corrected.
    pub as_found: Vec<Point>,
    /// Afterwards; empty where nothing was done.
    pub as_left: Vec<Point>,
}

/// Readings of one series at most: eleven repeats of nine applied values.
const POINTS_BOUND: usize = 100;

/// What is wrong with a check: the key, and what is allowed.
#[derive(Clone, Debug, PartialEq, Error)]
#[error("{key} {message}")]
pub struct CheckFault {
    pub key: String,
    pub message: String,
}

impl CheckFault {
    fn new(key: impl Into<String>, message: impl Into<String>) -> Self {
        Self {
            key: key.into(),
            message: message.into(),
        }
    }
}

impl LoopCheck {
    /// Everything that is wrong with it; an empty list means that it can be evaluated.
    pub fn check(&self) -> Vec<CheckFault> {
        let mut faults = Vec::new();
        if self.unit.dimension() == Dimension::Switch {
            faults.push(CheckFault::new(
                "instrument",
                "is a switch; only what measures a quantity can be checked against applied values",
            ));
        }
        let numbers = [
            ("tolerance", self.tolerance, f64::MIN_POSITIVE),
            ("resolution", self.resolution, 0.0),
            (
                "reference.expanded_uncertainty",
                self.reference.expanded_uncertainty,
                0.0,
            ),
            (
                "reference.temperature_uncertainty_c",
                self.reference.temperature_uncertainty_c,
                0.0,
            ),
        ];
        for (key, value, least) in numbers {
            if !(least..=1e6).contains(&value) {
                let allowed = if least > 0.0 { "above 0" } else { "0 or above" };
                faults.push(CheckFault::new(
                    key,
                    format!("is {value}; allowed is {allowed}"),
                ));
            }
        }
        if self.as_found.is_empty() && self.as_left.is_empty() {
            let message = "is empty, and so is as_left; give at least one point";
            faults.push(CheckFault::new("as_found", message));
        }
        for (name, points) in [("as_found", &self.as_found), ("as_left", &self.as_left)] {
            if points.len() > POINTS_BOUND {
                let message = format!("has {} points; allowed are {POINTS_BOUND}", points.len());
                faults.push(CheckFault::new(name, message));
                continue;
            }
            for (index, point) in points.iter().enumerate() {
                faults.extend(
                    self.wrong(point)
                        .map(|message| CheckFault::new(format!("{name}[{index}]"), message)),
                );
            }
        }
        faults
    }

    fn wrong(&self, point: &Point) -> Option<String> {
        if let Err(error) = self.applied(point) {
            return Some(format!("applied: {error}"));
        }
        let numbers = [
            Some(point.reading),
            point.uncorrected,
            point.scatter.or(Some(0.0)),
        ];
        if numbers
            .iter()
            .flatten()
            .any(|value| !(-GREATEST..=GREATEST).contains(value))
        {
            return Some("has a reading that is not a number of reasonable size".to_owned());
        }
        if point.scatter.is_some_and(|scatter| scatter < 0.0) || point.readings == Some(0) {
            return Some("has a scatter below 0, or is the mean of no readings".to_owned());
        }
        None
    }

    /// The applied value of a point, in the unit of the check.
    pub fn applied(&self, point: &Point) -> Result<f64, ReferenceError> {
        point.applied.value(self.unit, self.wort_factor)
    }
}
