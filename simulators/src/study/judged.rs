//! One finished trial beside its truth.
//!
//! Owns what is right and wrong about a single run-off: the projection at the points of reading, the kettle's
//! gravity at the stop-point, the call of the stop-point, the tannin limits, the alarms. It adds nothing up.

use std::collections::BTreeMap;

use lauter_core::alarm::{AlarmId, AlarmState};
use lauter_core::supervisor::{AlarmLine, Band, Line, Output, ProjectionLine};

use serde::Serialize;

use super::trial::Trial;
use crate::model::{Crossing, Truth};

/// Shares of the planned volume in the kettle at which a projection is read.
pub const FRACTIONS: [f64; 5] = [0.40, 0.50, 0.60, 0.75, 0.90];

/// Runnings that stay this far above the gravity floor were never near it, °P.
const NEAR_FLOOR_P: f64 = 0.5;

/// Runnings that stay this far below the ceiling were never near it, pH.
const NEAR_CEILING_PH: f64 = 0.1;

/// A warning of a limit is in time this long before it, s.
pub const WARNING_AHEAD_S: f64 = 300.0;

/// A projection as it stood when the kettle reached a share of the planned volume.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct ReadProjection {
    pub elapsed_s: f64,
    /// Kettle volume at the target; None where the projection calls it out of reach.
    pub volume_l: Option<Band>,
}

/// What a run-off had to do with its tannin limits before the kettle came down to the target.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Tannin {
    /// The first limit truly crossed, and when the warning came, if it came.
    Crosses {
        limit: TanninLimit,
        crossed_s: f64,
        warned_s: Option<f64>,
    },
    /// No limit was crossed, but one was near.
    Near,
    /// Never near a limit; whether a warning came all the same.
    Far { warned: bool },
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum TanninLimit {
    GravityFloor,
    PhCeiling,
}

/// A run-off judged.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Judged {
    pub seed: u64,
    pub planned_volume_l: f64,
    pub true_stop: Option<Crossing>,
    /// One for each of [`FRACTIONS`]; None where the kettle did not come so far before the true stop-point.
    pub read: [Option<ReadProjection>; FRACTIONS.len()],
    /// Kettle gravity at the true stop-point, estimate minus truth, °P.
    pub kettle_error_p: Option<f64>,
    /// `stop-point-reached` minus the true crossing, s; positive is late.
    pub stop_called_late_s: Option<f64>,
    pub tannin: Tannin,
    /// Times each alarm was annunciated.
    pub alarms: BTreeMap<&'static str, usize>,
}

/// Judges a finished trial.
pub fn judge(trial: &Trial) -> Judged {
    let true_stop = trial.crossings.target;
    let stop_s = true_stop.map_or(f64::INFINITY, |stop| stop.elapsed_s);
    let called_s = first_raised_s(trial, AlarmId::StopPointReached);
    Judged {
        seed: trial.seed,
        planned_volume_l: trial.plan.planned_volume_l,
        true_stop,
        read: FRACTIONS.map(|fraction| {
            read_at(trial, fraction * trial.plan.planned_volume_l)
                .filter(|read| read.elapsed_s < stop_s)
        }),
        kettle_error_p: true_stop.and_then(|stop| kettle_error_p(trial, stop.elapsed_s)),
        stop_called_late_s: true_stop.and_then(|stop| Some(called_s? - stop.elapsed_s)),
        tannin: tannin(trial, stop_s),
        alarms: annunciated(trial),
    }
}

/// Every projection line, in order of time.
pub fn projections(trial: &Trial) -> impl Iterator<Item = &ProjectionLine> {
    trial
        .outputs
        .iter()
        .filter_map(|dated| match &dated.output {
            Output::Line(Line::Projection(line)) => Some(line),
            _ => None,
        })
}

/// Alarms as they are annunciated, in order of time.
pub fn raised(trial: &Trial) -> impl Iterator<Item = &AlarmLine> {
    trial
        .outputs
        .iter()
        .filter_map(|dated| match &dated.output {
            Output::Line(Line::Alarm(line)) if line.to == AlarmState::Unacknowledged => Some(line),
            _ => None,
        })
}

/// When an alarm was first annunciated, s.
pub fn first_raised_s(trial: &Trial, alarm: AlarmId) -> Option<f64> {
    raised(trial)
        .find(|line| line.alarm == alarm)
        .map(|line| line.elapsed_s)
}

fn annunciated(trial: &Trial) -> BTreeMap<&'static str, usize> {
    let mut counts = BTreeMap::new();
    for line in raised(trial) {
        *counts.entry(line.alarm.name()).or_default() += 1;
    }
    counts
}

fn read_at(trial: &Trial, kettle_volume_l: f64) -> Option<ReadProjection> {
    projections(trial)
        .find(|line| line.kettle_volume_l >= kettle_volume_l)
        .map(|line| ReadProjection {
            elapsed_s: line.elapsed_s,
            volume_l: line.target.map(|target| target.volume_l),
        })
}

/// Between the projection lines before and after the true crossing, in proportion.
fn kettle_error_p(trial: &Trial, stop_s: f64) -> Option<f64> {
    let mut before: Option<(f64, f64)> = None;
    for line in projections(trial) {
        let Some(gravity_p) = line.kettle_gravity_p else {
            continue;
        };
        if line.elapsed_s >= stop_s {
            let (before_s, before_p) = before?;
            let share = (stop_s - before_s) / (line.elapsed_s - before_s);
            let estimate_p = before_p + share * (gravity_p - before_p);
            return Some(estimate_p - trial.plan.target_gravity_p);
        }
        before = Some((line.elapsed_s, gravity_p));
    }
    None
}

fn tannin(trial: &Trial, stop_s: f64) -> Tannin {
    let crossings = &trial.crossings;
    let of = |crossing: Option<Crossing>, limit| {
        crossing
            .filter(|crossing| crossing.elapsed_s < stop_s)
            .map(|crossing| (crossing.elapsed_s, limit))
    };
    let first = [
        of(crossings.gravity_floor, TanninLimit::GravityFloor),
        of(crossings.ph_ceiling, TanninLimit::PhCeiling),
    ]
    .into_iter()
    .flatten()
    .min_by(|a, b| a.0.total_cmp(&b.0));
    let warned_s = first_raised_s(trial, AlarmId::TanninLimitAhead);
    match first {
        Some((crossed_s, limit)) => Tannin::Crosses {
            limit,
            crossed_s,
            warned_s,
        },
        None if trial.truths.iter().any(|truth| near(trial, truth, stop_s)) => Tannin::Near,
        None => Tannin::Far {
            warned: warned_s.is_some_and(|warned_s| warned_s <= stop_s),
        },
    }
}

fn near(trial: &Trial, truth: &Truth, stop_s: f64) -> bool {
    let plan = &trial.plan;
    let ph = match plan.ph_basis {
        lauter_core::projection::PhBasis::Room => truth.runnings_ph_room,
        lauter_core::projection::PhBasis::Process => truth.runnings_ph,
    };
    truth.elapsed_s <= stop_s
        && (truth.runnings_gravity_p <= plan.gravity_floor_p + NEAR_FLOOR_P
            || ph >= plan.ph_ceiling - NEAR_CEILING_PH)
}
