//! Scalar observations on a small linear state: the one Kalman update that the kettle's two fusions share.
//!
//! Owns the algebra and its robustness; it does not know what the states mean.

use nalgebra::{SMatrix, SVector};
use serde::{Deserialize, Serialize};

/// A Gaussian belief about `N` quantities.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Belief<const N: usize> {
    pub mean: SVector<f64, N>,
    pub covariance: SMatrix<f64, N, N>,
}

/// Beyond this many standard deviations an observation pulls no harder than at it (Huber 1964).
const HUBER_LIMIT: f64 = 2.5;

impl<const N: usize> Belief<N> {
    /// Independent quantities of mean zero.
    pub(super) fn around_zero(standard_deviations: [f64; N]) -> Self {
        let variances = SVector::from(standard_deviations).map(|sd: f64| sd * sd);
        Self {
            mean: SVector::zeros(),
            covariance: SMatrix::from_diagonal(&variances),
        }
    }

    /// Takes `observed = weights · state + noise`; returns the innovation in standard deviations.
    pub(super) fn observe(
        &mut self,
        weights: SVector<f64, N>,
        observed: f64,
        noise_variance: f64,
    ) -> f64 {
        let spread = self.covariance * weights;
        let signal = weights.dot(&spread);
        let difference = observed - weights.dot(&self.mean);
        let standardised = difference / (signal + noise_variance).sqrt();
        let noise_variance = if standardised.abs() > HUBER_LIMIT {
            (difference * difference / (HUBER_LIMIT * HUBER_LIMIT) - signal).max(noise_variance)
        } else {
            noise_variance
        };
        let gain = spread / (signal + noise_variance);
        self.mean += gain * difference;
        self.covariance -= gain * spread.transpose();
        self.covariance = (self.covariance + self.covariance.transpose()) * 0.5;
        standardised
    }

    /// What an observation differs from the belief by, in standard deviations.
    pub(super) fn standardised(
        &self,
        weights: SVector<f64, N>,
        observed: f64,
        noise_variance: f64,
    ) -> f64 {
        (observed - weights.dot(&self.mean)) / (self.variance_of(weights) + noise_variance).sqrt()
    }

    pub(super) fn variance_of(&self, weights: SVector<f64, N>) -> f64 {
        weights.dot(&(self.covariance * weights)).max(0.0)
    }
}
