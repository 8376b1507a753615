//! The curve of runnings gravity and pH over run-off volume: prior, update, forecast.
//!
//! Owns what is known about how this bed washes out. Volume drives it, so a pause or a change of flow leaves
//! it alone. It does not know the kettle or the plan's limits; projection puts them together.

mod acidity;
mod aside;
mod curve;
mod discrepancy;
mod fit;
mod parameters;
pub mod theory;

use nalgebra::Cholesky;
use serde::{Deserialize, Serialize};

pub use acidity::{Acidity, AcidityParameters};
use aside::Aside;
pub use curve::{Curve, SHAPES, ShapeVector};
pub use discrepancy::{Discrepancy, Offset};
use fit::{Bin, Problem, ShapeMatrix};
pub use fit::{PlanHint, Posterior, Prior};
pub use parameters::Parameters;

/// What the plan leads one to expect.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Expectation {
    pub grist_kg: f64,
    pub first_wort_gravity_p: Option<f64>,
    pub target_gravity_p: f64,
    pub planned_volume_l: f64,
    pub heel_l: f64,
}

/// What earlier brews on the tun lead one to expect of the next.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Teaching {
    pub prior: Prior,
    pub hint: PlanHint,
}

/// What is known about this bed's washout.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Washout {
    prior: Prior,
    hint: PlanHint,
    discrepancy: Discrepancy,
    bin_l: f64,
    bins: Vec<Bin>,
    aside: Aside,
    /// The bed has been stirred since the last bin began.
    stirred: bool,
    posterior: Posterior,
}

impl Washout {
    pub fn new(parameters: Parameters, expectation: Expectation) -> Self {
        let planned_l = (expectation.planned_volume_l - expectation.heel_l).max(1.0);
        let teaching = Teaching {
            prior: Self::prior(parameters, expectation, planned_l),
            hint: Self::hint(parameters, expectation),
        };
        Self::taught(parameters, expectation, teaching)
    }

    /// With what earlier brews taught in place of what tuns do in general.
    pub fn taught(parameters: Parameters, expectation: Expectation, teaching: Teaching) -> Self {
        let planned_l = (expectation.planned_volume_l - expectation.heel_l).max(1.0);
        let Teaching { prior, hint } = teaching;
        let discrepancy = Discrepancy {
            standard_deviation: parameters.discrepancy_sd_p,
            correlation_length_l: parameters.discrepancy_length_share * planned_l,
        };
        let problem = Problem {
            prior: &prior,
            hint,
            bins: &[],
            jumps: &[],
            discrepancy,
        };
        let posterior = problem.solve(prior.mean);
        let bin_l = parameters.bin_share * planned_l;
        Self {
            prior,
            hint,
            discrepancy,
            bin_l,
            bins: Vec::new(),
            aside: Aside::new(parameters.aside_share * planned_l),
            stirred: false,
            posterior,
        }
    }

    /// Where the kettle is expected to come to its target: by the plan and by the grist's extract, each by its
    /// weight.
    fn hint(parameters: Parameters, expectation: Expectation) -> PlanHint {
        let target_p = expectation.target_gravity_p;
        let kg_per_l = 0.975 + 0.004 * target_p;
        let by_yield_l =
            parameters.extract_yield * expectation.grist_kg * 100.0 / (target_p * kg_per_l);
        let plan_weight = parameters.plan_volume_sd.powi(-2);
        let yield_weight = parameters.extract_yield_sd.powi(-2);
        let share = plan_weight / (plan_weight + yield_weight);
        let logarithm = share * expectation.planned_volume_l.ln() + (1.0 - share) * by_yield_l.ln();
        let volume_sd = (plan_weight + yield_weight).powf(-0.5);
        PlanHint::at_target(
            (logarithm.exp() - expectation.heel_l).max(1.0),
            volume_sd,
            expectation,
        )
    }

    fn prior(parameters: Parameters, expectation: Expectation, runoff_volume_l: f64) -> Prior {
        let (first_wort_gravity_p, first_wort_sd_p) = parameters.first_wort(expectation);
        let curve = Curve {
            first_wort_gravity_p,
            breakthrough_l: parameters.breakthrough_share * runoff_volume_l,
            sharpness: parameters.sharpness,
            decline: parameters.decline,
            bend: parameters.bend,
        };
        let standard_deviation = ShapeVector::from([
            first_wort_sd_p,
            parameters.breakthrough_sd,
            parameters.sharpness_sd,
            parameters.decline_sd,
            parameters.bend_sd,
        ]);
        Prior {
            mean: curve.to_vector(),
            standard_deviation,
            coupling: ShapeMatrix::identity(),
        }
    }

    /// The runnings had `gravity_p` when `volume_l` had run off. Volumes must not fall; earlier ones are
    /// ignored.
    pub fn observe(&mut self, volume_l: f64, gravity_p: f64, noise_sd_p: f64) {
        let index = (volume_l / self.bin_l).floor();
        match self.bins.last_mut() {
            Some(bin) if !self.stirred && (bin.volume_l / self.bin_l).floor() >= index => {
                if volume_l < bin.volume_l - self.bin_l {
                    return;
                }
                let weight = 1.0 / f64::from(bin.count + 1);
                bin.volume_l += weight * (volume_l - bin.volume_l);
                bin.gravity_p += weight * (gravity_p - bin.gravity_p);
                bin.noise_sd_p += weight * (noise_sd_p - bin.noise_sd_p);
                bin.count += 1;
            }
            _ => self.bins.push(Bin {
                volume_l,
                gravity_p,
                noise_sd_p,
                count: 1,
                stirred: std::mem::take(&mut self.stirred),
            }),
        }
    }

    /// Brings the posterior up to the bins.
    pub fn refit(&mut self) {
        let (bins, jumps) = self.counting_bins();
        let problem = Problem {
            prior: &self.prior,
            hint: self.hint,
            bins: &bins,
            jumps: &jumps,
            discrepancy: self.discrepancy,
        };
        self.posterior = problem.solve(self.posterior.mean);
        if let Some(last) = self
            .bins
            .last()
            .filter(|bin| self.aside.contains(bin.volume_l))
        {
            // The runnings are where they are, but not because of the bed's curve: they will come back to it.
            let curve = Curve::from_vector(&self.posterior.mean);
            let miss_p = last.gravity_p - curve.gravity_p(last.volume_l);
            let doubt_p = self.discrepancy.standard_deviation.max(0.5 * miss_p.abs());
            self.posterior.offset = Offset {
                mean: miss_p,
                variance: doubt_p * doubt_p,
            };
        }
    }

    /// The bins that shape the curve, and whether something was left aside before each.
    fn counting_bins(&self) -> (Vec<Bin>, Vec<bool>) {
        let (mut bins, mut jumps) = (Vec::new(), Vec::new());
        let mut skipped = false;
        for bin in &self.bins {
            if self.aside.contains(bin.volume_l) {
                skipped = true;
                continue;
            }
            bins.push(*bin);
            jumps.push(std::mem::take(&mut skipped) || bin.stirred);
        }
        (bins, jumps)
    }

    /// The rakes have mixed the bed: the runnings may step, but the curve is not to blame.
    pub fn note_stirring(&mut self) {
        self.stirred = true;
    }

    /// From `volume_l` on the runnings are suspected to be a channel's: they no longer shape the curve.
    pub fn set_aside_from(&mut self, volume_l: f64) {
        self.aside.open(volume_l);
    }

    /// The suspicion has ended; `confirmed` says whether it was right.
    pub fn end_aside(&mut self, confirmed: bool) {
        if confirmed {
            self.aside.close(self.last_volume_l());
        } else {
            self.aside.drop_open();
        }
    }

    /// Runnings are being set aside.
    pub fn sets_aside(&self) -> bool {
        self.aside.is_open()
    }

    /// The state without the readings behind it: enough to ask what is expected further on.
    #[must_use]
    pub fn without_bins(&self) -> Self {
        Self {
            bins: self.bins.last().copied().into_iter().collect(),
            ..self.clone()
        }
    }

    pub fn posterior(&self) -> &Posterior {
        &self.posterior
    }

    pub fn discrepancy(&self) -> Discrepancy {
        self.discrepancy
    }

    /// Mean gravity of the wort that is in the bed when `volume_l` has run off and `bed_l` lies between the
    /// liquor and the outlet: what is in the bed now will run off next.
    pub fn bed_gravity_p(&self, volume_l: f64, bed_l: f64) -> f64 {
        const POINTS: u32 = 6;
        let curve = Curve::from_vector(&self.posterior.mean);
        let sum: f64 = (0..POINTS)
            .map(|point| {
                curve.gravity_p(volume_l + bed_l * (f64::from(point) + 0.5) / f64::from(POINTS))
            })
            .sum();
        sum / f64::from(POINTS)
    }

    /// First-wort gravity of the best curve.
    pub fn first_wort_gravity_p(&self) -> f64 {
        self.posterior.mean[0]
    }

    /// Run-off volume of the last reading that has been used.
    pub fn last_volume_l(&self) -> f64 {
        self.bins.last().map_or(0.0, |bin| bin.volume_l)
    }

    /// Expected gravity at a volume and its standard deviation, from the last fit.
    pub fn expected(&self, volume_l: f64) -> (f64, f64) {
        let curve = Curve::from_vector(&self.posterior.mean);
        let base = curve.gravity_p(volume_l);
        let mut slopes = ShapeVector::zeros();
        for index in 0..SHAPES {
            let mut nudged = self.posterior.mean;
            nudged[index] += 1e-4;
            slopes[index] = (Curve::from_vector(&nudged).gravity_p(volume_l) - base) / 1e-4;
        }
        let offset = self.offset_at(volume_l);
        let variance = slopes.dot(&(self.posterior.covariance * slopes)) + offset.variance;
        ((base + offset.mean).max(0.0), variance.max(0.0).sqrt())
    }

    /// Lower triangular root of the shape's covariance, for drawing curves.
    pub fn covariance_root(&self) -> nalgebra::SMatrix<f64, SHAPES, SHAPES> {
        Cholesky::new(self.posterior.covariance).map_or_else(
            || {
                nalgebra::SMatrix::from_diagonal(
                    &self
                        .posterior
                        .covariance
                        .diagonal()
                        .map(|v| v.max(0.0).sqrt()),
                )
            },
            |cholesky| cholesky.l(),
        )
    }

    fn offset_at(&self, volume_l: f64) -> Offset {
        self.discrepancy.carried(
            self.posterior.offset,
            (volume_l - self.last_volume_l()).max(0.0),
        )
    }
}

#[cfg(test)]
mod tests;
