//! Channelling: the bed lets go, and the runnings fall away from what was forecast.
//!
//! Owns what is remembered of the run-off to judge it by: the fall of resistance over volume, the runnings against
//! forecasts made a little earlier in volume (so that what the channel does is not explained away by a curve fitted to
//! it) and against their own trend, and turbidity. How these are joined stands in `evidence`.

use std::collections::VecDeque;

use serde::{Deserialize, Serialize};

use crate::washout::Washout;

use super::evidence::{Evidence, RunningsSpeak};
use super::letting_go::LettingGo;
use super::{Finding, Parameters, View};

/// What was expected of the runnings at one volume, and how surely.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Forecast {
    pub gravity_p: f64,
    pub standard_deviation_p: f64,
}

/// Watches one bed for a channel.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ChannelWatch {
    planned_l: f64,
    age_l: f64,
    past: VecDeque<(f64, Washout)>,
    /// A channel once found is compared with the forecast from before it, until it heals.
    held: bool,
    /// Since which run-off volume there is less than the rule asks for, but enough not to learn from the runnings.
    suspected_from_l: Option<f64>,
    pub bed: LettingGo,
    /// Runnings over volume, for their own trend.
    runnings: VecDeque<(f64, f64)>,
    /// Turbidity while nothing is suspected, and when it last stood clearly above that.
    calm_turbidity_ebc: Option<f64>,
    cloudy_at_s: Option<f64>,
    /// What had run off when the bed last let go.
    let_go_at_l: Option<f64>,
    /// The runnings speak beside the bed, and alone.
    beside: Lasting,
    alone: Lasting,
}

/// A look at the bed and the runnings each so much of the planned volume.
const STEP_SHARE: f64 = 0.0025;
/// The runnings' own trend: a line over this stretch before now, shares of the planned volume.
const TREND_FROM_SHARE: f64 = 0.06;
const TREND_TO_SHARE: f64 = 0.02;
/// A suspicion that nothing confirms ends after this share of the planned volume.
const SUSPICION_SHARE: f64 = 0.14;
/// A channel that has stayed this long is the bed there is.
const HELD_SHARE: f64 = 0.25;
/// Before this share of the run-off the bed is still settling.
const FIRST_SHARE: f64 = 0.05;
/// Turbidity counts as risen by so much, EBC, and this factor; it speaks this long, s.
const CLOUD_EBC: f64 = 12.0;
const CLOUD_FACTOR: f64 = 1.4;
const CLOUD_SPEAKS_S: f64 = 480.0;
/// For this long after raking a cloud may be the rakes', s.
const RAKED_CLOUD_S: f64 = 900.0;
/// Weight of a second in the calm turbidity.
const CALM_WEIGHT: f64 = 0.005;
/// What the runnings say must last this long, s: beside the bed, and alone, where gas in the meter must have passed.
const BESIDE_LASTS_S: f64 = 45.0;
const ALONE_LASTS_S: f64 = 75.0;
/// That the bed has let go is remembered for this share of the planned volume: so long liquor may take to the pipe.
const LET_GO_SHARE: f64 = 0.14;

/// Since when something has held without a break, s.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
struct Lasting {
    since_s: Option<f64>,
}

impl Lasting {
    fn lasts(&mut self, holds: bool, elapsed_s: f64, for_s: f64) -> bool {
        if !holds {
            self.since_s = None;
            return false;
        }
        elapsed_s - *self.since_s.get_or_insert(elapsed_s) >= for_s
    }
}

impl ChannelWatch {
    pub fn new(parameters: &Parameters, planned_volume_l: f64) -> Self {
        Self {
            planned_l: planned_volume_l,
            age_l: parameters.forecast_age_share * planned_volume_l,
            past: VecDeque::new(),
            held: false,
            suspected_from_l: None,
            bed: LettingGo::new(
                STEP_SHARE * planned_volume_l,
                parameters.channel_resistance_limit,
            ),
            runnings: VecDeque::new(),
            calm_turbidity_ebc: None,
            cloudy_at_s: None,
            let_go_at_l: None,
            beside: Lasting::default(),
            alone: Lasting::default(),
        }
    }

    /// Keeps the washout as fitted at `volume_l`; old ones go when a younger one is old enough.
    pub fn remember(&mut self, volume_l: f64, washout: &Washout) {
        if self.held || self.suspected_from_l.is_some() {
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
        self.suspected_from_l = None;
        self.bed.restart();
        self.let_go_at_l = None;
        self.runnings.clear();
    }

    /// Since which run-off volume the runnings are suspected to be a channel's; None while they are not.
    pub fn suspected_from_l(&self) -> Option<f64> {
        self.suspected_from_l
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

    /// Keeps the runnings over volume.
    fn note_runnings(&mut self, view: &View) {
        let (Some(gravity_p), true) = (view.runnings_gravity_p, view.flowing) else {
            return;
        };
        let step_l = STEP_SHARE * self.planned_l;
        if self
            .runnings
            .back()
            .is_some_and(|(at_l, _)| view.runoff_l - at_l < step_l)
        {
            return;
        }
        self.runnings.push_back((view.runoff_l, gravity_p));
        while self
            .runnings
            .front()
            .is_some_and(|(at_l, _)| view.runoff_l - at_l > TREND_FROM_SHARE * self.planned_l)
        {
            self.runnings.pop_front();
        }
    }

    /// How far the runnings lie below the line of a stretch before, °P; a rising line counts as level.
    fn below_trend_p(&self, view: &View) -> f64 {
        let to_l = view.runoff_l - TREND_TO_SHARE * self.planned_l;
        let stretch: Vec<(f64, f64)> = self
            .runnings
            .iter()
            .copied()
            .filter(|(at_l, _)| *at_l <= to_l)
            .collect();
        let (Some(now_p), true) = (view.runnings_gravity_p, stretch.len() >= 8) else {
            return 0.0;
        };
        let count = stretch.len() as f64;
        let mean_l = stretch.iter().map(|(l, _)| l).sum::<f64>() / count;
        let mean_p = stretch.iter().map(|(_, p)| p).sum::<f64>() / count;
        let below: f64 = stretch.iter().map(|(l, _)| (l - mean_l).powi(2)).sum();
        let above: f64 = stretch
            .iter()
            .map(|(l, p)| (l - mean_l) * (p - mean_p))
            .sum();
        let slope = if below > 0.0 {
            (above / below).min(0.0)
        } else {
            0.0
        };
        mean_p + slope * (view.runoff_l - mean_l) - now_p
    }

    fn note_turbidity(&mut self, view: &View) {
        let Some(now_ebc) = view.turbidity_ebc else {
            return;
        };
        let calm_ebc = *self.calm_turbidity_ebc.get_or_insert(now_ebc);
        let raked = view.seconds_since_raking.is_some_and(|s| s < RAKED_CLOUD_S);
        if now_ebc > (calm_ebc + CLOUD_EBC).max(CLOUD_FACTOR * calm_ebc) {
            if !raked && view.flow_is_steady {
                self.cloudy_at_s = Some(view.elapsed_s);
            }
        } else {
            self.calm_turbidity_ebc = Some(calm_ebc + CALM_WEIGHT * (now_ebc - calm_ebc));
        }
    }

    fn evidence(&mut self, view: &View, forecast: Option<Forecast>) -> Evidence {
        self.note_runnings(view);
        self.note_turbidity(view);
        let gravity = forecast
            .zip(view.runnings_gravity_p)
            .map(|(forecast, runnings_p)| {
                let fall_p = forecast.gravity_p - runnings_p;
                (fall_p, fall_p / forecast.standard_deviation_p.max(0.1))
            });
        Evidence {
            fall: self.bed.fall(),
            has_pressure: view.pressure_drop_kpa.is_some(),
            gravity,
            below_trend_p: self.below_trend_p(view),
            cloudy: self
                .cloudy_at_s
                .is_some_and(|at_s| view.elapsed_s - at_s < CLOUD_SPEAKS_S),
            rakes_are_seen: view.rakes_are_seen,
        }
    }

    /// The rule. `active` says whether the alarm is on, which asks for less to stay on.
    pub fn finding(
        &mut self,
        parameters: &Parameters,
        view: &View,
        forecast: Option<Forecast>,
        active: bool,
    ) -> Finding {
        let evidence = self.evidence(view, forecast);
        let runnings = self.runnings_speak(parameters, view, &evidence);
        let judgeable = view.flowing && !view.recirculating && view.runoff_share >= FIRST_SHARE;
        let settled = view.undisturbed_s >= parameters.settling_s;
        let holds = if active {
            evidence.stays(parameters)
        } else {
            judgeable && evidence.speaks(parameters, settled, runnings)
        };
        self.note_suspicion(parameters, view, &evidence, holds, judgeable && settled);
        evidence.finding(holds, view, forecast)
    }

    /// What the runnings have said for long enough.
    fn runnings_speak(
        &mut self,
        parameters: &Parameters,
        view: &View,
        evidence: &Evidence,
    ) -> RunningsSpeak {
        if evidence.bed_has_let_go(parameters) || evidence.bed_is_loose() {
            self.let_go_at_l = Some(view.runoff_l);
        }
        let remembered = self
            .let_go_at_l
            .is_some_and(|at_l| view.runoff_l - at_l <= LET_GO_SHARE * self.planned_l);
        let beside = remembered && evidence.runnings_beside(parameters);
        let alone = evidence.runnings_alone(parameters, 1.0);
        RunningsSpeak {
            beside: self.beside.lasts(beside, view.elapsed_s, BESIDE_LASTS_S),
            alone: self.alone.lasts(alone, view.elapsed_s, ALONE_LASTS_S),
        }
    }

    fn note_suspicion(
        &mut self,
        parameters: &Parameters,
        view: &View,
        evidence: &Evidence,
        holds: bool,
        judgeable: bool,
    ) {
        let share = parameters.channel_suspicion_share;
        let suspects = holds || (judgeable && evidence.suspects(parameters, share));
        if !suspects {
            self.suspected_from_l = None;
            self.held = false;
            return;
        }
        self.held |= holds;
        let before_l = self.past.front().map_or(view.runoff_l, |(at_l, _)| *at_l);
        let from_l = *self.suspected_from_l.get_or_insert(before_l);
        let longest = if self.held {
            HELD_SHARE
        } else {
            SUSPICION_SHARE
        };
        if view.runoff_l - from_l > longest * self.planned_l {
            self.forget();
        }
    }
}
