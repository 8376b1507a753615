//! What the tun's task writes down, and what it does while it cannot.
//!
//! Owns the stretches' way into the store, one at a time and in their order. The task waits for the disk two seconds and no
//! longer: what has not been written by then counts as unwritten, the watch goes on, alarms and events go out at once, an
//! alarm says that nothing is recorded, and what is unwritten waits in memory up to a bound. There may be no record at all
//! yet: then each try asks for it.

use std::time::Duration;

use lauter_core::reading::Moment;
use lauter_core::supervisor::{Event, RECORD};
use tokio::time::timeout;

use super::super::request::Refusal;
use super::Tun;
use super::gap::{GivenUp, act};
use super::learn;
use crate::store::{Batch, BrewEnd, DatedEvent, NewMessage, StoreError, Stretch, TunId, Writing};

/// How long the task waits for the disk.
pub const PATIENCE: Duration = Duration::from_secs(2);
/// The same when the service ends.
const LAST_PATIENCE: Duration = Duration::from_millis(500);
/// How long a brew's record may take to be read.
const RESUME_LIMIT: Duration = Duration::from_secs(5);

/// Times that something was to be written between two askings for a record that was not there. Own choice.
const JOIN_PAUSE: u32 = 5;

/// What the store has not taken.
#[derive(Debug, Default)]
pub(super) struct Unwritten {
    /// Since when, while it is so.
    pub since: Option<Moment>,
    /// Why, in words.
    reason: String,
    /// How often the record is not asked for now.
    pause: u32,
    /// Messages of the present stretch that went out without being written.
    pub told: usize,
    /// What was given up while it lasted.
    pub given_up: GivenUp,
    /// Given up since the start.
    pub total: u64,
}

/// A stretch that the store's thread has been given.
#[derive(Debug)]
pub(super) struct Flight {
    writing: Writing,
    /// What comes next goes on with the same brew.
    continues: bool,
    /// The disk has had its time.
    late: bool,
    events: usize,
    /// Those of them that are acts of people.
    pub acts: Vec<DatedEvent>,
    messages: Vec<NewMessage>,
    /// How many of them went out meanwhile.
    told: usize,
}

impl Tun {
    /// Writes what waits, then hands rows to the publishers. What the store does not take waits for the next
    /// time.
    pub(super) async fn flush(&mut self) {
        self.hastens = std::mem::take(&mut self.urgent);
        if !self.joined && self.unwritten.pause > 0 {
            self.unwritten.pause -= 1;
            self.hold();
            return;
        }
        if !self.joined {
            if let Err(error) = self.join().await {
                self.unwritten.pause = JOIN_PAUSE;
                self.not_written(&error);
                return;
            }
            self.go_on();
        }
        self.write(PATIENCE, false).await;
        if self.unwritten.since.is_some() {
            return;
        }
        if !self.words_asked {
            self.tell_last_words().await;
        }
        let tun = self.tun();
        let pumped = self.setting.publishers.pump(&self.setting.store).await;
        // After what waits to be heard: a row that is removed late is in nobody's way.
        self.remove_settled().await;
        let refilled = match pumped {
            Ok(()) => self.setting.sequence.refill(&self.setting.store, tun).await,
            failed => failed,
        };
        if let Err(error) = refilled {
            tracing::debug!("rows wait: {error}");
        }
    }

    /// Finds the tun's place in the record and what was under way, where there is a record.
    pub async fn join(&mut self) -> Result<(), StoreError> {
        let tun = if let Some(known) = self.setting.place.get() {
            *known
        } else {
            let configuration = &self.setting.configuration;
            let store = &self.setting.store;
            let entered = store
                .tun(&configuration.site, &configuration.tun.name)
                .await?;
            *self.setting.place.get_or_init(|| entered)
        };
        self.stretch.set_tun(tun);
        for stretch in &mut self.earlier {
            stretch.set_tun(tun);
        }
        self.setting.publishers.set_tun(tun);
        // A brew that was begun meanwhile is the one under way.
        if self.supervisor.plan().is_none() {
            let resumed = timeout(RESUME_LIMIT, self.resume()).await;
            match resumed.unwrap_or(Err(StoreError::Stalled)) {
                Err(error) if error.is_passing() => return Err(error),
                Err(error) => {
                    tracing::error!("what was under way cannot be taken up: {error}");
                }
                Ok(()) => {}
            }
        }
        self.tell_standing().await;
        self.joined = true;
        Ok(())
    }

    /// Tells what the time before has left.
    pub(super) fn go_on(&mut self) {
        let begins = match self.unwatched_since.take() {
            Some((since, why)) => Event::Interrupted { since, why },
            None => Event::Tick,
        };
        self.give(begins, self.setting.clock.now());
        self.renew_corrections();
    }

    /// Writes everything that waits, as far as the store takes it. `last`: with the state to go on from, whenever the one
    /// before was kept.
    pub(super) async fn write(&mut self, patience: Duration, last: bool) {
        let mut wrote = false;
        loop {
            if self.flight.is_none() && !self.launch(last && !wrote) {
                break;
            }
            let Some(flight) = &mut self.flight else {
                break;
            };
            let limit = if flight.late {
                Duration::ZERO
            } else {
                patience
            };
            match flight.writing.within(limit).await {
                Some(Ok((stretch, outcome))) => {
                    let flown = self.flight.take();
                    match (flown, outcome) {
                        (Some(flight), Ok(learnt)) => {
                            learn::tell(learnt);
                            self.landed(&flight, &stretch);
                            wrote = true;
                        }
                        (Some(flight), Err(error)) => {
                            self.came_back(&flight, *stretch);
                            return self.not_written(&error);
                        }
                        (None, _) => {}
                    }
                }
                Some(Err(error)) => {
                    // The thread has gone, and the service ends for it.
                    self.flight = None;
                    return self.not_written(&error);
                }
                None => {
                    flight.late = true;
                    self.setting.store.note_stall();
                    return self.not_written(&StoreError::Stalled);
                }
            }
        }
        if wrote {
            self.written_again();
        }
    }

    /// Gives the next stretch to the store's thread. False where nothing waits or nothing is taken.
    fn launch(&mut self, last: bool) -> bool {
        let (stretch, continues) = if let Some(earlier) = self.earlier.pop_front() {
            (earlier, false)
        } else {
            if self.stretch.is_empty() && !(last && self.supervisor.plan().is_some()) {
                return false;
            }
            self.stretch.batch.checkpoint = self.checkpoint().map(Box::new);
            self.stretch.batch.mark = self.clock_mark().map(Box::new);
            let next = Stretch::new(Batch::new(self.tun(), self.stretch.batch.brew));
            (std::mem::replace(&mut self.stretch, next), true)
        };
        let messages = stretch.batch.messages.clone();
        let events = stretch.batch.events.len();
        let is_act = |dated: &&DatedEvent| act(&dated.event).is_some();
        let acts = stretch.batch.events.iter().filter(is_act).cloned();
        let acts = acts.collect();
        let told = if continues {
            std::mem::take(&mut self.unwritten.told)
        } else {
            messages.len()
        };
        match self.setting.store.write(Box::new(stretch)) {
            Ok(writing) => {
                self.flight = Some(Flight {
                    writing,
                    continues,
                    late: false,
                    events,
                    acts,
                    messages,
                    told,
                });
                true
            }
            Err(stretch) => {
                self.put_back(*stretch, continues, told);
                self.not_written(&StoreError::Stalled);
                false
            }
        }
    }

    fn landed(&mut self, flight: &Flight, stretch: &Stretch) {
        if flight.continues {
            let next = self.earlier.front_mut().unwrap_or(&mut self.stretch);
            next.batch.brew = stretch.batch.brew;
        }
        self.setting.publishers.hand_over(&stretch.rows);
        self.setting.news.send_modify(|news| news.recorded += 1);
    }

    fn came_back(&mut self, flight: &Flight, stretch: Stretch) {
        // A part of it may be written.
        self.setting.publishers.wake();
        let told = flight.told.min(stretch.batch.messages.len());
        self.put_back(stretch, flight.continues, told);
    }

    /// Puts a stretch before what was told after it.
    fn put_back(&mut self, mut stretch: Stretch, continues: bool, told: usize) {
        // By the time it is written it would be behind its events.
        stretch.batch.checkpoint = None;
        self.checkpointed = None;
        if !continues {
            self.earlier.push_front(stretch);
            return;
        }
        let all_told = told == stretch.batch.messages.len();
        if let Some(next) = self.earlier.pop_front() {
            stretch.join(next);
            self.earlier.push_front(stretch);
            return;
        }
        let empty = Stretch::new(Batch::new(TunId::UNKNOWN, None));
        stretch.join(std::mem::replace(&mut self.stretch, empty));
        self.stretch = stretch;
        self.unwritten.told = if all_told {
            told + self.unwritten.told
        } else {
            told
        };
    }

    /// Draws a line: what comes next is of another brew, or of none.
    pub(super) fn seal(&mut self, ends: Option<BrewEnd>) {
        let next = Stretch::new(Batch::new(self.tun(), None));
        let mut sealed = std::mem::replace(&mut self.stretch, next);
        sealed.ends = ends;
        self.unwritten.told = 0;
        if !sealed.is_empty() {
            self.earlier.push_back(sealed);
        }
    }

    fn written_again(&mut self) {
        self.unwritten.told = 0;
        let given_up = std::mem::take(&mut self.unwritten.given_up);
        self.mark_gap(&given_up);
        if let Some(since) = self.unwritten.since.take() {
            let down_s = self.last.since(since);
            tracing::info!("the record is being written again after {down_s:.0} s");
            self.report_record();
        }
    }

    fn not_written(&mut self, error: &StoreError) {
        self.unwritten.reason = if error.is_full() {
            "the disk is full; free disk space".to_owned()
        } else {
            error.to_string()
        };
        if self.unwritten.since.is_none() {
            tracing::error!("the record cannot be written: {error}; the watch goes on");
            self.unwritten.since = Some(self.last);
            self.report_record();
            // What this has just said waits for the next time; it is said at once below.
            self.urgent = false;
        }
        self.hold();
    }

    /// Keeps what waits within its bound, and tells what of it must be heard.
    fn hold(&mut self) {
        self.give_up_oldest();
        if let Some(flight) = &mut self.flight {
            let unheard = &flight.messages[flight.told..];
            flight.told += self.setting.publishers.tell_unwritten(unheard);
            if flight.told < flight.messages.len() {
                return;
            }
        }
        let unheard = &self.stretch.batch.messages[self.unwritten.told..];
        self.unwritten.told += self.setting.publishers.tell_unwritten(unheard);
    }

    /// The record is reported like a publisher that does not take its rows: one alarm for everything that is not
    /// delivered. A file that is damaged takes them and is no place to keep them.
    pub(super) fn report_record(&mut self) {
        let damage = self.setting.store.health().damage;
        let (refused, waiting) = match self.unwritten.since {
            Some(_) => (Some(self.unwritten.reason.clone()), self.events_waiting()),
            None => (damage, 0),
        };
        let oldest_age_s = self
            .unwritten
            .since
            .map_or(0.0, |since| self.last.since(since));
        let event = Event::Delivery {
            publisher: RECORD.to_owned(),
            oldest_age_s,
            depth: waiting as u64,
            refused,
        };
        self.give(event, self.setting.clock.now());
    }

    fn events_waiting(&self) -> usize {
        self.stretch.batch.events.len() + self.events_held()
    }

    /// Events that wait before the present stretch.
    pub(super) fn events_held(&self) -> usize {
        let earlier = self
            .earlier
            .iter()
            .map(|stretch| stretch.batch.events.len());
        earlier.sum::<usize>() + self.flight.as_ref().map_or(0, |flight| flight.events)
    }

    pub(super) async fn write_last(&mut self) {
        // The next start goes on from here at once.
        self.checkpointed = None;
        if self.joined {
            self.write(LAST_PATIENCE, true).await;
        }
    }

    /// How long the record has not been written.
    pub(super) fn unwritten_s(&self) -> Option<f64> {
        self.unwritten.since.map(|since| self.last.since(since))
    }

    /// Whether what was just done is on the disk.
    pub(super) fn written(&self) -> Result<(), Refusal> {
        if self.unwritten.since.is_some() {
            return Err(Refusal::Unwritten(self.unwritten.reason.clone()));
        }
        Ok(())
    }
}
