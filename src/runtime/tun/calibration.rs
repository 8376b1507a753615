//! A tun's loop checks and corrections, between those who make them, the record and the supervisor.
//!
//! Owns which correction is in force: the newest of the record, if it was made for what the instrument measures now. A
//! change is on the disk before the supervisor is given it, so that a start between the two gives it then.

use std::collections::BTreeMap;

use jiff::Timestamp;
use lauter_core::calibration::{Correction, Parameters};
use lauter_core::reading::Instrument;
use lauter_core::supervisor::Event;

use super::super::request::{Calibrated, NewCorrection, Refusal};
use super::Tun;
use crate::publish::mqtt::topics::time_text;
use crate::store::{NewCheck, StoreError, StoredCheck, StoredCorrection};

/// What the record says of one instrument.
#[derive(Clone, Debug, Default)]
pub(super) struct Known {
    correction: Option<StoredCorrection>,
    looked_at: Option<Timestamp>,
    due: Option<Timestamp>,
}

pub(super) type Calibration = BTreeMap<String, Known>;

impl Tun {
    /// Reads what the record says. A brew under way keeps its corrections until `renew_corrections`.
    pub(super) async fn load_calibration(&mut self) -> Result<(), StoreError> {
        let tun = self.tun();
        let ids: Vec<String> = self.instruments().map(|it| it.id.clone()).collect();
        self.calibration = self
            .setting
            .store
            .read(move |database| {
                let mut known = Calibration::new();
                for correction in database.corrections(tun)? {
                    let place = known.entry(correction.instrument.clone()).or_default();
                    place.correction = Some(correction);
                }
                for id in ids {
                    if let Some((looked_at, due)) = database.last_looked_at(tun, &id)? {
                        let place = known.entry(id).or_default();
                        (place.looked_at, place.due) = (Some(looked_at), due);
                    }
                }
                Ok(known)
            })
            .await?;
        for (id, wrong) in self.strange_corrections() {
            tracing::warn!("{id}: {wrong}");
        }
        if self.supervisor.plan().is_none() {
            let corrections = self.corrections();
            self.supervisor.set_corrections(&corrections);
        }
        Ok(())
    }

    /// Gives the supervisor what the record has and it has not: a correction made just before the service ended.
    pub(super) fn renew_corrections(&mut self) {
        let wanted: Vec<Option<Correction>> = self
            .instruments()
            .map(|instrument| self.in_force(instrument))
            .collect();
        for (index, correction) in wanted.into_iter().enumerate() {
            if self.supervisor.correction(index) != correction {
                let event = Event::Corrected {
                    instrument: index,
                    correction,
                    who: "lauterd".to_owned(),
                };
                self.give(event, self.setting.clock.now());
            }
        }
    }

    /// Every correction in force with the place of its instrument.
    pub(super) fn corrections(&self) -> Vec<(usize, Correction)> {
        self.instruments()
            .enumerate()
            .filter_map(|(index, instrument)| Some((index, self.in_force(instrument)?)))
            .collect()
    }

    fn instruments(&self) -> impl Iterator<Item = &Instrument> {
        let configured = self.setting.configuration.instruments.iter();
        configured.map(|each| &each.instrument)
    }

    fn in_force(&self, instrument: &Instrument) -> Option<Correction> {
        let stored = self.calibration.get(&instrument.id)?.correction.as_ref()?;
        stored.in_force(instrument.measures, instrument.reads_in())
    }

    /// Its newest version is a correction, be it in force or not.
    fn is_corrected(&self, instrument: &str) -> bool {
        let known = self.calibration.get(instrument);
        let newest = known.and_then(|known| known.correction.as_ref());
        newest.is_some_and(|newest| newest.correction.is_some())
    }

    fn strange_corrections(&self) -> Vec<(String, String)> {
        let strange = self.instruments().filter_map(|instrument| {
            let stored = self.calibration.get(&instrument.id)?.correction.as_ref()?;
            if !stored.is_strange(instrument.measures, instrument.reads_in()) {
                return None;
            }
            let made = stored.correction.as_ref()?;
            let words = format!(
                "its correction {} was made for readings in {} and is not in force, since it reads in {} now; calibrate \
                 it anew",
                stored.version,
                made.unit.name(),
                instrument.reads_in().name()
            );
            Some((instrument.id.clone(), words))
        });
        strange.collect()
    }

    /// A correction, or none from now on. Who has put it into the record is told in the run-off as well.
    pub(super) async fn correct(
        &mut self,
        new: NewCorrection,
    ) -> Result<StoredCorrection, Refusal> {
        let NewCorrection {
            instrument,
            correction,
            due,
            who,
        } = new;
        let place = self.instruments().position(|it| it.id == instrument);
        let Some(index) = place else {
            return Err(Refusal::NoInstrument(instrument));
        };
        if correction.is_none() && !self.is_corrected(&instrument) {
            return Err(Refusal::NoCorrection(instrument));
        }
        let made = self.setting.clock.wall(self.setting.clock.now());
        let (tun, id) = (self.tun(), instrument.clone());
        let entry = StoredCorrection {
            instrument: instrument.clone(),
            version: 0,
            made,
            due,
            who: who.clone(),
            correction,
        };
        let stored = self
            .setting
            .store
            .run(move |database| database.enter_correction(tun, &id, entry))
            .await
            .map_err(|error| Refusal::Store(error.to_string()))?;
        let known = self.calibration.entry(instrument).or_default();
        if stored.correction.is_some() {
            (known.looked_at, known.due) = (Some(made), due);
        }
        known.correction = Some(stored.clone());
        let subject = &self.setting.configuration.instruments[index].instrument;
        let event = Event::Corrected {
            instrument: index,
            correction: self.in_force(subject),
            who: who.clone(),
        };
        self.give(event, self.setting.clock.now());
        let deed = match stored.correction {
            Some(_) => format!("correction {} of {}", stored.version, stored.instrument),
            None => format!("correction of {} taken back", stored.instrument),
        };
        self.give(Event::Deed { who, deed }, self.setting.clock.now());
        self.flush().await;
        self.written()?;
        Ok(stored)
    }

    pub(super) async fn enter_check(&mut self, new: NewCheck) -> Result<StoredCheck, Refusal> {
        let checked = self.setting.clock.wall(self.setting.clock.now());
        let tun = self.tun();
        let stored = self
            .setting
            .store
            .run(move |database| database.enter_check(tun, checked, new))
            .await
            .map_err(|error| Refusal::Store(error.to_string()))?;
        let instrument = &stored.check.instrument;
        let known = self.calibration.entry(instrument.clone()).or_default();
        (known.looked_at, known.due) = (Some(stored.checked), stored.due);
        let deed = Event::Deed {
            who: stored.who.clone(),
            deed: format!("loop-check {} of {instrument}", stored.number),
        };
        self.give(deed, self.setting.clock.now());
        self.flush().await;
        self.written()?;
        Ok(stored)
    }

    /// How the instruments stand that have a check or a correction.
    pub(super) fn calibrated(&self) -> Vec<Calibrated> {
        let now = self.setting.clock.wall(self.setting.clock.now());
        let strange = self.strange_corrections();
        self.instruments()
            .filter_map(|instrument| {
                let known = self.calibration.get(&instrument.id)?;
                let wrong = strange.iter().find(|(id, _)| *id == instrument.id);
                let correction = self.in_force(instrument);
                Some(Calibrated {
                    instrument: instrument.id.clone(),
                    correction,
                    looked_at: known.looked_at.map(time_text),
                    due: known.due.map(time_text),
                    hint: wrong
                        .map(|(_, words)| words.clone())
                        .or_else(|| overdue(known, now))
                        .or_else(|| worn(correction)),
                })
            })
            .collect()
    }
}

fn overdue(known: &Known, now: Timestamp) -> Option<String> {
    let due = known.due.filter(|due| *due < now)?;
    Some(format!(
        "its loop check was due on {}; check it against a reference (lauterd loop-check guide)",
        due.strftime("%Y-%m-%d")
    ))
}

fn worn(correction: Option<Correction>) -> Option<String> {
    correction
        .filter(|made| made.rule.is_worn(&Parameters::default()))
        .map(|_| {
            "its electrode is near its end; clean it, calibrate it anew, and have another at hand"
                .to_owned()
        })
}

#[cfg(test)]
mod tests {
    use lauter_core::calibration::Rule;

    use super::*;

    fn day(days: i64) -> Timestamp {
        Timestamp::from_second(1_790_000_000 + days * 86_400).unwrap()
    }

    #[test]
    fn an_instrument_is_hinted_at_once_its_date_has_passed_and_not_before() {
        let known = Known {
            due: Some(day(30)),
            ..Known::default()
        };
        assert_eq!(overdue(&known, day(29)), None);
        let hint = overdue(&known, day(31)).expect("it is over");
        assert!(hint.contains("was due on"), "{hint}");
        assert_eq!(overdue(&Known::default(), day(31)), None);
    }

    #[test]
    fn an_electrode_near_its_end_is_hinted_at() {
        let electrode = |slope_percent| {
            Some(Correction {
                version: 1,
                rule: Rule::Electrode {
                    offset_mv: 5.0,
                    slope_percent,
                },
            })
        };
        assert_eq!(worn(electrode(97.0)), None);
        assert!(worn(electrode(85.0)).is_some());
        assert_eq!(worn(None), None);
    }
}
