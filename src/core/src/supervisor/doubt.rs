//! Which instruments have jumped by themselves.
//!
//! Owns the question whether the process can have made a jump from one reading to the next. Wort, its pH and the
//! kettle's content never can while the run-off goes on. Flow and pressure drop can, but only together. It does not
//! see slow lies; those are found by comparison.

use std::collections::VecDeque;

use serde::{Deserialize, Serialize};

use crate::reading::{Measures, Moment};

use super::Supervisor;
use super::brew::{Brew, Picture};

/// The bed must have been left alone this long, s.
const CALM_S: f64 = 120.0;
/// And this many volumes of the pipe have run through it since: what lay in it comes mixed.
const CALM_PIPES: f64 = 2.0;
/// Before this share of the run-off the line may still fill.
const FIRST_SHARE: f64 = 0.03;
/// Looks at flow and pressure drop, and how long they are kept, s.
const LOOK_EVERY_S: f64 = 5.0;
const LOOKS_KEPT_S: f64 = 150.0;
/// A jump is judged this long after it was noticed, against what was this long before, s.
const JUDGED_AFTER_S: f64 = 25.0;
const BEFORE_S: f64 = 40.0;
/// Longer than this no gas stays in a meter; before, steep runnings may have been where a jump leads, s.
const AWAY_S: f64 = 90.0;
/// Shortest stretch before a jump that shows how the value was moving, s.
const TREND_S: f64 = 40.0;
/// Least jump of flow or pressure drop that is judged, logarithm, and the share of it the other must show.
const LEAST_LN: f64 = 0.07;
/// Least lasting change that a jump must have brought: °P, pH, share of the planned volume.
const LEAST_P: f64 = 0.4;
const LEAST_PH: f64 = 0.12;
const LEAST_LEVEL_SHARE: f64 = 0.015;
const SHARED: f64 = 0.35;

/// Flow and pressure drop of the last minutes, and the jumps that wait for judgement.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Witnesses {
    looks: VecDeque<Look>,
    waiting: Vec<Waiting>,
}

/// What the instruments said at one moment, in the program's own units.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
struct Look {
    at: Moment,
    flow_l_min: Option<f64>,
    pressure_drop_kpa: Option<f64>,
    runnings_gravity_p: Option<f64>,
    runnings_ph: Option<f64>,
    kettle_gravity_p: Option<f64>,
    level_share: Option<f64>,
}

#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
struct Waiting {
    measures: Measures,
    /// In the instrument's unit.
    size: f64,
    noticed: Moment,
}

impl Witnesses {
    pub fn look(&mut self, picture: &Picture, planned_l: f64, now: Moment) {
        let due = |look: &Look| now.since(look.at) >= LOOK_EVERY_S;
        if !self.looks.back().is_none_or(due) {
            return;
        }
        self.looks.push_back(Look {
            at: now,
            flow_l_min: picture.flow_l_min,
            pressure_drop_kpa: picture.pressure_drop_kpa,
            runnings_gravity_p: picture.runnings_gravity_p.map(|known| known.value),
            runnings_ph: picture.runnings_ph.map(|known| known.value),
            kettle_gravity_p: picture.kettle_gravity_p.map(|known| known.value),
            level_share: picture.level_l.map(|known| known.value / planned_l),
        });
        while self
            .looks
            .front()
            .is_some_and(|look| now.since(look.at) > LOOKS_KEPT_S)
        {
            self.looks.pop_front();
        }
    }

    /// A jump of this instrument waits for judgement: nothing is to be learnt from it meanwhile.
    pub fn doubts(&self, measures: Measures) -> bool {
        self.waiting.iter().any(|jump| jump.measures == measures)
    }

    /// Jumps that have lasted and that nothing else explains.
    /// A pause, the rakes or recirculation since then explains any of them.
    fn judged(&mut self, now: Moment, undisturbed_s: f64) -> Vec<(Measures, f64)> {
        let (due, waiting): (Vec<Waiting>, Vec<Waiting>) = self
            .waiting
            .iter()
            .partition(|jump| now.since(jump.noticed) >= JUDGED_AFTER_S);
        self.waiting = waiting;
        due.into_iter()
            .filter(|jump| now.since(jump.noticed) < undisturbed_s && self.stands_alone(*jump))
            .map(|jump| (jump.measures, jump.size))
            .collect()
    }

    /// Time from the first look to `before`, if it is long enough for a trend.
    fn trend_s(&self, before: &Look) -> Option<f64> {
        let trend_s = before.at.since(self.looks.front()?.at);
        (trend_s >= TREND_S).then_some(trend_s)
    }

    fn stands_alone(&self, jump: Waiting) -> bool {
        let before = self
            .looks
            .iter()
            .rev()
            .find(|look| jump.noticed.since(look.at) >= BEFORE_S);
        let (Some(before), Some(last)) = (before, self.looks.back()) else {
            return false;
        };
        // What went on as it had been going is no jump: a kettle fills, runnings fall.
        let (Some(first), Some(went_on_s)) = (self.looks.front(), self.trend_s(before)) else {
            return false;
        };
        let later_s = last.at.since(before.at);
        let moved = |of: fn(&Look) -> Option<f64>| {
            let trend = (of(before)? - of(first)?) / went_on_s;
            Some(of(last)? - of(before)? - trend * later_s)
        };
        let moved_ln =
            |of: fn(&Look) -> Option<f64>| Some((of(last)?.max(1e-6) / of(before)?.max(1e-6)).ln());
        let far = |by: Option<f64>, least: f64| by.is_some_and(|by| by.abs() >= least);
        let alone = |own: Option<f64>, other: Option<f64>| {
            let (Some(own), Some(other)) = (own, other) else {
                return false;
            };
            own.abs() >= LEAST_LN && other / own < SHARED
        };
        // What comes back to where it was had only been away, with gas in the meter.
        let was_there = |of: fn(&Look) -> Option<f64>, least: f64| {
            self.looks
                .iter()
                .filter(|look| look.at < jump.noticed)
                .filter(|look| jump.noticed.since(look.at) <= AWAY_S)
                .filter_map(of)
                .any(|value| of(last).is_some_and(|last| (last - value).abs() < 0.5 * least))
        };
        let lasting = |of: fn(&Look) -> Option<f64>, least: f64| {
            far(moved(of), least) && !was_there(of, least)
        };
        let flow_ln = moved_ln(|look| look.flow_l_min);
        let pressure_ln = moved_ln(|look| look.pressure_drop_kpa);
        match jump.measures {
            Measures::RunningsGravity => lasting(|look| look.runnings_gravity_p, LEAST_P),
            Measures::KettleGravity => lasting(|look| look.kettle_gravity_p, LEAST_P),
            Measures::RunningsPh => lasting(|look| look.runnings_ph, LEAST_PH),
            Measures::KettleVolume => far(moved(|look| look.level_share), LEAST_LEVEL_SHARE),
            Measures::RunoffFlow => alone(flow_ln, pressure_ln),
            Measures::BedPressureDrop => alone(pressure_ln, flow_ln),
            _ => false,
        }
    }
}

impl Supervisor {
    /// The instrument's readings have jumped by `size`.
    pub(super) fn note_jump(&mut self, index: usize, size: f64, at: Moment) {
        let measures = self.channels[index].instrument.measures;
        let Some(brew) = self.brew.as_mut() else {
            return;
        };
        match measures {
            Measures::BedPressureDrop => brew.channel_watch.bed.restart(),
            // Who opens the valve while a channel opens hides nothing: what fell before goes on counting, and of a flow
            // meter's own jump the pressure drop shows nothing.
            Measures::RunoffFlow => brew.channel_watch.bed.skip(),
            _ => {}
        }
        if !brew.is_calm(at, self.plant.pipe_volume_l) {
            return;
        }
        brew.witnesses.waiting.push(Waiting {
            measures,
            size,
            noticed: at,
        });
    }

    pub(super) fn judge_jumps(&mut self, brew: &mut Brew, now: Moment) {
        let disturbed = brew.undisturbed_s(now);
        for (measures, size) in brew.witnesses.judged(now, disturbed) {
            if let Some(index) = self.by_measure.get(&measures) {
                self.channels[*index].distrust_jump(size);
            }
        }
    }
}

impl Brew {
    /// Wort has run to the kettle undisturbed for a while, and what stood in the pipe has passed.
    fn is_calm(&self, now: Moment, pipe_volume_l: f64) -> bool {
        self.flow_started.is_some()
            && self.undisturbed_s(now) >= CALM_S
            && self.undisturbed_l() >= CALM_PIPES * pipe_volume_l
            && self.kettle.metered_l() >= FIRST_SHARE * self.plan.planned_volume_l
    }
}
