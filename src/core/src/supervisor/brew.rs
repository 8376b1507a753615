//! One brew under way: its balance, its washout, its bed, its projection.
//!
//! Owns everything that begins with a brew and ends with it. It is fed with values already conditioned; it
//! does not know instruments or alarms.

use std::collections::VecDeque;

use serde::{Deserialize, Serialize};

use crate::bed::{Bed, Flowing};
use crate::detect::ChannelWatch;
use crate::kettle::{Contents, Kettle, Portion};
use crate::projection::{
    Band, Crossing, Crossings, Draws, Limits, PhBasis, Plan, Situation, Stop, StopCause, StopRule,
    crossings,
};
use crate::reading::Moment;
use crate::units::{ph_in_process, wort_viscosity_mpa_s};
use crate::washout::{Acidity, Expectation, Washout};

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
    pub flow_l_min: Option<f64>,
    pub sparge_l_min: Option<f64>,
    pub pressure_drop_kpa: Option<f64>,
    pub level_l: Option<Known>,
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
    /// The crossing of the target, once it has happened.
    pub reached: Option<Crossing>,
    pub floor_met: Option<Crossing>,
    pub ceiling_met: Option<Crossing>,
    /// What ended the run-off first, once something has.
    pub stop_taken: Option<Stop>,
    /// Contents when `stop_taken` was noted.
    pub contents_at_stop: Option<Contents>,
    pub disagreements: Disagreements,
    pub flow_started: Option<Moment>,
    disturbed: Moment,
    draws: Draws,
    /// Mean flow of the last minute or two while it ran.
    pace_l_min: f64,
    flows: VecDeque<(Moment, f64)>,
    seen_ph: bool,
    last_contents: Option<(f64, f64)>,
}

/// Errors of hand samples taken in an instrument's place. Common practice, no source.
const SAMPLE_GRAVITY_SD_P: f64 = 0.15;
const SAMPLE_PH_SD: f64 = 0.05;
/// Time constant of the pace, s. Common practice, no source.
const PACE_S: f64 = 90.0;
/// Interval and number of the kept flows for the usual flow: the last quarter hour.
const FLOWS_EVERY_S: f64 = 30.0;
const FLOWS_KEPT: usize = 30;
/// Interval at which level and kettle gravity are compared with the balance, s: closer ones share their noise.
pub(super) const COMPARE_EVERY_S: f64 = 10.0;

impl Brew {
    pub fn new(plan: Plan, origin: Moment, plant: &Plant, parameters: &Parameters) -> Self {
        let planned_flow_l_min =
            (plan.planned_volume_l - plant.heel_l).max(1.0) / plan.runoff_minutes;
        let expectation = Expectation {
            first_wort_gravity_p: plan.first_wort_gravity_p,
            target_gravity_p: plan.target_gravity_p,
            planned_volume_l: plan.planned_volume_l,
            heel_l: plant.heel_l,
        };
        Self {
            kettle: Kettle::new(
                parameters.kettle,
                plant.capacity_l,
                plant.heel_l,
                parameters.assumed_temperature_c,
            ),
            washout: Washout::new(parameters.washout, expectation),
            acidity: Acidity::new(parameters.acidity),
            bed: Bed::new(parameters.bed, plant.bed_area_m2, planned_flow_l_min),
            channel_watch: ChannelWatch::new(&parameters.detect, plan.planned_volume_l),
            inflow: Inflow::default(),
            phase: PhaseWatch::default(),
            crossings: Crossings::default(),
            stop: None,
            target_was_ahead: false,
            reached: None,
            floor_met: None,
            ceiling_met: None,
            stop_taken: None,
            contents_at_stop: None,
            disagreements: Disagreements::default(),
            flow_started: None,
            disturbed: origin,
            draws: Draws::new(Draws::seed_of(&plan.brew)),
            pace_l_min: planned_flow_l_min,
            flows: VecDeque::new(),
            seen_ph: false,
            last_contents: None,
            plan,
            origin,
        }
    }

    pub fn planned_flow_l_min(&self, plant: &Plant) -> f64 {
        (self.plan.planned_volume_l - plant.heel_l).max(1.0) / self.plan.runoff_minutes
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

    /// The usual flow: the middle one of the last quarter hour while it ran.
    pub fn usual_flow_l_min(&self) -> Option<f64> {
        let mut flows: Vec<f64> = self.flows.iter().map(|(_, flow)| *flow).collect();
        (flows.len() >= 4).then(|| crate::conditioning::median(&mut flows))
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
        let flows = picture.flow_l_min.unwrap_or(flow_l_min) > p.no_flow_l_min;
        let to_kettle = flows && !picture.recirculating;
        if picture.raking || picture.recirculating || !flows {
            self.disturbed = now;
            self.bed.forget_course();
            self.channel_watch.forget();
        }
        if to_kettle {
            self.flow_started.get_or_insert(now);
            self.note_pace(picture.flow_l_min.unwrap_or(flow_l_min), now, step_s);
        }
        if !picture.recirculating && volume_l != 0.0 {
            self.fill(volume_l, picture, p);
            self.kettle.widen_volume(unmetered_sd_l);
        }
        if to_kettle {
            self.learn_runnings(picture, plant);
        }
        self.learn_bed(picture, now, p);
        self.phase.advance(
            picture,
            to_kettle,
            &self.washout,
            self.stop_taken.is_some(),
            now,
            p,
        );
        self.note_target(now);
    }

    fn fill(&mut self, volume_l: f64, picture: &Picture, p: &Parameters) {
        let runoff_l = self.kettle.metered_l();
        let measured = picture.runnings_gravity_p;
        let (gravity_p, gravity_se_p) = measured.map_or_else(
            || self.washout.expected(runoff_l),
            |known| (known.value, known.standard_error),
        );
        self.kettle.fill(Portion {
            volume_l,
            gravity_p: gravity_p.max(0.0),
            gravity_se_p,
            temperature_c: picture
                .runnings_temperature_c
                .unwrap_or(p.assumed_temperature_c),
            measured: measured.is_some(),
        });
    }

    fn learn_runnings(&mut self, picture: &Picture, plant: &Plant) {
        let runoff_l = self.kettle.metered_l();
        let Some(gravity) = picture.runnings_gravity_p else {
            return;
        };
        // The pipe's first content is not wort from the bed.
        if runoff_l < 1.5 * plant.pipe_volume_l + 0.004 * self.plan.planned_volume_l {
            return;
        }
        self.washout
            .observe(runoff_l, gravity.value, gravity.standard_error.max(0.005));
        if let Some(ph) = picture.runnings_ph {
            self.seen_ph = true;
            let first_wort_p = self.washout.first_wort_gravity_p();
            self.acidity.observe(
                first_wort_p,
                gravity.value,
                ph.value,
                ph.standard_error.max(0.005),
            );
        }
    }

    /// A runnings sample: against the line where it has a value, else in its place.
    pub fn take_runnings_sample(&mut self, gravity_p: f64, picture: &Picture) {
        match picture.runnings_gravity_p {
            Some(line) => _ = self.kettle.observe_runnings_sample(line.value, gravity_p),
            None => self
                .washout
                .observe(self.kettle.metered_l(), gravity_p, SAMPLE_GRAVITY_SD_P),
        }
    }

    /// A pH sample, cooled to room temperature, where no instrument reads the pH.
    pub fn take_ph_sample(&mut self, ph: f64, picture: &Picture, p: &Parameters) {
        let runoff_l = self.kettle.metered_l();
        let gravity_p = picture
            .runnings_gravity_p
            .map_or_else(|| self.washout.expected(runoff_l).0, |known| known.value);
        let on_basis = match self.plan.ph_basis {
            PhBasis::Room => ph,
            PhBasis::Process => ph_in_process(
                ph,
                picture
                    .runnings_temperature_c
                    .unwrap_or(p.assumed_temperature_c),
            ),
        };
        self.seen_ph = true;
        self.acidity.observe(
            self.washout.first_wort_gravity_p(),
            gravity_p,
            on_basis,
            SAMPLE_PH_SD,
        );
    }

    fn learn_bed(&mut self, picture: &Picture, now: Moment, p: &Parameters) {
        let (Some(pressure_drop_kpa), Some(flow_l_min)) =
            (picture.pressure_drop_kpa, picture.flow_l_min)
        else {
            return;
        };
        let temperature_c = picture
            .runnings_temperature_c
            .unwrap_or(p.assumed_temperature_c);
        let gravity_p = picture.runnings_gravity_p.map_or_else(
            || self.washout.expected(self.kettle.metered_l()).0,
            |known| known.value.max(0.0),
        );
        let viscosity_mpa_s = wort_viscosity_mpa_s(gravity_p, temperature_c);
        self.bed.observe(
            Flowing {
                pressure_drop_kpa,
                flow_l_min,
                viscosity_mpa_s,
            },
            now,
        );
    }

    fn note_pace(&mut self, flow_l_min: f64, now: Moment, step_s: f64) {
        let weight = 1.0 - (-step_s / PACE_S).exp();
        self.pace_l_min += weight * (flow_l_min - self.pace_l_min);
        if self
            .flows
            .back()
            .is_none_or(|(at, _)| now.since(*at) >= FLOWS_EVERY_S)
        {
            self.flows.push_back((now, flow_l_min));
            if self.flows.len() > FLOWS_KEPT {
                self.flows.pop_front();
            }
        }
    }

    /// Compares the balance with the level and the kettle's own gravity meter.
    pub fn compare(&mut self, picture: &Picture) {
        const MEMORY: f64 = 0.8;
        if let Some(level) = picture.level_l {
            let deviation = self.kettle.observe_level(level.value, level.standard_error);
            self.disagreements.level =
                MEMORY * self.disagreements.level + (1.0 - MEMORY) * deviation;
        }
        // A gravity meter in the kettle is dry until the wort has reached it.
        let wet = self.kettle.metered_l() > 0.1 * self.plan.planned_volume_l;
        if let Some(gravity) = picture.kettle_gravity_p.filter(|_| wet)
            && let Some(deviation) = self
                .kettle
                .observe_kettle_gravity(gravity.value, gravity.standard_error)
        {
            let memory = &mut self.disagreements.kettle_gravity;
            *memory = MEMORY * *memory + (1.0 - MEMORY) * deviation;
        }
    }

    /// Notices the kettle gravity coming down to the target, and where exactly between two steps it did.
    fn note_target(&mut self, now: Moment) {
        let contents = self.kettle.contents();
        let Some(gravity_p) = contents.gravity_p else {
            return;
        };
        let target_p = self.plan.target_gravity_p;
        let before = self.last_contents.replace((gravity_p, contents.volume_l));
        let enough = self.kettle.metered_l() > 0.03 * self.plan.planned_volume_l;
        if gravity_p > target_p {
            self.target_was_ahead |= enough;
            return;
        }
        if !self.target_was_ahead || self.reached.is_some() {
            return;
        }
        let volume_l = match before {
            Some((above_p, from_l)) if above_p > target_p => {
                from_l + (above_p - target_p) / (above_p - gravity_p) * (contents.volume_l - from_l)
            }
            _ => contents.volume_l,
        };
        let crossing = self.crossing_now(volume_l, now, contents.gravity_se_p, &contents);
        self.reached = Some(crossing);
    }

    /// A crossing that has just happened: its doubt is the kettle gravity's over the slope of the kettle.
    fn crossing_now(
        &self,
        volume_l: f64,
        now: Moment,
        gravity_se_p: f64,
        contents: &Contents,
    ) -> Crossing {
        let kettle_p = contents.gravity_p.unwrap_or(self.plan.target_gravity_p);
        let runnings_p = self.washout.expected(self.kettle.metered_l()).0;
        let slope_p_per_l = ((kettle_p - runnings_p) / contents.volume_l.max(1.0)).max(1e-6);
        let volume_sd_l = (gravity_se_p / slope_p_per_l).min(0.3 * volume_l);
        let seconds_per_l = 60.0 / self.pace_l_min.max(1e-3);
        let elapsed_s =
            self.elapsed_s(now) - (contents.volume_l - volume_l).max(0.0) * seconds_per_l;
        let total_sd_l = volume_sd_l.hypot(contents.volume_se_l);
        Crossing {
            volume_l: Band::around(volume_l, total_sd_l),
            elapsed_s: Band::around(elapsed_s, volume_sd_l * seconds_per_l),
        }
    }

    /// Notes that something has ended the run-off, if it is the first to do so.
    pub fn take_stop(&mut self, cause: StopCause, now: Moment, plant: &Plant, p: &Parameters) {
        let contents = self.kettle.contents();
        let crossing = self.crossing_now(
            contents.volume_l,
            now,
            0.5 * contents.gravity_se_p,
            &contents,
        );
        match cause {
            StopCause::GravityFloor => _ = self.floor_met.get_or_insert(crossing),
            StopCause::PhCeiling => _ = self.ceiling_met.get_or_insert(crossing),
            StopCause::TargetGravity | StopCause::KettleCapacity | StopCause::RunoffEnded => {}
        }
        if self.stop_taken.is_some() {
            return;
        }
        let mut stop = self
            .stop_rule(plant, p)
            .at(cause, &contents, self.elapsed_s(now));
        if let Some(reached) = self.reached.filter(|_| cause == StopCause::TargetGravity) {
            stop.volume_l = reached.volume_l.p50;
            stop.final_volume_l = stop.volume_l;
            stop.elapsed_s = reached.elapsed_s.p50;
        }
        self.stop_taken = Some(stop);
        self.contents_at_stop = Some(contents);
    }

    fn stop_rule(&self, plant: &Plant, p: &Parameters) -> StopRule {
        StopRule {
            target_gravity_p: self.plan.target_gravity_p,
            capacity_l: plant.capacity_l,
            top_up_temperature_c: p.top_up_temperature_c,
            kettle_temperature_c: p.assumed_temperature_c,
        }
    }

    /// Brings the forecast up to now.
    pub fn project(&mut self, picture: &Picture, now: Moment, plant: &Plant, p: &Parameters) {
        self.washout.refit();
        let runoff_l = self.kettle.metered_l();
        self.channel_watch.remember(runoff_l, &self.washout);
        let planned_l = (self.plan.planned_volume_l - plant.heel_l).max(1.0);
        let situation = Situation {
            elapsed_s: self.elapsed_s(now),
            contents: self.kettle.contents(),
            runoff_l,
            flow_scale: self.kettle.flow_scale(),
            calibration_p: self.kettle.runnings_calibration_p(),
            flow_l_min: self.pace_l_min,
            temperature_c: picture
                .runnings_temperature_c
                .unwrap_or(p.assumed_temperature_c),
        };
        let limits = Limits {
            target_gravity_p: self.plan.target_gravity_p,
            gravity_floor_p: self.plan.gravity_floor_p,
            ph_ceiling: self.plan.ph_ceiling,
            horizon_l: (2.0 * planned_l - runoff_l).max(0.3 * planned_l),
        };
        let acidity = (self.seen_ph || picture.has_ph_instrument).then_some(&self.acidity);
        let ahead = crossings(&situation, &limits, &self.washout, acidity, &self.draws);
        // A limit far beyond any run-off on this plan will not be reached.
        let within = |crossing: Option<Crossing>| {
            crossing.filter(|crossing| crossing.volume_l.p50 <= 1.6 * self.plan.planned_volume_l)
        };
        self.crossings = Crossings {
            target: self.reached.or(ahead.target),
            gravity_floor: self.floor_met.or(within(ahead.gravity_floor)),
            ph_ceiling: self.ceiling_met.or(within(ahead.ph_ceiling)),
            ..ahead
        };
        self.stop = self.stop_taken.or_else(|| {
            let rule = self.stop_rule(plant, p);
            rule.decide(
                &self.crossings,
                &situation.contents,
                situation.elapsed_s,
                self.pace_l_min,
            )
        });
    }

    pub fn phase(&self) -> Phase {
        self.phase.phase()
    }
}
