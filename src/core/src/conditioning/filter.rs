//! The level-and-trend Kalman filter behind every conditioned value.
//!
//! Owns the two-state filter (level and its rate) for irregular times. Its noises are arguments: it does not
//! know instruments. A division costs as much as all sums of an update together, so each quotient is taken once.
//! The model is Harvey's local linear trend: a level that random-walks and a rate that random-walks; with the rate
//! switched off it is the local level model of Durbin & Koopman.

use serde::{Deserialize, Serialize};

use crate::reading::Moment;

/// Intensities of the two random walks, per second.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct ProcessNoise {
    /// Variance the level gains in a second, unit²/s.
    pub level_per_s: f64,
    /// Variance the rate gains in a second, (unit/s)²/s.
    pub rate_per_s: f64,
}

/// Level, rate and their covariance at one moment.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct LevelTrend {
    pub level: f64,
    /// Unit per second.
    pub rate: f64,
    pub level_variance: f64,
    pub covariance: f64,
    pub rate_variance: f64,
    pub at: Moment,
}

/// What a measurement said that the filter did not expect.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Innovation {
    pub difference: f64,
    /// One over its variance.
    pub precision: f64,
}

impl Innovation {
    /// The difference in its own standard deviations.
    pub fn standardised(&self) -> f64 {
        self.difference * self.precision.sqrt()
    }
}

impl LevelTrend {
    pub fn new(level: f64, level_variance: f64, rate_variance: f64, at: Moment) -> Self {
        Self {
            level,
            rate: 0.0,
            level_variance,
            covariance: 0.0,
            rate_variance,
            at,
        }
    }

    /// The state carried forward to `now` without a measurement. Earlier moments change nothing.
    #[must_use]
    pub fn predicted(&self, now: Moment, noise: ProcessNoise) -> Self {
        let step_s = now.since(self.at);
        if step_s <= 0.0 {
            return *self;
        }
        self.carried(step_s, now, noise)
    }

    /// The same by a step that is known to lead to `now`, and to be above nought.
    #[must_use]
    pub(super) fn carried(&self, step_s: f64, now: Moment, noise: ProcessNoise) -> Self {
        const THIRD: f64 = 1.0 / 3.0;
        let (s, q) = (step_s, noise.rate_per_s);
        Self {
            level: self.level + self.rate * s,
            rate: self.rate,
            level_variance: self.level_variance
                + 2.0 * s * self.covariance
                + s * s * self.rate_variance
                + noise.level_per_s * s
                + q * s * s * s * THIRD,
            covariance: self.covariance + s * self.rate_variance + 0.5 * q * s * s,
            rate_variance: self.rate_variance + q * s,
            at: now,
        }
    }

    /// Takes a measurement at the state's own moment.
    pub fn update(&mut self, value: f64, measurement_variance: f64) -> Innovation {
        let precision = (self.level_variance + measurement_variance).recip();
        let difference = value - self.level;
        let level_gain = self.level_variance * precision;
        let rate_gain = self.covariance * precision;
        self.level += level_gain * difference;
        self.rate += rate_gain * difference;
        self.rate_variance -= rate_gain * self.covariance;
        self.covariance -= rate_gain * self.level_variance;
        self.level_variance -= level_gain * self.level_variance;
        Innovation {
            difference,
            precision,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Annual flow of the Nile at Aswan 1871–1970, 10⁸ m³ (Cobb 1978; printed in Durbin & Koopman, *Time
    /// Series Analysis by State Space Methods*, 2nd ed. 2012).
    const NILE: [f64; 100] = [
        1120., 1160., 963., 1210., 1160., 1160., 813., 1230., 1370., 1140., 995., 935., 1110.,
        994., 1020., 960., 1180., 799., 958., 1140., 1100., 1210., 1150., 1250., 1260., 1220.,
        1030., 1100., 774., 840., 874., 694., 940., 833., 701., 916., 692., 1020., 1050., 969.,
        831., 726., 456., 824., 702., 1120., 1100., 832., 764., 821., 768., 845., 864., 862., 698.,
        845., 744., 796., 1040., 759., 781., 865., 845., 944., 984., 897., 822., 1010., 771., 676.,
        649., 846., 812., 742., 801., 1040., 860., 874., 848., 890., 744., 749., 838., 1050., 918.,
        986., 797., 923., 975., 815., 1020., 906., 901., 1170., 912., 746., 919., 718., 714., 740.,
    ];

    /// Durbin & Koopman, section 2.2: the local level model with variances 15099 and 1469.1.
    #[test]
    fn the_nile_series_gives_the_published_filtered_states() {
        let noise = ProcessNoise {
            level_per_s: 1469.1,
            rate_per_s: 0.0,
        };
        let mut state = LevelTrend::new(0.0, 1e11, 0.0, Moment::ZERO);
        let mut gain = 0.0;
        for (year, flow) in NILE.iter().enumerate() {
            state = state.predicted(Moment::from_seconds(year as f64), noise);
            gain = state.level_variance / (state.level_variance + 15099.0);
            state.update(*flow, 15099.0);
            if year == 1 {
                assert!(
                    (state.level - 1140.928).abs() < 1e-3,
                    "a after two years {}",
                    state.level
                );
                assert!(
                    (state.level_variance - 7899.736).abs() < 1e-3,
                    "P {}",
                    state.level_variance
                );
            }
        }
        assert!(
            (state.level - 798.370).abs() < 1e-3,
            "final level {}",
            state.level
        );
        assert!(
            (state.level_variance - 4032.158).abs() < 1e-3,
            "final variance {}",
            state.level_variance
        );
        assert!((gain - 0.267048).abs() < 1e-6, "steady gain {gain}");
    }

    #[test]
    fn a_noiseless_ramp_is_followed_without_lag() {
        let mut state = LevelTrend::new(10.0, 1.0, 1.0, Moment::ZERO);
        for second in 1..200 {
            state = state.predicted(
                Moment::from_seconds(f64::from(second)),
                ProcessNoise::default(),
            );
            state.update(10.0 - 0.01 * f64::from(second), 1e-4);
        }
        assert!((state.rate + 0.01).abs() < 1e-5, "rate {}", state.rate);
        assert!(
            (state.level - (10.0 - 1.99)).abs() < 1e-3,
            "level {}",
            state.level
        );
    }
}
