//! Channelling: the runnings fall away from what was forecast, and the bed lets go.
//!
//! Owns the comparison of the runnings with forecasts made a little earlier in volume, so that what the
//! channel does is not explained away by a curve fitted to it. Evidence is the gravity against its forecast,
//! joined with the fall of resistance where a pressure drop is measured.

use std::collections::VecDeque;

use serde::{Deserialize, Serialize};

use crate::washout::Washout;

use super::{AlarmId, Finding, Parameters, View};

/// What was expected of the runnings at one volume, and how surely.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Forecast {
    pub gravity_p: f64,
    pub standard_deviation_p: f64,
}

/// Keeps past states of the washout until they are old enough to be compared with.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ChannelWatch {
    age_l: f64,
    past: VecDeque<(f64, Washout)>,
    /// A channel once found is compared with the forecast from before it, until it heals.
    held: bool,
    /// Less than the rule asks for, but enough not to learn from the runnings.
    suspected: bool,
}

impl ChannelWatch {
    pub fn new(parameters: &Parameters, planned_volume_l: f64) -> Self {
        Self {
            age_l: parameters.forecast_age_share * planned_volume_l,
            past: VecDeque::new(),
            held: false,
            suspected: false,
        }
    }

    /// Keeps the washout as fitted at `volume_l`; old ones go when a younger one is old enough.
    pub fn remember(&mut self, volume_l: f64, washout: &Washout) {
        if self.held || self.suspected {
            return;
        }
        if self
            .past
            .back()
            .is_some_and(|(at_l, _)| volume_l - at_l < 0.2 * self.age_l)
        {
            return;
        }
        self.past.push_back((volume_l, washout.without_bins()));
        while self
            .past
            .get(1)
            .is_some_and(|(at_l, _)| volume_l - at_l >= self.age_l)
        {
            self.past.pop_front();
        }
    }

    /// After a disturbance the earlier forecasts belong to another bed.
    pub fn forget(&mut self) {
        self.past.clear();
        self.held = false;
        self.suspected = false;
    }

    /// Since which run-off volume the runnings are suspected to be a channel's; None while they are not.
    pub fn suspected_from_l(&self) -> Option<f64> {
        self.past
            .front()
            .map(|(at_l, _)| *at_l)
            .filter(|_| self.suspected || self.held)
    }

    /// What was expected at `volume_l` by the forecast that is old enough.
    pub fn forecast(&self, volume_l: f64) -> Option<Forecast> {
        let (at_l, washout) = self.past.front()?;
        if volume_l - at_l < self.age_l {
            return None;
        }
        let (gravity_p, standard_deviation_p) = washout.expected(volume_l);
        Some(Forecast {
            gravity_p,
            standard_deviation_p,
        })
    }

    /// The rule. `active` says whether the alarm is on, which asks for less to stay on.
    pub fn finding(
        &mut self,
        parameters: &Parameters,
        view: &View,
        forecast: Option<Forecast>,
        active: bool,
    ) -> Finding {
        let quiet = |text: &str| Finding::new(AlarmId::Channelling, false, text.to_owned());
        let judgeable =
            view.flowing && !view.recirculating && view.undisturbed_s >= parameters.settling_s;
        if !judgeable && !active {
            return quiet("no channelling is judged while the bed settles");
        }
        let (Some(forecast), Some(runnings_p)) = (forecast, view.runnings_gravity_p) else {
            return quiet("channelling cannot be judged");
        };
        let fall_p = forecast.gravity_p - runnings_p;
        let deviations = fall_p / forecast.standard_deviation_p.max(0.1);
        let speaks = |share: f64| match view.resistance_change {
            Some(change) => {
                change <= -parameters.channel_resistance_fall * share
                    && fall_p >= parameters.channel_gravity_fall_p * share
                    && deviations >= parameters.channel_gravity_deviations * share
            }
            None => {
                fall_p >= parameters.channel_alone_fall_p * share
                    && deviations >= parameters.channel_alone_deviations * share
            }
        };
        let holds = speaks(if active { 0.5 } else { 1.0 });
        self.suspected = speaks(parameters.channel_suspicion_share);
        self.held = holds;
        let resistance = view.resistance_change.map_or_else(String::new, |change| {
            format!(" and bed resistance fell by {:.0} %", -100.0 * change)
        });
        let message = format!(
            "Runnings are {fall_p:.1} °P below the forecast{resistance}: liquor has found a channel through the bed."
        );
        Finding::new(AlarmId::Channelling, holds, message)
            .with("runnings_gravity_p", runnings_p)
            .with("forecast_gravity_p", forecast.gravity_p)
            .with("gravity_fall_standard_deviations", deviations)
            .with(
                "resistance_change_share",
                view.resistance_change.unwrap_or(f64::NAN),
            )
    }
}
