//! Studies of faults: is the matching alarm raised, how soon, and what else is raised without cause.
//!
//! Owns which alarm answers which fault, and the delays. For channelling it also says how long a brewer with hand
//! samples would take who knows exactly what the same brew gives without the fault: the kindest comparison there is.

use std::collections::BTreeMap;

use lauter_core::alarm::AlarmId;
use lauter_core::supervisor::Parameters;
use serde::Serialize;

use super::figures::{UNFOUNDED, share};
use super::hand::NoteBook;
use super::judged::raised;
use super::trial::{self, HandSamples, Trial};
use super::{in_parallel, quantile};
use crate::fault::Fault;
use crate::model::Truth;
use crate::record;
use crate::scenario::{Disturbance, Scenario};

/// By how much two samples in a row must lie below what the brewer expects: more than both errors, °P.
const HAND_NOTICES_P: f64 = 0.5;

/// A fault family to run.
#[derive(Clone, Debug)]
pub struct FaultCampaign {
    pub disturbance: Disturbance,
    pub brews: u64,
    pub seed: u64,
    pub hand: HandSamples,
    pub parameters: Parameters,
}

/// How a fault family fared.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct FaultFigures {
    pub disturbance: &'static str,
    /// Any of these answers it; none where the right answer is silence.
    pub answered_by: Vec<&'static str>,
    /// Run-offs in which the fault came before the true stop-point.
    pub runoffs: usize,
    /// Alarms between fault and true stop-point.
    pub detection: Detection,
    /// Run-offs with a matching alarm before the fault.
    pub too_early: usize,
    /// Other alarms that neither an ordinary brew nor this fault gives cause for, in a hundred run-offs.
    pub unfounded_per_hundred: BTreeMap<&'static str, f64>,
    /// By hand samples; null where they show nothing of it.
    pub hand: Option<Detection>,
}

/// How many faults were seen and how soon.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Detection {
    pub detected: usize,
    pub share: Option<f64>,
    pub median_delay_s: Option<f64>,
    pub p90_delay_s: Option<f64>,
    /// Of the time from start to true stop-point.
    pub median_delay_percent: Option<f64>,
}

/// One run-off of the family.
struct Seen {
    stop_s: f64,
    delay_s: Option<f64>,
    too_early: bool,
    unfounded: Vec<&'static str>,
    hand_delay_s: Option<f64>,
}

/// The alarms that answer a fault; none where the process is only handled, not disturbed.
fn answers(disturbance: Disturbance) -> &'static [AlarmId] {
    match disturbance {
        Disturbance::Channelling => &[AlarmId::Channelling],
        Disturbance::Compaction => &[AlarmId::BedCompaction, AlarmId::StuckBed],
        Disturbance::FrozenGravity => &[AlarmId::InstrumentFault],
        Disturbance::GravityStep | Disturbance::FlowDrift => {
            &[AlarmId::InstrumentFault, AlarmId::InstrumentsDisagree]
        }
        Disturbance::Raking
        | Disturbance::Pause
        | Disturbance::Recirculation
        | Disturbance::FlowStep => &[],
    }
}

impl FaultCampaign {
    pub fn run(&self) -> FaultFigures {
        let seeds: Vec<u64> = (0..self.brews).map(|n| self.seed.wrapping_add(n)).collect();
        let seen: Vec<Seen> = in_parallel(&seeds, |seed| self.see(*seed))
            .into_iter()
            .flatten()
            .collect();
        let mut unfounded: BTreeMap<&'static str, f64> = BTreeMap::new();
        for alarm in seen.iter().flat_map(|one| &one.unfounded) {
            *unfounded.entry(alarm).or_default() += 100.0 / seen.len() as f64;
        }
        FaultFigures {
            disturbance: self.disturbance.name(),
            answered_by: answers(self.disturbance).iter().map(|a| a.name()).collect(),
            runoffs: seen.len(),
            detection: detection(&seen, |one| one.delay_s),
            too_early: seen.iter().filter(|one| one.too_early).count(),
            unfounded_per_hundred: unfounded,
            hand: (self.disturbance == Disturbance::Channelling)
                .then(|| detection(&seen, |one| one.hand_delay_s)),
        }
    }

    /// None where the fault came after the true stop-point.
    fn see(&self, seed: u64) -> Option<Seen> {
        let scenario = Scenario::draw_disturbed(seed, self.disturbance);
        let onset_s = onset_s(&scenario, self.disturbance)?;
        let trial = trial::run(&scenario, seed, self.hand, self.parameters.clone());
        let stop_s = end_s(&trial);
        if onset_s >= stop_s {
            return None;
        }
        let answers = answers(self.disturbance);
        let matching = |alarm: AlarmId| answers.contains(&alarm);
        let found_s = raised(&trial)
            .filter(|line| matching(line.alarm) && line.elapsed_s <= stop_s)
            .map(|line| line.elapsed_s)
            .find(|raised_s| *raised_s >= onset_s);
        let hand_delay_s = if self.disturbance == Disturbance::Channelling {
            hand_notices_s(&trial, seed, onset_s).map(|noticed_s| noticed_s - onset_s)
        } else {
            None
        };
        Some(Seen {
            stop_s,
            delay_s: found_s.map(|found_s| found_s - onset_s),
            too_early: raised(&trial).any(|l| matching(l.alarm) && l.elapsed_s < onset_s),
            unfounded: raised(&trial)
                .filter(|line| !matching(line.alarm))
                .map(|line| line.alarm.name())
                .filter(|name| UNFOUNDED.contains(name))
                .collect(),
            hand_delay_s,
        })
    }
}

/// The true stop-point, or the end of the record where the fault kept the kettle from it.
fn end_s(trial: &Trial) -> f64 {
    let target = trial.crossings.target;
    target.map_or(trial.last.elapsed_s, |target| target.elapsed_s)
}

/// When the fault of the family begins; ordinary rakes and pauses of the same brew may come before or after.
fn onset_s(scenario: &Scenario, disturbance: Disturbance) -> Option<f64> {
    let is_it = |what: &Fault| match disturbance {
        Disturbance::Channelling => matches!(what, Fault::Channel { .. }),
        Disturbance::Compaction => matches!(what, Fault::Compaction { .. }),
        Disturbance::Raking => matches!(what, Fault::Rake { .. }),
        Disturbance::Pause => matches!(what, Fault::Pause { .. }),
        Disturbance::Recirculation => matches!(what, Fault::Recirculate { .. }),
        Disturbance::FlowStep => matches!(what, Fault::FlowStep { .. }),
        Disturbance::FrozenGravity => matches!(what, Fault::Freeze { .. }),
        Disturbance::GravityStep => matches!(what, Fault::Step { .. }),
        Disturbance::FlowDrift => matches!(what, Fault::Drift { .. }),
    };
    let mut events = scenario.events.iter();
    events
        .find(|event| is_it(&event.what))
        .map(|event| event.at_s)
}

/// When two samples in a row lay below the runnings of the undisturbed brew at the same kettle volume, s.
fn hand_notices_s(trial: &Trial, seed: u64, onset_s: f64) -> Option<f64> {
    let mut expected: Vec<Truth> = Vec::new();
    record::run(&Scenario::draw(seed), seed, |brewhouse| {
        let truth = brewhouse.truth();
        if expected
            .last()
            .is_none_or(|last| truth.elapsed_s >= last.elapsed_s + trial::TRUTH_EVERY_S)
        {
            expected.push(*truth);
        }
    });
    let stop_s = end_s(trial);
    let book = NoteBook::of(trial);
    let below = |round: &super::hand::Round| {
        expected
            .iter()
            .find(|truth| truth.kettle_volume_l >= round.kettle_volume_l)
            .is_some_and(|truth| {
                round.runnings_gravity_p < truth.runnings_gravity_p - HAND_NOTICES_P
            })
    };
    book.rounds
        .windows(2)
        .filter(|pair| pair[1].elapsed_s >= onset_s && pair[1].elapsed_s <= stop_s)
        .find(|pair| pair.iter().all(below))
        .map(|pair| pair[1].elapsed_s)
}

fn detection(seen: &[Seen], delay_s: impl Fn(&Seen) -> Option<f64>) -> Detection {
    let delays: Vec<(f64, f64)> = seen
        .iter()
        .filter_map(|one| delay_s(one).map(|delay_s| (delay_s, 100.0 * delay_s / one.stop_s)))
        .collect();
    let (seconds, percents): (Vec<f64>, Vec<f64>) = delays.into_iter().unzip();
    Detection {
        detected: seconds.len(),
        share: share(seconds.len(), seen.len()),
        median_delay_s: quantile(&seconds, 0.5),
        p90_delay_s: quantile(&seconds, 0.9),
        median_delay_percent: quantile(&percents, 0.5),
    }
}
