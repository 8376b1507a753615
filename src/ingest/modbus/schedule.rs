//! When each read is due, and who has fallen silent.
//!
//! Owns the slots' phase, the count of missed slots, and the bookkeeping of failures by read and by unit
//! from which follow rests and the verdict that nothing on the link answers. Decides only: it sends
//! nothing, reports nothing, and time is an argument.

use std::collections::BTreeMap;

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
    pub read: Read,
    rhythm: Rhythm,
    failures: u32,
    rest_until: Option<Moment>,
    /// The exception last answered, so that only a change is logged.
    pub exception: Option<u8>,
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
            .map(|read| Slot {
                rhythm: Rhythm::new(begin, read.every),
                read,
                failures: 0,
                rest_until: None,
                exception: None,
            })
            .collect();
        Self {
            slots,
            units,
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

    pub fn slot_mut(&mut self, index: usize) -> &mut Slot {
        &mut self.slots[index]
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

    /// Replaces a merged read by one for each of its ranges, due at `step`.
    pub fn split(&mut self, index: usize, step: Moment) {
        let merged = self.slots.swap_remove(index);
        let apart = merged.read.split().into_iter().map(|read| Slot {
            read,
            rhythm: Rhythm {
                due: step,
                ..merged.rhythm
            },
            ..merged.clone()
        });
        self.slots.extend(apart);
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
mod tests {
    use proptest::prelude::*;

    use super::super::plan::plan;
    use super::super::testing::register;
    use super::*;

    const STEP_US: i64 = 20_000;

    fn schedule(addresses: &[(u8, u16)]) -> Schedule {
        let points: Vec<_> = addresses
            .iter()
            .map(|(unit_id, address)| register(*unit_id, *address))
            .collect();
        let indexed: Vec<_> = points.iter().enumerate().collect();
        let parameters = Parameters::default();
        Schedule::new(plan(&indexed, &parameters), Moment::ZERO, parameters)
    }

    /// Asks whatever is due until `end`; `fails` says which unit and address stay silent. Gives back who
    /// was asked when.
    fn run(
        schedule: &mut Schedule,
        end: Moment,
        fails: impl Fn(u8, u16) -> bool,
    ) -> Vec<(u8, u16, Moment)> {
        let mut asked = Vec::new();
        let mut now = Moment::ZERO;
        while let Some((index, due)) = schedule.next() {
            now = now.max(due);
            if now > end {
                break;
            }
            schedule.take(index, now);
            let read = &schedule.slot(index).read;
            let (unit_id, address) = (read.unit_id, read.range.address);
            asked.push((unit_id, address, now));
            if fails(unit_id, address) {
                now = now.plus_seconds(0.8);
                if schedule.failed(index, now).nothing_answers {
                    schedule.silence_all();
                }
            } else {
                now = now.plus_seconds(0.001);
                schedule.answered(index);
            }
        }
        asked
    }

    #[test]
    fn a_late_poll_does_not_move_the_phase_and_missed_slots_are_counted() {
        let mut one = schedule(&[(1, 0)]);
        assert_eq!(one.take(0, Moment(0)), (Moment(0), 0));
        assert_eq!(one.next(), Some((0, Moment(STEP_US))));
        assert_eq!(one.take(0, Moment(STEP_US + 5)), (Moment(STEP_US), 0));
        assert_eq!(one.next(), Some((0, Moment(2 * STEP_US))));
        let late = Moment(7 * STEP_US + 3);
        assert_eq!(one.take(0, late), (Moment(7 * STEP_US), 5));
        assert_eq!(one.next(), Some((0, Moment(8 * STEP_US))));
    }

    proptest! {
        #[test]
        fn every_step_is_either_taken_or_counted_as_missed(
            every_ms in 1_u64..5000, delays_us in prop::collection::vec(0_i64..20_000_000, 1..50)
        ) {
            let begin = Moment(1_700_000_000_000_000);
            let mut rhythm = Rhythm::new(begin, std::time::Duration::from_millis(every_ms));
            let mut taken_or_missed = 0;
            let mut now = begin;
            for delay_us in delays_us {
                now = Moment(now.max(rhythm.due).0 + delay_us);
                let (step, missed) = rhythm.take(now);
                taken_or_missed += 1 + missed.cast_signed();
                prop_assert!(step <= now && now.0 - step.0 < rhythm.every_us);
                prop_assert_eq!((step.0 - begin.0) % rhythm.every_us, 0);
                prop_assert_eq!(rhythm.due.0 - begin.0, taken_or_missed * rhythm.every_us);
            }
        }
    }

    #[test]
    fn a_dead_unit_costs_its_neighbours_little() {
        let mut both = schedule(&[(1, 0), (2, 0)]);
        let asked = run(&mut both, Moment::from_seconds(300.0), |unit_id, _| {
            unit_id == 2
        });
        let dead = asked.iter().filter(|(unit_id, ..)| *unit_id == 2).count();
        let good = asked.len() - dead;
        // 5, 10, 20, 40, 60, 60, ... s apart: some eight tries in 300 s, each worth 0.8 s of silence.
        assert!((5..=10).contains(&dead), "{dead} tries");
        assert!(good > 14_000, "{good} reads of the living unit");
    }

    #[test]
    fn one_address_a_device_never_answers_does_not_silence_its_unit() {
        let mut one = schedule(&[(1, 0), (1, 10), (1, 20)]);
        let asked = run(&mut one, Moment::from_seconds(300.0), |_, address| {
            address == 10
        });
        let of = |wanted| {
            asked
                .iter()
                .filter(|(_, address, _)| *address == wanted)
                .count()
        };
        assert!((5..=12).contains(&of(10)), "{} tries", of(10));
        assert!(of(0) > 13_000 && of(20) > 13_000);
    }

    #[test]
    fn a_unit_that_returns_is_read_at_its_own_pace_again() {
        let mut both = schedule(&[(1, 0), (2, 0)]);
        run(&mut both, Moment::from_seconds(60.0), |unit_id, _| {
            unit_id == 2
        });
        let index = (0..2)
            .find(|index| both.slot(*index).read.unit_id == 2)
            .unwrap();
        let (step, _) = both.take(index, Moment::from_seconds(200.0));
        assert!(both.answered(index), "it had been silent");
        assert_eq!(both.due(index), Moment(step.0 + STEP_US));
    }

    #[test]
    fn a_lone_unit_never_rests_since_there_is_nobody_to_protect() {
        let mut one = schedule(&[(1, 0)]);
        let mut now = Moment::ZERO;
        for failure in 1..6_u32 {
            let (index, due) = one.next().unwrap();
            now = now.max(due);
            one.take(index, now);
            let consequence = one.failed(index, now);
            assert_eq!(consequence.nothing_answers, failure >= 2);
            assert_eq!(consequence.unit_fell_silent, failure == 2);
            assert!(one.due(index).since(now) <= 0.02);
        }
    }

    #[test]
    fn a_split_keeps_the_step_and_the_phase() {
        let mut one = schedule(&[(1, 0), (1, 1), (1, 2)]);
        let (step, _) = one.take(0, Moment(STEP_US));
        one.split(0, step);
        for index in 0..3 {
            assert_eq!(one.due(index), Moment(STEP_US));
            assert_eq!(one.take(index, Moment(STEP_US)), (Moment(STEP_US), 0));
        }
    }

    #[test]
    fn a_step_given_back_is_due_at_once_and_not_missed() {
        let mut one = schedule(&[(1, 0)]);
        let (step, _) = one.take(0, Moment(3 * STEP_US + 7));
        one.put_back(0, step);
        assert_eq!(one.next(), Some((0, step)));
        assert_eq!(one.take(0, Moment(3 * STEP_US + 9)), (step, 0));
    }

    #[test]
    fn when_the_link_is_lost_all_rests_end() {
        let mut both = schedule(&[(1, 0), (2, 0)]);
        let asked = run(&mut both, Moment::from_seconds(30.0), |unit_id, _| {
            unit_id == 2
        });
        let now = asked.last().unwrap().2;
        both.silence_all();
        assert!((0..2).all(|index| both.due(index) <= now.plus_seconds(0.02)));
    }
}
