//! Seeded randomness, one independent stream for each purpose.
//!
//! Every instrument and every random choice of the process has a ChaCha stream of its own, so that adding an
//! instrument or a fault to a scenario leaves all the other draws as they were.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// One stream of random numbers.
#[derive(Clone, Debug)]
pub struct Noise {
    generator: ChaCha8Rng,
}

impl Noise {
    /// The stream with this number under a seed.
    pub fn stream(seed: u64, number: u64) -> Self {
        let mut generator = ChaCha8Rng::seed_from_u64(seed);
        generator.set_stream(number);
        Self { generator }
    }

    /// Uniform in [0, 1).
    pub fn unit(&mut self) -> f64 {
        self.generator.random::<f64>()
    }

    /// Uniform between two limits.
    pub fn within(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// True with this probability.
    pub fn chance(&mut self, probability: f64) -> bool {
        self.unit() < probability
    }

    /// Uniform in logarithm between two positive limits: for quantities whose order of magnitude varies.
    pub fn log_within(&mut self, low: f64, high: f64) -> f64 {
        self.within(low.ln(), high.ln()).exp()
    }

    /// A standard normal deviate (Box and Muller 1958). Two uniforms for every deviate, none kept back, so
    /// that the number of draws never depends on history.
    pub fn gaussian(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.unit()).ln()).sqrt();
        let angle = std::f64::consts::TAU * self.unit();
        radius * angle.cos()
    }

    /// An exponential deviate with this mean.
    pub fn exponential(&mut self, mean: f64) -> f64 {
        -mean * (1.0 - self.unit()).ln()
    }

    /// One of `count` alternatives.
    pub fn choice(&mut self, count: usize) -> usize {
        ((self.unit() * count as f64) as usize).min(count.saturating_sub(1))
    }
}

#[cfg(test)]
mod tests {
    use super::Noise;

    #[test]
    fn a_stream_repeats_itself_and_differs_from_its_neighbour() {
        let draw = |stream| {
            let mut noise = Noise::stream(7, stream);
            (0..20).map(|_| noise.gaussian()).collect::<Vec<_>>()
        };
        assert_eq!(draw(1), draw(1));
        assert_ne!(draw(1), draw(2));
    }

    #[test]
    fn gaussian_deviates_have_mean_zero_and_variance_one() {
        let mut noise = Noise::stream(11, 0);
        let count = 40_000;
        let draws: Vec<f64> = (0..count).map(|_| noise.gaussian()).collect();
        let mean = draws.iter().sum::<f64>() / f64::from(count);
        let variance = draws.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / f64::from(count);
        assert!(mean.abs() < 0.02, "mean {mean}");
        assert!((variance - 1.0).abs() < 0.03, "variance {variance}");
    }

    #[test]
    fn exponential_deviates_have_their_mean() {
        let mut noise = Noise::stream(13, 0);
        let mean = (0..40_000).map(|_| noise.exponential(5.0)).sum::<f64>() / 40_000.0;
        assert!((mean - 5.0).abs() < 0.15, "mean {mean}");
    }
}
