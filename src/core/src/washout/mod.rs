//! The curve of runnings gravity and pH over run-off volume: prior, update, forecast.
//!
//! Owns what is known about how this bed washes out. Volume drives it, so a change of flow leaves it alone; only the
//! slow release from the grist runs on time, which a rest brings to light. It does not know the kettle or the plan's limits; projection puts them together.

mod acidity;
mod aside;
mod curve;
mod discrepancy;
mod fit;
mod parameters;
pub mod theory;

use nalgebra::Cholesky;
use serde::{Deserialize, Serialize};

pub(crate) use acidity::washing;
pub use acidity::{Acidity, AcidityParameters};
use aside::Aside;
pub use curve::{Course, Curve, Place, SHAPES, ShapeVector};
pub use discrepancy::{Discrepancy, Offset};
use fit::{Bin, Problem, ShapeMatrix};
pub use fit::{PlanHint, Posterior, Prior};
pub use parameters::Parameters;

/// How far the runnings may have moved against their curve by what disturbed the bed, °P. Common practice, no
/// source; tried against the simulated channels and rakes.
const STIRRED_SD_P: f64 = 2.0;

/// What the plan leads one to expect.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Expectation {
    pub grist_kg: f64,
    pub first_wort_gravity_p: Option<f64>,
    pub target_gravity_p: f64,
    pub planned_volume_l: f64,
    pub heel_l: f64,
}

impl Expectation {
    /// Planned volume without the heel, L.
    pub fn planned_runoff_l(&self) -> f64 {
        (self.planned_volume_l - self.heel_l).max(1.0)
    }
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
    /// How far the runnings may have moved against the curve since the last bin began, °P.
    jump_sd_p: f64,
    /// How much a rest may raise the runnings, of what they have lost, and how long it takes.
    rest_rise_share: f64,
    rest_time_s: f64,
    posterior: Posterior,
}

impl Washout {
    pub fn new(parameters: Parameters, expectation: Expectation) -> Self {
        let teaching = parameters.teaching(expectation);
        Self::taught(parameters, expectation, teaching)
    }

    /// With what earlier brews taught in place of what tuns do in general.
    pub fn taught(parameters: Parameters, expectation: Expectation, teaching: Teaching) -> Self {
        let planned_l = expectation.planned_runoff_l();
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
            jump_sd_p: 0.0,
            rest_rise_share: parameters.rest_rise_share,
            rest_time_s: parameters.rest_time_s,
            posterior,
        }
    }

    /// The runnings had `gravity_p` when `volume_l` had run off. Volumes must not fall; earlier ones are
    /// ignored.
    pub fn observe(&mut self, volume_l: f64, gravity_p: f64, noise_sd_p: f64) {
        let index = (volume_l / self.bin_l).floor();
        match self.bins.last_mut() {
            Some(bin) if (bin.volume_l / self.bin_l).floor() >= index => {
                // A bin in which the runnings jump has no one gravity: the next one takes the jump.
                if self.jump_sd_p > 0.0 || volume_l < bin.volume_l - self.bin_l {
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
                jump_sd_p: std::mem::take(&mut self.jump_sd_p),
            }),
        }
    }

    /// Takes back what was observed at `volume_l`.
    pub fn forget(&mut self, volume_l: f64, gravity_p: f64, noise_sd_p: f64) {
        let index = (volume_l / self.bin_l).floor();
        let same = |bin: &Bin| (bin.volume_l / self.bin_l).floor() >= index;
        let Some(place) = self.bins.iter().position(same) else {
            return;
        };
        let bin = &mut self.bins[place];
        if bin.count <= 1 {
            self.bins.remove(place);
            return;
        }
        let weight = 1.0 / f64::from(bin.count - 1);
        bin.volume_l += weight * (bin.volume_l - volume_l);
        bin.gravity_p += weight * (bin.gravity_p - gravity_p);
        bin.noise_sd_p += weight * (bin.noise_sd_p - noise_sd_p);
        bin.count -= 1;
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
            let (gravity_p, slopes) =
                Course::of(&self.posterior.mean).with_slopes(last.volume_l.max(1.0).ln());
            let miss_p = last.gravity_p - gravity_p;
            self.posterior.offset_slopes = -slopes;
            let doubt_p = self.discrepancy.standard_deviation.max(0.5 * miss_p.abs());
            self.posterior.offset = Offset {
                mean: miss_p,
                variance: doubt_p * doubt_p,
            };
        }
    }

    /// The bins that shape the curve, and how far something may have moved the runnings before each.
    fn counting_bins(&self) -> (Vec<Bin>, Vec<f64>) {
        let (mut bins, mut jumps) = (Vec::new(), Vec::new());
        let mut skipped = false;
        for bin in &self.bins {
            if self.aside.contains(bin.volume_l) {
                skipped = true;
                continue;
            }
            bins.push(*bin);
            let skipped_sd_p = if std::mem::take(&mut skipped) {
                STIRRED_SD_P
            } else {
                0.0
            };
            jumps.push(bin.jump_sd_p.max(skipped_sd_p));
        }
        (bins, jumps)
    }

    /// The rakes have mixed the bed: the runnings may step, but the curve is not to blame.
    pub fn note_stirring(&mut self) {
        self.jump_sd_p = self.jump_sd_p.max(STIRRED_SD_P);
    }

    /// Nothing ran off for `seconds`. The grist gives off extract all the while, so that the runnings come back
    /// somewhat stronger; it is washed out again within the discrepancy's length. A full bed has nothing to give.
    pub fn note_rest(&mut self, seconds: f64) {
        const LEAST_SD_P: f64 = 0.02;
        let Some(last) = self.bins.last() else { return };
        let lost_p = (self.first_wort_gravity_p() - last.gravity_p).max(0.0);
        let rise_p = self.rest_rise_share * lost_p * -(-seconds / self.rest_time_s).exp_m1();
        if rise_p >= LEAST_SD_P {
            self.jump_sd_p = self.jump_sd_p.max(rise_p);
        }
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
        let course = Course::of(&self.posterior.mean);
        let sum: f64 = (0..POINTS)
            .map(|point| volume_l + bed_l * (f64::from(point) + 0.5) / f64::from(POINTS))
            .map(|at_l| course.gravity_p(at_l.max(1.0).ln()))
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
        let course = Course::of(&self.posterior.mean);
        let (base, slopes) = course.with_slopes(volume_l.max(1.0).ln());
        let distance_l = (volume_l - self.last_volume_l()).max(0.0);
        let offset = self.discrepancy.carried(self.posterior.offset, distance_l);
        let together =
            slopes + self.posterior.offset_slopes * self.discrepancy.correlation(distance_l);
        let variance = together.dot(&(self.posterior.covariance * together)) + offset.variance;
        ((base + offset.mean).max(0.0), variance.max(0.0).sqrt())
    }

    /// A root of the shape's covariance, for drawing curves. Its first column is the direction that moves the
    /// kettle's gravity at the end, so that evenly spread first coordinates spread the answers evenly.
    pub fn covariance_root(&self) -> ShapeMatrix {
        let covariance = &self.posterior.covariance;
        let root = Cholesky::new(*covariance).map_or_else(
            || ShapeMatrix::from_diagonal(&covariance.diagonal().map(|v| v.max(0.0).sqrt())),
            |cholesky| cholesky.l(),
        );
        let (_, slopes) = self.hint.with_slopes(&Course::of(&self.posterior.mean));
        root * turned_to(root.tr_mul(&slopes))
    }
}

/// The reflection (Householder) that turns the first axis to `direction`.
fn turned_to(direction: ShapeVector) -> ShapeMatrix {
    let length = direction.norm();
    let mut mirror = -direction / length.max(f64::MIN_POSITIVE);
    mirror[0] += 1.0;
    let squared = mirror.norm_squared();
    if length > 0.0 && squared > 1e-12 {
        ShapeMatrix::identity() - mirror * mirror.transpose() * (2.0 / squared)
    } else {
        ShapeMatrix::identity()
    }
}

#[cfg(test)]
mod tests;
