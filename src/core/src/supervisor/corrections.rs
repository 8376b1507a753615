//! Corrections as the supervisor keeps them: which instrument is corrected by what, and what a change of it does.
//!
//! Owns the change alone. What a correction does to a reading is `calibration`'s, at which step `channel`'s.

use crate::calibration::Correction;
use crate::reading::{Measures, Moment};

use super::Supervisor;
use super::channel::Channel;

impl Supervisor {
    /// The correction in force for an instrument.
    pub fn correction(&self, instrument: usize) -> Option<Correction> {
        self.channels.get(instrument)?.correction()
    }

    /// Sets every instrument's correction; those that are not named have none.
    pub fn set_corrections(&mut self, corrections: &[(usize, Correction)]) {
        for index in 0..self.channels.len() {
            let made = corrections.iter().find(|(named, _)| *named == index);
            self.renew(index, made.map(|(_, correction)| *correction));
        }
    }

    /// A correction comes into force or is taken back. What is past stays as it was; from now on the instrument is
    /// looked at afresh, as after a beginning.
    pub(super) fn correct(
        &mut self,
        index: usize,
        correction: Option<Correction>,
        who: &str,
        now: Moment,
    ) {
        if !self.renew(index, correction) {
            return;
        }
        let instrument = &self.channels[index].instrument;
        let (id, measures) = (instrument.id.clone(), instrument.measures);
        if let Some(brew) = &mut self.brew
            && self.by_measure.get(&measures) == Some(&index)
        {
            match measures {
                Measures::RunningsGravity => brew.gravity_samples.begin_anew(),
                Measures::RunningsPh => brew.ph_samples.begin_anew(),
                _ => {}
            }
        }
        let text = match correction {
            Some(made) => format!(
                "{id}: correction {} is in force from now on, set by {who}.",
                made.version
            ),
            None => format!("{id}: its correction was taken back by {who}."),
        };
        self.occur(now, "correction", text);
    }

    /// False where nothing changes.
    fn renew(&mut self, index: usize, correction: Option<Correction>) -> bool {
        let Some(channel) = self.channels.get_mut(index) else {
            return false;
        };
        if channel.correction() == correction {
            return false;
        }
        let (readings, rejected) = (channel.readings, channel.rejected);
        *channel = Channel::corrected_by(channel.instrument.clone(), correction);
        channel.readings = readings;
        channel.rejected = rejected;
        true
    }

    /// How warm an instrument is, °C: what compensates it says, else the runnings' temperature, else what is assumed.
    pub(super) fn celsius_at(&self, index: usize, now: Moment) -> f64 {
        let corrected = self.channels.get(index).filter(|channel| {
            channel
                .correction()
                .is_some_and(|made| made.rule.needs_temperature())
        });
        let Some(channel) = corrected else {
            return self.parameters.assumed_temperature_c;
        };
        let told = |channel: &Channel| {
            let estimate = channel.estimate(now).ok()?;
            channel.unit.linear_to_base(estimate.value)
        };
        let own = channel
            .instrument
            .temperature
            .and_then(|index| told(self.channels.get(index)?));
        let runnings = || told(self.channel(Measures::RunningsTemperature)?);
        own.or_else(runnings)
            .unwrap_or(self.parameters.assumed_temperature_c)
    }
}
