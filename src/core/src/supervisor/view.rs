//! What the rules of detection are shown at one step.
//!
//! Owns the gathering: everything comes from the brew, the picture and the plant as they are; nothing is judged here.

use crate::detect::{Suspect, View, VolumeChange};
use crate::reading::{Measures, Moment};

use super::Supervisor;
use super::brew::{Brew, Picture};

impl Supervisor {
    pub(super) fn view(&self, brew: &Brew, picture: &Picture, now: Moment) -> View {
        let named = |measures: Measures, deviations: f64| {
            self.channel(measures)
                .map(|channel| (channel.instrument.id.clone(), deviations))
        };
        let flow_l_min = picture.flow_l_min;
        View {
            elapsed_s: brew.elapsed_s(now),
            flowing: brew.flow_started.is_some()
                && !picture.recirculating
                && flow_l_min.is_some_and(|flow| flow > self.parameters.no_flow_l_min),
            recirculating: picture.recirculating,
            undisturbed_s: brew.undisturbed_s(now),
            rakes_are_seen: self.rakes_are_seen(),
            flow_is_steady: brew.flow_is_steady(picture),
            seconds_since_raking: brew.raked.map(|at| now.since(at)),
            runoff_l: brew.kettle.metered_l(),
            runoff_share: brew.kettle.metered_l() / brew.plan.planned_volume_l,
            flow_l_min,
            planned_flow_l_min: brew.planned_flow_l_min(&self.plant),
            timely_flow_l_min: brew.timely_flow_l_min(now),
            usual_flow_l_min: brew.usual_flow_l_min(),
            pump_running: picture.pump_running,
            pulled_s: brew.pulled_s(now),
            runnings_gravity_p: picture.runnings_gravity_p.map(|known| known.value),
            gravity_floor_p: brew.plan.gravity_floor_p,
            runnings_ph: picture.runnings_ph.map(|known| known.value),
            ph_ceiling: brew.plan.ph_ceiling,
            turbidity_ebc: picture.turbidity_ebc,
            turbidity_rate_ebc_s: picture.turbidity_rate_ebc_s,
            since_start_s: brew.flow_started.map_or(0.0, |at| now.since(at)),
            pressure_drop_kpa: picture.pressure_drop_kpa,
            pressure_drop_limit_kpa: self.plant.pressure_drop_limit_kpa,
            seconds_to_pressure_limit: picture.pressure_drop_kpa.and_then(|kpa| {
                brew.bed
                    .seconds_to_limit(kpa, self.plant.pressure_drop_limit_kpa)
            }),
            contents: brew.kettle.contents(),
            capacity_l: self.plant.capacity_l,
            target_gravity_p: brew.plan.target_gravity_p,
            target_was_ahead: brew.target_was_ahead,
            target: brew.crossings.target,
            gravity_floor: brew.crossings.gravity_floor,
            ph_ceiling_crossing: brew.crossings.ph_ceiling,
            stop: brew.stop,
            stop_ahead_s: self.parameters.stop_ahead_s,
            early_limit: brew.crossings.early_limit,
            limit_ahead_s: self.parameters.limit_ahead_s,
            level_disagreement: named(Measures::KettleVolume, brew.disagreements.level),
            kettle_gravity_disagreement: named(
                Measures::KettleGravity,
                brew.disagreements.kettle_gravity,
            ),
            flow_instrument: self.id_of(Measures::RunoffFlow),
            volume_change: self.volume_change(brew),
            sampled: [
                (Measures::RunningsGravity, &brew.samples.gravity),
                (Measures::RunningsPh, &brew.samples.ph),
            ]
            .into_iter()
            .filter_map(|(measures, samples)| Some((self.id_of(measures)?, samples.sum())))
            .collect(),
        }
    }

    fn id_of(&self, measures: Measures) -> Option<String> {
        self.channel(measures)
            .map(|channel| channel.instrument.id.clone())
    }

    fn volume_change(&self, brew: &Brew) -> Option<VolumeChange> {
        let (excess, since_minutes) = brew.volumes.change()?;
        let level = self.id_of(Measures::KettleVolume)?;
        let flow = self.id_of(Measures::RunoffFlow)?;
        let (suspect, other) = match brew.suspect()? {
            Suspect::Level => (level, flow),
            Suspect::Flow => (flow, level),
        };
        Some(VolumeChange {
            suspect,
            other,
            difference_l: excess * brew.plan.planned_volume_l,
            since_minutes,
        })
    }
}
