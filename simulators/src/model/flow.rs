//! The flow controller: a schedule of setpoints, ramps, and a little unrest.

use crate::noise::Noise;
use crate::scenario::Run;

/// How fast valves act, 1/s: a step of the setpoint by hand, and a stop, take some seconds.
const VALVE_RATE_PER_S: f64 = 0.25;

/// Correlation time of the flow's unrest, s.
const UNREST_S: f64 = 20.0;

/// Flow controller of the run-off pump or valve.
#[derive(Clone, Debug)]
pub struct FlowController {
    planned_l_min: f64,
    run: Run,
    next: usize,
    setpoint_l_min: f64,
    by_hand: bool,
    flow_l_min: f64,
    unrest: f64,
    noise: Noise,
}

impl FlowController {
    pub fn new(run: &Run, planned_l_min: f64, noise: Noise) -> Self {
        Self {
            planned_l_min,
            run: run.clone(),
            next: 0,
            setpoint_l_min: 0.0,
            by_hand: false,
            flow_l_min: 0.0,
            unrest: 0.0,
            noise,
        }
    }

    /// A setpoint given by hand: moves at once, holds until the schedule's next.
    pub fn step_to(&mut self, setpoint_l_min: f64) {
        self.setpoint_l_min = setpoint_l_min;
        self.by_hand = true;
    }

    /// Whether wort is wanted at all.
    pub fn is_on(&self) -> bool {
        self.setpoint_l_min > 0.0
    }

    /// Flow in the next step, L/min, never above what the bed lets through.
    pub fn advance(&mut self, now_s: f64, seconds: f64, paused: bool, largest_l_min: f64) -> f64 {
        while let Some(entry) = self.run.flow.get(self.next)
            && entry.at_s <= now_s
        {
            self.setpoint_l_min = entry.share * self.planned_l_min;
            self.by_hand = false;
            self.next += 1;
        }
        let wanted = if paused { 0.0 } else { self.setpoint_l_min };
        let difference = wanted - self.flow_l_min;
        let at_once = difference * (1.0 - (-VALVE_RATE_PER_S * seconds).exp());
        self.flow_l_min += if paused || self.by_hand {
            at_once
        } else {
            let ramp = self.run.ramp_per_min * self.planned_l_min * seconds / 60.0;
            at_once.clamp(-ramp, ramp)
        };
        if wanted <= 0.0 && self.flow_l_min < 0.005 * self.planned_l_min {
            self.flow_l_min = 0.0;
        }
        // What cannot flow is not wound up: the controller starts again from what flows.
        self.flow_l_min = self.flow_l_min.min(largest_l_min);
        let kept = (-seconds / UNREST_S).exp();
        self.unrest = self.unrest * kept
            + self.run.unrest * (1.0 - kept * kept).sqrt() * self.noise.gaussian();
        (self.flow_l_min * (1.0 + self.unrest)).clamp(0.0, largest_l_min)
    }
}
