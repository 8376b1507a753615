//! The kettle's extract and volume balance.
//!
//! Owns how much wort and extract have gone into the kettle and how sure that is: it sums what passes the
//! meters (flow × density × gravity, unshifted, because whatever passes the meters reaches the kettle) and
//! fuses the sums with the level, the kettle gravity and hand samples, each weighted by its standard error.
//! It knows the balance without hand samples as well, so that one can be withdrawn.
//! It does not know where the flow figure came from, nor what the future brings.

mod balance;
mod fusion;

use serde::{Deserialize, Serialize};

use crate::reading::Moment;
use balance::{Balance, Met};

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
    /// Standard error of what no meter saw, L; part of `volume_se_l`.
    pub unseen_se_l: f64,
    /// What that puts the kettle's gravity out by, °P: with its sign for one more standard error of litres, and part of
    /// `gravity_se_p`.
    pub unseen_p: f64,
}

impl Contents {
    /// Standard error of the gravity beside what no meter saw, °P.
    pub fn metered_se_p(&self) -> f64 {
        if self.unseen_p == 0.0 {
            return self.gravity_se_p;
        }
        let own = self.gravity_se_p * self.gravity_se_p - self.unseen_p * self.unseen_p;
        own.max(0.0).sqrt()
    }
}

/// What a hand sample says to the balance.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
enum Word {
    KettleGravity { sample_p: f64 },
    KettleVolume { volume_l: f64 },
    RunningsGravity { line_p: f64, sample_p: f64 },
}

/// A hand sample that the balance has been given.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
struct Given {
    /// Whoever gives samples numbers them.
    number: usize,
    at: Moment,
    met: Met,
    word: Word,
}

/// The running balance of one brew.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Kettle {
    balance: Balance,
    /// The same with no hand sample ever given.
    without_samples: Balance,
    given: Vec<Given>,
}

impl Kettle {
    /// A kettle holding `heel_l` of liquor at `temperature_c` and nothing else.
    pub fn new(parameters: Parameters, capacity_l: f64, heel_l: f64, temperature_c: f64) -> Self {
        let balance = Balance::new(parameters, capacity_l, heel_l, temperature_c);
        Self {
            without_samples: balance.clone(),
            balance,
            given: Vec::new(),
        }
    }

    /// Adds what has just passed the meters. A negative volume takes back an overestimate.
    pub fn fill(&mut self, portion: Portion) {
        self.balance.fill(portion);
        self.without_samples.fill(portion);
    }

    /// Volume has been added without a flow meter's word, with this standard deviation; a negative one
    /// takes back what a counter has told since. `gravity_p` is that of what is in doubt, where that is wort beside what
    /// is there and not the scale of all.
    pub fn widen_volume(&mut self, sd_l: f64, gravity_p: Option<f64>) {
        self.balance.widen_volume(sd_l, gravity_p);
        self.without_samples.widen_volume(sd_l, gravity_p);
    }

    /// A level reading, as volume. Returns its disagreement in standard deviations.
    pub fn observe_level(&mut self, volume_l: f64, noise_sd_l: f64) -> f64 {
        self.without_samples.observe_level(volume_l, noise_sd_l);
        self.balance.observe_level(volume_l, noise_sd_l)
    }

    /// A reading of a gravity meter in the kettle.
    pub fn observe_kettle_gravity(&mut self, reading_p: f64, noise_sd_p: f64) -> Option<f64> {
        self.without_samples
            .observe_kettle_gravity(reading_p, noise_sd_p);
        self.balance.observe_kettle_gravity(reading_p, noise_sd_p)
    }

    /// A kettle volume read by a person.
    pub fn take_kettle_volume(&mut self, number: usize, volume_l: f64, at: Moment) {
        self.take(number, Word::KettleVolume { volume_l }, at);
    }

    /// A runnings sample against the line's reading at that moment.
    pub fn take_runnings_gravity(&mut self, number: usize, line_p: f64, sample_p: f64, at: Moment) {
        self.take(number, Word::RunningsGravity { line_p, sample_p }, at);
    }

    /// A sample of the kettle. A wild one is only believed when others, taken later, say the same.
    pub fn take_kettle_gravity(&mut self, number: usize, sample_p: f64, at: Moment) {
        self.take(number, Word::KettleGravity { sample_p }, at);
    }

    fn take(&mut self, number: usize, word: Word, at: Moment) {
        let met = self.balance.met();
        let given = Given {
            number,
            at,
            met,
            word,
        };
        give(&mut self.balance, &given);
        self.given.push(given);
    }

    /// As if the sample had never been taken. Those that were taken beside it are given again.
    pub fn withdraw(&mut self, number: usize) {
        let before = self.given.len();
        self.given.retain(|given| given.number != number);
        if self.given.len() == before {
            return;
        }
        self.balance = self.without_samples.clone();
        for given in &self.given {
            give(&mut self.balance, given);
        }
    }

    /// How many standard deviations a kettle sample would lie from the balance, and the kettle gravity it would be
    /// held against.
    pub fn deviation_of_sample(&self, sample_p: f64) -> Option<(f64, f64)> {
        self.balance.deviation_of_sample(sample_p)
    }

    pub fn contents(&self) -> Contents {
        self.balance.contents()
    }

    /// Calibration of the runnings meter as compared with samples: reading minus truth, °P, and its standard error.
    pub fn runnings_calibration_p(&self) -> (f64, f64) {
        self.balance.runnings_calibration_p()
    }

    /// Factor by which the flow meter's volumes are to be multiplied.
    pub fn flow_scale(&self) -> f64 {
        self.balance.flow_scale()
    }

    /// Everything the flow meter has passed into the kettle, by its own reckoning.
    pub fn metered_l(&self) -> f64 {
        self.balance.metered_l()
    }

    /// What was in the kettle before the run-off.
    pub fn heel_l(&self) -> f64 {
        self.balance.heel_l()
    }
}

fn give(balance: &mut Balance, given: &Given) {
    match given.word {
        Word::KettleGravity { sample_p } => {
            balance.observe_kettle_sample(sample_p, given.at, given.met);
        }
        Word::KettleVolume { volume_l } => {
            balance.observe_sample_volume(volume_l, given.met);
        }
        Word::RunningsGravity { line_p, sample_p } => {
            balance.observe_runnings_sample(line_p, sample_p);
        }
    }
}

#[cfg(test)]
mod tests;
