//! From readings to believed values: limits, spikes, stuck values, and a smooth value with its standard error.
//!
//! Owns what one instrument's readings tell about themselves. It works in the instrument's own unit and does
//! not know what the value means for the kettle or the bed; comparing instruments with one another is
//! detection's work.

mod filter;
mod outlier;
mod stuck;
mod window;

use serde::{Deserialize, Serialize};

pub use filter::{Innovation, LevelTrend, ProcessNoise};
pub(crate) use outlier::median;
pub use outlier::{Believed, Decision, OutlierGate, Timed};
use stuck::StuckWatch;
use window::{between, larger, smaller};

use crate::reading::{Cause, Measures, Moment};

/// How one instrument's readings are treated. All values: common practice, no source, unless said otherwise;
/// tried against the simulated instruments.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Parameters {
    /// Readings in the spike window, odd, 3 to 31. Wider withstands longer bursts and decides steps later.
    pub spike_window: usize,
    /// Readings that jump about are believed only after this long, s, 0 to 300: gas in a density meter comes in
    /// bursts of many readings, and the wort itself is smooth. Nought: the median alone decides.
    pub erratic_s: f64,
    /// Robust standard deviations from the median beyond which a reading is suspect, 3 to 8.
    pub spike_threshold: f64,
    /// Time constant of the smoothing, s, 1 to 600.
    pub smoothing_s: f64,
    /// Least standard deviation of a reading as a share of the instrument's range, 1e-6 to 0.05: below it lie
    /// resolution and the rounding of a protocol.
    pub least_noise_share: f64,
    /// An unchanging value is stuck only after this long, s, 10 to 3600.
    pub stuck_after_s: f64,
}

impl Parameters {
    /// The treatment that suits a measurement's own dynamics.
    pub fn for_measurement(measures: Measures) -> Self {
        let (spike_window, smoothing_s) = match measures {
            Measures::RunningsGravity | Measures::KettleGravity => (15, 40.0),
            Measures::RunningsPh => (15, 60.0),
            Measures::RunningsTemperature | Measures::KettleTemperature => (9, 60.0),
            Measures::RunningsTurbidity => (9, 20.0),
            Measures::BedPressureDrop => (7, 15.0),
            Measures::KettleVolume => (9, 30.0),
            Measures::RunoffFlow | Measures::SpargeFlow => (5, 8.0),
            Measures::RunoffTotal
            | Measures::RakeRunning
            | Measures::PumpRunning
            | Measures::Recirculating => (3, 2.0),
        };
        let erratic_s = match measures {
            Measures::RunningsGravity | Measures::KettleGravity | Measures::RunningsPh => 90.0,
            _ => 0.0,
        };
        Self {
            spike_window,
            erratic_s,
            spike_threshold: 5.0,
            smoothing_s,
            least_noise_share: 2e-4,
            stuck_after_s: 90.0,
        }
    }

    /// Everything outside its range, as sentences.
    pub fn check(&self) -> Vec<String> {
        let mut faults = Vec::new();
        if !(3..=31).contains(&self.spike_window) || self.spike_window.is_multiple_of(2) {
            faults.push(format!(
                "spike_window is {}; allowed is an odd number from 3 to 31",
                self.spike_window
            ));
        }
        let ranges = [
            ("erratic_s", self.erratic_s, 0.0, 300.0),
            ("spike_threshold", self.spike_threshold, 3.0, 8.0),
            ("smoothing_s", self.smoothing_s, 1.0, 600.0),
            ("least_noise_share", self.least_noise_share, 1e-6, 0.05),
            ("stuck_after_s", self.stuck_after_s, 10.0, 3600.0),
        ];
        faults.extend(crate::units::outside_ranges(&ranges));
        faults
    }
}

/// Below this no drift is unusual: 4·√(0.1 / 1.9), rounded down.
const LEAST_UNUSUAL: f64 = 0.91;
/// A suspect reading delays the value's fault by this many times the silence that makes it stale.
const SPIKE_PATIENCE: f64 = 3.0;

/// A conditioned value at a moment, in the instrument's own unit.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Estimate {
    pub value: f64,
    pub standard_error: f64,
    pub rate_per_s: f64,
}

/// What one reading did.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct Outcome {
    /// Readings now believed: more than one when a step has just been decided.
    pub believed: Believed,
    /// Readings that were decided to be spikes.
    pub spikes: usize,
    /// Why this reading was not used (yet).
    pub cause: Option<Cause>,
    /// The signal has jumped between two readings, and by how much.
    pub jump: Option<f64>,
}

/// The conditioning of one continuous instrument.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Conditioner {
    parameters: Parameters,
    low: f64,
    high: f64,
    stale_after_s: f64,
    gate: OutlierGate,
    stuck: StuckWatch,
    filter: Option<LevelTrend>,
    noise: NoiseEstimate,
    /// Mean standardised innovation, to notice that the signal moves faster than the smoothing allows.
    drift: f64,
    interval: IntervalEstimate,
    last_received: Option<Moment>,
    cause: Option<Cause>,
}

impl Conditioner {
    /// `low`..`high` are the physical limits in the unit of the values.
    pub fn new(parameters: Parameters, low: f64, high: f64, stale_after_s: f64) -> Self {
        let least_noise = (high - low) * parameters.least_noise_share;
        Self {
            parameters,
            low,
            high,
            stale_after_s,
            gate: OutlierGate::new(
                parameters.spike_window,
                parameters.erratic_s,
                parameters.spike_threshold,
            ),
            stuck: StuckWatch::new(parameters.stuck_after_s),
            filter: None,
            noise: NoiseEstimate::new(least_noise * least_noise),
            drift: 0.0,
            interval: IntervalEstimate::default(),
            last_received: None,
            cause: Some(Cause::NeverRead),
        }
    }

    /// Takes one reading. `process_moves` says whether the process must be moving this value, so that
    /// standing still is suspicious.
    pub fn observe(
        &mut self,
        value: Result<f64, Cause>,
        at: Moment,
        process_moves: bool,
    ) -> Outcome {
        let value = match value {
            Err(cause) => return self.refuse(cause),
            Ok(value) if !value.is_finite() => return self.refuse(Cause::NotFinite),
            Ok(value) if !(self.low..=self.high).contains(&value) => {
                return self.refuse(Cause::OutsideLimits);
            }
            Ok(value) => value,
        };
        self.interval
            .observe(self.last_received.map(|last| at.since(last)));
        self.last_received = Some(at);
        if self.stuck.observe(value, at, process_moves) {
            return self.refuse(Cause::Stuck);
        }
        let decision = self
            .gate
            .judge(Timed { at, value }, self.noise.standard_deviation());
        for reading in decision.believed.iter() {
            self.absorb(reading);
        }
        self.cause = if decision.waits {
            Some(Cause::Spike)
        } else {
            None
        };
        Outcome {
            believed: decision.believed,
            spikes: decision.spikes,
            cause: self.cause,
            jump: decision.jump,
        }
    }

    /// The value at `now`, or the cause why there is none.
    pub fn estimate(&self, now: Moment) -> Result<Estimate, Cause> {
        if let Some(cause) = self.lasting_cause(now) {
            return Err(cause);
        }
        let filter = self.filter.ok_or(Cause::NeverRead)?;
        let state = filter.predicted(now, self.process_noise());
        Ok(Estimate {
            value: state.level,
            standard_error: state.level_variance.max(0.0).sqrt(),
            rate_per_s: state.rate,
        })
    }

    /// Why the last reading was not used, if it was not; a spike only delays, the value stays valid.
    pub fn last_cause(&self) -> Option<Cause> {
        self.cause
    }

    /// Standard deviation of a single reading about the filtered value.
    pub fn reading_noise(&self) -> f64 {
        self.noise.standard_deviation()
    }

    /// Longest silence before the value counts as stale: as configured, or three of the intervals at which
    /// readings really come, where a record is sampled more slowly than the instrument was configured for.
    pub fn stale_after_s(&self) -> f64 {
        larger(self.stale_after_s, 3.0 * self.interval.typical_s)
    }

    /// What stands apart is decided when it fills half the window; until then the value before it holds.
    fn spike_patience_s(&self) -> f64 {
        (SPIKE_PATIENCE * self.stale_after_s()).max(self.parameters.erratic_s)
    }

    fn lasting_cause(&self, now: Moment) -> Option<Cause> {
        let Some(last) = self.filter.map(|filter| filter.at) else {
            return Some(self.cause.unwrap_or(Cause::NeverRead));
        };
        let silent = now.since(last) > self.stale_after_s();
        match self.cause {
            Some(Cause::Stuck) => Some(Cause::Stuck),
            // Readings that stand apart are about to be decided: a step, or a burst that ends.
            Some(Cause::Spike) if now.since(last) <= self.spike_patience_s() => None,
            Some(cause) if silent => Some(cause),
            None if silent => Some(Cause::Stale),
            _ => None,
        }
    }

    fn refuse(&mut self, cause: Cause) -> Outcome {
        self.cause = Some(cause);
        Outcome {
            cause: Some(cause),
            ..Outcome::default()
        }
    }

    /// The rate's random walk that makes the steady filter smooth over `smoothing_s`: a white-noise rate
    /// driven with intensity q against measurement noise of intensity r settles at the bandwidth (q/r)^¼
    /// (Kalman & Bucy 1961, the double integrator).
    fn process_noise(&self) -> ProcessNoise {
        let interval_s = larger(self.interval.typical_s, 0.05);
        let smoothing_s = larger(self.parameters.smoothing_s, 2.0 * interval_s);
        let rate_per_s = self.noise.variance() * interval_s / smoothing_s.powi(4);
        ProcessNoise {
            level_per_s: 0.0,
            rate_per_s,
        }
    }

    fn absorb(&mut self, reading: Timed) {
        let Some(filter) = self.filter else {
            let variance = self
                .noise
                .variance()
                .max(((self.high - self.low) * 0.01).powi(2));
            let rate_variance = variance / self.parameters.smoothing_s.powi(2);
            self.filter = Some(LevelTrend::new(
                reading.value,
                variance,
                rate_variance,
                reading.at,
            ));
            self.noise.observe(reading.value);
            return;
        };
        let gap_s = reading.at.since(filter.at);
        if gap_s <= 0.0 {
            return;
        }
        let mut state = filter.carried(gap_s, reading.at, self.process_noise());
        if gap_s > 3.0 * self.stale_after_s() {
            // After a long silence neither level nor rate is worth more than the new reading.
            state.level_variance += ((self.high - self.low) * 0.05).powi(2);
            state.rate = 0.0;
        }
        self.noise.observe(reading.value);
        let before = state;
        let standardised = state
            .update(reading.value, self.noise.variance())
            .standardised();
        let weight = between(gap_s / (0.25 * self.parameters.smoothing_s), 0.1, 1.0);
        self.drift += weight * (between(standardised, -6.0, 6.0) - self.drift);
        // The weight is a tenth at least, so most drifts need no root to be told usual.
        let drift = self.drift.abs();
        if drift > LEAST_UNUSUAL && drift > 4.0 * (weight / (2.0 - weight)).sqrt() {
            state = self.hurried(before, reading);
        }
        self.filter = Some(state);
    }

    /// The signal has run away from the filter in one direction: believe the readings more for a while.
    fn hurried(&mut self, mut state: LevelTrend, reading: Timed) -> LevelTrend {
        let miss = reading.value - state.level;
        let quarter_s = 0.25 * self.parameters.smoothing_s;
        state.level_variance += 0.25 * miss * miss;
        state.rate_variance += (miss / quarter_s).powi(2) * 0.1;
        state.update(reading.value, self.noise.variance());
        self.drift *= 0.5;
        state
    }
}

/// Variance of single readings from their second differences, which a trend does not touch: for white noise
/// E[(x₀ − 2x₁ + x₂)²] = 6σ².
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
struct NoiseEstimate {
    least_variance: f64,
    variance: f64,
    last: Option<f64>,
    before: Option<f64>,
    count: u32,
}

/// Differences after which the estimate follows at the same pace, and that pace: a division less for each reading.
const LEARNT: u32 = 60;
const LEARNT_WEIGHT: f64 = 1.0 / 60.0;
const SIXTH: f64 = 1.0 / 6.0;

impl NoiseEstimate {
    fn new(least_variance: f64) -> Self {
        Self {
            least_variance,
            variance: 4.0 * least_variance,
            last: None,
            before: None,
            count: 0,
        }
    }

    fn observe(&mut self, value: f64) {
        if let (Some(last), Some(before)) = (self.last, self.before) {
            let difference = value - 2.0 * last + before;
            let sample = smaller(difference * difference * SIXTH, 6.0 * self.variance());
            self.count = (self.count + 1).min(LEARNT);
            let weight = if self.count == LEARNT {
                LEARNT_WEIGHT
            } else {
                1.0 / f64::from(self.count.max(10))
            };
            self.variance += weight * (sample - self.variance);
        }
        self.before = self.last;
        self.last = Some(value);
    }

    fn variance(&self) -> f64 {
        larger(self.variance, self.least_variance)
    }

    fn standard_deviation(&self) -> f64 {
        self.variance().sqrt()
    }
}

/// The interval at which readings usually come.
#[derive(Clone, Copy, Debug, PartialEq, Default, Serialize, Deserialize)]
struct IntervalEstimate {
    typical_s: f64,
}

impl IntervalEstimate {
    fn observe(&mut self, interval_s: Option<f64>) {
        let Some(interval_s) = interval_s.filter(|interval_s| *interval_s > 0.0) else {
            return;
        };
        if self.typical_s == 0.0 {
            self.typical_s = interval_s;
        } else {
            // A silence counts at most double, so that a dropout does not pass for a slower instrument.
            let counted_s = smaller(interval_s, 2.0 * self.typical_s);
            self.typical_s += 0.1 * (counted_s - self.typical_s);
        }
    }
}

#[cfg(test)]
mod tests;
