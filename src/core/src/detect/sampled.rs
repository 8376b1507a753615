//! An instrument against the samples that people take.
//!
//! Owns what the two have always differed by, which is learnt, and the cumulative sum over what they begin to differ
//! by. No single sample decides: people misread, mix tubes up and mistype. It does not know what is measured.

use serde::{Deserialize, Serialize};

use super::sequential::Cusum;

/// What a sample and a sound instrument differ by, standard deviations. Common practice, no source.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct SampleErrors {
    /// What an instrument is off by from the beginning.
    pub calibration: f64,
    /// What sample and reading differ by each time.
    pub each: f64,
}

/// Allowance of the sum, standard deviations: a shift of one and a half matters.
const ALLOWANCE: f64 = 0.75;
/// One sample counts for this much at most, so that three in a row must agree.
const MOST: f64 = 2.7;
/// Nothing is learnt while a sum is beyond this share of its limit.
const LEARNS_BELOW: f64 = 0.3;

/// Watches one instrument.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct SampleWatch {
    errors: SampleErrors,
    offset: f64,
    offset_variance: f64,
    sum: Cusum,
}

impl SampleWatch {
    /// `limit` of the sum in standard deviations.
    pub fn new(errors: SampleErrors, limit: f64) -> Self {
        Self {
            errors,
            offset: 0.0,
            offset_variance: errors.calibration.powi(2),
            sum: Cusum::new(ALLOWANCE, limit),
        }
    }

    /// The instrument is another one now: what was learnt of the old one is forgotten.
    pub fn begin_anew(&mut self) {
        *self = Self::new(self.errors, self.sum.limit);
    }

    /// Takes what the instrument read beyond the sample. `moving` is what the value itself may have moved by between
    /// the two, standard deviation.
    pub fn compare(&mut self, difference: f64, moving: f64) {
        let variance = self.offset_variance + self.errors.each.hypot(moving).powi(2);
        let excess = difference - self.offset;
        let standardised = excess / variance.sqrt();
        self.sum.add(standardised.clamp(-MOST, MOST));
        if self.sum.rise.max(self.sum.fall) < LEARNS_BELOW * self.sum.limit {
            let gain = self.offset_variance / variance;
            self.offset += gain * excess;
            self.offset_variance *= 1.0 - gain;
        }
    }

    /// The larger sum, standard deviations; negative where the instrument reads low.
    pub fn sum(&self) -> f64 {
        if self.sum.rise >= self.sum.fall {
            self.sum.rise
        } else {
            -self.sum.fall
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const LIMIT: f64 = 4.0;

    fn watch() -> SampleWatch {
        let errors = SampleErrors {
            calibration: 0.1,
            each: 0.05,
        };
        SampleWatch::new(errors, LIMIT)
    }

    #[test]
    fn one_wild_sample_says_nothing_and_three_do() {
        let mut watch = watch();
        for difference in [0.01, -0.02, 0.0, 3.0] {
            watch.compare(difference, 0.0);
        }
        assert!(watch.sum().abs() < LIMIT, "{}", watch.sum());
        watch.compare(3.0, 0.0);
        watch.compare(3.0, 0.0);
        assert!(watch.sum() > LIMIT, "{}", watch.sum());
    }

    #[test]
    fn what_an_instrument_was_always_off_by_is_no_change_and_a_drift_is() {
        let mut watch = watch();
        for _ in 0..6 {
            watch.compare(0.15, 0.0);
        }
        assert!(watch.sum().abs() < LIMIT, "{}", watch.sum());
        for step in 1..=5 {
            watch.compare(0.15 - 0.06 * f64::from(step), 0.0);
        }
        assert!(watch.sum() < -LIMIT, "{}", watch.sum());
    }
}
