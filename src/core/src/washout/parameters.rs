//! What is believed about any bed before its first reading.
//!
//! Owns the generic prior's figures and the discrepancy's, with their ranges, and makes the prior of them. A tun's
//! profile narrows it; it does not stand here. Where no other origin is named, a figure was fitted to six hundred
//! brews of simulated tuns drawn from wide ranges, and its spread widened; the published run-offs in the tests of
//! this module lie within it.

use serde::{Deserialize, Serialize};

use super::curve::{Curve, SHAPES, ShapeVector};
use super::fit::{PlanHint, Prior};
use super::{Expectation, Teaching};

/// Start-of-boil gravity over first-wort gravity in an ordinary brew. Common practice, no source.
const USUAL_TARGET_SHARE: f64 = 0.76;

/// How much is believed before the first reading, and how far real beds stray from any curve of the family.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Parameters {
    /// Standard deviation of the planned first-wort gravity, °P, 0.1 to 3.
    pub first_wort_sd_p: f64,
    /// First-wort gravity where the plan names none, °P, 10 to 25, and its standard deviation. Common
    /// practice, no source.
    pub usual_first_wort_p: f64,
    pub usual_first_wort_sd_p: f64,
    /// Breakthrough volume as a share of the planned run-off volume, 0.2 to 1, where the target is
    /// `USUAL_TARGET_SHARE` of the first wort; how its logarithm goes with the logarithm of that share, −2 to 2; and
    /// the standard deviation of its logarithm. A stronger target leaves less to wash.
    pub breakthrough_share: f64,
    pub breakthrough_with_target: f64,
    pub breakthrough_sd: f64,
    /// Sharpness of the corner, 2 to 60, how its logarithm goes with that of the breakthrough, −3 to 3, and the
    /// standard deviation of its logarithm.
    pub sharpness: f64,
    pub sharpness_with_breakthrough: f64,
    pub sharpness_sd: f64,
    /// Decline after the corner, 0.3 to 10, how its logarithm goes with those of the target's share and the
    /// breakthrough, −3 to 3: what breaks through late must fall fast; and the standard deviation of its logarithm.
    pub decline: f64,
    pub decline_with_target: f64,
    pub decline_with_breakthrough: f64,
    pub decline_sd: f64,
    /// Bend of the decline, −2 to 3, how it goes with the logarithms of the target's share, the breakthrough and the
    /// decline, −3 to 3: what is steep at first has the longer tail; and its standard deviation.
    pub bend: f64,
    pub bend_with_target: f64,
    pub bend_with_breakthrough: f64,
    pub bend_with_decline: f64,
    pub bend_sd: f64,
    /// Standard deviation of the plan's volume, share, 0.005 to 0.3: common practice, no source.
    pub plan_volume_sd: f64,
    /// Extract in the kettle at the stop-point over the grist's mass, 0.4 to 0.9, and its standard deviation as
    /// a share. Common practice: two thirds to three quarters; no source.
    pub extract_yield: f64,
    pub extract_yield_sd: f64,
    /// Standard deviation of the discrepancy, °P, 0.02 to 2.
    pub discrepancy_sd_p: f64,
    /// Its correlation length as a share of the planned volume, 0.02 to 1.
    pub discrepancy_length_share: f64,
    /// How much of what the runnings have lost against the first wort a long rest may give back, share, 0 to 0.5, and
    /// the time it takes, s, 60 to 3600. Own choice: slow exchange with the grain takes some minutes.
    pub rest_rise_share: f64,
    pub rest_time_s: f64,
    /// Longest stretch of suspect runnings that the fit leaves aside, share of the planned volume, 0.01 to 0.3.
    pub aside_share: f64,
    /// Width of a bin as a share of the planned volume, 0.002 to 0.05.
    pub bin_share: f64,
}

impl Default for Parameters {
    fn default() -> Self {
        Self {
            first_wort_sd_p: 0.5,
            usual_first_wort_p: 18.0,
            usual_first_wort_sd_p: 2.0,
            breakthrough_share: 0.527,
            breakthrough_with_target: 0.35,
            breakthrough_sd: 0.27,
            sharpness: 12.2,
            sharpness_with_breakthrough: 0.7,
            sharpness_sd: 0.7,
            decline: 1.92,
            decline_with_target: 0.33,
            decline_with_breakthrough: 0.9,
            decline_sd: 0.45,
            bend: 1.0,
            bend_with_target: 0.43,
            bend_with_breakthrough: 0.5,
            bend_with_decline: -1.5,
            bend_sd: 0.6,
            plan_volume_sd: 0.043,
            extract_yield: 0.69,
            extract_yield_sd: 0.063,
            discrepancy_sd_p: 0.22,
            discrepancy_length_share: 0.11,
            rest_rise_share: 0.1,
            rest_time_s: 600.0,
            aside_share: 0.1,
            bin_share: 0.008,
        }
    }
}

impl Parameters {
    /// Everything outside its range, as sentences.
    pub fn check(&self) -> Vec<String> {
        crate::units::outside_ranges(&[
            ("first_wort_sd_p", self.first_wort_sd_p, 0.1, 3.0),
            ("usual_first_wort_p", self.usual_first_wort_p, 10.0, 25.0),
            (
                "usual_first_wort_sd_p",
                self.usual_first_wort_sd_p,
                0.1,
                5.0,
            ),
            ("breakthrough_share", self.breakthrough_share, 0.2, 1.0),
            (
                "breakthrough_with_target",
                self.breakthrough_with_target,
                -2.0,
                2.0,
            ),
            ("breakthrough_sd", self.breakthrough_sd, 0.02, 1.0),
            ("sharpness", self.sharpness, 2.0, 60.0),
            (
                "sharpness_with_breakthrough",
                self.sharpness_with_breakthrough,
                -3.0,
                3.0,
            ),
            ("sharpness_sd", self.sharpness_sd, 0.02, 2.0),
            ("decline", self.decline, 0.3, 10.0),
            ("decline_with_target", self.decline_with_target, -3.0, 3.0),
            (
                "decline_with_breakthrough",
                self.decline_with_breakthrough,
                -3.0,
                3.0,
            ),
            ("decline_sd", self.decline_sd, 0.02, 2.0),
            ("bend", self.bend, -2.0, 3.0),
            ("bend_with_target", self.bend_with_target, -3.0, 3.0),
            (
                "bend_with_breakthrough",
                self.bend_with_breakthrough,
                -3.0,
                3.0,
            ),
            ("bend_with_decline", self.bend_with_decline, -3.0, 3.0),
            ("bend_sd", self.bend_sd, 0.02, 3.0),
            ("plan_volume_sd", self.plan_volume_sd, 0.005, 0.3),
            ("extract_yield", self.extract_yield, 0.4, 0.9),
            ("extract_yield_sd", self.extract_yield_sd, 0.01, 0.5),
            ("discrepancy_sd_p", self.discrepancy_sd_p, 0.02, 2.0),
            (
                "discrepancy_length_share",
                self.discrepancy_length_share,
                0.02,
                1.0,
            ),
            ("rest_rise_share", self.rest_rise_share, 0.0, 0.5),
            ("rest_time_s", self.rest_time_s, 60.0, 3600.0),
            ("aside_share", self.aside_share, 0.01, 0.3),
            ("bin_share", self.bin_share, 0.002, 0.05),
        ])
    }

    /// First-wort gravity to expect and its standard deviation, °P.
    pub fn first_wort(&self, expectation: Expectation) -> (f64, f64) {
        match expectation.first_wort_gravity_p {
            Some(planned_p) => (planned_p, self.first_wort_sd_p),
            None => (
                self.usual_first_wort_p
                    .max(expectation.target_gravity_p + 3.0),
                self.usual_first_wort_sd_p,
            ),
        }
    }
    /// What any tun leads one to expect of a brew.
    pub fn teaching(&self, expectation: Expectation) -> Teaching {
        Teaching {
            prior: self.prior(expectation),
            hint: self.hint(expectation),
        }
    }

    fn prior(&self, expectation: Expectation) -> Prior {
        let (first_wort_gravity_p, first_wort_sd_p) = self.first_wort(expectation);
        let target_share = expectation.target_gravity_p / first_wort_gravity_p;
        let target = (target_share / USUAL_TARGET_SHARE).ln();
        let breakthrough = self.breakthrough_share * (self.breakthrough_with_target * target).exp();
        let curve = Curve {
            first_wort_gravity_p,
            breakthrough_l: breakthrough * expectation.planned_runoff_l(),
            sharpness: self.sharpness,
            decline: self.decline * (self.decline_with_target * target).exp(),
            bend: self.bend + self.bend_with_target * target,
        };
        let mut coupling = nalgebra::SMatrix::<f64, SHAPES, SHAPES>::identity();
        coupling[(1, 0)] = self.breakthrough_with_target / first_wort_gravity_p;
        coupling[(2, 1)] = -self.sharpness_with_breakthrough;
        coupling[(3, 1)] = -self.decline_with_breakthrough;
        coupling[(4, 1)] = -self.bend_with_breakthrough;
        coupling[(4, 3)] = -self.bend_with_decline;
        Prior {
            mean: curve.to_vector(),
            standard_deviation: ShapeVector::from([
                first_wort_sd_p,
                self.breakthrough_sd,
                self.sharpness_sd,
                self.decline_sd,
                self.bend_sd,
            ]),
            coupling,
        }
    }

    /// Where the kettle is expected to come to its target: by the plan and by the grist's extract, each by its
    /// weight.
    fn hint(&self, expectation: Expectation) -> PlanHint {
        let target_p = expectation.target_gravity_p;
        let kg_per_l = 0.975 + 0.004 * target_p;
        let by_yield_l = self.extract_yield * expectation.grist_kg * 100.0 / (target_p * kg_per_l);
        let plan_weight = self.plan_volume_sd.powi(-2);
        let yield_weight = self.extract_yield_sd.powi(-2);
        let share = plan_weight / (plan_weight + yield_weight);
        let logarithm = share * expectation.planned_volume_l.ln() + (1.0 - share) * by_yield_l.ln();
        let volume_sd = (plan_weight + yield_weight).powf(-0.5);
        PlanHint::at_target(
            (logarithm.exp() - expectation.heel_l).max(1.0),
            volume_sd,
            expectation,
        )
    }
}
