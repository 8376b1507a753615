//! What the tun's task writes down, and what it does while it cannot.
//!
//! Owns the batches' way into the store, the rows' way on to the publishers, and the look at what waits there.

use lauter_core::supervisor::Event;

use super::super::request::Refusal;
use super::{Tun, UNWRITTEN_BOUND};
use crate::store::{Batch, StoreError};

impl Tun {
    /// Writes what waits, then hands rows to the publishers. What the store does not take waits for the next
    /// time.
    pub(super) async fn flush(&mut self) {
        self.urgent = false;
        if !self.batch.is_empty() {
            let empty = Batch::new(self.setting.tun, self.batch.brew);
            let batch = std::mem::replace(&mut self.batch, empty);
            match self.setting.store.append(batch.clone()).await {
                Ok(_) => {
                    self.note_store(None);
                    self.setting.publishers.wake();
                    self.setting.news.send_modify(|news| news.recorded += 1);
                }
                Err(error) => {
                    self.batch = batch;
                    self.drop_oldest();
                    self.note_store(Some(&error));
                }
            }
        }
        let pumped = self.setting.publishers.pump(&self.setting.store).await;
        let refilled = self
            .setting
            .sequence
            .refill(&self.setting.store, self.setting.tun)
            .await;
        if let Err(error) = pumped.and(refilled) {
            self.note_store(Some(&error));
        }
    }

    fn drop_oldest(&mut self) {
        let excess = self.batch.outputs.len().saturating_sub(UNWRITTEN_BOUND);
        self.batch.outputs.drain(..excess);
        self.dropped += excess as u64;
        let excess = self.batch.events.len().saturating_sub(UNWRITTEN_BOUND);
        self.batch.events.drain(..excess);
        self.dropped += excess as u64;
        let excess = self.batch.messages.len().saturating_sub(UNWRITTEN_BOUND);
        self.batch.messages.drain(..excess);
        self.dropped += excess as u64;
    }

    pub(super) fn note_store(&mut self, error: Option<&StoreError>) {
        match error {
            Some(error) if !self.store_failed => {
                tracing::error!("the record cannot be written: {error}");
            }
            None if self.store_failed => tracing::info!("the record is being written again"),
            _ => {}
        }
        self.store_failed = error.is_some();
    }

    pub(super) async fn look_at_backlogs(&mut self) {
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
        if self.store_failed {
            let reason = self.setting.store.health().last_error.unwrap_or_default();
            return Err(Refusal::Store(reason));
        }
        Ok(())
    }
}
