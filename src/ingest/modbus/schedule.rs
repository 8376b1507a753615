//! When each read is due, and who has fallen silent.
//!
//! Owns the slots' phase, the count of missed slots, the bookkeeping of failures by read and by unit
//! from which follow rests and the verdict that nothing on the link answers, and when a merged read that was refused is
//! tried whole again. Decides only: it sends nothing, reports nothing, and time is an argument.

use std::collections::BTreeMap;
use std::sync::Arc;

use lauter_core::reading::Moment;

use super::parameters::Parameters;
use super::plan::Read;

/// Equal steps in time from a fixed beginning. Being late never moves the steps.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Rhythm {
    due: Moment,
    every_us: i64,
}

impl Rhythm {
    fn new(begin: Moment, every: std::time::Duration) -> Self {
        Self {
            due: begin,
            every_us: (every.as_micros() as i64).max(1),
        }
    }

    /// The first step that is due and not before `earliest`.
    fn at_or_after(self, earliest: Moment) -> Moment {
        let behind_us = (earliest.0 - self.due.0).max(0);
        let steps = (behind_us + self.every_us - 1) / self.every_us;
        Moment(self.due.0 + steps * self.every_us)
    }

    /// Takes the latest step that has come by `now`: that step, and how many before it were missed.
    fn take(&mut self, now: Moment) -> (Moment, u64) {
        let missed = (now.0 - self.due.0).max(0) / self.every_us;
        let taken = Moment(self.due.0 + missed * self.every_us);
        self.due = Moment(taken.0 + self.every_us);
        (taken, missed as u64)
    }
}

/// One read of the plan and how it fares.
#[derive(Clone, Debug)]
pub(super) struct Slot {
    pub read: Arc<Read>,
    rhythm: Rhythm,
    failures: u32,
    rest_until: Option<Moment>,
    /// The planned read it is, or is a part of.
    planned: usize,
}

/// A merged read that its device refused: its ranges are read one by one meanwhile.
#[derive(Clone, Debug)]
struct Parted {
    whole: Slot,
    refusals: u32,
    /// When the whole is tried again; None while it is being tried.
    again_at: Option<Moment>,
}

#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
enum Hearing {
    /// Not yet asked often enough to tell.
    #[default]
    Unknown,
    Answers,
    Silent,
}

#[derive(Clone, Copy, Debug, Default)]
struct Unit {
    hearing: Hearing,
    failures: u32,
    rest_until: Option<Moment>,
}

/// What a failure led to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Consequence {
    /// The unit has just been given up as silent.
    pub unit_fell_silent: bool,
    /// No unit on the link answers.
    pub nothing_answers: bool,
}

/// All reads of one link. Never empty.
#[derive(Debug)]
pub(super) struct Schedule {
    slots: Vec<Slot>,
    units: BTreeMap<u8, Unit>,
    /// By planned read.
    parted: BTreeMap<usize, Parted>,
    parameters: Parameters,
}

impl Schedule {
    pub fn new(reads: Vec<Read>, begin: Moment, parameters: Parameters) -> Self {
        let units = reads
            .iter()
            .map(|read| (read.unit_id, Unit::default()))
            .collect();
        let slots = reads
            .into_iter()
            .enumerate()
            .map(|(planned, read)| Slot {
                rhythm: Rhythm::new(begin, read.every),
                read: Arc::new(read),
                failures: 0,
                rest_until: None,
                planned,
            })
            .collect();
        Self {
            slots,
            units,
            parted: BTreeMap::new(),
            parameters,
        }
    }

    /// The read to do next and when. The longest due comes first, so that units take turns.
    pub fn next(&self) -> Option<(usize, Moment)> {
        (0..self.slots.len())
            .map(|index| (index, self.due(index)))
            .min_by_key(|(_, due)| *due)
    }

    fn due(&self, index: usize) -> Moment {
        let slot = &self.slots[index];
        let unit = &self.units[&slot.read.unit_id];
        let rest = slot.rest_until.max(unit.rest_until);
        slot.rhythm.at_or_after(rest.unwrap_or(slot.rhythm.due))
    }

    pub fn slot(&self, index: usize) -> &Slot {
        &self.slots[index]
    }

    /// Begins the read: the step it belongs to, and how many steps were missed before it.
    pub fn take(&mut self, index: usize, now: Moment) -> (Moment, u64) {
        self.slots[index].rhythm.take(now)
    }

    /// Gives a step back, to be asked again at once.
    pub fn put_back(&mut self, index: usize, step: Moment) {
        self.slots[index].rhythm.due = step;
    }

    /// The read was answered, be it with an exception. True if its unit had been silent.
    pub fn answered(&mut self, index: usize) -> bool {
        let slot = &mut self.slots[index];
        slot.failures = 0;
        slot.rest_until = None;
        let unit = self.units.entry(slot.read.unit_id).or_default();
        let was_silent = unit.hearing == Hearing::Silent;
        *unit = Unit {
            hearing: Hearing::Answers,
            ..Unit::default()
        };
        was_silent
    }

    /// The read was not answered.
    pub fn failed(&mut self, index: usize, now: Moment) -> Consequence {
        let unit_id = self.slots[index].read.unit_id;
        self.slots[index].failures += 1;
        let unit = self.units.entry(unit_id).or_default();
        unit.failures += 1;
        let unit_fell_silent = unit.failures >= self.parameters.failures_until_silent
            && unit.hearing != Hearing::Silent;
        if unit_fell_silent {
            unit.hearing = Hearing::Silent;
        }
        self.rest(index, now);
        let nothing_answers = self.units.values().all(|u| u.hearing == Hearing::Silent);
        Consequence {
            unit_fell_silent,
            nothing_answers,
        }
    }

    /// Leaves a silent unit, or the one read a unit never answers, alone for a while, so that its
    /// neighbours are read in time. With nobody to protect, the link's back-off alone sets the pace.
    fn rest(&mut self, index: usize, now: Moment) {
        let Slot { read, failures, .. } = &self.slots[index];
        let (unit_id, slot_failures) = (read.unit_id, *failures);
        let until = |failures| Some(now.plus_seconds(self.parameters.rest(failures).as_secs_f64()));
        let others_answer =
            |(id, unit): (&u8, &Unit)| *id != unit_id && unit.hearing == Hearing::Answers;
        let unit = self.units[&unit_id];
        if unit.hearing == Hearing::Silent {
            if self.units.iter().any(others_answer) {
                let rest_until = until(unit.failures);
                self.units.entry(unit_id).or_default().rest_until = rest_until;
            }
        } else if slot_failures >= self.parameters.failures_until_silent {
            self.slots[index].rest_until = until(slot_failures);
        }
    }

    /// The link is down: everyone is silent and nobody rests, so that whoever returns is heard at once.
    pub fn silence_all(&mut self) {
        for unit in self.units.values_mut() {
            unit.hearing = Hearing::Silent;
            unit.rest_until = None;
        }
        for slot in &mut self.slots {
            slot.rest_until = None;
        }
    }

    /// Replaces a merged read by one for each of its ranges, due at `step`. True the first time; the whole is tried again
    /// after a while, which grows with every refusal.
    pub fn split(&mut self, index: usize, step: Moment, now: Moment) -> bool {
        let whole = self.slots.swap_remove(index);
        let apart = whole.read.split().into_iter().map(|read| Slot {
            read: Arc::new(read),
            rhythm: Rhythm {
                due: step,
                ..whole.rhythm
            },
            ..whole.clone()
        });
        self.slots.extend(apart);
        let before = self.parted.get(&whole.planned);
        let refusals = before.map_or(0, |parted| parted.refusals) + 1;
        let pause_s = self.parameters.apart(refusals).as_secs_f64();
        let parted = Parted {
            refusals,
            again_at: Some(now.plus_seconds(pause_s)),
            whole,
        };
        self.parted.insert(parted.whole.planned, parted);
        refusals == 1
    }

    /// Puts those merged reads together again whose time has come. If the whole is refused once more, its parts are asked
    /// in the same step: trying costs a request and no reading.
    pub fn join_again(&mut self, now: Moment) {
        for (planned, parted) in &mut self.parted {
            if parted.again_at.is_none_or(|at| now < at) {
                continue;
            }
            parted.again_at = None;
            let mut whole = parted.whole.clone();
            let parts = self.slots.iter().filter(|slot| slot.planned == *planned);
            if let Some(due) = parts.map(|slot| slot.rhythm.due).min() {
                whole.rhythm.due = due;
            }
            self.slots.retain(|slot| slot.planned != *planned);
            self.slots.push(whole);
        }
    }

    /// The link was lost and is back, perhaps with another device or other settings: every merged read is tried soon.
    pub fn join_all_soon(&mut self) {
        for parted in self.parted.values_mut() {
            parted.again_at = parted.again_at.map(|_| Moment(i64::MIN));
        }
    }

    /// The read was given its values. True if it is a merged one that had been refused.
    pub fn given(&mut self, index: usize) -> bool {
        let slot = &self.slots[index];
        slot.read.is_merged() && self.parted.remove(&slot.planned).is_some()
    }

    /// The instruments whose value or status comes from `unit_id`.
    pub fn instruments_of(&self, unit_id: u8) -> Vec<usize> {
        self.slots
            .iter()
            .filter(|slot| slot.read.unit_id == unit_id)
            .flat_map(|slot| slot.read.items.iter().map(|item| item.instrument))
            .collect()
    }
}

#[cfg(test)]
mod tests;
