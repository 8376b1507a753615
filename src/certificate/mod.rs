//! The certificate of a loop check: one self-contained HTML page that prints well, and CSV and JSON beside it.
//!
//! Owns what a certificate holds. The figures are the core's (`lauter_core::calibration`), the chart is `charts`', the
//! words are `display`'s; it knows the record's words and no web.

mod data;
mod html;

use lauter_core::calibration::{Evaluation, Parameters, evaluate};

pub use data::{csv, json};
pub use html::{html, rule_words};

use crate::charts::DriftPoint;
use crate::display::Voice;
use crate::store::{StoredCheck, StoredCorrection};

/// Everything a certificate is written from.
#[derive(Debug)]
pub struct Certificate<'a> {
    pub site: &'a str,
    pub tun: &'a str,
    pub stored: &'a StoredCheck,
    /// All checks of this instrument up to this one, oldest first.
    pub history: &'a [StoredCheck],
    /// The newest version of its correction when the check was entered.
    pub correction: Option<&'a StoredCorrection>,
    pub voice: Voice,
}

impl Certificate<'_> {
    pub fn evaluation(&self) -> Evaluation {
        evaluate(&self.stored.check, &Parameters::default())
    }
}

/// The greatest errors of each check.
pub fn course(checks: &[StoredCheck]) -> Vec<DriftPoint> {
    checks
        .iter()
        .map(|stored| {
            let evaluation = evaluate(&stored.check, &Parameters::default());
            let tolerance = stored.check.tolerance;
            let share = |error: f64| error / tolerance;
            DriftPoint {
                checked: stored.checked,
                as_found: evaluation.as_found.map(|it| share(it.greatest_error)),
                as_left: evaluation.as_left.map(|it| share(it.greatest_error)),
            }
        })
        .collect()
}
