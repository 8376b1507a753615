//! The balance itself: the sums, and what is believed of their errors.
//!
//! Owns how each observation moves the belief. A hand sample may be given later than it was taken, with what it met
//! then. It does not know which samples there have been.

use nalgebra::{Vector3, Vector4};
use serde::{Deserialize, Serialize};

use super::fusion::Belief;
use super::{Contents, Parameters, Portion};
use crate::reading::Moment;
use crate::units::{water_density_kg_m3, wort_density_kg_m3};

/// Standard deviations beyond which a kettle sample is wild.
const WILD: f64 = 2.0;
/// Standard deviations beyond which two others must say the same before it is believed. Own choice: beyond any meter's
/// calibration, so that a slip repeated once out of habit does not end a run-off.
const FAR: f64 = 10.0;
/// Samples closer than this are one piece of evidence, s. Own choice: to fill, cool and read another takes as long.
const SEPARATE_S: f64 = 300.0;

/// Samples that disbelieve the balance in the same direction.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
struct Wild {
    miss_p: f64,
    at: Moment,
    /// How many before it said the same.
    others: u32,
}

/// What a sample met when it was taken.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Met {
    pub metered_l: f64,
    pub wort_kg: f64,
    /// None while the kettle was empty.
    pub balanced_p: Option<f64>,
}

/// The running balance of one brew, with the hand samples it has been given.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Balance {
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
    /// What one standard deviation of the litres that no meter saw puts the kettle's gravity out by, °P. More wort of
    /// another gravity moves volume and gravity together, so it is in `gravity` and goes as the doubt about them goes.
    unseen_p: f64,
    /// The kettle samples that disbelieve the balance, while they do.
    wild: Option<Wild>,
}

impl Balance {
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
            unseen_p: 0.0,
            wild: None,
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
        self.unseen_p *= 1.0 - share;
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
    pub fn widen_volume(&mut self, sd_l: f64, gravity_p: Option<f64>) {
        let own = &mut self.volume.covariance[(3, 3)];
        let before_l = own.max(0.0).sqrt();
        let wide_l = before_l + sd_l;
        // Less is left than is to be taken back: the level has told meanwhile, and its word stands.
        let told = wide_l < 0.01 * sd_l.min(0.0);
        if told {
            return;
        }
        *own = wide_l.max(0.0).powi(2);
        let volume_l = self.heel_l + self.metered_l;
        let apart_p = gravity_p
            .zip(self.balanced_gravity_p())
            .map_or(0.0, |(unseen_p, kettle_p)| unseen_p - kettle_p);
        if sd_l > 0.0 {
            self.doubt_gravity(self.unseen_p + apart_p * sd_l / volume_l.max(1.0));
        } else if before_l > 0.0 {
            self.doubt_gravity(self.unseen_p * (wide_l / before_l).clamp(0.0, 1.0));
        }
    }

    /// Sets what the unseen litres put the gravity out by. What is doubtful for other reasons stays so.
    fn doubt_gravity(&mut self, unseen_p: f64) {
        if unseen_p.to_bits() == self.unseen_p.to_bits() {
            return;
        }
        let covariance = &mut self.gravity.covariance;
        let meter = covariance[(1, 1)];
        let by_meter = if meter > 0.0 {
            covariance[(0, 1)].powi(2) / meter
        } else {
            0.0
        };
        let own = covariance[(0, 0)] + unseen_p * unseen_p - self.unseen_p * self.unseen_p;
        covariance[(0, 0)] = own.max(by_meter);
        self.unseen_p = unseen_p;
    }

    /// Takes a word about the volume. What it says about unseen litres, it says about their gravity as well.
    fn observe_volume(&mut self, weights: Vector4<f64>, observed_l: f64, variance: f64) -> f64 {
        let unseen = |balance: &Self| {
            let own = balance.volume.covariance[(3, 3)];
            (balance.volume.mean[3], own.max(0.0).sqrt())
        };
        let (mean_l, sd_l) = unseen(self);
        let deviations = self.volume.observe(weights, observed_l, variance);
        if self.unseen_p != 0.0 && sd_l > 0.0 {
            let (now_l, now_sd_l) = unseen(self);
            self.gravity.mean[0] += self.unseen_p * (now_l - mean_l) / sd_l;
            self.doubt_gravity(self.unseen_p * (now_sd_l / sd_l).min(1.0));
        }
        deviations
    }

    /// Takes a word about the gravity; the unseen litres' part shrinks with the whole.
    fn observe_gravity(&mut self, weights: Vector3<f64>, observed_p: f64, variance: f64) -> f64 {
        let before = self.gravity.covariance[(0, 0)];
        let deviations = self.gravity.observe(weights, observed_p, variance);
        if self.unseen_p != 0.0 && before > 0.0 {
            let left = self.gravity.covariance[(0, 0)].max(0.0) / before;
            self.unseen_p *= left.min(1.0).sqrt();
        }
        deviations
    }

    /// A level reading, as volume. Returns its disagreement in standard deviations.
    pub fn observe_level(&mut self, volume_l: f64, noise_sd_l: f64) -> f64 {
        let expected_l = self.heel_l + self.metered_l;
        let weights = Vector4::new(self.metered_l, expected_l, 1.0, 1.0);
        self.observe_volume(weights, volume_l - expected_l, noise_sd_l * noise_sd_l)
    }

    /// A kettle volume read by a person.
    pub fn observe_sample_volume(&mut self, volume_l: f64, met: Met) -> f64 {
        let expected_l = self.heel_l + met.metered_l;
        let sd_l = self.parameters.sample_volume_sd_share * expected_l.max(1.0);
        let weights = Vector4::new(met.metered_l, 0.0, 0.0, 1.0);
        self.observe_volume(weights, volume_l - expected_l, sd_l * sd_l)
    }

    /// A runnings sample against the line's reading at that moment.
    pub fn observe_runnings_sample(&mut self, line_p: f64, sample_p: f64) -> f64 {
        let variance = self.parameters.sample_gravity_sd_p.powi(2);
        self.observe_gravity(Vector3::new(0.0, 1.0, 0.0), line_p - sample_p, variance)
    }

    /// A kettle sample. Nothing is learnt while the kettle is empty. One wild sample hardly counts; another, taken
    /// later, that says the same means that the balance is wrong by more than the meters explain, and opens it. The
    /// same soon after is the same slip once more, and says nothing new.
    pub fn observe_kettle_sample(&mut self, sample_p: f64, at: Moment, met: Met) -> Option<f64> {
        let difference_p = sample_p - met.balanced_p?;
        let (weights, share) = self.gravity_then(met);
        let variance = self.parameters.sample_gravity_sd_p.powi(2);
        let deviations = self.gravity.standardised(weights, difference_p, variance);
        if deviations.abs() <= WILD {
            self.wild = None;
        } else {
            let miss_p = difference_p - weights.dot(&self.gravity.mean);
            let wild = match self.wild {
                Some(before) if before.miss_p * miss_p > 0.0 => {
                    if at.since(before.at) < SEPARATE_S {
                        return Some(deviations);
                    }
                    Wild {
                        miss_p,
                        at,
                        others: before.others + 1,
                    }
                }
                _ => Wild {
                    miss_p,
                    at,
                    others: 0,
                },
            };
            self.wild = Some(wild);
            let needed = if deviations.abs() > FAR { 2 } else { 1 };
            if wild.others >= needed {
                self.gravity.covariance[(0, 0)] += (share * miss_p).powi(2);
            }
        }
        Some(self.observe_gravity(weights, difference_p, variance))
    }

    /// How the error of the balance at an earlier moment follows from the errors now, and what share of the kettle
    /// was in it then. What has run in since has brought the runnings meter's error.
    fn gravity_then(&self, met: Met) -> (Vector3<f64>, f64) {
        let share = (met.wort_kg / self.wort_kg()).clamp(1e-3, 1.0);
        let weights = Vector3::new(1.0 / share, (1.0 - share) / share, 0.0);
        (weights, share)
    }

    /// How many standard deviations a kettle sample would lie from the balance, and what the balance says.
    pub fn deviation_of_sample(&self, sample_p: f64) -> Option<(f64, f64)> {
        let balanced_p = self.balanced_gravity_p()?;
        let variance = self.parameters.sample_gravity_sd_p.powi(2);
        let weights = Vector3::new(1.0, 0.0, 0.0);
        let deviations = self
            .gravity
            .standardised(weights, sample_p - balanced_p, variance);
        Some((deviations, self.contents().gravity_p?))
    }

    /// What a sample meets that is taken now.
    pub fn met(&self) -> Met {
        Met {
            metered_l: self.metered_l,
            wort_kg: self.wort_kg(),
            balanced_p: self.balanced_gravity_p(),
        }
    }

    /// A reading of a gravity meter in the kettle.
    pub fn observe_kettle_gravity(&mut self, reading_p: f64, noise_sd_p: f64) -> Option<f64> {
        let balanced_p = self.balanced_gravity_p()?;
        let weights = Vector3::new(1.0, 0.0, 1.0);
        let variance = noise_sd_p * noise_sd_p;
        Some(self.observe_gravity(weights, reading_p - balanced_p, variance))
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
            unseen_se_l: self.volume.covariance[(3, 3)].max(0.0).sqrt(),
            unseen_p: self.unseen_p,
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
