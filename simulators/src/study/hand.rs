//! The hand method: what a careful brewer without inline instruments makes of samples.
//!
//! Owns the samples, their errors and the forecast from them: the last two runnings points extrapolated in a
//! straight line over volume, the mixing rule for the kettle, the stop where the kettle meets its target. Before
//! runnings have fallen twice there is the planned volume only. It is told no more than the samples.

use lauter_core::units;

use super::trial::Trial;
use crate::model::Truth;
use crate::noise::Noise;

/// Stream of these samples, apart from those typed into the supervisor.
const STREAM: u64 = 2001;

/// Time between rounds, s.
const ROUND_S: f64 = 600.0;

/// Errors are uniform within these limits either way: the kinder reading of "±".
const GRAVITY_LIMIT_P: f64 = 0.2;
const VOLUME_LIMIT: f64 = 0.01;

/// Runnings that differ by less than two samples may have not fallen, °P.
const FALL_P: f64 = 0.2;

/// No brewer believes a line that ends far beyond the plan: up to so many planned volumes, else the plan stands.
const BELIEVED: f64 = 1.3;

/// Steps of the mixing rule to a planned volume.
const STEPS_PER_PLANNED_VOLUME: f64 = 1000.0;

/// One round of samples.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Round {
    pub elapsed_s: f64,
    pub runnings_gravity_p: f64,
    pub kettle_volume_l: f64,
    pub kettle_gravity_p: f64,
}

/// The brewer's note book of one run-off.
#[derive(Clone, Debug, PartialEq)]
pub struct NoteBook {
    pub planned_volume_l: f64,
    pub target_gravity_p: f64,
    pub rounds: Vec<Round>,
}

impl NoteBook {
    /// Samples of a finished trial, every ten minutes while wort runs to the kettle.
    pub fn of(trial: &Trial) -> Self {
        let mut noise = Noise::stream(trial.seed, STREAM);
        let mut next_s = ROUND_S;
        let mut rounds = Vec::new();
        for truth in &trial.truths {
            if truth.elapsed_s < next_s {
                continue;
            }
            next_s += ROUND_S;
            let round = sampled(truth, &mut noise);
            if truth.flow_l_min > 0.0 && !truth.recirculating && truth.kettle_volume_l > 0.0 {
                rounds.push(round);
            }
        }
        Self {
            planned_volume_l: trial.plan.planned_volume_l,
            target_gravity_p: trial.plan.target_gravity_p,
            rounds,
        }
    }

    /// The stop volume as forecast at a moment from the rounds up to it, L.
    pub fn stop_volume_l(&self, elapsed_s: f64) -> f64 {
        let known = self
            .rounds
            .iter()
            .take_while(|round| round.elapsed_s <= elapsed_s)
            .count();
        self.extrapolated_l(&self.rounds[..known])
            .unwrap_or(self.planned_volume_l)
    }

    fn extrapolated_l(&self, rounds: &[Round]) -> Option<f64> {
        let fallen = |pair: &&[Round]| {
            pair[1].runnings_gravity_p < pair[0].runnings_gravity_p - FALL_P
                && pair[1].kettle_volume_l > pair[0].kettle_volume_l
        };
        let pair = rounds.windows(2).rev().find(fallen)?;
        let slope_p_l = (pair[1].runnings_gravity_p - pair[0].runnings_gravity_p)
            / (pair[1].kettle_volume_l - pair[0].kettle_volume_l);
        self.mixed_l(rounds.last()?, slope_p_l)
    }

    /// The mixing rule by mass, step by step from the last round on; None where that leads
    /// further than a brewer believes.
    fn mixed_l(&self, last: &Round, slope_p_l: f64) -> Option<f64> {
        let target_p = self.target_gravity_p;
        if last.kettle_gravity_p <= target_p {
            return Some(last.kettle_volume_l);
        }
        let step_l = self.planned_volume_l / STEPS_PER_PLANNED_VOLUME;
        let mass = units::vacuum_specific_gravity_from_gravity;
        let mut wort_kg = last.kettle_volume_l * mass(last.kettle_gravity_p);
        let mut extract_kg = wort_kg * last.kettle_gravity_p / 100.0;
        let mut before_p = last.kettle_gravity_p;
        let believed_l = BELIEVED * self.planned_volume_l - last.kettle_volume_l;
        for step in 0..(believed_l / step_l) as usize {
            let ahead_l = (step as f64 + 0.5) * step_l;
            let runnings_p = (last.runnings_gravity_p + slope_p_l * ahead_l).max(0.0);
            let added_kg = step_l * mass(runnings_p);
            wort_kg += added_kg;
            extract_kg += added_kg * runnings_p / 100.0;
            let kettle_p = 100.0 * extract_kg / wort_kg;
            if kettle_p <= target_p {
                let share = (before_p - target_p) / (before_p - kettle_p);
                return Some(last.kettle_volume_l + (step as f64 + share) * step_l);
            }
            before_p = kettle_p;
        }
        None
    }
}

fn sampled(truth: &Truth, noise: &mut Noise) -> Round {
    let mut gravity =
        |p: f64| ((p + noise.within(-GRAVITY_LIMIT_P, GRAVITY_LIMIT_P)) * 10.0).round() / 10.0;
    let runnings_gravity_p = gravity(truth.runnings_gravity_p);
    let kettle_gravity_p = gravity(truth.kettle_gravity_p);
    let volume_error = noise.within(-VOLUME_LIMIT, VOLUME_LIMIT);
    Round {
        elapsed_s: truth.elapsed_s,
        runnings_gravity_p,
        kettle_volume_l: (truth.kettle_volume_l * (1.0 + volume_error)).round(),
        kettle_gravity_p,
    }
}

#[cfg(test)]
mod tests {
    use super::{NoteBook, Round};

    fn round(elapsed_s: f64, runnings_p: f64, volume_l: f64, kettle_p: f64) -> Round {
        Round {
            elapsed_s,
            runnings_gravity_p: runnings_p,
            kettle_volume_l: volume_l,
            kettle_gravity_p: kettle_p,
        }
    }

    #[test]
    fn constant_runnings_follow_the_mixing_rule() {
        // 5 m³ of 16 °P with 1 m³ of 3 °P give 13.925 °P: published with the mixing rule by mass.
        let book = NoteBook {
            planned_volume_l: 6500.0,
            target_gravity_p: 13.925,
            rounds: vec![],
        };
        let volume_l = book.mixed_l(&round(0.0, 3.0, 5000.0, 16.0), 0.0);
        assert!(
            (volume_l.expect("reached") - 6000.0).abs() < 3.0,
            "{volume_l:?}"
        );
    }

    #[test]
    fn until_runnings_have_fallen_there_is_the_plan_and_then_the_straight_line() {
        let is_plan = |volume_l: f64| (volume_l - 3000.0).abs() < 1e-9;
        let book = NoteBook {
            planned_volume_l: 3000.0,
            target_gravity_p: 15.0,
            rounds: vec![
                round(600.0, 18.0, 1000.0, 18.0),
                round(1200.0, 17.9, 1500.0, 18.0),
                round(1800.0, 13.9, 2000.0, 17.4),
            ],
        };
        assert!(is_plan(book.stop_volume_l(599.0)));
        assert!(is_plan(book.stop_volume_l(1799.0)));
        // 8 °P per 1000 L. By volumes alone: 17.4·2000 + 13.9 v − 0.004 v² = 15 (2000 + v), so v = 969 L; densities
        // weigh the strong wort more and move that by less than 3 %.
        let volume_l = book.stop_volume_l(1800.0);
        assert!((volume_l - 2969.0).abs() < 80.0, "{volume_l}");
    }

    #[test]
    fn a_target_that_the_line_does_not_meet_near_the_plan_leaves_the_plan() {
        let book = NoteBook {
            planned_volume_l: 1000.0,
            target_gravity_p: 1.0,
            rounds: vec![
                round(600.0, 18.0, 400.0, 18.0),
                round(1200.0, 10.0, 900.0, 17.0),
            ],
        };
        assert!((book.stop_volume_l(1200.0) - 1000.0).abs() < 1e-9);
    }
}
