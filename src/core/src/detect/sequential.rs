//! Sequential tests for a change of the mean: cumulative sums and the exponentially weighted average.
//!
//! Owns the recursions and nothing of what is tested: its values are standardised by whoever brings them. How long a
//! test runs until a false alarm is theory, not trial: the tests hold the recursions against published run lengths.

use serde::{Deserialize, Serialize};

/// Two cumulative sums (Page 1954), one for each direction, over values of mean nought and variance one.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Cusum {
    /// What each value may add without being counted, standard deviations: half the shift that matters.
    pub allowance: f64,
    /// A sum of this many standard deviations is a change.
    pub limit: f64,
    pub rise: f64,
    pub fall: f64,
    /// Values since either sum was last nought: where the change began, if it is one.
    pub rising_for: u32,
    pub falling_for: u32,
}

impl Cusum {
    pub fn new(allowance: f64, limit: f64) -> Self {
        Self {
            allowance,
            limit,
            rise: 0.0,
            fall: 0.0,
            rising_for: 0,
            falling_for: 0,
        }
    }

    pub fn add(&mut self, standardised: f64) {
        self.rise = (self.rise + standardised - self.allowance).max(0.0);
        self.fall = (self.fall - standardised - self.allowance).max(0.0);
        self.rising_for = if self.rise > 0.0 {
            self.rising_for + 1
        } else {
            0
        };
        self.falling_for = if self.fall > 0.0 {
            self.falling_for + 1
        } else {
            0
        };
    }

    pub fn has_risen(&self) -> bool {
        self.rise > self.limit
    }

    pub fn has_fallen(&self) -> bool {
        self.fall > self.limit
    }

    /// The mean has changed in either direction.
    pub fn has_changed(&self) -> bool {
        self.has_risen() || self.has_fallen()
    }

    pub fn restart(&mut self) {
        *self = Self::new(self.allowance, self.limit);
    }
}

/// Exponentially weighted moving average (Roberts 1959) of values of mean nought and variance one, with its steady
/// limits.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Ewma {
    /// Weight of a new value.
    pub weight: f64,
    /// Limit in standard deviations of the average.
    pub limit: f64,
    pub average: f64,
}

impl Ewma {
    pub fn new(weight: f64, limit: f64) -> Self {
        Self {
            weight,
            limit,
            average: 0.0,
        }
    }

    pub fn add(&mut self, standardised: f64) {
        self.average += self.weight * (standardised - self.average);
    }

    /// The average in its own steady standard deviations.
    pub fn standardised(&self) -> f64 {
        self.average / (self.weight / (2.0 - self.weight)).sqrt()
    }

    pub fn has_changed(&self) -> bool {
        self.standardised().abs() > self.limit
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Gaussian values from a seed: the polar method on a linear congruential generator (Knuth's MMIX constants).
    struct Gauss(u64);

    impl Gauss {
        fn unit(&mut self) -> f64 {
            self.0 = self
                .0
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            ((self.0 >> 11) as f64 + 0.5) / (1u64 << 53) as f64
        }

        fn next(&mut self) -> f64 {
            let (u, v) = (self.unit(), self.unit());
            (-2.0 * u.ln()).sqrt() * (std::f64::consts::TAU * v).cos()
        }
    }

    /// Mean number of values until `changed`, over `runs` runs.
    fn run_length<T: Copy>(
        fresh: T,
        shift: f64,
        runs: u32,
        add: impl Fn(&mut T, f64),
        changed: impl Fn(&T) -> bool,
    ) -> f64 {
        let mut gauss = Gauss(20_240_611);
        let mut values = 0_u64;
        for _ in 0..runs {
            let mut test = fresh;
            while !changed(&test) {
                add(&mut test, gauss.next() + shift);
                values += 1;
            }
        }
        values as f64 / f64::from(runs)
    }

    /// Two-sided CUSUM, k = 0.5, h = 4 and 5: Lucas & Saccucci 1990 and Montgomery, *Introduction to Statistical
    /// Quality Control*. 4 %: four standard errors of 10 000 run lengths, which are nearly exponential.
    #[test]
    fn the_cusum_has_the_published_average_run_lengths() {
        for (limit, published) in [
            (4.0, [167.68, 26.63, 8.383, 3.343]),
            (5.0, [465.44, 38.00, 10.376, 4.009]),
        ] {
            for (shift, expected) in [0.0, 0.5, 1.0, 2.0].into_iter().zip(published) {
                let got = run_length(
                    Cusum::new(0.5, limit),
                    shift,
                    10_000,
                    Cusum::add,
                    Cusum::has_changed,
                );
                assert!(
                    (got / expected - 1.0).abs() < 0.04,
                    "h {limit}, shift {shift}: {got} instead of {expected}"
                );
            }
        }
    }

    /// EWMA, weight 0.1, limit 2.814: Lucas & Saccucci 1990. Tolerance as above.
    #[test]
    fn the_ewma_has_the_published_average_run_lengths() {
        for (shift, expected) in [(0.0, 499.6), (0.5, 31.30), (1.0, 10.33)] {
            let got = run_length(
                Ewma::new(0.1, 2.814),
                shift,
                10_000,
                Ewma::add,
                Ewma::has_changed,
            );
            assert!(
                (got / expected - 1.0).abs() < 0.04,
                "shift {shift}: {got} instead of {expected}"
            );
        }
    }

    #[test]
    fn a_change_is_dated_back_to_where_the_sum_left_nought() {
        let mut cusum = Cusum::new(0.5, 5.0);
        (0..50).for_each(|_| cusum.add(0.0));
        (0..6).for_each(|_| cusum.add(2.0));
        assert!(cusum.has_risen() && !cusum.has_fallen());
        assert_eq!(cusum.rising_for, 6);
        cusum.restart();
        assert!(!cusum.has_changed());
    }
}
