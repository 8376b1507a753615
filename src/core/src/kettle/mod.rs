//! The kettle's extract and volume balance.
//!
//! Owns how much wort and extract have gone into the kettle and how sure that is: it sums what passes the
//! meters (flow × density × gravity, unshifted, because whatever passes the meters reaches the kettle) and
//! fuses the sums with the level, the kettle gravity and hand samples, each weighted by its standard error.
//! It does not know where the flow figure came from, nor what the future brings.

mod fusion;

use nalgebra::Vector3;
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
    /// Standard deviation of the runnings meter's calibration, °P, 0.005 to 1. An inline density meter of
    /// 0.1 kg/m³ with 0.2 K is good for 0.04 °P.
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
            gravity_calibration_sd_p: 0.04,
            kettle_gravity_calibration_sd_p: 0.08,
            sample_gravity_sd_p: 0.15,
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

/// The running balance of one brew.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Kettle {
    parameters: Parameters,
    heel_l: f64,
    heel_kg: f64,
    metered_l: f64,
    metered_kg: f64,
    extract_kg: f64,
    /// Volume put in while no meter saw it: its error adds up.
    unmetered_sd_l: f64,
    /// Scale errors of flow meter and level, and the level's zero.
    volume: Belief<3>,
    /// True minus balanced kettle gravity, calibration of the runnings meter, calibration of the kettle
    /// meter, °P.
    gravity: Belief<3>,
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
            unmetered_sd_l: 0.0,
            volume: Belief::around_zero([
                parameters.flow_scale_sd,
                parameters.level_scale_sd,
                level_zero_sd_l,
            ]),
            gravity: Belief::around_zero([
                0.0,
                parameters.gravity_calibration_sd_p,
                parameters.kettle_gravity_calibration_sd_p,
            ]),
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

    /// Volume added without a flow meter's word, with its standard deviation.
    pub fn widen_volume(&mut self, sd_l: f64) {
        self.unmetered_sd_l += sd_l;
    }

    /// A level reading, as volume. Returns its disagreement in standard deviations.
    pub fn observe_level(&mut self, volume_l: f64, noise_sd_l: f64) -> f64 {
        let expected_l = self.heel_l + self.metered_l;
        let weights = Vector3::new(self.metered_l, expected_l, 1.0);
        let variance = noise_sd_l * noise_sd_l + self.unmetered_sd_l * self.unmetered_sd_l;
        self.volume
            .observe(weights, volume_l - expected_l, variance)
    }

    /// A kettle volume read by a person.
    pub fn observe_sample_volume(&mut self, volume_l: f64) -> f64 {
        let expected_l = self.heel_l + self.metered_l;
        let sd_l = self.parameters.sample_volume_sd_share * expected_l.max(1.0);
        let variance = sd_l * sd_l + self.unmetered_sd_l * self.unmetered_sd_l;
        self.volume.observe(
            Vector3::new(self.metered_l, 0.0, 0.0),
            volume_l - expected_l,
            variance,
        )
    }

    /// A runnings sample against the line's reading at that moment.
    pub fn observe_runnings_sample(&mut self, line_p: f64, sample_p: f64) -> f64 {
        let variance = self.parameters.sample_gravity_sd_p.powi(2);
        self.gravity
            .observe(Vector3::new(0.0, 1.0, 0.0), line_p - sample_p, variance)
    }

    /// A kettle sample. Nothing is learnt while the kettle is empty.
    pub fn observe_kettle_sample(&mut self, sample_p: f64) -> Option<f64> {
        let variance = self.parameters.sample_gravity_sd_p.powi(2);
        let balanced_p = self.balanced_gravity_p()?;
        Some(
            self.gravity
                .observe(Vector3::new(1.0, 0.0, 0.0), sample_p - balanced_p, variance),
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
        let scale = 1.0 + self.volume.mean[0];
        let volume_variance = self.metered_l.powi(2) * self.volume.covariance[(0, 0)];
        let wort_kg = self.heel_kg + scale * self.metered_kg;
        let balanced_p = (wort_kg > 0.0).then(|| 100.0 * scale * self.extract_kg / wort_kg);
        let gravity_p = balanced_p.map(|p| (p + self.gravity.mean[0]).max(0.0));
        Contents {
            volume_l: self.heel_l + scale * self.metered_l,
            volume_se_l: (volume_variance + self.unmetered_sd_l.powi(2)).sqrt(),
            extract_kg: gravity_p.map_or(0.0, |p| p / 100.0 * wort_kg),
            wort_kg,
            gravity_p,
            gravity_se_p: self.gravity.variance_of(Vector3::new(1.0, 0.0, 0.0)).sqrt(),
        }
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

    fn wort_kg(&self) -> f64 {
        self.heel_kg + self.metered_kg
    }

    fn balanced_gravity_p(&self) -> Option<f64> {
        let wort_kg = self.wort_kg();
        (self.metered_kg > 0.0 && wort_kg > 0.0).then(|| 100.0 * self.extract_kg / wort_kg)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn kettle() -> Kettle {
        Kettle::new(Parameters::default(), 7000.0, 0.0, 75.0)
    }

    fn portion(volume_l: f64, gravity_p: f64) -> Portion {
        Portion {
            volume_l,
            gravity_p,
            gravity_se_p: 0.01,
            temperature_c: 75.0,
            measured: true,
        }
    }

    /// Mass balance worked by hand: 5 m³ of 16 °P with 1 m³ of 3 °P, both cooled to 20 °C, give 13.925 °P.
    #[test]
    fn two_portions_mix_by_mass() {
        let mut kettle = kettle();
        kettle.fill(Portion {
            temperature_c: 20.0,
            ..portion(5000.0, 16.0)
        });
        kettle.fill(Portion {
            temperature_c: 20.0,
            ..portion(1000.0, 3.0)
        });
        let contents = kettle.contents();
        assert!(
            (contents.gravity_p.unwrap() - 13.925).abs() < 5e-4,
            "{contents:?}"
        );
    }

    #[test]
    fn an_empty_kettle_has_no_gravity() {
        assert_eq!(kettle().contents().gravity_p, None);
    }

    #[test]
    fn a_heel_of_liquor_dilutes() {
        let mut kettle = Kettle::new(Parameters::default(), 7000.0, 500.0, 75.0);
        kettle.fill(portion(500.0, 18.0));
        let gravity_p = kettle.contents().gravity_p.unwrap();
        assert!((9.0..9.5).contains(&gravity_p), "{gravity_p}");
        assert!((kettle.contents().volume_l - 1000.0).abs() < 1e-9);
    }

    #[test]
    fn the_level_moves_the_volume_by_its_weight_and_narrows_it() {
        let mut kettle = kettle();
        for _ in 0..40 {
            kettle.fill(portion(100.0, 15.0));
            let level_l = kettle.metered_l() * 1.01;
            kettle.observe_level(level_l, 10.0);
        }
        let contents = kettle.contents();
        assert!(
            (4005.0..4035.0).contains(&contents.volume_l),
            "{contents:?}"
        );
        assert!(contents.volume_se_l < 0.006 * 4000.0);
    }

    #[test]
    fn kettle_samples_pull_the_gravity_and_narrow_it() {
        let mut kettle = kettle();
        kettle.fill(portion(3000.0, 15.0));
        let before = kettle.contents();
        kettle.observe_kettle_sample(14.9);
        let after = kettle.contents();
        assert!(after.gravity_p < before.gravity_p);
        assert!(after.gravity_se_p < before.gravity_se_p);
    }

    #[test]
    fn a_forecast_in_a_meters_place_widens_the_gravity() {
        let (mut measured, mut forecast) = (kettle(), kettle());
        for _ in 0..50 {
            let portion = Portion {
                gravity_se_p: 0.5,
                ..portion(50.0, 15.0)
            };
            measured.fill(portion);
            forecast.fill(Portion {
                measured: false,
                ..portion
            });
        }
        assert!(forecast.contents().gravity_se_p > 3.0 * measured.contents().gravity_se_p);
    }

    #[test]
    fn one_wild_level_reading_hardly_counts() {
        let mut kettle = kettle();
        kettle.fill(portion(3000.0, 15.0));
        for _ in 0..20 {
            kettle.observe_level(3000.0, 10.0);
        }
        kettle.observe_level(4500.0, 10.0);
        assert!(
            (kettle.contents().volume_l - 3000.0).abs() < 30.0,
            "{:?}",
            kettle.contents()
        );
    }
}
