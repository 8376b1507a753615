//! Studies of faults: is the matching alarm raised, how soon, and what else is raised without cause.
//!
//! Owns which alarm answers which fault, and the delays. For channelling it also says how long a brewer with hand
//! samples would take who knows exactly what the same brew gives without the fault: the kindest comparison there is.

use std::collections::BTreeMap;

use lauter_core::alarm::AlarmId;
use lauter_core::reading::Measures;
use lauter_core::supervisor::{AlarmLine, Parameters};
use serde::Serialize;

use super::figures::{MANY_ALARMS, UNFOUNDED, share};
use super::hand::NoteBook;
use super::judged::raised;
use super::trial::{self, HandSamples, Trial};
use super::{in_parallel, quantile};
use crate::fault::Fault;
use crate::model::Truth;
use crate::record;
use crate::scenario::{Disturbance, Event, Scenario};

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
    /// Run-offs in which the fault came before the true stop-point and came to something.
    pub runoffs: usize,
    /// Alarms between fault and true stop-point.
    pub detection: Detection,
    /// Run-offs with a matching alarm before the fault.
    pub too_early: usize,
    /// Run-offs in which `channelling` was raised without a channel.
    pub false_channelling: usize,
    /// Other alarms that neither an ordinary brew nor this fault gives cause for, in a hundred run-offs.
    pub unfounded_per_hundred: BTreeMap<&'static str, f64>,
    /// All annunciations in a run-off.
    pub alarms: Burden,
    /// How long `bed-compaction` came before half the flow was lost; null where no bed stuck.
    pub ahead_of_loss: Option<Ahead>,
    /// By hand samples; null where they show nothing of it.
    pub hand: Option<Detection>,
    /// Seeds of the run-offs that went wrong, for those who look for the cause.
    pub missed_seeds: Vec<u64>,
    /// Beds that lost half their flow without a warning in good time.
    pub late_seeds: Vec<u64>,
    pub false_channelling_seeds: Vec<u64>,
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

/// Annunciations of one run-off.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Burden {
    pub mean: Option<f64>,
    pub p95: Option<f64>,
    /// Run-offs with at most [`MANY_ALARMS`].
    pub share_of_few: Option<f64>,
}

/// Warnings of beds that truly lost half their flow and whose pressure drop is measured.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Ahead {
    pub beds: usize,
    /// Warned at least [`LOSS_AHEAD_S`] before.
    pub in_time: usize,
    pub median_ahead_s: Option<f64>,
}

/// A warning of a sticking bed is in time this long before half the flow is lost, s.
pub const LOSS_AHEAD_S: f64 = 240.0;

/// One run-off of the family.
struct Seen {
    seed: u64,
    stop_s: f64,
    delay_s: Option<f64>,
    too_early: bool,
    false_channelling: bool,
    unfounded: Vec<&'static str>,
    alarms: usize,
    /// Time from `bed-compaction` to the loss of half the flow, if that was lost; nought without the alarm.
    ahead_s: Option<f64>,
    hand_delay_s: Option<f64>,
}

/// The alarms that answer a fault; none where the process is only handled, not disturbed.
fn answers(disturbance: Disturbance) -> &'static [AlarmId] {
    match disturbance {
        Disturbance::Channelling | Disturbance::ChannellingUnseen => &[AlarmId::Channelling],
        Disturbance::Compaction | Disturbance::Stuck => {
            &[AlarmId::BedCompaction, AlarmId::StuckBed]
        }
        Disturbance::None
        | Disturbance::Raking
        | Disturbance::Pause
        | Disturbance::Recirculation
        | Disturbance::FlowStep
        | Disturbance::EmptyPipe
        | Disturbance::Bubbles => &[],
        _ => &[AlarmId::InstrumentFault, AlarmId::InstrumentsDisagree],
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
        let channels = answers(self.disturbance).contains(&AlarmId::Channelling);
        let answered = !answers(self.disturbance).is_empty();
        let seeds_of = |which: &dyn Fn(&Seen) -> bool| {
            let chosen = seen.iter().filter(|one| which(one));
            chosen.map(|one| one.seed).collect::<Vec<_>>()
        };
        FaultFigures {
            disturbance: self.disturbance.name(),
            answered_by: answers(self.disturbance).iter().map(|a| a.name()).collect(),
            runoffs: seen.len(),
            detection: detection(&seen, |one| one.delay_s),
            too_early: seen.iter().filter(|one| one.too_early).count(),
            false_channelling: seen.iter().filter(|one| one.false_channelling).count(),
            unfounded_per_hundred: unfounded,
            alarms: burden(&seen),
            ahead_of_loss: ahead(&seen),
            hand: channels.then(|| detection(&seen, |one| one.hand_delay_s)),
            late_seeds: seeds_of(&|one| one.ahead_s.is_some_and(|s| s < LOSS_AHEAD_S)),
            missed_seeds: seeds_of(&|one| answered && one.delay_s.is_none()),
            false_channelling_seeds: seeds_of(&|one| one.false_channelling),
        }
    }

    /// None where the fault came after the true stop-point, or the brewhouse lacks what the fault needs.
    fn see(&self, seed: u64) -> Option<Seen> {
        let scenario = Scenario::draw_disturbed(seed, self.disturbance)?;
        let onset_s = self.disturbance.onset_s(&scenario);
        let hand = if self.disturbance.needs_hand_samples() {
            HandSamples::Taken
        } else {
            self.hand
        };
        let trial = trial::run(&scenario, seed, hand, self.parameters.clone());
        let stop_s = end_s(&trial);
        if onset_s >= stop_s || !self.disturbance.matters(&scenario, stop_s) {
            return None;
        }
        let answers = answers(self.disturbance);
        let liar = self.disturbance.lying().and_then(|measures| {
            let mut instruments = scenario.instruments.iter();
            instruments.find(|i| i.measures == measures)
        });
        let about_liar = |line: &AlarmLine| {
            liar.is_some_and(|liar| line.instrument.as_deref() == Some(liar.id.as_str()))
        };
        // A lying instrument is answered by its own name alone.
        let matching = |line: &AlarmLine| {
            answers.contains(&line.alarm) && (liar.is_none() || about_liar(line))
        };
        let found_s = raised(&trial)
            .filter(|line| matching(line) && line.elapsed_s <= stop_s)
            .map(|line| line.elapsed_s)
            .find(|raised_s| *raised_s >= onset_s);
        let channels = answers.contains(&AlarmId::Channelling);
        let hand_delay_s = if channels {
            hand_notices_s(&trial, seed, onset_s).map(|noticed_s| noticed_s - onset_s)
        } else {
            None
        };
        Some(Seen {
            seed,
            stop_s,
            delay_s: found_s.map(|found_s| found_s - onset_s),
            too_early: raised(&trial).any(|line| matching(line) && line.elapsed_s < onset_s),
            false_channelling: raised(&trial).any(|line| {
                line.alarm == AlarmId::Channelling && (!channels || line.elapsed_s < onset_s)
            }),
            unfounded: raised(&trial)
                .filter(|line| !matching(line) && !about_liar(line))
                .map(|line| line.alarm.name())
                .filter(|name| UNFOUNDED.contains(name))
                .collect(),
            alarms: raised(&trial).count(),
            ahead_s: ahead_s(&trial, &scenario, onset_s),
            hand_delay_s,
        })
    }
}

/// After a pause flow comes back slowly: it is lost to the bed only where the pump pulls as hard as it can.
const PULLED_SHARE: f64 = 0.9;

/// How long before half the flow was lost the bed was said to tighten; None where it was not lost, or where no
/// pressure drop is measured.
fn ahead_s(trial: &Trial, scenario: &Scenario, onset_s: f64) -> Option<f64> {
    let measured = scenario
        .instruments
        .iter()
        .any(|instrument| instrument.measures == Measures::BedPressureDrop);
    let plan = &scenario.plan;
    let half_l_min = 0.5 * plan.planned_volume_l / plan.runoff_minutes;
    let packs = |event: &Event| matches!(event.what, Fault::Compaction { .. });
    if !measured || !scenario.events.iter().any(packs) {
        return None;
    }
    let stop_s = end_s(trial);
    let lost = trial.truths.iter().find(|truth| {
        truth.elapsed_s > onset_s
            && truth.elapsed_s < stop_s
            && truth.pump_running
            && !truth.recirculating
            && truth.flow_l_min < half_l_min
            && truth.pressure_drop_kpa > PULLED_SHARE * scenario.bed.available_pressure_kpa
    })?;
    let warned = raised(trial)
        .filter(|line| line.alarm == AlarmId::BedCompaction)
        .find(|line| line.elapsed_s <= lost.elapsed_s);
    Some(warned.map_or(0.0, |line| lost.elapsed_s - line.elapsed_s))
}

fn ahead(seen: &[Seen]) -> Option<Ahead> {
    let ahead: Vec<f64> = seen.iter().filter_map(|one| one.ahead_s).collect();
    (!ahead.is_empty()).then(|| Ahead {
        beds: ahead.len(),
        in_time: ahead.iter().filter(|s| **s >= LOSS_AHEAD_S).count(),
        median_ahead_s: quantile(&ahead, 0.5),
    })
}

fn burden(seen: &[Seen]) -> Burden {
    let counts: Vec<f64> = seen.iter().map(|one| one.alarms as f64).collect();
    let few = seen.iter().filter(|one| one.alarms <= MANY_ALARMS).count();
    Burden {
        mean: share(seen.iter().map(|one| one.alarms).sum(), seen.len()),
        p95: quantile(&counts, 0.95),
        share_of_few: share(few, seen.len()),
    }
}

/// The true stop-point, or the end of the record where the fault kept the kettle from it.
fn end_s(trial: &Trial) -> f64 {
    let target = trial.crossings.target;
    target.map_or(trial.last.elapsed_s, |target| target.elapsed_s)
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
