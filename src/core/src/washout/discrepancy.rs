//! What no curve of the family can say about a real bed.
//!
//! Owns the model discrepancy after Kennedy & O'Hagan (2001): the difference between the true runnings and the
//! best curve is itself a random function of volume, here an Ornstein–Uhlenbeck process, whose likelihood a
//! scalar Kalman filter gives exactly in one pass. Because of it the doubt of a forecast does not collapse
//! however many readings agree with the curve so far.

use nalgebra::SVector;
use serde::{Deserialize, Serialize};

/// A stationary Gaussian process with exponential correlation.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Discrepancy {
    pub standard_deviation: f64,
    pub correlation_length_l: f64,
}

/// The discrepancy as known at one volume.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Offset {
    pub mean: f64,
    pub variance: f64,
}

/// A point of a residual series: where, and the variance of its measurement.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    pub volume_l: f64,
    pub noise_variance: f64,
    /// Variance of a jump since the point before: the bed has been disturbed in between. Nought without one.
    pub jump_variance: f64,
}

impl Discrepancy {
    /// Correlation between two volumes `distance_l` apart.
    pub fn correlation(&self, distance_l: f64) -> f64 {
        (-distance_l.abs() / self.correlation_length_l).exp()
    }

    /// The offset carried `distance_l` on without data.
    pub fn carried(&self, offset: Offset, distance_l: f64) -> Offset {
        let rho = self.correlation(distance_l);
        let stationary = self.standard_deviation * self.standard_deviation;
        Offset {
            mean: rho * offset.mean,
            variance: rho * rho * offset.variance + (1.0 - rho * rho) * stationary,
        }
    }

    /// The gains that whiten any series measured at `points`: the same for all series.
    pub fn whitening(&self, points: &[Point]) -> Whitening {
        let stationary = self.standard_deviation * self.standard_deviation;
        let mut variance = stationary;
        let mut steps = Vec::with_capacity(points.len());
        let mut last: Option<f64> = None;
        for point in points {
            let rho = last.map_or(0.0, |volume_l| self.correlation(point.volume_l - volume_l));
            variance = rho * rho * variance + (1.0 - rho * rho) * stationary + point.jump_variance;
            let innovation_variance = variance + point.noise_variance;
            let gain = variance / innovation_variance;
            steps.push(Step {
                rho,
                gain,
                scale: 1.0 / innovation_variance.sqrt(),
            });
            variance *= 1.0 - gain;
            last = Some(point.volume_l);
        }
        Whitening {
            steps,
            last_variance: variance,
        }
    }
}

#[derive(Clone, Copy, Debug, PartialEq)]
struct Step {
    rho: f64,
    gain: f64,
    scale: f64,
}

/// A linear map from residual series to independent unit-variance innovations.
#[derive(Clone, Debug, PartialEq)]
pub struct Whitening {
    steps: Vec<Step>,
    last_variance: f64,
}

impl Whitening {
    /// Whitens `N` series side by side, in place, and returns the filtered offset of each at the last point.
    pub fn apply<const N: usize>(&self, series: &mut [SVector<f64, N>]) -> SVector<f64, N> {
        let mut mean = SVector::<f64, N>::zeros();
        for (values, step) in series.iter_mut().zip(&self.steps) {
            mean *= step.rho;
            let innovation = *values - mean;
            mean += innovation * step.gain;
            *values = innovation * step.scale;
        }
        mean
    }

    /// Variance of the offset at the last point.
    pub fn last_variance(&self) -> f64 {
        self.last_variance
    }
}

#[cfg(test)]
mod tests {
    use nalgebra::{DMatrix, DVector, SVector};

    use super::*;

    #[test]
    fn the_whitened_series_has_the_likelihood_of_the_full_covariance() {
        let discrepancy = Discrepancy {
            standard_deviation: 0.4,
            correlation_length_l: 300.0,
        };
        let points: Vec<Point> = [0.0, 40.0, 200.0, 210.0, 900.0]
            .iter()
            .map(|volume_l| Point {
                volume_l: *volume_l,
                noise_variance: 0.01,
                jump_variance: 0.0,
            })
            .collect();
        let series = [0.3, 0.1, -0.2, -0.25, 0.6];
        let covariance = DMatrix::from_fn(5, 5, |i, j| {
            let distance_l = points[i].volume_l - points[j].volume_l;
            0.16 * discrepancy.correlation(distance_l) + if i == j { 0.01 } else { 0.0 }
        });
        let vector = DVector::from_row_slice(&series);
        let exact = vector.dot(&(covariance.try_inverse().unwrap() * &vector));
        let mut whitened = series.map(|value| SVector::from([value]));
        discrepancy.whitening(&points).apply(&mut whitened);
        let filtered: f64 = whitened.iter().map(SVector::norm_squared).sum();
        assert!(
            (exact - filtered).abs() < 1e-9,
            "{exact} against {filtered}"
        );
    }

    #[test]
    fn far_from_data_the_doubt_is_the_stationary_one() {
        let discrepancy = Discrepancy {
            standard_deviation: 0.4,
            correlation_length_l: 300.0,
        };
        let far = discrepancy.carried(
            Offset {
                mean: 1.0,
                variance: 0.0,
            },
            3000.0,
        );
        assert!(far.mean < 1e-3 && (far.variance - 0.16).abs() < 1e-6);
    }
}
