//! One brew under way: its balance, its washout, its bed, its projection.
//!
//! Owns everything that begins with a brew and ends with it. It is fed with values already conditioned; it
//! does not know instruments or alarms.

mod blind;
pub(super) mod cut_off;
mod learning;
mod notes;
mod rake_effect;
mod rake_gain;
mod sampling;
mod stopping;

use std::collections::VecDeque;

use serde::{Deserialize, Serialize};

use crate::bed::Bed;
use crate::detect::{ChannelWatch, Comparison, Suspect, is_pulled};
use crate::kettle::{Contents, Kettle};
use crate::profile::TunProfile;
use crate::projection::{Crossing, Crossings, Draws, Plan, Stop};
use crate::reading::Moment;
use crate::washout::{Acidity, Expectation, Washout};

use self::notes::Notes;
pub use self::sampling::SampleDoubt;
pub(super) use self::sampling::Samples;
use super::doubt::Witnesses;
use super::inflow::Inflow;
use super::output::Phase;
use super::parameters::{Parameters, Plant};
use super::phase::PhaseWatch;

/// A value of the process with its standard error.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Known {
    pub value: f64,
    pub standard_error: f64,
}

/// What the instruments say at one step, in the program's own units.
#[derive(Clone, Debug, PartialEq, Default)]
pub(super) struct Picture {
    pub runnings_gravity_p: Option<Known>,
    pub runnings_temperature_c: Option<f64>,
    /// On the plan's basis.
    pub runnings_ph: Option<Known>,
    pub turbidity_ebc: Option<f64>,
    pub turbidity_rate_ebc_s: Option<f64>,
    pub flow_l_min: Option<f64>,
    /// The flow is another instrument's word, for the flow meter there is gives none.
    pub flow_is_stand_in: bool,
    pub sparge_l_min: Option<f64>,
    pub pressure_drop_kpa: Option<f64>,
    pub level_l: Option<Known>,
    /// Totaliser less the flow meter's own sum.
    pub total_beyond_sum_l: Option<f64>,
    pub kettle_gravity_p: Option<Known>,
    pub kettle_temperature_c: Option<f64>,
    pub raking: bool,
    pub recirculating: bool,
    pub pump_running: Option<bool>,
    /// A pH instrument is configured, whether or not it has a value now.
    pub has_ph_instrument: bool,
}

/// How the level and the kettle's own gravity meter have lately compared with the balance.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Disagreements {
    pub level: f64,
    pub kettle_gravity: f64,
}

/// The totaliser against the flow meter: their difference when it was first read and now, L.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Totals {
    pub before_l: Option<f64>,
    pub since_l: f64,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Brew {
    pub plan: Plan,
    pub origin: Moment,
    pub kettle: Kettle,
    pub washout: Washout,
    pub acidity: Acidity,
    pub bed: Bed,
    pub channel_watch: ChannelWatch,
    pub inflow: Inflow,
    pub phase: PhaseWatch,
    pub crossings: Crossings,
    pub stop: Option<Stop>,
    /// Kettle gravity has been above the target, so that coming down to it means something.
    pub target_was_ahead: bool,
    /// It has been said that the kettle never was above the target.
    pub told_out_of_reach: bool,
    /// The crossing of the target, once it has happened.
    pub reached: Option<Crossing>,
    pub floor_met: Option<Crossing>,
    pub ceiling_met: Option<Crossing>,
    /// What ended the run-off first, once something has.
    pub stop_taken: Option<Stop>,
    /// Contents when `stop_taken` was noted.
    pub contents_at_stop: Option<Contents>,
    pub disagreements: Disagreements,
    /// Kettle level against summed flow, and what the totaliser says of the flow meter beside it.
    pub volumes: Comparison,
    pub totals: Totals,
    /// The hand samples, and the line's gravity and pH against them.
    pub samples: Samples,
    pub witnesses: Witnesses,
    pub flow_started: Option<Moment>,
    /// The channel that is suspected now has been alarmed.
    channel_alarmed: bool,
    /// The target as it was projected before a channel was suspected, while one is.
    pub before_channel: Option<Crossing>,
    disturbed: Moment,
    /// What had run off by then, L.
    disturbed_l: f64,
    /// When the run-off was last not pulled: the pump stood, or wort went back.
    unpulled: Moment,
    /// How long nothing has run to the kettle, s.
    rested_s: f64,
    /// When the rakes last ran.
    pub raked: Option<Moment>,
    /// A person has reported that the rakes run until then.
    #[serde(default)]
    pub raking_until: Option<Moment>,
    draws: Draws,
    /// Mean flow of the last minute or two while it ran.
    pace_l_min: f64,
    flows: VecDeque<(Moment, f64)>,
    usual_l_min: Option<f64>,
    seen_ph: bool,
    last_contents: Option<(f64, f64)>,
    /// Kettle gravity at the last comparison with the kettle's own meter.
    compared_gravity_p: Option<f64>,
    /// Summed flow and level at their last comparison, L.
    compared_l: Option<(f64, f64)>,
    pub notes: Notes,
}

/// Time constant of the pace, s. Common practice, no source.
const PACE_S: f64 = 90.0;
/// Interval and number of the kept flows for the usual flow: the last quarter hour.
const FLOWS_EVERY_S: f64 = 30.0;
const FLOWS_KEPT: usize = 30;
/// What a flow meter may be out by that the level contradicts, share.
const SUSPECT_FLOW_SD_SHARE: f64 = 0.1;
/// Interval at which level and kettle gravity are compared with the balance, s: closer ones share their noise.
pub(super) const COMPARE_EVERY_S: f64 = 10.0;

impl Brew {
    /// `profile`: what earlier brews on this tun taught.
    pub fn new(
        plan: Plan,
        origin: Moment,
        plant: &Plant,
        parameters: &Parameters,
        profile: Option<&TunProfile>,
    ) -> Self {
        let planned_flow_l_min =
            (plan.planned_volume_l - plant.heel_l).max(1.0) / plan.runoff_minutes;
        let expectation = Expectation {
            grist_kg: plan.grist_kg,
            first_wort_gravity_p: plan.first_wort_gravity_p,
            target_gravity_p: plan.target_gravity_p,
            planned_volume_l: plan.planned_volume_l,
            heel_l: plant.heel_l,
        };
        let teaching =
            profile.and_then(|profile| profile.teaching(&plan, expectation, &parameters.washout));
        let washout = match teaching {
            Some(teaching) => Washout::taught(parameters.washout, expectation, teaching),
            None => Washout::new(parameters.washout, expectation),
        };
        Self {
            kettle: Kettle::new(
                parameters.kettle,
                plant.capacity_l,
                plant.heel_l,
                parameters.assumed_temperature_c,
            ),
            washout,
            acidity: Acidity::new(parameters.acidity),
            bed: Bed::new(parameters.bed, plant.bed_area_m2, planned_flow_l_min),
            channel_watch: ChannelWatch::new(&parameters.detect, plan.planned_volume_l),
            inflow: Inflow::default(),
            phase: PhaseWatch::default(),
            crossings: Crossings::default(),
            stop: None,
            target_was_ahead: false,
            told_out_of_reach: false,
            reached: None,
            floor_met: None,
            ceiling_met: None,
            stop_taken: None,
            contents_at_stop: None,
            disagreements: Disagreements::default(),
            volumes: Comparison::default(),
            totals: Totals::default(),
            samples: Samples::new(parameters),
            witnesses: Witnesses::default(),
            flow_started: None,
            channel_alarmed: false,
            before_channel: None,
            disturbed: origin,
            disturbed_l: 0.0,
            unpulled: origin,
            compared_l: None,
            rested_s: 0.0,
            raked: None,
            raking_until: None,
            draws: Draws::new(Draws::seed_of(&plan.brew)),
            pace_l_min: planned_flow_l_min,
            flows: VecDeque::new(),
            usual_l_min: None,
            seen_ph: false,
            last_contents: None,
            compared_gravity_p: None,
            notes: Notes::default(),
            plan,
            origin,
        }
    }

    pub fn planned_flow_l_min(&self, plant: &Plant) -> f64 {
        (self.plan.planned_volume_l - plant.heel_l).max(1.0) / self.plan.runoff_minutes
    }

    /// Flow that brings the kettle to its stop-point when the plan says, from now on.
    pub fn timely_flow_l_min(&self, now: Moment) -> Option<f64> {
        let ends_s = 60.0 * self.plan.runoff_minutes - now.since(self.flow_started?);
        let volume_l = self
            .stop
            .map_or(self.plan.planned_volume_l, |stop| stop.volume_l);
        let left_l = (volume_l - self.kettle.contents().volume_l).max(0.0);
        (ends_s > 60.0).then(|| 60.0 * left_l / ends_s)
    }

    pub fn elapsed_s(&self, now: Moment) -> f64 {
        now.since(self.origin)
    }

    pub fn pace_l_min(&self) -> f64 {
        self.pace_l_min
    }

    /// Seconds since raking, a pause or recirculation last disturbed the bed.
    pub fn undisturbed_s(&self, now: Moment) -> f64 {
        now.since(self.disturbed)
    }

    /// What has run off since then, L.
    pub fn undisturbed_l(&self) -> f64 {
        self.kettle.metered_l() - self.disturbed_l
    }

    /// Seconds since the pump started, or since wort went back.
    pub fn pulled_s(&self, now: Moment) -> f64 {
        now.since(self.unpulled)
    }

    /// The usual flow: the middle one of the last quarter hour while it ran.
    pub fn usual_flow_l_min(&self) -> Option<f64> {
        self.usual_l_min
    }

    /// Takes what has run off in one step and what the instruments say with it.
    pub fn advance(
        &mut self,
        volume_l: f64,
        unmetered_sd_l: f64,
        picture: &Picture,
        now: Moment,
        p: &Parameters,
        plant: &Plant,
    ) {
        let step_s = p.step_s;
        let flow_l_min = 60.0 * volume_l / step_s;
        let cut_off = self.cut_off(p, plant);
        let flow = picture.flow_l_min.unwrap_or(flow_l_min);
        let flows = self.is_flow(flow, volume_l, cut_off);
        let (volume_l, unmetered_sd_l) = if flows || self.flow_started.is_some() {
            (volume_l, unmetered_sd_l)
        } else {
            // Before the first wort the little that is summed is the meter's error.
            (0.0, 0.0)
        };
        let to_kettle = flows && !picture.recirculating;
        if picture.raking {
            self.note_rakes(now, p);
            self.raked = Some(now);
            self.washout.note_stirring();
        }
        // A meter that lies through a pause is found out by the pump.
        let stands = !flows || picture.pump_running == Some(false);
        if picture.raking || picture.recirculating || stands {
            self.disturb(now);
        }
        if picture.recirculating || picture.pump_running == Some(false) {
            self.unpulled = now;
        }
        if to_kettle {
            self.flow_started.get_or_insert(now);
            let rested_s = std::mem::take(&mut self.rested_s);
            if rested_s > 0.0 {
                self.washout.note_rest(rested_s);
            }
            self.note_pace(picture, flow, now, p, plant);
        }
        if !to_kettle {
            self.rested_s += step_s;
        }
        if !picture.recirculating && volume_l != 0.0 {
            self.fill(volume_l, picture, p);
        }
        if !picture.recirculating && unmetered_sd_l != 0.0 {
            self.widen(unmetered_sd_l, picture);
        }
        if to_kettle {
            self.learn_runnings(picture, plant);
        }
        self.learn_bed(picture, now, p);
        self.witnesses
            .look(picture, self.plan.planned_volume_l, now);
        if self.suspect() == Some(Suspect::Flow) {
            // From now on the level knows better.
            self.kettle
                .widen_volume(SUSPECT_FLOW_SD_SHARE * volume_l.abs(), None);
        }
        self.note_step(picture, to_kettle, now, p, plant);
        self.phase.advance(
            picture,
            to_kettle,
            &self.washout,
            self.stop_taken.is_some(),
            now,
            cut_off,
        );
        self.note_target(now);
    }

    /// What the bed did until now says nothing about what it does next.
    fn disturb(&mut self, now: Moment) {
        self.disturbed = now;
        self.disturbed_l = self.kettle.metered_l();
        self.bed.forget_course();
        self.channel_watch.forget();
    }

    fn note_pace(
        &mut self,
        picture: &Picture,
        flow_l_min: f64,
        now: Moment,
        p: &Parameters,
        plant: &Plant,
    ) {
        let weight = 1.0 - (-p.step_s / PACE_S).exp();
        self.pace_l_min += weight * (flow_l_min - self.pace_l_min);
        // What a stuck bed still lets through is not usual, however long it lasts.
        let lost = self
            .usual_flow_l_min()
            .is_some_and(|usual_l_min| flow_l_min < p.detect.stuck_flow_share * usual_l_min)
            && picture
                .pressure_drop_kpa
                .is_some_and(|kpa| is_pulled(kpa, plant.pressure_drop_limit_kpa));
        if !lost
            && self
                .flows
                .back()
                .is_none_or(|(at, _)| now.since(*at) >= FLOWS_EVERY_S)
        {
            self.flows.push_back((now, flow_l_min));
            if self.flows.len() > FLOWS_KEPT {
                self.flows.pop_front();
            }
            let mut flows: Vec<f64> = self.flows.iter().map(|(_, flow)| *flow).collect();
            self.usual_l_min = (flows.len() >= 4).then(|| crate::conditioning::median(&mut flows));
        }
    }

    pub fn phase(&self) -> Phase {
        self.phase.phase()
    }
}
