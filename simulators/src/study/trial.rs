//! One simulated brew under the real supervisor.
//!
//! Owns the hand-over: what the instruments of a scenario read becomes the supervisor's events, as the service
//! would make them of Modbus answers, and nothing of the truth crosses over. It judges nothing.

use lauter_core::profile::{BrewLesson, TunProfile};
use lauter_core::projection::{PhBasis, Plan};
use lauter_core::reading::{Instrument, Moment, Reading, Span};
use lauter_core::supervisor::{Dated, Event, Output, Parameters, Place, Plant, Sample, Supervisor};
use serde::Serialize;

use crate::model::{Brewhouse, Crossings, Truth};
use crate::record::{self, HandSample, HandSampler};
use crate::scenario::Scenario;

/// A finished trial: what the supervisor said, and what was true.
#[derive(Clone, Debug)]
pub struct Trial {
    pub seed: u64,
    pub plan: Plan,
    /// Everything but readings and run-off states.
    pub outputs: Vec<Dated>,
    /// Every `TRUTH_EVERY_S`.
    pub truths: Vec<Truth>,
    pub crossings: Crossings,
    pub last: Truth,
}

impl Trial {
    /// What the brew taught, as the supervisor put it out at the end.
    pub fn lesson(&self) -> Option<&BrewLesson> {
        self.outputs.iter().find_map(|dated| match &dated.output {
            Output::Lesson(lesson) => Some(&**lesson),
            _ => None,
        })
    }
}

/// How often the truth is kept, s.
pub const TRUTH_EVERY_S: f64 = 5.0;

/// A fresh supervisor for a scenario's brewhouse.
pub fn supervisor(scenario: &Scenario, parameters: Parameters) -> Supervisor {
    let plant = Plant {
        bed_area_m2: scenario.tun.bed_area_m2,
        pipe_volume_l: scenario.tun.pipe_volume_l,
        pressure_drop_limit_kpa: scenario.tun.pressure_drop_limit_kpa,
        capacity_l: scenario.kettle.capacity_l,
        heel_l: scenario.kettle.heel_l,
        strapping: Vec::new(),
    };
    Supervisor::new(plant, instruments(scenario), parameters)
}

fn instruments(scenario: &Scenario) -> Vec<Instrument> {
    let index = |id: &String| {
        scenario
            .instruments
            .iter()
            .position(|other| other.id == *id)
    };
    scenario
        .instruments
        .iter()
        .map(|keys| Instrument {
            id: keys.id.clone(),
            measures: keys.measures,
            unit: keys.unit,
            span: keys.span.map(|span| Span {
                unit: span.unit,
                at_4_ma: span.at_4_ma,
                at_20_ma: span.at_20_ma,
            }),
            temperature: keys.temperature.as_ref().and_then(index),
            low: keys.low,
            high: keys.high,
            stale_after_s: keys.stale_after_s,
            zero: 0.0,
            link: None,
        })
        .collect()
}

/// The plan as the brewer wrote it down.
pub fn plan(scenario: &Scenario) -> Plan {
    let keys = &scenario.plan;
    let noted_p = keys
        .noted_first_wort_gravity_p
        .unwrap_or(keys.first_wort_gravity_p);
    Plan {
        brew: keys.brew.clone(),
        recipe: keys.recipe.clone(),
        grist_kg: keys.grist_kg,
        target_gravity_p: keys.target_gravity_p,
        planned_volume_l: keys.planned_volume_l,
        runoff_minutes: keys.runoff_minutes,
        first_wort_gravity_p: (noted_p > 0.0).then_some(noted_p),
        gravity_floor_p: keys.gravity_floor_p,
        ph_ceiling: keys.ph_ceiling,
        ph_basis: if keys.ph_basis == "process" {
            PhBasis::Process
        } else {
            PhBasis::Room
        },
    }
}

/// Whether somebody takes hand samples beside the instruments.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum HandSamples {
    Taken,
    None,
}

/// Runs a scenario to its end under a fresh supervisor.
pub fn run(scenario: &Scenario, seed: u64, hand: HandSamples, parameters: Parameters) -> Trial {
    let supervisor = supervisor(scenario, parameters);
    run_watched(scenario, seed, hand, supervisor, None, |_| {})
}

/// Runs a scenario to its end under this supervisor, with what earlier brews taught; `watch` sees the brewhouse
/// after every step.
pub fn run_watched(
    scenario: &Scenario,
    seed: u64,
    hand: HandSamples,
    mut supervisor: Supervisor,
    profile: Option<&TunProfile>,
    mut watch: impl FnMut(&Brewhouse),
) -> Trial {
    let plan = plan(scenario);
    let mut outputs = Vec::new();
    let mut truths: Vec<Truth> = Vec::new();
    let mut sampler = HandSampler::new(seed);
    supervisor.handle(
        Event::BrewStarted {
            plan: Box::new(plan.clone()),
            zero: Moment::ZERO,
            profile: profile.cloned().map(Box::new),
            corrections: Vec::new(),
        },
        Moment::ZERO,
    );
    let brewhouse = record::run(scenario, seed, |brewhouse| {
        watch(brewhouse);
        give_readings(&mut supervisor, brewhouse);
        if hand == HandSamples::Taken {
            give_samples(&mut supervisor, sampler.take(brewhouse.truth()));
        }
        drain(&mut supervisor, &mut outputs);
        let truth = brewhouse.truth();
        if truths
            .last()
            .is_none_or(|last| truth.elapsed_s >= last.elapsed_s + TRUTH_EVERY_S - 1e-9)
        {
            truths.push(*truth);
        }
    });
    supervisor.handle(
        Event::BrewEnded,
        Moment::from_seconds(brewhouse.elapsed_s()),
    );
    drain(&mut supervisor, &mut outputs);
    Trial {
        seed,
        plan,
        outputs,
        truths,
        crossings: *brewhouse.crossings(),
        last: *brewhouse.truth(),
    }
}

/// Whatever has been sampled at this moment.
fn give_readings(supervisor: &mut Supervisor, brewhouse: &Brewhouse) {
    let elapsed_s = brewhouse.elapsed_s();
    let now = Moment::from_seconds(elapsed_s);
    for (instrument, sample) in brewhouse.readings().iter().enumerate() {
        let fresh = (sample.sampled_s - elapsed_s).abs() < 1e-9;
        let Some(value) = sample.value.filter(|_| fresh) else {
            continue;
        };
        let reading = Reading {
            value: Ok(value),
            status: sample.status,
            at: now,
        };
        supervisor.handle(
            Event::Reading {
                instrument,
                reading,
            },
            now,
        );
    }
}

fn give_samples(supervisor: &mut Supervisor, samples: Vec<HandSample>) {
    for taken in samples {
        let place = if taken.place == "kettle" {
            Place::Kettle
        } else {
            Place::Runnings
        };
        let sample = Sample {
            place,
            gravity_p: Some(taken.gravity_p),
            ph: taken.ph,
            volume_l: taken.volume_l,
        };
        supervisor.handle(Event::Sample(sample), Moment::from_seconds(taken.elapsed_s));
    }
}

fn drain(supervisor: &mut Supervisor, outputs: &mut Vec<Dated>) {
    while let Some(dated) = supervisor.poll_output() {
        if !matches!(dated.output, Output::Reading(_) | Output::Runoff(_)) {
            outputs.push(dated);
        }
    }
}
