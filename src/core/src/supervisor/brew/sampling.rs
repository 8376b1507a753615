//! The hand samples of a brew: what each is held against, what it teaches, and how one is withdrawn.
//!
//! Owns the list of them and the watches over the line's instruments that rest on it. The kettle keeps its own account of
//! what it was given.

use serde::{Deserialize, Serialize};

use crate::detect::{SampleErrors, SampleWatch};
use crate::projection::{PhBasis, StopCause};
use crate::reading::Moment;
use crate::units::ph_in_process;
use crate::washout::Acidity;

use super::super::event::{Place, Sample};
use super::super::parameters::Parameters;
use super::{Brew, Picture};

/// Errors of hand samples taken in an instrument's place. Common practice, no source.
const SAMPLE_GRAVITY_SD_P: f64 = 0.15;
const SAMPLE_PH_SD: f64 = 0.05;
/// Meter and hand see the runnings this far apart: lag, pipe, the time it takes to fill a glass. Common practice, no
/// source.
const SAMPLED_WITHIN_S: f64 = 15.0;
/// Hand samples against sound instruments. Common practice, no source. What a gravity meter is off by from the beginning
/// is as small as what a hand is off by each time, and learning it would hide a drift; an electrode's is larger.
const GRAVITY_SAMPLES: SampleErrors = SampleErrors {
    calibration: 0.0,
    each: 0.21,
};
const PH_SAMPLES: SampleErrors = SampleErrors {
    calibration: 0.07,
    each: 0.05,
};
/// The same figures of the same place within this time are one piece of evidence, s. Own choice: another sample takes as
/// long, and a slip is typed again sooner.
const SAME_EVIDENCE_S: f64 = 300.0;
/// What a sample may differ by before whoever gives it is asked, beside what is doubtful anyway. Common practice, no
/// source: several times what a careful hand is off by.
const FAR_GRAVITY_P: f64 = 1.0;
const FAR_PH: f64 = 0.4;
const FAR_VOLUME_SHARE: f64 = 0.08;
const FAR_VOLUME_L: f64 = 100.0;
/// Standard deviations of what is expected beyond which a sample is far. Own choice.
const FAR_DEVIATIONS: f64 = 4.0;

/// What is far about a sample, and what it was expected to be.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum SampleDoubt {
    KettleGravity { sample_p: f64, expected_p: f64 },
    RunningsGravity { sample_p: f64, expected_p: f64 },
    RunningsPh { sample_ph: f64, expected_ph: f64 },
    KettleVolume { sample_l: f64, expected_l: f64 },
}

/// What a sample of the runnings' gravity met.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
enum Gravity {
    /// The line had a value: what it read beyond the sample, and what it may have moved by between the two.
    Compared { difference_p: f64, moving_p: f64 },
    /// It had none.
    InPlace { volume_l: f64 },
}

/// What a sample of the runnings' pH met, on the plan's basis.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
enum Ph {
    Compared { line_ph: f64, sample_ph: f64 },
    InPlace { gravity_p: f64, sample_ph: f64 },
}

#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
struct Taken {
    at: Moment,
    sample: Sample,
    withdrawn: bool,
    gravity: Option<Gravity>,
    ph: Option<Ph>,
}

/// All hand samples of a brew in the order in which they came; their numbers are their places.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(in super::super) struct Samples {
    taken: Vec<Taken>,
    limit: f64,
    /// The line's gravity and pH against them.
    pub gravity: SampleWatch,
    pub ph: SampleWatch,
    /// The pH law with no sample ever given.
    acidity_without: Acidity,
}

impl Samples {
    pub fn new(parameters: &Parameters) -> Self {
        let limit = parameters.detect.sample_deviations;
        Self {
            taken: Vec::new(),
            limit,
            gravity: SampleWatch::new(GRAVITY_SAMPLES, limit),
            ph: SampleWatch::new(PH_SAMPLES, limit),
            acidity_without: Acidity::new(parameters.acidity),
        }
    }

    pub(super) fn acidity_without_mut(&mut self) -> &mut Acidity {
        &mut self.acidity_without
    }

    pub fn count(&self) -> usize {
        self.taken.len()
    }

    /// The number of a standing sample with the same figures, taken within `seconds` before `now`.
    pub fn same_within(&self, sample: &Sample, seconds: f64, now: Moment) -> Option<usize> {
        self.taken.iter().rposition(|taken| {
            !taken.withdrawn && taken.sample == *sample && now.since(taken.at) < seconds
        })
    }

    /// A sample that stands.
    pub fn standing(&self, number: usize) -> Option<Sample> {
        let taken = self.taken.get(number).filter(|taken| !taken.withdrawn)?;
        Some(taken.sample)
    }

    /// What the line is held to have shown, from those that stand.
    fn compare_again(&mut self) {
        self.gravity = SampleWatch::new(GRAVITY_SAMPLES, self.limit);
        self.ph = SampleWatch::new(PH_SAMPLES, self.limit);
        for taken in self.taken.iter().filter(|taken| !taken.withdrawn) {
            if let Some(Gravity::Compared {
                difference_p,
                moving_p,
            }) = taken.gravity
            {
                self.gravity.compare(difference_p, moving_p);
            }
            if let Some(Ph::Compared { line_ph, sample_ph }) = taken.ph {
                self.ph.compare(line_ph - sample_ph, 0.0);
            }
        }
    }
}

impl Brew {
    /// Takes a sample. The same figures again soon after stand in the record and teach nothing.
    pub fn take_sample(&mut self, sample: &Sample, picture: &Picture, at: Moment, p: &Parameters) {
        let number = self.samples.count();
        let known = self.samples.same_within(sample, SAME_EVIDENCE_S, at);
        let (mut gravity, mut ph) = (None, None);
        if known.is_none() {
            if let Some(volume_l) = sample.volume_l {
                self.kettle.take_kettle_volume(number, volume_l, at);
            }
            match (sample.place, sample.gravity_p) {
                (Place::Runnings, Some(gravity_p)) => {
                    gravity = Some(self.take_runnings_sample(number, gravity_p, picture, at));
                }
                (Place::Kettle, Some(gravity_p)) => {
                    self.kettle.take_kettle_gravity(number, gravity_p, at);
                }
                (_, None) => {}
            }
            ph = sample
                .ph
                .filter(|_| sample.place == Place::Runnings)
                .map(|ph| self.take_ph_sample(ph, picture, p));
        }
        self.samples.taken.push(Taken {
            at,
            sample: *sample,
            withdrawn: false,
            gravity,
            ph,
        });
    }

    /// A runnings sample: against the line where it has a value, else in its place.
    fn take_runnings_sample(
        &mut self,
        number: usize,
        gravity_p: f64,
        picture: &Picture,
        at: Moment,
    ) -> Gravity {
        let Some(line) = picture.runnings_gravity_p else {
            let volume_l = self.kettle.metered_l();
            self.washout
                .observe(volume_l, gravity_p, SAMPLE_GRAVITY_SD_P);
            return Gravity::InPlace { volume_l };
        };
        let moving_p = self.falls_by_p(SAMPLED_WITHIN_S);
        let difference_p = line.value - gravity_p;
        self.samples.gravity.compare(difference_p, moving_p);
        self.kettle
            .take_runnings_gravity(number, line.value, gravity_p, at);
        Gravity::Compared {
            difference_p,
            moving_p,
        }
    }

    /// What the runnings are expected to fall by in so many seconds, °P.
    fn falls_by_p(&self, seconds: f64) -> f64 {
        let now_l = self.kettle.metered_l();
        let later_l = now_l + self.pace_l_min() * seconds / 60.0;
        (self.washout.expected(now_l).0 - self.washout.expected(later_l).0).abs()
    }

    fn ph_on_basis(&self, ph: f64, picture: &Picture, p: &Parameters) -> f64 {
        match self.plan.ph_basis {
            PhBasis::Room => ph,
            PhBasis::Process => ph_in_process(
                ph,
                picture
                    .runnings_temperature_c
                    .unwrap_or(p.assumed_temperature_c),
            ),
        }
    }

    /// A pH sample, cooled to room temperature: against the line where it has a value, else in its place.
    fn take_ph_sample(&mut self, ph: f64, picture: &Picture, p: &Parameters) -> Ph {
        let runoff_l = self.kettle.metered_l();
        let gravity_p = picture
            .runnings_gravity_p
            .map_or_else(|| self.washout.expected(runoff_l).0, |known| known.value);
        let sample_ph = self.ph_on_basis(ph, picture, p);
        if let Some(line) = picture.runnings_ph {
            let line_ph = line.value;
            self.samples.ph.compare(line_ph - sample_ph, 0.0);
            self.acidity.compare(line_ph, sample_ph, SAMPLE_PH_SD);
            return Ph::Compared { line_ph, sample_ph };
        }
        self.seen_ph = true;
        let first_wort_p = self.washout.first_wort_gravity_p();
        self.acidity
            .observe(first_wort_p, gravity_p, sample_ph, SAMPLE_PH_SD);
        Ph::InPlace {
            gravity_p,
            sample_ph,
        }
    }

    /// As if a sample had never been taken, as far as what was decided since can be undone. Returns it, if it stood.
    pub fn withdraw_sample(&mut self, number: usize) -> Option<(Moment, Sample)> {
        let taken = self.samples.taken.get_mut(number);
        let taken = taken.filter(|taken| !taken.withdrawn)?;
        taken.withdrawn = true;
        let taken = *taken;
        self.kettle.withdraw(number);
        self.samples.compare_again();
        if let (Some(Gravity::InPlace { volume_l }), Some(gravity_p)) =
            (taken.gravity, taken.sample.gravity_p)
        {
            self.washout
                .forget(volume_l, gravity_p, SAMPLE_GRAVITY_SD_P);
        }
        if taken.ph.is_some() {
            self.relearn_acidity();
        }
        self.reconsider_stop();
        Some((taken.at, taken.sample))
    }

    fn relearn_acidity(&mut self) {
        let mut acidity = self.samples.acidity_without.clone();
        let first_wort_p = self.washout.first_wort_gravity_p();
        let standing = self.samples.taken.iter().filter(|taken| !taken.withdrawn);
        for ph in standing.filter_map(|taken| taken.ph) {
            match ph {
                Ph::Compared { line_ph, sample_ph } => {
                    acidity.compare(line_ph, sample_ph, SAMPLE_PH_SD);
                }
                Ph::InPlace {
                    gravity_p,
                    sample_ph,
                } => acidity.observe_late(first_wort_p, gravity_p, sample_ph, SAMPLE_PH_SD),
            }
        }
        self.seen_ph = acidity.is_begun();
        self.acidity = acidity;
    }

    /// A target that was only reached by the sample's word is ahead again; limits are met again with the next step if
    /// they are.
    fn reconsider_stop(&mut self) {
        let above = self
            .kettle
            .contents()
            .gravity_p
            .is_some_and(|gravity_p| gravity_p > self.plan.target_gravity_p);
        self.last_contents = None;
        let undone = match self.stop_taken.map(|stop| stop.cause) {
            Some(StopCause::TargetGravity) => above,
            Some(StopCause::GravityFloor | StopCause::PhCeiling) => true,
            Some(StopCause::KettleCapacity | StopCause::RunoffEnded) | None => false,
        };
        if above {
            self.reached = None;
        }
        if undone {
            self.stop_taken = None;
            self.contents_at_stop = None;
            self.floor_met = None;
            self.ceiling_met = None;
        }
    }

    /// What about a sample is so far from what instruments and balance say that whoever gives it should look again.
    pub fn doubts_of_sample(
        &self,
        sample: &Sample,
        picture: &Picture,
        p: &Parameters,
    ) -> Vec<SampleDoubt> {
        let mut doubts = Vec::new();
        if let Some(sample_p) = sample.gravity_p {
            doubts.extend(match sample.place {
                Place::Kettle => self.doubt_of_kettle(sample_p),
                Place::Runnings => self.doubt_of_runnings(sample_p, picture),
            });
        }
        if let (Place::Runnings, Some(ph), Some(line)) =
            (sample.place, sample.ph, picture.runnings_ph)
        {
            let shift_ph = self.ph_on_basis(ph, picture, p) - ph;
            let expected_ph = line.value - shift_ph;
            if (ph - expected_ph).abs() > FAR_PH {
                doubts.push(SampleDoubt::RunningsPh {
                    sample_ph: ph,
                    expected_ph,
                });
            }
        }
        if let Some(sample_l) = sample.volume_l {
            let contents = self.kettle.contents();
            let expected_l = contents.volume_l;
            let far_l = (FAR_VOLUME_SHARE * expected_l)
                .max(FAR_VOLUME_L)
                .max(FAR_DEVIATIONS * contents.volume_se_l);
            if (sample_l - expected_l).abs() > far_l {
                doubts.push(SampleDoubt::KettleVolume {
                    sample_l,
                    expected_l,
                });
            }
        }
        doubts
    }

    fn doubt_of_kettle(&self, sample_p: f64) -> Option<SampleDoubt> {
        let (deviations, expected_p) = self.kettle.deviation_of_sample(sample_p)?;
        let far =
            deviations.abs() > FAR_DEVIATIONS && (sample_p - expected_p).abs() > FAR_GRAVITY_P;
        far.then_some(SampleDoubt::KettleGravity {
            sample_p,
            expected_p,
        })
    }

    fn doubt_of_runnings(&self, sample_p: f64, picture: &Picture) -> Option<SampleDoubt> {
        let (expected_p, standard_error_p) = match picture.runnings_gravity_p {
            Some(line) => (line.value, line.standard_error),
            None => self.washout.expected(self.kettle.metered_l()),
        };
        let far_p = FAR_GRAVITY_P.max(FAR_DEVIATIONS * standard_error_p);
        ((sample_p - expected_p).abs() > far_p).then_some(SampleDoubt::RunningsGravity {
            sample_p,
            expected_p,
        })
    }
}
