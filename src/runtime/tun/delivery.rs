//! What becomes of the rows that publishers were given.
//!
//! Owns the removal of what receivers have from the outbox, what people are shown of that which no receiver takes, and the
//! look at what waits. A removal that the disk does not take is done later: until then the row is not owed any more, and
//! is not handed over again.

use lauter_core::supervisor::Event;
use serde_json::json;
use tokio::time::timeout;

use super::super::publishers::Settled;
use super::Tun;
use super::record::PATIENCE;
use crate::publish::mqtt::topics::time_text;
use crate::store::StoreError;

/// Messages set aside that the status shows, and how much of each.
const SHOWN_ASIDE: usize = 5;
const SHOWN_CHARACTERS: usize = 300;

impl Tun {
    pub(super) async fn settle(&mut self, settled: Settled) {
        self.settled.join(settled);
        if self.unwritten.since.is_none() {
            self.remove_settled().await;
        }
    }

    /// Takes what receivers have out of the outbox, and what nobody takes aside.
    pub(super) async fn remove_settled(&mut self) {
        if self.settled.is_empty() {
            return;
        }
        let settled = self.settled.clone();
        let any_set_aside = !settled.set_aside.is_empty();
        let now = self.setting.clock.wall(self.setting.clock.now());
        // Doing it twice does no harm: a row that is not there any more is no error.
        let removed = self.setting.store.run(move |database| {
            for (id, reason) in &settled.set_aside {
                database.set_aside(&[*id], reason, now)?;
            }
            database.acknowledge(&settled.delivered)
        });
        match removed.await {
            Ok(()) => self.settled = Settled::default(),
            Err(error) => tracing::debug!("delivered rows are removed later: {error}"),
        }
        if any_set_aside {
            self.show_set_aside().await;
        }
    }

    /// Reads anew what people are shown of the messages that nobody will get.
    pub(super) async fn show_set_aside(&mut self) {
        let tun = self.tun();
        let store = &self.setting.store;
        let read = store.read(move |database| database.all_set_aside(tun, SHOWN_ASIDE));
        match timeout(PATIENCE, read)
            .await
            .unwrap_or(Err(StoreError::Stalled))
        {
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

    pub(super) async fn look_at_backlogs(&mut self) {
        if self.unwritten.since.is_some() || self.setting.store.health().damage.is_some() {
            self.report_record();
        }
        if self.unwritten.since.is_some() {
            return;
        }
        // Even while there is nothing to write.
        self.setting.store.look_after();
        for (publisher, refused) in self.setting.publishers.refusals() {
            let Ok(backlog) = self.setting.store.backlog(self.tun(), publisher).await else {
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
}
