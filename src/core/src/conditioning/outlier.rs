//! Which readings are spikes, and which are the first of a real step.
//!
//! Owns the Hampel rule (Hampel 1974: distance from the median in robust standard deviations) on a causal
//! window, and the waiting room of readings that may still prove real: an outlier is not thrown away but held
//! until the window's median has decided, so that a step in flow costs no volume. Does not know units.

use serde::{Deserialize, Serialize};

use super::window::{Window, larger};
use crate::reading::Moment;

/// A reading that has been decided upon.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Timed {
    pub at: Moment,
    pub value: f64,
}

/// Readings now believed, in time order: those that had waited, and the reading itself. Only what had waited needs
/// room, so that a reading like the others costs no allocation.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct Believed {
    waited: Vec<Timed>,
    newest: Option<Timed>,
}

impl Believed {
    pub fn iter(&self) -> impl Iterator<Item = Timed> + '_ {
        self.waited.iter().copied().chain(self.newest)
    }

    /// The newest of them. Who had waited is never believed without the reading that decided it.
    pub fn newest(&self) -> Option<Timed> {
        self.newest
    }
}

/// What became of a reading, and of those that waited for it.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct Decision {
    pub believed: Believed,
    /// How many waiting readings proved to be spikes.
    pub spikes: usize,
    /// The reading itself stands apart and waits.
    pub waits: bool,
    /// The signal has jumped from one reading to the next and stayed there: by how much.
    pub jump: Option<f64>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct OutlierGate {
    window: usize,
    erratic_s: f64,
    threshold: f64,
    recent: Window,
    waiting: Vec<Timed>,
    /// The last reading that was believed.
    settled: Option<Timed>,
    /// Readings believed so far, to let the noise be learnt first.
    believed: u32,
}

/// A normal distribution's standard deviation over its median absolute deviation.
const MAD_TO_STANDARD_DEVIATION: f64 = 1.482602218505602;
/// Share of a change that must lie between two readings for it to be a jump: a steep ramp has it in many small ones.
const JUMP_SHARE: f64 = 0.7;
/// After a longer silence any other value may be an honest one, s.
const LONGEST_JUMP_S: f64 = 15.0;
/// Readings that lie on one line are no gas: this many, within so many noises and this share of their range.
const LINE_READINGS: usize = 8;
const LINE_NOISES: f64 = 4.0;
const LINE_RANGE_SHARE: f64 = 0.08;
/// Readings before the noise is known well enough for that.
const NOISE_READINGS: u32 = 30;

impl OutlierGate {
    /// `window` readings, odd; a reading further than `threshold` robust standard deviations is suspect. Where
    /// `erratic_s` is above nought, readings that jump about are not believed until they have done so this long,
    /// however many they are: gas in a meter comes in bursts, and what the meter measures is smooth.
    pub fn new(window: usize, erratic_s: f64, threshold: f64) -> Self {
        Self {
            window,
            erratic_s,
            threshold,
            recent: Window::new(window),
            waiting: Vec::new(),
            settled: None,
            believed: 0,
        }
    }

    /// `noise` is the least standard deviation to reckon with, so that a quiet signal's last digit is no spike.
    #[inline]
    pub fn judge(&mut self, reading: Timed, noise: f64) -> Decision {
        self.recent.push(reading);
        if self.recent.len() < 3 {
            return self.believe(reading, Vec::new(), None);
        }
        let (median, deviation) = self.recent.median_and_deviation();
        let reach = self.threshold * larger(deviation * MAD_TO_STANDARD_DEVIATION, noise);
        let near = (reading.value - median).abs() <= reach;
        if near && self.waiting.is_empty() && self.median_counts(reading, noise) {
            return self.believe(reading, Vec::new(), None);
        }
        self.weigh(reading, median, reach, noise)
    }

    /// For a reading that stands apart, and while others wait. Few come here, so that the others pass quickly.
    #[cold]
    #[inline(never)]
    fn weigh(&mut self, reading: Timed, median: f64, reach: f64, noise: f64) -> Decision {
        let long_enough = self
            .waiting
            .first()
            .is_some_and(|first| reading.at.since(first.at) >= self.erratic_s);
        let counts = |each: Timed| {
            (each.value - median).abs() <= reach && (long_enough || self.median_counts(each, noise))
        };
        let near = counts(reading);
        let smooth = self.lies_on_a_line(noise);
        if !(near || smooth) {
            self.waiting.push(reading);
            return Decision {
                waits: true,
                ..Decision::default()
            };
        }
        let on_line = self.recent.len().saturating_sub(LINE_READINGS);
        let since = self
            .recent
            .get(on_line)
            .map_or(reading.at, |first| first.at);
        let waited: Vec<Timed> = self
            .waiting
            .iter()
            .copied()
            .filter(|earlier| counts(*earlier) || (smooth && earlier.at >= since))
            .collect();
        let spikes = self.waiting.len() - waited.len();
        self.waiting.clear();
        let jump = self.jump(&waited, reading, noise);
        let decision = self.believe(reading, waited, jump);
        Decision { spikes, ..decision }
    }

    #[inline]
    fn believe(&mut self, reading: Timed, waited: Vec<Timed>, jump: Option<f64>) -> Decision {
        self.settled = Some(reading);
        self.believed = self.believed.saturating_add(1);
        Decision {
            believed: Believed {
                waited,
                newest: Some(reading),
            },
            jump,
            ..Decision::default()
        }
    }

    /// The median rule decides, unless the readings have lately begun to jump about.
    #[inline]
    fn median_counts(&self, reading: Timed, noise: f64) -> bool {
        let Some(settled) = self.settled else {
            return true;
        };
        let learning = self.erratic_s <= 0.0 || self.believed < NOISE_READINGS;
        let as_before = (reading.value - settled.value).abs() <= 1.2 * self.threshold * noise;
        learning || as_before
    }

    /// The last readings lie on one line.
    fn lies_on_a_line(&self, noise: f64) -> bool {
        if self.erratic_s <= 0.0 || self.recent.len() < LINE_READINGS {
            return false;
        }
        let mut last = [Timed::default(); LINE_READINGS];
        for (place, reading) in last.iter_mut().zip(self.recent.newest(LINE_READINGS)) {
            *place = *reading;
        }
        let count = LINE_READINGS as f64;
        let time = |timed: &Timed| timed.at.since(last[0].at);
        let mean_s = last.iter().map(time).sum::<f64>() / count;
        let mean = last.iter().map(|timed| timed.value).sum::<f64>() / count;
        let below: f64 = last
            .iter()
            .map(|timed| (time(timed) - mean_s).powi(2))
            .sum();
        if below <= 0.0 {
            return false;
        }
        let above: f64 = last
            .iter()
            .map(|timed| (time(timed) - mean_s) * (timed.value - mean))
            .sum();
        let slope = above / below;
        let values = last.iter().map(|timed| timed.value);
        let range =
            values.clone().fold(f64::NEG_INFINITY, f64::max) - values.fold(f64::INFINITY, f64::min);
        let worst = last
            .iter()
            .map(|timed| (timed.value - mean - slope * (time(timed) - mean_s)).abs())
            .fold(0.0, f64::max);
        worst <= (LINE_NOISES * noise).max(LINE_RANGE_SHARE * range)
    }

    /// What the readings that waited say together: a level of their own, reached at once.
    fn jump(&self, stayed: &[Timed], reading: Timed, noise: f64) -> Option<f64> {
        let last = self.settled?.value;
        let first = stayed.first()?.value;
        let size = reading.value - last;
        let at_once = (first - last) / size;
        let stays = stayed.len() + 1 >= LINE_READINGS.min(self.window / 2);
        let gap_s = stayed.first()?.at.since(self.settled?.at);
        if gap_s > LONGEST_JUMP_S {
            return None;
        }
        (stays && size.abs() > self.threshold * noise && at_once >= JUMP_SHARE).then_some(size)
    }
}

/// The middle value; of an even count the mean of the two.
pub(crate) fn median(values: &mut [f64]) -> f64 {
    let middle = values.len() / 2;
    let odd = !values.len().is_multiple_of(2);
    let (below, median, _) = values.select_nth_unstable_by(middle, f64::total_cmp);
    match below.iter().copied().max_by(f64::total_cmp) {
        Some(before) if !odd => f64::midpoint(before, *median),
        _ => *median,
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
            &mut OutlierGate::new(9, 0.0, 4.0),
            &[18.0, 18.1, 17.9, 18.0, 6.0, 18.0, 18.1],
        );
        assert!(!believed.contains(&6.0));
        assert_eq!(spikes, 1);
    }

    #[test]
    fn a_step_loses_no_reading() {
        let mut signal = vec![60.0; 10];
        signal.extend([0.0; 10]);
        let (believed, spikes) = feed(&mut OutlierGate::new(5, 0.0, 4.0), &signal);
        assert_eq!(believed.len(), 20);
        assert_eq!(spikes, 0);
    }

    /// The jumps that a gate finds in readings a second apart.
    fn jumps(gate: &mut OutlierGate, values: &[f64]) -> Vec<f64> {
        let timed = values.iter().enumerate().map(|(second, value)| Timed {
            at: Moment::from_seconds(second as f64),
            value: *value,
        });
        timed
            .filter_map(|reading| gate.judge(reading, 0.02).jump)
            .collect()
    }

    #[test]
    fn a_jump_of_the_signal_is_told_with_its_size_and_a_steep_ramp_is_none() {
        let mut step = vec![17.0; 80];
        step.extend([15.0; 80]);
        let found = jumps(&mut OutlierGate::new(15, 90.0, 5.0), &step);
        assert_eq!(found, [-2.0]);
        let ramp: Vec<f64> = (0..200)
            .map(|second| 17.0 - 0.1 * f64::from(second - 80).clamp(0.0, 60.0))
            .collect();
        assert_eq!(
            jumps(&mut OutlierGate::new(15, 90.0, 5.0), &ramp),
            Vec::<f64>::new()
        );
    }

    #[test]
    fn a_burst_of_bubbles_for_half_a_minute_is_no_jump_and_none_of_it_is_believed() {
        let mut signal = vec![17.0; 80];
        signal.extend((0..28).map(|second| 12.0 - f64::from(second % 5)));
        signal.extend([17.0; 80]);
        let mut gate = OutlierGate::new(15, 90.0, 5.0);
        let (believed, spikes) = feed(&mut gate, &signal);
        assert!(believed.iter().all(|value| *value > 16.0));
        assert_eq!(spikes, 28);
    }

    #[test]
    fn a_steady_ramp_is_believed_throughout() {
        let signal: Vec<f64> = (0..50)
            .map(|second| 18.0 - 0.5 * f64::from(second))
            .collect();
        let (believed, _) = feed(&mut OutlierGate::new(15, 0.0, 4.0), &signal);
        assert_eq!(believed.len(), signal.len());
    }
}
