//! What people at the tun ask of the run-off beside its state, and what they report by hand.
//!
//! Owns the forecast fan and the pace for display, notes, and rakings that no instrument sees. Nothing asked here
//! changes the brew.

use serde::{Deserialize, Serialize};

use crate::alarm::AlarmId;
use crate::projection::{Crossing, FanPoint};
use crate::reading::{Measures, Moment};

use super::Supervisor;

/// Pace and bed beside the figures of the run-off state.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Outlook {
    pub planned_flow_l_min: f64,
    /// Flow that finishes when the plan says; None before wort flows and when the time is over.
    pub timely_flow_l_min: Option<f64>,
    /// Smoothed bed resistance, 1/m.
    pub bed_resistance_per_m: Option<f64>,
    pub pressure_drop_limit_kpa: f64,
    /// Flow at which the pressure drop would come to its limit through the bed as it is.
    pub flow_at_limit_l_min: Option<f64>,
    /// If the bed goes on as over the last minutes; None while it does not tighten.
    pub seconds_to_pressure_limit: Option<f64>,
    /// The rakes are seen by an instrument that is believed.
    pub rakes_are_seen: bool,
    /// Since wort first ran to the kettle, s; None before.
    pub since_start_s: Option<f64>,
    /// While a channel is alarmed or suspected; None otherwise.
    pub channel_doubt: Option<ChannelDoubt>,
    /// While the balance rests: for how long every instrument has been silent, s; None while it goes on. Run-off state and
    /// projection then stand as they were, and what is left to the stop-point is not known.
    pub silent_s: Option<f64>,
}

/// Why the stop-point is in doubt while liquor may run through a channel.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct ChannelDoubt {
    /// The condition of the alarm `channelling` is met; else a channel is only suspected.
    pub alarmed: bool,
    /// The target as it was projected before the suspicion.
    pub target_before: Option<Crossing>,
}

impl Supervisor {
    /// Pace and bed now; None without a brew.
    pub fn outlook(&self, now: Moment) -> Option<Outlook> {
        let brew = self.brew.as_ref()?;
        let picture = self.picture(now);
        let channel_met = self.annunciator.is_met(AlarmId::Channelling, None);
        let limit_kpa = self.plant.pressure_drop_limit_kpa;
        let flowing = picture.flow_l_min.zip(picture.pressure_drop_kpa);
        Some(Outlook {
            planned_flow_l_min: brew.planned_flow_l_min(&self.plant),
            timely_flow_l_min: brew.timely_flow_l_min(now),
            bed_resistance_per_m: brew.bed.resistance_per_m(),
            pressure_drop_limit_kpa: limit_kpa,
            flow_at_limit_l_min: flowing
                .filter(|(flow, kpa)| *flow > self.parameters.no_flow_l_min && *kpa > 0.0)
                .map(|(flow, kpa)| flow * limit_kpa / kpa),
            seconds_to_pressure_limit: picture
                .pressure_drop_kpa
                .and_then(|kpa| brew.bed.seconds_to_limit(kpa, limit_kpa)),
            rakes_are_seen: self.rakes_are_seen(),
            since_start_s: brew.flow_started.map(|at| now.since(at)),
            channel_doubt: brew
                .is_in_channel_doubt(channel_met)
                .then_some(ChannelDoubt {
                    alarmed: channel_met,
                    target_before: brew.before_channel,
                }),
            silent_s: self.silence.resting_for_s(now),
        })
    }

    /// The forecast along the way, from what the last projection knew; empty without a brew.
    pub fn forecast(&self, now: Moment) -> Vec<FanPoint> {
        self.brew.as_ref().map_or_else(Vec::new, |brew| {
            let picture = self.picture(now);
            brew.fan(&picture, now, &self.plant, &self.parameters)
        })
    }

    pub(super) fn rakes_are_seen(&self) -> bool {
        self.channel(Measures::RakeRunning)
            .is_some_and(|channel| channel.is_on().is_ok())
    }

    pub(super) fn take_note(&mut self, who: &str, text: &str, now: Moment) {
        self.occur(now, "note", format!("{who}: {text}"));
    }

    /// An instrument that sees the rakes knows better than a report; without one the report stands in for it.
    pub(super) fn take_raking(&mut self, who: &str, minutes: f64, now: Moment) {
        let seen = self.rakes_are_seen();
        if let Some(brew) = &mut self.brew
            && !seen
        {
            brew.raking_until = Some(now.plus_seconds(60.0 * minutes));
        }
        self.occur(
            now,
            "raking",
            format!("{who}: raking for {minutes:.0} min."),
        );
    }
}
