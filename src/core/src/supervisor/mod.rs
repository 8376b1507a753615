//! The one engine: events and a time in, outputs out.
//!
//! Owns the order in which everything happens and nothing of what it means. Time advances on a fixed grid
//! inside `handle`, so that the answers depend on the events and their moments alone and not on how often or
//! how late the engine is called: live, replayed and recovered runs agree to the last digit.

mod alarms;
mod annunciator;
mod asked;
mod brew;
mod channel;
mod corrections;
mod doubt;
mod event;
mod flow_sum;
mod inflow;
mod outlook;
mod output;
mod parameters;
mod phase;
mod picture;
mod report;
mod silence;
mod telling;
mod view;
mod watch;

use std::collections::{BTreeMap, VecDeque};

use serde::{Deserialize, Serialize};

pub use crate::projection::{Band, Crossing, Stop, StopCause};
pub use alarms::RECORD;
pub use alarms::cause_in_words;
pub use annunciator::BURST_PLACE;
pub use brew::SampleDoubt;
pub use event::{Event, LinkState, OperatorAction, Place, Sample, Unwatched};
pub use outlook::{ChannelDoubt, Outlook};
pub use output::{
    AlarmLine, ConditionedReading, Dated, IfStopped, Line, Occurrence, Output, Phase,
    ProjectionLine, RunoffState, SummaryLine, TableLine,
};
pub use parameters::{Parameters, Plant};

pub use crate::projection::FanPoint;

use crate::detect::Finding;
use crate::profile::TunProfile;
use crate::projection::Plan;
use crate::reading::{Instrument, Measures, Moment, Reading};
use annunciator::Annunciator;
use brew::Brew;
use channel::Channel;
use flow_sum::FlowSum;
use silence::Silence;

/// Why the supervisor wants to be called again.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DeadlineReason {
    /// The next point of the grid: balance, rules and whatever is due.
    Step,
}

/// How long one publisher's oldest row has waited, how many wait, and why the receiver refuses them.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
struct Backlog {
    oldest_age_s: f64,
    depth: u64,
    refused: Option<String>,
}

/// The watch over one tun. The whole of it can be stored and taken up again.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Supervisor {
    plant: Plant,
    parameters: Parameters,
    channels: Vec<Channel>,
    by_measure: BTreeMap<Measures, usize>,
    flow_sum: FlowSum,
    links: BTreeMap<String, (LinkState, String)>,
    backlogs: BTreeMap<String, Backlog>,
    annunciator: Annunciator,
    /// In a box, because every step takes it out and puts it back.
    brew: Option<Box<Brew>>,
    /// Zero of the grid: the first event, or the start of the brew.
    origin: Option<Moment>,
    next_step: Moment,
    /// How long nothing has been read.
    silence: Silence,
    outputs: VecDeque<Dated>,
    /// Room for what is found in a step; empty between two.
    #[serde(skip)]
    findings: Vec<Finding>,
}

impl Supervisor {
    /// `instruments` keep their places: an event names them by index. Where several measure the same, the
    /// first is used.
    pub fn new(plant: Plant, instruments: Vec<Instrument>, parameters: Parameters) -> Self {
        let mut by_measure = BTreeMap::new();
        for (index, instrument) in instruments.iter().enumerate() {
            by_measure.entry(instrument.measures).or_insert(index);
        }
        Self {
            plant,
            parameters,
            channels: instruments.into_iter().map(Channel::new).collect(),
            by_measure,
            flow_sum: FlowSum::default(),
            links: BTreeMap::new(),
            backlogs: BTreeMap::new(),
            annunciator: Annunciator::default(),
            brew: None,
            origin: None,
            next_step: Moment::ZERO,
            silence: Silence::default(),
            outputs: VecDeque::new(),
            findings: Vec::new(),
        }
    }

    /// Takes an event that happened at `now`. Moments must not fall; an earlier one counts as the last.
    pub fn handle(&mut self, event: Event, now: Moment) {
        if self.origin.is_none() {
            self.set_origin(now, now);
        }
        if let Event::Interrupted { since, why } = event {
            self.pass_unwatched(since, why, now);
        }
        self.advance_before(now);
        match event {
            Event::BrewStarted {
                plan,
                zero,
                profile,
                corrections,
            } => {
                self.set_corrections(&corrections);
                self.start_brew(*plan, zero, profile.as_deref(), now);
            }
            Event::BrewEnded => self.end_brew(now),
            Event::Reading {
                instrument,
                reading,
            } => {
                self.take_reading(instrument, &reading, now);
                self.wake(now);
            }
            Event::Sample(sample) => self.take_sample(&sample, now),
            Event::SampleWithdrawn { number } => self.withdraw_sample(number, now),
            Event::Note { who, text } => self.take_note(&who, &text, now),
            Event::Raking { who, minutes } => self.take_raking(&who, minutes, now),
            Event::Link {
                name,
                state,
                detail,
            } => _ = self.links.insert(name, (state, detail)),
            Event::Delivery {
                publisher,
                oldest_age_s,
                depth,
                refused,
            } => {
                self.backlogs.insert(
                    publisher,
                    Backlog {
                        oldest_age_s,
                        depth,
                        refused,
                    },
                );
            }
            Event::Operator {
                alarm,
                instrument,
                who,
                action,
            } => {
                self.operate(alarm, instrument, &who, &action, now);
            }
            Event::Corrected {
                instrument,
                correction,
                who,
            } => self.correct(instrument, correction, &who, now),
            Event::Deed { .. } | Event::Interrupted { .. } | Event::Tick => {}
        }
    }

    /// The next output, oldest first.
    pub fn poll_output(&mut self) -> Option<Dated> {
        self.outputs.pop_front()
    }

    /// When the supervisor wants to be called although nothing has happened. Its answers do not depend on
    /// being called in time, only their arrival does.
    pub fn next_deadline(&self) -> Option<(Moment, DeadlineReason)> {
        self.origin.map(|_| (self.next_step, DeadlineReason::Step))
    }

    /// The plan of the brew under way.
    pub fn plan(&self) -> Option<&Plan> {
        self.brew.as_ref().map(|brew| &brew.plan)
    }

    /// The part of the run-off the tun is in; idle without a brew.
    pub fn phase(&self) -> Phase {
        self.brew.as_ref().map_or(Phase::Idle, |brew| brew.phase())
    }

    /// The grid's points are whole steps from `zero`; the next one is the first after `now`.
    fn set_origin(&mut self, zero: Moment, now: Moment) {
        self.origin = Some(zero);
        self.next_step = self.point_after(now, 1);
    }

    /// The first point of the grid after `now`, counting every `stride`-th only.
    fn point_after(&self, now: Moment, stride: i64) -> Moment {
        let step_us = ((self.parameters.step_s * 1e6).round() as i64).max(1) * stride;
        let zero = self.origin.unwrap_or(now);
        Moment(zero.0 + ((now.0 - zero.0).div_euclid(step_us) + 1) * step_us)
    }

    /// Runs the grid up to but not at `now`: what arrives at a grid point is still seen by it.
    fn advance_before(&mut self, now: Moment) {
        while self.next_step < now {
            let at = self.next_step;
            self.next_step = self.point_after(at, 1);
            self.step(at);
        }
    }

    fn take_reading(&mut self, index: usize, reading: &Reading, now: Moment) {
        let moves = self.process_moves();
        let celsius = self.celsius_at(index, now);
        let Some(channel) = self.channels.get_mut(index) else {
            return;
        };
        let outcome = channel.observe(
            reading,
            standing_is_suspicious(channel.instrument.measures, moves),
            celsius,
        );
        if let Some(size) = outcome.jump {
            self.note_jump(index, size, reading.at);
        }
        let channel = &self.channels[index];
        if self.by_measure.get(&Measures::RunoffFlow) != Some(&index) {
            return;
        }
        let stale_after_s = channel.stale_after_s();
        let unit = channel.unit;
        for mut believed in outcome.believed.iter() {
            if let Some(flow_l_min) = unit.linear_to_base(believed.value) {
                believed.value = flow_l_min;
                self.flow_sum.add(believed, stale_after_s);
            }
        }
    }

    /// The run-off is under way, so that standing values are suspicious.
    fn process_moves(&self) -> bool {
        let flowing = self.brew.as_ref().zip(self.flow_sum.last_l_min());
        flowing.is_some_and(|(brew, flow_l_min)| {
            flow_l_min > brew.cut_off(&self.parameters, &self.plant).runoff_l_min
        })
    }

    fn start_brew(&mut self, plan: Plan, zero: Moment, profile: Option<&TunProfile>, now: Moment) {
        if self.brew.is_some() {
            self.end_brew(now);
        }
        self.set_origin(zero, now);
        // A brew begins with fresh conditioning, so that its record alone replays it.
        for channel in &mut self.channels {
            *channel = Channel::corrected_by(channel.instrument.clone(), channel.correction());
        }
        self.flow_sum = FlowSum::default();
        self.silence = Silence::default();
        self.end_runoff_alarms(true, now);
        let text = format!(
            "Brew {} started: {:.0} kg of grist, target {:.1} °P at about {:.0} L.",
            plan.brew, plan.grist_kg, plan.target_gravity_p, plan.planned_volume_l
        );
        self.brew = Some(Box::new(Brew::new(
            plan,
            zero,
            &self.plant,
            &self.parameters,
            profile,
        )));
        self.occur(now, "brew-started", text);
    }

    fn end_brew(&mut self, now: Moment) {
        if self.next_step == now {
            self.next_step = self.point_after(now, 1);
            self.step(now);
        }
        let Some(mut brew) = self.brew.take() else {
            return;
        };
        brew.take_stop(StopCause::RunoffEnded, now, &self.plant, &self.parameters);
        let summary = self.summary(&brew);
        self.outputs.push_back(Dated {
            at: now,
            output: Output::Line(Line::Summary(summary)),
        });
        let lesson = brew.lesson(&self.plant);
        self.put(now, Output::Lesson(Box::new(lesson)));
        let text = format!("Brew {} ended.", brew.plan.brew);
        self.brew = Some(brew);
        self.occur(now, "brew-ended", text);
        self.brew = None;
    }

    fn channel(&self, measures: Measures) -> Option<&Channel> {
        self.by_measure
            .get(&measures)
            .map(|index| &self.channels[*index])
    }

    fn elapsed_s(&self, now: Moment) -> f64 {
        now.since(self.origin.unwrap_or(now))
    }

    fn put(&mut self, at: Moment, output: Output) {
        self.outputs.push_back(Dated { at, output });
    }

    fn occur(&mut self, at: Moment, event: &str, text: String) {
        let elapsed_s = self.brew.as_ref().map(|brew| brew.elapsed_s(at));
        self.put(
            at,
            Output::Occurrence(Occurrence {
                elapsed_s,
                event: event.to_owned(),
                text,
            }),
        );
    }
}

/// Whether a value that does not move is a fault while wort runs. Temperature, pH and turbidity of a steady
/// run-off may honestly stand still within a digit.
fn standing_is_suspicious(measures: Measures, flows: bool) -> bool {
    match measures {
        Measures::RunningsGravity
        | Measures::RunoffFlow
        | Measures::RunoffTotal
        | Measures::KettleVolume
        | Measures::KettleGravity
        | Measures::BedPressureDrop => flows,
        Measures::RunningsTemperature
        | Measures::RunningsPh
        | Measures::RunningsTurbidity
        | Measures::SpargeFlow
        | Measures::KettleTemperature
        | Measures::RakeRunning
        | Measures::PumpRunning
        | Measures::Recirculating => false,
    }
}

#[cfg(test)]
mod tests;
