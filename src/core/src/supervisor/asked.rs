//! What may be asked about a hand sample before it is given.
//!
//! Changes nothing: whoever gives samples decides what to do with the answer.

use super::Supervisor;
use super::brew::SampleDoubt;
use super::event::Sample;
use crate::reading::Moment;

impl Supervisor {
    /// What about a sample is far from what instruments and balance say; nothing without a brew.
    pub fn doubts_of_sample(&self, sample: &Sample, now: Moment) -> Vec<SampleDoubt> {
        let picture = self.picture(now);
        self.brew.as_ref().map_or_else(Vec::new, |brew| {
            brew.doubts_of_sample(sample, &picture, &self.parameters)
        })
    }

    /// The number of a standing sample with the same figures within `seconds` before `now`.
    pub fn same_sample(&self, sample: &Sample, seconds: f64, now: Moment) -> Option<usize> {
        let samples = &self.brew.as_ref()?.samples;
        samples.same_within(sample, seconds, now)
    }

    /// The sample of this number, if it was taken and has not been withdrawn.
    pub fn standing_sample(&self, number: usize) -> Option<Sample> {
        self.brew.as_ref()?.samples.standing(number)
    }

    /// How many samples the brew under way has been given; the next one has this number.
    pub fn samples_taken(&self) -> usize {
        self.brew.as_ref().map_or(0, |brew| brew.samples.count())
    }
}
