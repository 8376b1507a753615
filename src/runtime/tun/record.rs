//! What the tun's task writes down, and what it does while it cannot.
//!
//! Owns the batches' way into the store, the rows' way on to the publishers, and the look at what waits there. While
//! the record takes nothing, the watch goes on: alarms and events go out at once, an alarm says that the record is not
//! written, what is unwritten waits in memory up to a bound, and what is given up leaves a mark.

use lauter_core::reading::Moment;
use lauter_core::supervisor::{Dated, Event, Occurrence, Output};
use serde_json::json;

use super::super::publishers::Settled;
use super::super::request::Refusal;
use super::Tun;
use crate::publish::mqtt::topics::time_text;
use crate::store::{Batch, MessageClass, StoreError};

/// The name under which the record's own trouble is reported, beside the publishers'.
const RECORD: &str = "record";

/// Messages set aside that the status shows, and how much of each.
const SHOWN_ASIDE: usize = 5;
const SHOWN_CHARACTERS: usize = 300;

/// What the store has not taken.
#[derive(Debug, Default)]
pub(super) struct Unwritten {
    /// Since when, while it is so.
    since: Option<Moment>,
    /// Messages of the batch that went out without being written.
    told: usize,
    /// What was given up while it lasted.
    given_up: GivenUp,
    /// Given up since the start.
    pub total: u64,
}

#[derive(Debug, Default)]
struct GivenUp {
    readings: u64,
    others: u64,
    span: Option<(Moment, Moment)>,
}

impl Tun {
    /// Writes what waits, then hands rows to the publishers. What the store does not take waits for the next
    /// time.
    pub(super) async fn flush(&mut self) {
        self.urgent = false;
        if !self.batch.is_empty() {
            self.write().await;
        }
        let pumped = self.setting.publishers.pump(&self.setting.store).await;
        let refilled = self
            .setting
            .sequence
            .refill(&self.setting.store, self.setting.tun)
            .await;
        if let Err(error) = pumped.and(refilled) {
            tracing::debug!("rows wait: {error}");
        }
    }

    pub(super) async fn write(&mut self) {
        self.batch.checkpoint = self.checkpoint().map(Box::new);
        self.batch.mark = self.clock_mark().map(Box::new);
        let empty = Batch::new(self.setting.tun, self.batch.brew);
        let batch = std::mem::replace(&mut self.batch, empty);
        match self.setting.store.append(batch.clone()).await {
            Ok(_) => self.written_again(),
            Err(error) => {
                self.batch = batch;
                // By the time it is written it would be behind its events.
                self.batch.checkpoint = None;
                self.checkpointed = None;
                self.not_written(&error);
            }
        }
    }

    fn written_again(&mut self) {
        self.unwritten.told = 0;
        let given_up = std::mem::take(&mut self.unwritten.given_up);
        self.mark_gap(&given_up);
        self.setting.publishers.wake();
        self.setting.news.send_modify(|news| news.recorded += 1);
        if let Some(since) = self.unwritten.since.take() {
            let down_s = self.last.since(since);
            tracing::info!("the record is being written again after {down_s:.0} s");
            self.report_record(None);
        }
    }

    fn not_written(&mut self, error: &StoreError) {
        if self.unwritten.since.is_none() {
            tracing::error!("the record cannot be written: {error}; the watch goes on");
            self.unwritten.since = Some(self.last);
            self.report_record(Some(error.to_string()));
            // What this has just said waits for the next time; it is said at once below.
            self.urgent = false;
        }
        self.give_up_oldest();
        let unheard = &self.batch.messages[self.unwritten.told..];
        self.unwritten.told += self.setting.publishers.tell_unwritten(unheard);
    }

    /// The record is reported like a publisher that does not take its rows: one alarm for everything that is not
    /// delivered.
    fn report_record(&mut self, refused: Option<String>) {
        let oldest_age_s = self
            .unwritten
            .since
            .map_or(0.0, |since| self.last.since(since));
        let depth = if refused.is_some() {
            self.batch.events.len() as u64
        } else {
            0
        };
        let event = Event::Delivery {
            publisher: RECORD.to_owned(),
            oldest_age_s,
            depth,
            refused,
        };
        self.give(event, self.setting.clock.now());
    }

    /// Keeps what waits within its bound. Readings and states go first, the oldest of them; what people did, alarms
    /// and events only when nothing else is left.
    fn give_up_oldest(&mut self) {
        let bound = self.setting.unwritten_bound;
        let given_up = &mut self.unwritten.given_up;
        let before = given_up.readings + given_up.others;
        let batch = &mut self.batch;
        let events = thin(&mut batch.events, bound, |dated| {
            matches!(dated.event, Event::Reading { .. } | Event::Tick)
        });
        for (dated, cheap) in events {
            given_up.note(dated.at, cheap);
        }
        let outputs = thin(&mut batch.outputs, bound, |dated| {
            matches!(dated.output, Output::Reading(_) | Output::Runoff(_))
        });
        for (dated, cheap) in outputs {
            given_up.note(dated.at, cheap);
        }
        let told = self.unwritten.told.min(batch.messages.len());
        let unheard = batch.messages.split_off(told);
        let mut heard = std::mem::replace(&mut batch.messages, unheard);
        let left = bound.saturating_sub(batch.messages.len());
        thin(&mut heard, left, |message| {
            message.class != MessageClass::Record
        });
        self.unwritten.told = heard.len();
        heard.append(&mut batch.messages);
        batch.messages = heard;
        self.unwritten.total += given_up.readings + given_up.others - before;
    }

    /// Says in the record, and to everybody, what it lacks.
    fn mark_gap(&mut self, given_up: &GivenUp) {
        let Some((first, last)) = given_up.span else {
            return;
        };
        let wall = |at| self.setting.clock.wall(at).strftime("%H:%M:%S");
        let also = match given_up.others {
            0 => String::new(),
            others => format!(" and {others} alarms or events"),
        };
        let text = format!(
            "The record has a gap: it could not be written, and {} readings{also} between {} and {} UTC are not in it.",
            given_up.readings,
            wall(first),
            wall(last)
        );
        let dated = Dated {
            at: self.last,
            output: Output::Occurrence(Occurrence {
                elapsed_s: self.latest.runoff.as_ref().map(|runoff| runoff.elapsed_s),
                event: "record-gap".to_owned(),
                text,
            }),
        };
        let rows = self.setting.publishers.publish(&dated);
        self.batch.messages.extend(rows);
        self.batch.outputs.push(dated);
        self.urgent = true;
    }

    pub(super) async fn settle(&mut self, settled: Settled) {
        let store = self.setting.store.clone();
        let now = self.setting.clock.wall(self.setting.clock.now());
        let any_set_aside = !settled.set_aside.is_empty();
        let outcome = async {
            for (id, reason) in settled.set_aside {
                store
                    .run(move |database| database.set_aside(&[id], &reason, now))
                    .await?;
            }
            store.acknowledge(settled.delivered).await
        };
        if let Err(error) = outcome.await {
            // They stay in the outbox and are published once more after the next start.
            tracing::warn!("delivered rows cannot be removed: {error}");
        }
        if any_set_aside {
            self.show_set_aside().await;
        }
    }

    /// Reads anew what people are shown of the messages that nobody will get.
    pub(super) async fn show_set_aside(&mut self) {
        let tun = self.setting.tun;
        let read = self
            .setting
            .store
            .read(move |database| database.all_set_aside(tun, SHOWN_ASIDE))
            .await;
        match read {
            Ok(all) => {
                let shown = all.iter().map(|aside| {
                    let payload: String = aside.payload.chars().take(SHOWN_CHARACTERS).collect();
                    json!({
                        "publisher": aside.publisher.name(),
                        "topic": aside.topic,
                        "payload": payload,
                        "reason": aside.reason,
                        "time": time_text(aside.set_aside),
                    })
                });
                self.set_aside_shown = shown.collect();
            }
            Err(error) => tracing::warn!("what was set aside cannot be read: {error}"),
        }
    }

    /// How long the record has not been written.
    pub(super) fn unwritten_s(&self) -> Option<f64> {
        self.unwritten.since.map(|since| self.last.since(since))
    }

    pub(super) async fn look_at_backlogs(&mut self) {
        if self.unwritten.since.is_some() {
            let reason = self.setting.store.health().last_error;
            self.report_record(Some(reason.unwrap_or_default()));
        }
        for (publisher, refused) in self.setting.publishers.refusals() {
            let Ok(backlog) = self
                .setting
                .store
                .backlog(self.setting.tun, publisher)
                .await
            else {
                continue;
            };
            let now = self.setting.clock.now();
            let wall = self.setting.clock.wall(now);
            let oldest_age_s = backlog.oldest.map_or(0.0, |oldest| {
                wall.as_second().saturating_sub(oldest.as_second()).max(0) as f64
            });
            let event = Event::Delivery {
                publisher: publisher.name().to_owned(),
                oldest_age_s,
                depth: backlog.depth,
                refused,
            };
            self.give(event, now);
        }
    }

    pub(super) fn written(&self) -> Result<(), Refusal> {
        if self.unwritten.since.is_some() {
            let reason = self.setting.store.health().last_error.unwrap_or_default();
            return Err(Refusal::Store(reason));
        }
        Ok(())
    }
}

impl GivenUp {
    fn note(&mut self, at: Moment, cheap: bool) {
        if cheap {
            self.readings += 1;
        } else {
            self.others += 1;
        }
        let (first, last) = self.span.unwrap_or((at, at));
        self.span = Some((first.min(at), last.max(at)));
    }
}

/// Takes out what is above the bound: the oldest of the cheap first, then the oldest. Each with whether it was cheap.
fn thin<T>(items: &mut Vec<T>, bound: usize, is_cheap: impl Fn(&T) -> bool) -> Vec<(T, bool)> {
    let excess = items.len().saturating_sub(bound);
    if excess == 0 {
        return Vec::new();
    }
    let cheap = items
        .iter()
        .filter(|item| is_cheap(item))
        .count()
        .min(excess);
    let (mut cheap_left, mut dear_left) = (cheap, excess - cheap);
    let mut taken = Vec::with_capacity(excess);
    let all = std::mem::take(items);
    for item in all {
        let cheap = is_cheap(&item);
        let left = if cheap {
            &mut cheap_left
        } else {
            &mut dear_left
        };
        if *left > 0 {
            *left -= 1;
            taken.push((item, cheap));
        } else {
            items.push(item);
        }
    }
    taken
}

#[cfg(test)]
mod tests {
    use super::thin;

    #[test]
    fn the_oldest_cheap_ones_go_first_and_dear_ones_only_when_no_cheap_one_is_left() {
        let cheap = |item: &u32| item.is_multiple_of(2);
        let mut items = vec![1, 2, 3, 4, 5, 6];
        assert_eq!(thin(&mut items, 6, cheap), []);
        assert_eq!(thin(&mut items, 4, cheap), [(2, true), (4, true)]);
        assert_eq!(items, [1, 3, 5, 6]);
        assert_eq!(thin(&mut items, 2, cheap), [(1, false), (6, true)]);
        assert_eq!(items, [3, 5]);
    }
}
