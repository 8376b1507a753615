//! The delivery's tuning constants.

use std::time::Duration;

/// How patiently points are delivered.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DeliveryParameters {
    /// Wait before the second try, 1 ms or more. Each further failure doubles it. Own choice.
    pub first_wait: Duration,
    /// Longest wait between two tries. Own choice: a server that is back is found within a minute.
    pub longest_wait: Duration,
    /// Least wait after 429, since the server's own wish cannot be read. Own choice.
    pub throttled_wait: Duration,
    /// Wait after a refusal that a person has to mend: credentials, bucket. Own choice.
    pub refused_wait: Duration,
    /// Points refused one by one without any being taken, after which the server and not the points is at fault, 1 or more.
    /// Own choice: a fault of the program makes a few bad points among many good ones.
    pub refused_in_a_row: u32,
    /// Part of each wait that is left to chance, 0 to 1, so that several services do not return in step.
    /// Own choice.
    pub jitter: f64,
    /// Characters kept of a server's message and of a point set aside.
    pub shown_characters: usize,
}

impl Default for DeliveryParameters {
    fn default() -> Self {
        Self {
            first_wait: Duration::from_secs(1),
            longest_wait: Duration::from_secs(60),
            throttled_wait: Duration::from_secs(10),
            refused_wait: Duration::from_secs(60),
            refused_in_a_row: 5,
            jitter: 0.5,
            shown_characters: 300,
        }
    }
}

impl DeliveryParameters {
    /// The wait after `failures` failures in a row (1 or more). `chance` is in 0..1.
    pub(super) fn wait(&self, failures: u32, least: Duration, chance: f64) -> Duration {
        let doublings = failures.saturating_sub(1).min(20);
        let full = self
            .first_wait
            .saturating_mul(1 << doublings)
            .min(self.longest_wait)
            .max(least);
        full.mul_f64(1.0 + self.jitter * (chance - 0.5))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn a_wait_stays_within_its_bounds(failures in 0..u32::MAX, chance in 0.0..1.0) {
            let parameters = DeliveryParameters::default();
            let wait = parameters.wait(failures, Duration::ZERO, chance);
            prop_assert!(wait >= parameters.first_wait.mul_f64(0.75));
            prop_assert!(wait <= parameters.longest_wait.mul_f64(1.25));
            let least = parameters.throttled_wait;
            prop_assert!(parameters.wait(failures, least, chance) >= least.mul_f64(0.75));
        }
    }

    #[test]
    fn waits_double_up_to_the_longest() {
        let parameters = DeliveryParameters::default();
        let seconds: Vec<f64> = (1..=8)
            .map(|n| parameters.wait(n, Duration::ZERO, 0.5).as_secs_f64())
            .collect();
        assert_eq!(seconds, [1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 60.0, 60.0]);
    }
}
