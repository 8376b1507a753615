//! What a raking did to the bed's resistance.
//!
//! Owns the comparison of before and after, and when it may be made at all: only between resistances measured close to the
//! raking. What the raking regained is `rake_gain`'s.

use serde::{Deserialize, Serialize};

use crate::bed::{self, Bed};
use crate::profile::{RakeLesson, rounded};
use crate::reading::Moment;

use super::super::parameters::Parameters;
use super::{Brew, Picture};

/// A raking's effect is read this long after the rakes have stopped, s.
const SETTLES_S: f64 = 120.0;
const RAKES_KEPT: usize = 12;

const NOT_MEASURED: &str = "The effect of the raking on the bed resistance was not measured.";

/// One raking whose effect is still to be read.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct RakeEffect {
    /// None where nothing was measured close before the rakes started.
    before_per_m: Option<f64>,
}

impl RakeEffect {
    /// `bed` as it stands when the rakes start.
    pub fn new(bed: &Bed, now: Moment, p: &bed::Parameters) -> Self {
        Self {
            before_per_m: bed.resistance_within_per_m(p.rake_age_s, now),
        }
    }
}

impl Brew {
    /// Reads what the last raking did once the bed has settled, and tells it; or that nobody will know.
    pub(super) fn note_rake_effect(&mut self, picture: &Picture, now: Moment, p: &Parameters) {
        let (Some(effect), Some(raked)) = (self.notes.effect, self.raked) else {
            return;
        };
        let since_s = now.since(raked);
        let settled = since_s >= SETTLES_S && self.undisturbed_s(now) >= SETTLES_S;
        let too_late = since_s > p.bed.rake_wait_s;
        // One telling at a time.
        if !(settled || too_late) || self.notes.rake_effect.is_some() {
            return;
        }
        let measured = picture
            .pressure_drop_kpa
            .and_then(|_| self.bed.resistance_within_per_m(p.bed.rake_age_s, now));
        match (effect.before_per_m, measured) {
            (Some(before_per_m), Some(after_per_m)) if !too_late => {
                self.tell_rake_effect(before_per_m, after_per_m);
            }
            (Some(_), None) if !too_late => return,
            _ => self.notes.rake_effect = Some(NOT_MEASURED.to_owned()),
        }
        self.notes.effect = None;
    }

    fn tell_rake_effect(&mut self, before_per_m: f64, after_per_m: f64) {
        if self.notes.rakes.len() >= RAKES_KEPT {
            return;
        }
        let told = told(before_per_m, after_per_m, self.notes.quality.channelled);
        self.notes.rake_effect = Some(told);
        self.notes.rakes.push(RakeLesson {
            before_per_m: rounded(before_per_m),
            after_per_m: rounded(after_per_m),
            gravity_gain_p: None,
            extract_gain_kg: None,
        });
        self.notes.gain_has_lesson = true;
    }
}

/// In words, for people: with a true minus sign.
fn told(before_per_m: f64, after_per_m: f64, channelled: bool) -> String {
    let percent = (100.0 * (after_per_m / before_per_m - 1.0)).round();
    let sign = if percent < 0.0 { '−' } else { '+' };
    let change = format!("({sign}{:.0} %)", percent.abs());
    if percent < 0.0 {
        format!("Raking lowered the bed resistance {change}.")
    } else if channelled {
        format!("Bed resistance rose with the raking {change}, as it does when a channel closes.")
    } else {
        format!("Raking did not lower the bed resistance {change}.")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_fall_is_told_with_a_true_minus_sign_and_no_change_without_one() {
        assert_eq!(
            told(100.0, 77.0, false),
            "Raking lowered the bed resistance (−23 %)."
        );
        assert_eq!(
            told(100.0, 99.9, false),
            "Raking did not lower the bed resistance (+0 %)."
        );
        assert!(
            told(100.0, 110.0, true).starts_with("Bed resistance rose with the raking (+10 %)")
        );
    }
}
