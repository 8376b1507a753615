//! The figures of a study.
//!
//! Owns what is added up over many judged run-offs, and the shape of it in JSON. Errors of a stop volume are in
//! per cent of the true one. A figure that cannot be formed is null.

use std::collections::BTreeMap;

use serde::Serialize;

use super::campaign::{Recipe, Runoff};
use super::judged::{FRACTIONS, Judged, Tannin, TanninLimit, WARNING_AHEAD_S};
use super::quantile;

/// Alarms that an ordinary brew gives no cause for.
pub const UNFOUNDED: [&str; 4] = [
    "channelling",
    "stuck-bed",
    "instrument-fault",
    "instruments-disagree",
];

/// More alarms than this in one run-off are a burden.
pub const MANY_ALARMS: usize = 4;

/// A whole study.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct StudyFigures {
    pub recipe: Recipe,
    pub all: Figures,
    /// First brews, second brews and so on; empty where each tun has but one.
    pub by_brew: Vec<Figures>,
}

/// Everything that is said about a set of run-offs.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Figures {
    pub runoffs: usize,
    /// Run-offs that truly came to their target.
    pub reached_target: usize,
    pub stop_volume: Vec<AtFraction>,
    /// Of the planned volume itself.
    pub planned_volume: Errors,
    /// Of the metered stop volume when nothing is left to forecast: what the meters' own errors cost.
    pub hindsight: Errors,
    pub kettle_gravity: KettleGravity,
    pub stop_call: StopCall,
    pub tannin: TanninFigures,
    pub alarms: AlarmFigures,
}

/// The projected stop volume, read at a share of the planned volume.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct AtFraction {
    pub fraction: f64,
    /// Of the 50 % quantile.
    pub error: Errors,
    /// Of the hand method at the same moment.
    pub hand: Errors,
    /// Of the bound; null in a study without it.
    pub bound: Option<Errors>,
    /// Median error over that of the bound.
    pub over_bound: Option<f64>,
    /// Median error of the hand method over ours.
    pub hand_over: Option<f64>,
    /// Share of true volumes inside p5–p95; no projection counts as outside.
    pub coverage: Option<f64>,
    pub median_band_width_percent: Option<f64>,
    /// Median band width over median error.
    pub band_width_over_error: Option<f64>,
}

/// Sizes of errors, per cent of the true stop volume.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Errors {
    pub count: usize,
    /// Run-offs where no forecast was to be had; not in the quantiles.
    pub missing: usize,
    pub median_percent: Option<f64>,
    pub p90_percent: Option<f64>,
    pub signed_median_percent: Option<f64>,
}

impl Errors {
    /// Of forecasts with their truths; None is no forecast.
    pub fn of(forecasts: &[(Option<f64>, f64)]) -> Self {
        let signed: Vec<f64> = forecasts
            .iter()
            .filter_map(|(forecast, truth)| Some(100.0 * (forecast.as_ref()? / truth - 1.0)))
            .collect();
        let sizes: Vec<f64> = signed.iter().map(|error| error.abs()).collect();
        Self {
            count: signed.len(),
            missing: forecasts.len() - signed.len(),
            median_percent: quantile(&sizes, 0.5),
            p90_percent: quantile(&sizes, 0.9),
            signed_median_percent: quantile(&signed, 0.5),
        }
    }
}

/// Estimate minus truth at the true stop-point, °P.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct KettleGravity {
    pub count: usize,
    pub median_size_p: Option<f64>,
    pub p90_size_p: Option<f64>,
    pub signed_median_p: Option<f64>,
}

/// `stop-point-reached` against the true crossing, s.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct StopCall {
    pub called: usize,
    pub missed: usize,
    pub median_size_s: Option<f64>,
    pub p95_size_s: Option<f64>,
    /// Positive is late.
    pub signed_median_s: Option<f64>,
}

/// Warnings of the tannin limits.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct TanninFigures {
    /// Run-offs that truly cross a limit before the target.
    pub crossing: usize,
    /// Of these, those that come to the pH ceiling first.
    pub crossing_ph_ceiling: usize,
    pub warned_in_time: usize,
    pub warned_late: usize,
    /// Run-offs that never come near a limit before the target.
    pub far: usize,
    pub far_but_warned: usize,
}

/// Annunciations over all run-offs.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct AlarmFigures {
    pub per_runoff: f64,
    /// Annunciations in a hundred run-offs.
    pub per_hundred: BTreeMap<&'static str, f64>,
    /// Of those an ordinary brew gives no cause for, in a hundred run-offs.
    pub unfounded_per_hundred: f64,
    /// Run-offs with more than [`MANY_ALARMS`].
    pub with_many: usize,
}

impl Figures {
    pub fn of<'a>(runoffs: impl Iterator<Item = &'a Runoff>) -> Self {
        let runoffs: Vec<&Runoff> = runoffs.collect();
        let judged: Vec<&Judged> = runoffs.iter().map(|runoff| &runoff.judged).collect();
        let against_truth = |of: &dyn Fn(&Runoff) -> Option<f64>| {
            let pairs: Vec<_> = runoffs
                .iter()
                .filter_map(|runoff| Some((of(runoff), runoff.judged.true_stop?.volume_l)))
                .collect();
            Errors::of(&pairs)
        };
        Self {
            runoffs: runoffs.len(),
            reached_target: judged.iter().filter(|j| j.true_stop.is_some()).count(),
            stop_volume: (0..FRACTIONS.len())
                .map(|point| at_fraction(&runoffs, point))
                .collect(),
            planned_volume: against_truth(&|runoff| Some(runoff.judged.planned_volume_l)),
            hindsight: against_truth(&|runoff| runoff.hindsight_l),
            kettle_gravity: kettle_gravity(&judged),
            stop_call: stop_call(&judged),
            tannin: tannin(&judged),
            alarms: alarms(&judged),
        }
    }
}

fn at_fraction(runoffs: &[&Runoff], point: usize) -> AtFraction {
    // Only where the kettle came so far: all methods are judged on the same run-offs.
    let read: Vec<_> = runoffs
        .iter()
        .filter_map(|runoff| {
            let read = runoff.judged.read[point]?;
            Some((*runoff, read.volume_l, runoff.judged.true_stop?.volume_l))
        })
        .collect();
    let errors = |of: &dyn Fn(&Runoff) -> Option<f64>| {
        let pairs: Vec<_> = read
            .iter()
            .map(|(runoff, _, truth)| (of(runoff), *truth))
            .collect();
        Errors::of(&pairs)
    };
    let error = errors(&|runoff| Some(runoff.judged.read[point]?.volume_l?.p50));
    let hand = errors(&|runoff| runoff.hand_l[point]);
    let bound = errors(&|runoff| runoff.bound_l[point]);
    let inside = read
        .iter()
        .filter(|(_, band, truth)| band.is_some_and(|band| (band.p5..=band.p95).contains(truth)))
        .count();
    let widths: Vec<f64> = read
        .iter()
        .filter_map(|(_, band, truth)| band.map(|band| 100.0 * (band.p95 - band.p5) / truth))
        .collect();
    let width = quantile(&widths, 0.5);
    AtFraction {
        fraction: FRACTIONS[point],
        error,
        over_bound: ratio(error.median_percent, bound.median_percent),
        hand_over: ratio(hand.median_percent, error.median_percent),
        hand,
        bound: (bound.count > 0).then_some(bound),
        coverage: share(inside, read.len()),
        median_band_width_percent: width,
        band_width_over_error: ratio(width, error.median_percent),
    }
}

fn ratio(above: Option<f64>, below: Option<f64>) -> Option<f64> {
    Some(above? / below.filter(|below| *below > 0.0)?)
}

/// None of nothing.
pub fn share(part: usize, whole: usize) -> Option<f64> {
    (whole > 0).then(|| part as f64 / whole as f64)
}

fn kettle_gravity(judged: &[&Judged]) -> KettleGravity {
    let errors: Vec<f64> = judged.iter().filter_map(|j| j.kettle_error_p).collect();
    let sizes: Vec<f64> = errors.iter().map(|error| error.abs()).collect();
    KettleGravity {
        count: errors.len(),
        median_size_p: quantile(&sizes, 0.5),
        p90_size_p: quantile(&sizes, 0.9),
        signed_median_p: quantile(&errors, 0.5),
    }
}

fn stop_call(judged: &[&Judged]) -> StopCall {
    let reached = judged.iter().filter(|j| j.true_stop.is_some());
    let late: Vec<f64> = reached
        .clone()
        .filter_map(|j| j.stop_called_late_s)
        .collect();
    let sizes: Vec<f64> = late.iter().map(|late| late.abs()).collect();
    StopCall {
        called: late.len(),
        missed: reached.count() - late.len(),
        median_size_s: quantile(&sizes, 0.5),
        p95_size_s: quantile(&sizes, 0.95),
        signed_median_s: quantile(&late, 0.5),
    }
}

fn tannin(judged: &[&Judged]) -> TanninFigures {
    let mut figures = TanninFigures {
        crossing: 0,
        crossing_ph_ceiling: 0,
        warned_in_time: 0,
        warned_late: 0,
        far: 0,
        far_but_warned: 0,
    };
    for one in judged {
        match one.tannin {
            Tannin::Crosses {
                limit,
                crossed_s,
                warned_s,
            } => {
                figures.crossing += 1;
                figures.crossing_ph_ceiling += usize::from(limit == TanninLimit::PhCeiling);
                match warned_s {
                    Some(s) if s <= crossed_s - WARNING_AHEAD_S => figures.warned_in_time += 1,
                    Some(_) => figures.warned_late += 1,
                    None => {}
                }
            }
            Tannin::Near => {}
            Tannin::Far { warned } => {
                figures.far += 1;
                figures.far_but_warned += usize::from(warned);
            }
        }
    }
    figures
}

fn alarms(judged: &[&Judged]) -> AlarmFigures {
    let runoffs = judged.len().max(1) as f64;
    let mut counts: BTreeMap<&'static str, usize> = BTreeMap::new();
    for (alarm, count) in judged.iter().flat_map(|j| &j.alarms) {
        *counts.entry(alarm).or_default() += count;
    }
    let total = |j: &Judged| j.alarms.values().sum::<usize>();
    let unfounded: usize = UNFOUNDED.iter().filter_map(|name| counts.get(name)).sum();
    AlarmFigures {
        per_runoff: counts.values().sum::<usize>() as f64 / runoffs,
        unfounded_per_hundred: 100.0 * unfounded as f64 / runoffs,
        with_many: judged.iter().filter(|j| total(j) > MANY_ALARMS).count(),
        per_hundred: counts
            .into_iter()
            .map(|(alarm, count)| (alarm, 100.0 * count as f64 / runoffs))
            .collect(),
    }
}
