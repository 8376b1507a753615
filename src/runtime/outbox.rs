//! Rows of the store's outbox on their way to a publisher, in order.
//!
//! Owns how far the outbox has been handed over. Rows that have just been written are handed over as they are; they are
//! fetched only where others wait before them. What a publisher has no room for stays in the store and is fetched again;
//! what it acknowledges is deleted. It does not know what a row says.

use crate::publish::influx::{Feed, Row};
use crate::publish::mqtt::message::{Message, Outlet, Quality};
use crate::store::{Message as Stored, Publisher, Store, StoreError, TunId};

/// Rows fetched from the store at one time.
const FETCH: usize = 256;

/// Where rows go.
#[derive(Clone, Debug)]
pub enum Receiver {
    Mqtt(Outlet),
    Influx(Feed),
}

impl Receiver {
    fn publisher(&self) -> Publisher {
        match self {
            Self::Mqtt(_) => Publisher::Mqtt,
            Self::Influx(_) => Publisher::Influx,
        }
    }

    /// False when there is no room.
    fn put(&self, stored: Stored) -> bool {
        let Stored { id, message } = stored;
        match self {
            Self::Mqtt(outlet) => outlet
                .put(Message {
                    row: Some(id),
                    topic: message.topic,
                    payload: message.payload.into_bytes(),
                    quality: Quality::AtLeastOnce,
                    retain: message.retain,
                })
                .is_ok(),
            Self::Influx(feed) => feed
                .put(Row {
                    id,
                    line: message.payload,
                })
                .is_ok(),
        }
    }
}

/// One publisher's rows.
#[derive(Debug)]
pub struct Pump {
    receiver: Receiver,
    tun: TunId,
    /// The last row that was handed over.
    after: i64,
    /// Rows wait in the store behind `after`.
    behind: bool,
}

impl Pump {
    /// Begins with whatever earlier runs have left.
    pub fn new(receiver: Receiver, tun: TunId) -> Self {
        Self {
            receiver,
            tun,
            after: 0,
            behind: true,
        }
    }

    pub fn publisher(&self) -> Publisher {
        self.receiver.publisher()
    }

    /// The store has entered the tun.
    pub fn set_tun(&mut self, tun: TunId) {
        self.tun = tun;
        self.behind = true;
    }

    /// Rows may have been written to the store that were not handed over.
    pub fn wake(&mut self) {
        self.behind = true;
    }

    /// Hands over rows that have just been written, of any publisher. Where others wait before them they wait too, and
    /// `run` fetches them.
    pub fn hand_over(&mut self, rows: &[Stored]) {
        let publisher = self.publisher();
        for row in rows.iter().filter(|row| row.message.publisher == publisher) {
            if self.behind {
                return;
            }
            if self.receiver.put(row.clone()) {
                self.after = row.id;
            } else {
                self.behind = true;
            }
        }
    }

    /// Hands over what there is room for.
    pub async fn run(&mut self, store: &Store) -> Result<(), StoreError> {
        while self.behind {
            let rows = store
                .outbox(self.tun, self.publisher(), self.after, FETCH)
                .await?;
            if rows.is_empty() {
                self.behind = false;
            }
            for row in rows {
                let id = row.id;
                if !self.receiver.put(row) {
                    return Ok(());
                }
                self.after = id;
            }
        }
        Ok(())
    }
}
