//! Finding the curve that the runnings follow, and how sure that is.
//!
//! Owns the maximum a posteriori fit (Gauss–Newton with Levenberg's damping) and its Laplace covariance. The
//! data are the binned runnings, the prior, and one thing the plan says: that the kettle is expected to reach
//! its target gravity at the planned volume.

use nalgebra::{Cholesky, SMatrix};
use serde::{Deserialize, Serialize};

use super::Expectation;
use super::curve::{Curve, SHAPES, ShapeVector};
use super::discrepancy::{Discrepancy, Offset, Point, Whitening};

pub(super) type ShapeMatrix = SMatrix<f64, SHAPES, SHAPES>;

/// Mean gravity of the runnings over one small stretch of volume.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Bin {
    pub volume_l: f64,
    pub gravity_p: f64,
    pub noise_sd_p: f64,
    pub count: u32,
    /// The bed was stirred just before.
    pub stirred: bool,
}

/// What the plan says about the curve: kettle gravity at the planned volume, and how far plans are out.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct PlanHint {
    pub runoff_volume_l: f64,
    pub heel_l: f64,
    pub kettle_gravity_p: f64,
    pub standard_deviation_p: f64,
}

/// Gaussian belief about the shape vector before any reading.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Prior {
    pub mean: ShapeVector,
    /// Of each parameter, given those before it where the coupling ties it to them.
    pub standard_deviation: ShapeVector,
    /// Unit lower triangular: what it makes of the departure from the mean is independent. The identity where the
    /// parameters are.
    pub coupling: ShapeMatrix,
}

impl Prior {
    fn departure(&self, shape: &ShapeVector) -> ShapeVector {
        self.coupling * (shape - self.mean)
    }

    fn precision(&self) -> ShapeMatrix {
        let weights = self.standard_deviation.map(|sd| 1.0 / (sd * sd));
        self.coupling.transpose() * ShapeMatrix::from_diagonal(&weights) * self.coupling
    }
}

/// The fitted shape, its covariance, and the discrepancy at the last bin.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Posterior {
    pub mean: ShapeVector,
    pub covariance: ShapeMatrix,
    pub offset: Offset,
}

/// Everything that weighs in the fit.
pub(super) struct Problem<'a> {
    pub prior: &'a Prior,
    pub hint: PlanHint,
    pub bins: &'a [Bin],
    /// Whether readings have been left aside just before each bin.
    pub jumps: &'a [bool],
    pub discrepancy: Discrepancy,
}

/// How far the runnings may have moved against their curve by what disturbed the bed, °P. Common practice, no
/// source; tried against the simulated channels and rakes.
const JUMP_SD_P: f64 = 2.0;
const ITERATIONS: usize = 12;
const CONVERGED: f64 = 1e-5;

/// Points of the quadrature for the plan hint.
const HINT_STEPS: u32 = 24;

impl Problem<'_> {
    pub(super) fn solve(&self, start: ShapeVector) -> Posterior {
        let points: Vec<Point> = self
            .bins
            .iter()
            .zip(self.jumps)
            .map(|(bin, jumps)| Point {
                volume_l: bin.volume_l,
                noise_variance: bin.noise_sd_p * bin.noise_sd_p,
                jump_variance: if *jumps { JUMP_SD_P * JUMP_SD_P } else { 0.0 },
            })
            .collect();
        let whitening = self.discrepancy.whitening(&points);
        let mut mean = start;
        let mut cost = self.cost(&whitening, &mean);
        let mut damping = 1e-3;
        for _ in 0..ITERATIONS {
            let (normal, gradient) = self.normal_equations(&whitening, &mean);
            let Some(step) = damped_step(&normal, &gradient, damping) else {
                break;
            };
            let candidate = mean + step;
            let candidate_cost = self.cost(&whitening, &candidate);
            if candidate_cost <= cost {
                mean = candidate;
                cost = candidate_cost;
                damping = (damping * 0.2).max(1e-9);
                if self.relative(&step) < CONVERGED {
                    break;
                }
            } else {
                damping *= 12.0;
            }
        }
        self.posterior(&whitening, mean)
    }

    fn posterior(&self, whitening: &Whitening, mean: ShapeVector) -> Posterior {
        let (normal, _) = self.normal_equations(whitening, &mean);
        let prior_covariance = ShapeMatrix::from_diagonal(
            &self
                .prior
                .standard_deviation
                .component_mul(&self.prior.standard_deviation),
        );
        let covariance =
            Cholesky::new(normal).map_or(prior_covariance, |cholesky| cholesky.inverse());
        let mut residuals = self.residuals(&mean);
        let offset = whitening.apply(&mut residuals);
        Posterior {
            mean,
            covariance,
            offset,
        }
    }

    fn residuals(&self, shape: &ShapeVector) -> Vec<f64> {
        let curve = Curve::from_vector(shape);
        self.bins
            .iter()
            .map(|bin| bin.gravity_p - curve.gravity_p(bin.volume_l))
            .collect()
    }

    fn hint_residual(&self, shape: &ShapeVector) -> f64 {
        let mean_p = self.hint.kettle_gravity(&Curve::from_vector(shape));
        (self.hint.kettle_gravity_p - mean_p) / self.hint.standard_deviation_p
    }

    fn cost(&self, whitening: &Whitening, shape: &ShapeVector) -> f64 {
        let mut residuals = self.residuals(shape);
        whitening.apply(&mut residuals);
        let data: f64 = residuals.iter().map(|value| value * value).sum();
        let prior = self
            .prior
            .departure(shape)
            .component_div(&self.prior.standard_deviation)
            .norm_squared();
        let total = data + prior + self.hint_residual(shape).powi(2);
        if total.is_finite() { total } else { f64::MAX }
    }

    /// JᵀJ and Jᵀr of the whitened problem, prior and hint included.
    fn normal_equations(
        &self,
        whitening: &Whitening,
        shape: &ShapeVector,
    ) -> (ShapeMatrix, ShapeVector) {
        let mut base = self.residuals(shape);
        let mut columns: Vec<Vec<f64>> = Vec::with_capacity(SHAPES);
        let base_hint = self.hint_residual(shape);
        let mut hint_slopes = ShapeVector::zeros();
        for index in 0..SHAPES {
            let nudge = 1e-4 * self.prior.standard_deviation[index].max(1e-3);
            let mut nudged = *shape;
            nudged[index] += nudge;
            let mut column: Vec<f64> = self
                .residuals(&nudged)
                .iter()
                .zip(&base)
                .map(|(nudged, base)| (nudged - base) / nudge)
                .collect();
            whitening.apply(&mut column);
            columns.push(column);
            hint_slopes[index] = (self.hint_residual(&nudged) - base_hint) / nudge;
        }
        whitening.apply(&mut base);
        let precision = self.prior.precision();
        let mut normal = precision + hint_slopes * hint_slopes.transpose();
        let mut gradient = -(precision * (shape - self.prior.mean)) - hint_slopes * base_hint;
        for i in 0..SHAPES {
            for j in 0..=i {
                let product: f64 = columns[i].iter().zip(&columns[j]).map(|(a, b)| a * b).sum();
                normal[(i, j)] += product;
                if i != j {
                    normal[(j, i)] += product;
                }
            }
            gradient[i] -= columns[i]
                .iter()
                .zip(&base)
                .map(|(slope, value)| slope * value)
                .sum::<f64>();
        }
        (normal, gradient)
    }

    fn relative(&self, step: &ShapeVector) -> f64 {
        step.component_div(&self.prior.standard_deviation).amax()
    }
}

fn damped_step(normal: &ShapeMatrix, gradient: &ShapeVector, damping: f64) -> Option<ShapeVector> {
    let mut damped = *normal;
    for index in 0..SHAPES {
        damped[(index, index)] *= 1.0 + damping;
    }
    Cholesky::new(damped).map(|cholesky| cholesky.solve(gradient))
}

impl PlanHint {
    /// The target is expected at `runoff_volume_l`, known to the share `volume_sd`. At the stop-point the runnings
    /// are well below the kettle, so a share of volume is worth about half that share of the target gravity.
    pub fn at_target(runoff_volume_l: f64, volume_sd: f64, expectation: Expectation) -> Self {
        Self {
            runoff_volume_l,
            heel_l: expectation.heel_l,
            kettle_gravity_p: expectation.target_gravity_p,
            standard_deviation_p: 0.55 * volume_sd * expectation.target_gravity_p,
        }
    }

    /// Kettle gravity at the hinted volume if the runnings follow `curve`. The weight of a litre of hot wort
    /// is taken as 0.975 + 0.004 kg for each °P, which is within 0.3 % from 0 to 25 °P at 75 °C.
    pub fn kettle_gravity(&self, curve: &Curve) -> f64 {
        let step_l = self.runoff_volume_l / f64::from(HINT_STEPS);
        let (mut extract, mut wort) = (0.0, self.heel_l * 0.975);
        for step in 0..HINT_STEPS {
            let gravity_p = curve.gravity_p((f64::from(step) + 0.5) * step_l);
            let kg = (0.975 + 0.004 * gravity_p) * step_l;
            extract += kg * gravity_p;
            wort += kg;
        }
        extract / wort
    }
}
