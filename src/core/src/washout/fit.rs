//! Finding the curve that the runnings follow, and how sure that is.
//!
//! Owns the maximum a posteriori fit (Gauss–Newton with Levenberg's damping) and its Laplace covariance. The
//! data are the binned runnings, the prior, and one thing the plan says: that the kettle is expected to reach
//! its target gravity at the planned volume.

use nalgebra::{Cholesky, SMatrix, SVector};
use serde::{Deserialize, Serialize};

use super::Expectation;
use super::curve::{Course, SHAPES, ShapeVector};
use super::discrepancy::{Discrepancy, Offset, Point, Whitening};

pub(super) type ShapeMatrix = SMatrix<f64, SHAPES, SHAPES>;

/// Mean gravity of the runnings over one small stretch of volume.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Bin {
    pub volume_l: f64,
    pub gravity_p: f64,
    pub noise_sd_p: f64,
    pub count: u32,
    /// How far what disturbed the bed just before may have moved the runnings against their curve, °P.
    pub jump_sd_p: f64,
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
    /// What a departure of the shape from its mean takes off the offset: curve and offset together go through the
    /// readings.
    pub offset_slopes: ShapeVector,
}

/// Everything that weighs in the fit.
pub(super) struct Problem<'a> {
    pub prior: &'a Prior,
    pub hint: PlanHint,
    pub bins: &'a [Bin],
    /// How far the runnings may have moved against their curve just before each bin, °P; nought where nothing
    /// disturbed the bed.
    pub jumps: &'a [f64],
    pub discrepancy: Discrepancy,
}

const ITERATIONS: usize = 12;
/// Steps smaller than this share of the prior's standard deviations end the search.
const CONVERGED: f64 = 1e-3;
/// The curves know no logarithm of nought.
const LEAST_L: f64 = 1e-3;

/// Points of the quadrature for the plan hint.
const HINT_STEPS: u32 = 24;

/// A residual and its slope in each direction of the shape.
const COLUMNS: usize = SHAPES + 1;
type Row = SVector<f64, COLUMNS>;

/// The problem seen from one shape.
struct Linear {
    cost: f64,
    /// JᵀJ and −Jᵀr of the whitened problem, prior and hint included.
    normal: ShapeMatrix,
    descent: ShapeVector,
    /// Filtered offset at the last bin and its slopes.
    offset: Row,
}

impl Problem<'_> {
    pub(super) fn solve(&self, start: ShapeVector) -> Posterior {
        let points: Vec<Point> = self
            .bins
            .iter()
            .zip(self.jumps)
            .map(|(bin, jump_sd_p)| Point {
                volume_l: bin.volume_l,
                noise_variance: bin.noise_sd_p * bin.noise_sd_p,
                jump_variance: jump_sd_p * jump_sd_p,
            })
            .collect();
        let whitening = self.discrepancy.whitening(&points);
        let mut rows = Vec::with_capacity(self.bins.len());
        let mut mean = start;
        let mut here = self.linear(&whitening, &mean, &mut rows);
        let mut damping = 1e-3;
        for _ in 0..ITERATIONS {
            let Some(step) = damped_step(&here.normal, &here.descent, damping) else {
                break;
            };
            let candidate = self.linear(&whitening, &(mean + step), &mut rows);
            if candidate.cost <= here.cost {
                mean += step;
                here = candidate;
                damping = (damping * 0.2).max(1e-9);
                if self.relative(&step) < CONVERGED {
                    break;
                }
            } else {
                damping *= 12.0;
            }
        }
        self.posterior(&whitening, mean, &here)
    }

    fn posterior(&self, whitening: &Whitening, mean: ShapeVector, here: &Linear) -> Posterior {
        let covariance = Cholesky::new(here.normal).map_or_else(
            || {
                let deviations = self.prior.standard_deviation;
                ShapeMatrix::from_diagonal(&deviations.component_mul(&deviations))
            },
            |cholesky| cholesky.inverse(),
        );
        Posterior {
            mean,
            covariance,
            offset: Offset {
                mean: here.offset[0],
                variance: whitening.last_variance(),
            },
            offset_slopes: here.offset.fixed_rows::<SHAPES>(1).into(),
        }
    }

    /// Residuals of the bins with their slopes into `rows`, whitened and summed up with prior and hint.
    fn linear(&self, whitening: &Whitening, shape: &ShapeVector, rows: &mut Vec<Row>) -> Linear {
        let course = Course::of(shape);
        rows.clear();
        rows.extend(self.bins.iter().map(|bin| {
            let (gravity_p, slopes) = course.with_slopes(bin.volume_l.max(LEAST_L).ln());
            row(bin.gravity_p - gravity_p, &slopes)
        }));
        let offset = whitening.apply(rows);
        let hint_sd_p = self.hint.standard_deviation_p;
        let (kettle_p, kettle_slopes) = self.hint.with_slopes(&course);
        let hint = row(self.hint.kettle_gravity_p - kettle_p, &kettle_slopes) / hint_sd_p;
        let departure = self.prior.departure(shape);
        let mut normal = self.prior.precision();
        let mut descent = -(normal * (shape - self.prior.mean));
        let mut cost = departure
            .component_div(&self.prior.standard_deviation)
            .norm_squared();
        for row in rows.iter().chain([&hint]) {
            let slopes: ShapeVector = row.fixed_rows::<SHAPES>(1).into();
            cost += row[0] * row[0];
            normal.ger(1.0, &slopes, &slopes, 1.0);
            descent.axpy(-row[0], &slopes, 1.0);
        }
        Linear {
            cost: if cost.is_finite() { cost } else { f64::MAX },
            normal,
            descent,
            offset,
        }
    }

    fn relative(&self, step: &ShapeVector) -> f64 {
        step.component_div(&self.prior.standard_deviation).amax()
    }
}

/// A residual falls where the model's slope rises.
fn row(residual: f64, slopes: &ShapeVector) -> Row {
    let mut row = Row::zeros();
    row[0] = residual;
    row.fixed_rows_mut::<SHAPES>(1).copy_from(&-slopes);
    row
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

    /// Kettle gravity at the hinted volume if the runnings follow `course`, and its slope in each direction of the
    /// shape. The weight of a litre of hot wort is taken as 0.975 + 0.004 kg for each °P, which is within 0.3 % from
    /// 0 to 25 °P at 75 °C.
    pub fn with_slopes(&self, course: &Course) -> (f64, ShapeVector) {
        let step_l = self.runoff_volume_l / f64::from(HINT_STEPS);
        let (mut extract, mut wort) = (0.0, self.heel_l * 0.975);
        let mut extract_slopes = ShapeVector::zeros();
        let mut wort_slopes = ShapeVector::zeros();
        for step in 0..HINT_STEPS {
            let middle_l = (f64::from(step) + 0.5) * step_l;
            let (gravity_p, slopes) = course.with_slopes(middle_l.ln());
            let kg = (0.975 + 0.004 * gravity_p) * step_l;
            extract += kg * gravity_p;
            wort += kg;
            extract_slopes.axpy((0.975 + 0.008 * gravity_p) * step_l, &slopes, 1.0);
            wort_slopes.axpy(0.004 * step_l, &slopes, 1.0);
        }
        let kettle_p = extract / wort;
        (kettle_p, (extract_slopes - wort_slopes * kettle_p) / wort)
    }
}
