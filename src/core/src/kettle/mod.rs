//! The kettle's extract and volume balance.
//!
//! Owns how much wort and extract have gone into the kettle and how sure that is: it sums what passes the
//! meters (flow × density × gravity, unshifted, because whatever passes the meters reaches the kettle) and
//! fuses the sums with the level, the kettle gravity and hand samples, each weighted by its standard error.
//! It does not know where the flow figure came from, nor what the future brings.

mod fusion;

use nalgebra::{Vector3, Vector4};
use serde::{Deserialize, Serialize};

use crate::units::{water_density_kg_m3, wort_density_kg_m3};
use fusion::Belief;

/// How far the instruments are trusted before anything has been compared.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Parameters {
    /// Standard deviation of the flow meter's scale error, share, 0.0005 to 0.1. Magnetic flow meters are
    /// sold with 0.2 to 0.5 % of reading; installation adds to it. Common practice, no source.
    pub flow_scale_sd: f64,
    /// The same for the level measurement's scale (vessel table, density), share, 0.0005 to 0.1.
    pub level_scale_sd: f64,
    /// Standard deviation of the level's zero, as a share of the kettle's capacity, 0.0001 to 0.05.
    pub level_zero_sd_share: f64,
    /// Standard deviation of the runnings meter's calibration, °P, 0.005 to 1. A new inline density meter of
    /// 0.1 kg/m³ with 0.2 K is good for 0.04 °P; twice that allows for installation and ageing.
    pub gravity_calibration_sd_p: f64,
    /// The same for a gravity meter in the kettle, °P, 0.005 to 1.
    pub kettle_gravity_calibration_sd_p: f64,
    /// Standard deviation of a hand sample's gravity, °P, 0.02 to 1. Hydrometer, cooled sample: common
    /// practice, no source.
    pub sample_gravity_sd_p: f64,
    /// Standard deviation of a hand-read kettle volume, share, 0.001 to 0.1.
    pub sample_volume_sd_share: f64,
}

impl Default for Parameters {
    fn default() -> Self {
        Self {
            flow_scale_sd: 0.006,
            level_scale_sd: 0.007,
            level_zero_sd_share: 0.003,
            gravity_calibration_sd_p: 0.08,
            kettle_gravity_calibration_sd_p: 0.08,
            sample_gravity_sd_p: 0.2,
            sample_volume_sd_share: 0.01,
        }
    }
}

impl Parameters {
    /// Everything outside its range, as sentences.
    pub fn check(&self) -> Vec<String> {
        let ranges = [
            ("flow_scale_sd", self.flow_scale_sd, 0.0005, 0.1),
            ("level_scale_sd", self.level_scale_sd, 0.0005, 0.1),
            (
                "level_zero_sd_share",
                self.level_zero_sd_share,
                0.0001,
                0.05,
            ),
            (
                "gravity_calibration_sd_p",
                self.gravity_calibration_sd_p,
                0.005,
                1.0,
            ),
            (
                "kettle_gravity_calibration_sd_p",
                self.kettle_gravity_calibration_sd_p,
                0.005,
                1.0,
            ),
            ("sample_gravity_sd_p", self.sample_gravity_sd_p, 0.02, 1.0),
            (
                "sample_volume_sd_share",
                self.sample_volume_sd_share,
                0.001,
                0.1,
            ),
        ];
        crate::units::outside_ranges(&ranges)
    }
}

/// A quantity of wort on its way into the kettle.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Portion {
    pub volume_l: f64,
    pub gravity_p: f64,
    /// Standard error of `gravity_p` beside the meter's calibration.
    pub gravity_se_p: f64,
    pub temperature_c: f64,
    /// False when the gravity is a forecast because no instrument gave one.
    pub measured: bool,
}

/// What is in the kettle, fused.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Contents {
    pub volume_l: f64,
    pub volume_se_l: f64,
    pub extract_kg: f64,
    pub wort_kg: f64,
    /// None while the kettle is empty.
    pub gravity_p: Option<f64>,
    pub gravity_se_p: f64,
}

/// Standard deviations beyond which a kettle sample is wild.
const WILD: f64 = 2.0;

/// The running balance of one brew.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Kettle {
    parameters: Parameters,
    heel_l: f64,
    heel_kg: f64,
    metered_l: f64,
    metered_kg: f64,
    extract_kg: f64,
    /// Scale errors of flow meter and level, the level's zero in L, and litres that no meter saw.
    volume: Belief<4>,
    /// True minus balanced kettle gravity, calibration of the runnings meter, calibration of the kettle
    /// meter, °P.
    gravity: Belief<3>,
    /// What the last kettle sample missed by, if it was wild.
    last_wild_miss_p: Option<f64>,
}

impl Kettle {
    /// A kettle holding `heel_l` of liquor at `temperature_c` and nothing else.
    pub fn new(parameters: Parameters, capacity_l: f64, heel_l: f64, temperature_c: f64) -> Self {
        let level_zero_sd_l = parameters.level_zero_sd_share * capacity_l;
        Self {
            parameters,
            heel_l,
            heel_kg: heel_l * water_density_kg_m3(temperature_c) / 1000.0,
            metered_l: 0.0,
            metered_kg: 0.0,
            extract_kg: 0.0,
            volume: Belief::around_zero([
                parameters.flow_scale_sd,
                parameters.level_scale_sd,
                level_zero_sd_l,
                0.0,
            ]),
            gravity: Belief::around_zero([
                0.0,
                parameters.gravity_calibration_sd_p,
                parameters.kettle_gravity_calibration_sd_p,
            ]),
            last_wild_miss_p: None,
        }
    }

    /// Adds what has just passed the meters. A negative volume takes back an overestimate.
    pub fn fill(&mut self, portion: Portion) {
        let kg = portion.volume_l * wort_density_kg_m3(portion.gravity_p, portion.temperature_c)
            / 1000.0;
        self.metered_l += portion.volume_l;
        self.metered_kg += kg;
        self.extract_kg += kg * portion.gravity_p / 100.0;
        let wort_kg = self.wort_kg();
        if wort_kg <= 0.0 || kg <= 0.0 {
            return;
        }
        self.carry_gravity_errors((kg / wort_kg).min(1.0), portion);
    }

    /// The new portion brings the runnings meter's error in proportion to its share of the kettle; a forecast
    /// in a meter's place is wrong in one direction for long, so its error adds linearly.
    fn carry_gravity_errors(&mut self, share: f64, portion: Portion) {
        let covariance = &mut self.gravity.covariance;
        let mut carry = nalgebra::Matrix3::identity();
        carry[(0, 0)] = 1.0 - share;
        carry[(0, 1)] = -share;
        *covariance = carry * *covariance * carry.transpose();
        self.gravity.mean = carry * self.gravity.mean;
        let fresh = share * portion.gravity_se_p;
        let own = self.gravity.covariance[(0, 0)];
        self.gravity.covariance[(0, 0)] = if portion.measured {
            own + fresh * fresh
        } else {
            (own.sqrt() + fresh).powi(2)
        };
    }

    /// Volume has been added without a flow meter's word, with this standard deviation. What is wrong about it
    /// is wrong in one direction for as long as the meter is silent, so standard deviations add. A negative one takes
    /// back what a counter has told since.
    pub fn widen_volume(&mut self, sd_l: f64) {
        let own = &mut self.volume.covariance[(3, 3)];
        let wide_l = own.max(0.0).sqrt() + sd_l;
        // Less is left than is to be taken back: the level has told meanwhile, and its word stands.
        let told = wide_l < 0.01 * sd_l.min(0.0);
        if !told {
            *own = wide_l.max(0.0).powi(2);
        }
    }

    /// A level reading, as volume. Returns its disagreement in standard deviations.
    pub fn observe_level(&mut self, volume_l: f64, noise_sd_l: f64) -> f64 {
        let expected_l = self.heel_l + self.metered_l;
        let weights = Vector4::new(self.metered_l, expected_l, 1.0, 1.0);
        self.volume
            .observe(weights, volume_l - expected_l, noise_sd_l * noise_sd_l)
    }

    /// A kettle volume read by a person.
    pub fn observe_sample_volume(&mut self, volume_l: f64) -> f64 {
        let expected_l = self.heel_l + self.metered_l;
        let sd_l = self.parameters.sample_volume_sd_share * expected_l.max(1.0);
        let weights = Vector4::new(self.metered_l, 0.0, 0.0, 1.0);
        self.volume
            .observe(weights, volume_l - expected_l, sd_l * sd_l)
    }

    /// A runnings sample against the line's reading at that moment.
    pub fn observe_runnings_sample(&mut self, line_p: f64, sample_p: f64) -> f64 {
        let variance = self.parameters.sample_gravity_sd_p.powi(2);
        self.gravity
            .observe(Vector3::new(0.0, 1.0, 0.0), line_p - sample_p, variance)
    }

    /// A kettle sample. Nothing is learnt while the kettle is empty. One wild sample hardly counts; a second that
    /// says the same means that the balance is wrong by more than the meters explain, and opens it.
    pub fn observe_kettle_sample(&mut self, sample_p: f64) -> Option<f64> {
        let variance = self.parameters.sample_gravity_sd_p.powi(2);
        let difference_p = sample_p - self.balanced_gravity_p()?;
        let miss_p = difference_p - self.gravity.mean[0];
        let wild = self
            .gravity
            .standardised(Vector3::new(1.0, 0.0, 0.0), difference_p, variance)
            .abs()
            > WILD;
        let again = self
            .last_wild_miss_p
            .is_some_and(|last_p| last_p * miss_p > 0.0);
        if wild && again {
            self.gravity.covariance[(0, 0)] += miss_p * miss_p;
        }
        self.last_wild_miss_p = wild.then_some(miss_p);
        Some(
            self.gravity
                .observe(Vector3::new(1.0, 0.0, 0.0), difference_p, variance),
        )
    }

    /// A reading of a gravity meter in the kettle.
    pub fn observe_kettle_gravity(&mut self, reading_p: f64, noise_sd_p: f64) -> Option<f64> {
        let balanced_p = self.balanced_gravity_p()?;
        Some(self.gravity.observe(
            Vector3::new(1.0, 0.0, 1.0),
            reading_p - balanced_p,
            noise_sd_p * noise_sd_p,
        ))
    }

    pub fn contents(&self) -> Contents {
        let metered_l = self.metered_l;
        let scale = self.scale();
        let volume_variance = self
            .volume
            .variance_of(Vector4::new(metered_l, 0.0, 0.0, 1.0));
        let wort_kg = self.heel_kg + scale * self.metered_kg;
        let balanced_p = (wort_kg > 0.0).then(|| 100.0 * scale * self.extract_kg / wort_kg);
        let gravity_p = balanced_p.map(|p| (p + self.gravity.mean[0]).max(0.0));
        Contents {
            volume_l: self.heel_l + scale * metered_l,
            volume_se_l: volume_variance.sqrt(),
            extract_kg: gravity_p.map_or(0.0, |p| p / 100.0 * wort_kg),
            wort_kg,
            gravity_p,
            gravity_se_p: self.gravity.variance_of(Vector3::new(1.0, 0.0, 0.0)).sqrt(),
        }
    }

    /// True litres for each metered one, what no meter saw spread over all.
    fn scale(&self) -> f64 {
        let unmetered_share = if self.metered_l > 1.0 {
            self.volume.mean[3] / self.metered_l
        } else {
            0.0
        };
        (1.0 + self.volume.mean[0] + unmetered_share).max(0.1)
    }

    /// Calibration of the runnings meter as compared with samples: reading minus truth, °P, and its
    /// standard error.
    pub fn runnings_calibration_p(&self) -> (f64, f64) {
        (
            self.gravity.mean[1],
            self.gravity.covariance[(1, 1)].max(0.0).sqrt(),
        )
    }

    /// Factor by which the flow meter's volumes are to be multiplied.
    pub fn flow_scale(&self) -> f64 {
        1.0 + self.volume.mean[0]
    }

    /// Everything the flow meter has passed into the kettle, by its own reckoning.
    pub fn metered_l(&self) -> f64 {
        self.metered_l
    }

    /// What was in the kettle before the run-off.
    pub fn heel_l(&self) -> f64 {
        self.heel_l
    }

    fn wort_kg(&self) -> f64 {
        self.heel_kg + self.metered_kg
    }

    fn balanced_gravity_p(&self) -> Option<f64> {
        let wort_kg = self.wort_kg();
        (self.metered_kg > 0.0 && wort_kg > 0.0).then(|| 100.0 * self.extract_kg / wort_kg)
    }
}

#[cfg(test)]
mod tests;
