//! What is believed about any bed before its first reading.
//!
//! Owns the generic prior's figures and the discrepancy's, with their ranges. A tun's profile narrows them; it does
//! not stand here.

use serde::{Deserialize, Serialize};

use super::Expectation;

/// How much is believed before the first reading, and how far real beds stray from any curve of the family.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Parameters {
    /// Standard deviation of the planned first-wort gravity, °P, 0.1 to 3.
    pub first_wort_sd_p: f64,
    /// First-wort gravity where the plan names none, °P, 10 to 25, and its standard deviation. Common
    /// practice, no source.
    pub usual_first_wort_p: f64,
    pub usual_first_wort_sd_p: f64,
    /// Breakthrough volume as a share of the planned run-off volume, 0.2 to 1, and the standard deviation of
    /// its logarithm. Wide: the plan hint and the readings settle it.
    pub breakthrough_share: f64,
    pub breakthrough_sd: f64,
    /// Sharpness of the corner, 2 to 60, and the standard deviation of its logarithm.
    pub sharpness: f64,
    pub sharpness_sd: f64,
    /// Decline after the corner, 0.3 to 10, and the standard deviation of its logarithm.
    pub decline: f64,
    pub decline_sd: f64,
    /// Bend of the decline, −2 to 3, and its standard deviation.
    pub bend: f64,
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
            breakthrough_share: 0.56,
            breakthrough_sd: 0.25,
            sharpness: 15.0,
            sharpness_sd: 0.7,
            decline: 2.1,
            decline_sd: 0.6,
            bend: 0.8,
            bend_sd: 1.2,
            plan_volume_sd: 0.045,
            extract_yield: 0.70,
            extract_yield_sd: 0.07,
            discrepancy_sd_p: 0.15,
            discrepancy_length_share: 0.12,
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
            ("breakthrough_sd", self.breakthrough_sd, 0.02, 1.0),
            ("sharpness", self.sharpness, 2.0, 60.0),
            ("sharpness_sd", self.sharpness_sd, 0.02, 2.0),
            ("decline", self.decline, 0.3, 10.0),
            ("decline_sd", self.decline_sd, 0.02, 2.0),
            ("bend", self.bend, -2.0, 3.0),
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
}
