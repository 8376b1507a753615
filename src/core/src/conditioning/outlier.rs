//! Which readings are spikes, and which are the first of a real step.
//!
//! Owns the Hampel rule (Hampel 1974: distance from the median in robust standard deviations) on a causal
//! window, and the waiting room of readings that may still prove real: an outlier is not thrown away but held
//! until the window's median has decided, so that a step in flow costs no volume. Does not know units.

use std::collections::VecDeque;

use serde::{Deserialize, Serialize};

use crate::reading::Moment;

/// A reading that has been decided upon.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Timed {
    pub at: Moment,
    pub value: f64,
}

/// What became of a reading, and of those that waited for it.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct Decision {
    /// Now believed, in time order; the last may be the reading itself.
    pub believed: Vec<Timed>,
    /// How many waiting readings proved to be spikes.
    pub spikes: usize,
    /// The reading itself stands apart and waits.
    pub waits: bool,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct OutlierGate {
    window: usize,
    threshold: f64,
    recent: VecDeque<f64>,
    waiting: Vec<Timed>,
}

/// A normal distribution's standard deviation over its median absolute deviation.
const MAD_TO_STANDARD_DEVIATION: f64 = 1.482602218505602;

impl OutlierGate {
    /// `window` readings, odd; a reading further than `threshold` robust standard deviations is suspect.
    pub fn new(window: usize, threshold: f64) -> Self {
        Self {
            window,
            threshold,
            recent: VecDeque::with_capacity(window),
            waiting: Vec::new(),
        }
    }

    /// `noise` is the least standard deviation to reckon with, so that a quiet signal's last digit is no spike.
    pub fn judge(&mut self, reading: Timed, noise: f64) -> Decision {
        if self.recent.len() == self.window {
            self.recent.pop_front();
        }
        self.recent.push_back(reading.value);
        if self.recent.len() < 3 {
            return Decision {
                believed: vec![reading],
                ..Decision::default()
            };
        }
        let (median, deviation) = self.median_and_deviation();
        let reach = self.threshold * (deviation * MAD_TO_STANDARD_DEVIATION).max(noise);
        if (reading.value - median).abs() > reach {
            self.waiting.push(reading);
            return Decision {
                waits: true,
                ..Decision::default()
            };
        }
        let waiting = std::mem::take(&mut self.waiting);
        let held = waiting.len();
        let mut believed: Vec<Timed> = waiting
            .into_iter()
            .filter(|earlier| (earlier.value - median).abs() <= reach)
            .collect();
        let spikes = held - believed.len();
        believed.push(reading);
        Decision {
            believed,
            spikes,
            waits: false,
        }
    }

    fn median_and_deviation(&self) -> (f64, f64) {
        let mut values: Vec<f64> = self.recent.iter().copied().collect();
        let median = median(&mut values);
        let mut deviations: Vec<f64> = self
            .recent
            .iter()
            .map(|value| (value - median).abs())
            .collect();
        (median, self::median(&mut deviations))
    }
}

/// The middle value; of an even count the mean of the two.
pub(crate) fn median(values: &mut [f64]) -> f64 {
    values.sort_by(f64::total_cmp);
    let middle = values.len() / 2;
    if values.len() % 2 == 1 {
        values[middle]
    } else {
        f64::midpoint(values[middle - 1], values[middle])
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn feed(gate: &mut OutlierGate, values: &[f64]) -> (Vec<f64>, usize) {
        let mut believed = Vec::new();
        let mut spikes = 0;
        for (second, value) in values.iter().enumerate() {
            let decision = gate.judge(
                Timed {
                    at: Moment::from_seconds(second as f64),
                    value: *value,
                },
                0.1,
            );
            believed.extend(decision.believed.iter().map(|timed| timed.value));
            spikes += decision.spikes;
        }
        (believed, spikes)
    }

    #[test]
    fn a_lone_bubble_is_rejected() {
        let (believed, spikes) = feed(
            &mut OutlierGate::new(9, 4.0),
            &[18.0, 18.1, 17.9, 18.0, 6.0, 18.0, 18.1],
        );
        assert!(!believed.contains(&6.0));
        assert_eq!(spikes, 1);
    }

    #[test]
    fn a_step_loses_no_reading() {
        let mut signal = vec![60.0; 10];
        signal.extend([0.0; 10]);
        let (believed, spikes) = feed(&mut OutlierGate::new(5, 4.0), &signal);
        assert_eq!(believed.len(), 20);
        assert_eq!(spikes, 0);
    }

    #[test]
    fn a_steady_ramp_is_believed_throughout() {
        let signal: Vec<f64> = (0..50)
            .map(|second| 18.0 - 0.5 * f64::from(second))
            .collect();
        let (believed, _) = feed(&mut OutlierGate::new(15, 4.0), &signal);
        assert_eq!(believed.len(), signal.len());
    }
}
