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

    /// Hands over the first of these rows, as many as there is room for, and gives how many that were.
    fn put(&self, rows: &[&Stored]) -> usize {
        match self {
            Self::Mqtt(outlet) => {
                let goes = |row: &&&Stored| outlet.put(message(row)).is_ok();
                rows.iter().take_while(goes).count()
            }
            Self::Influx(feed) => feed.put(rows.iter().copied().map(line)),
        }
    }
}

fn message(stored: &Stored) -> Message {
    let Stored { id, message } = stored;
    Message {
        row: Some(*id),
        topic: message.topic.clone(),
        payload: message.payload.clone().into_bytes(),
        quality: Quality::AtLeastOnce,
        retain: message.retain,
    }
}

fn line(stored: &Stored) -> Row<'_> {
    Row {
        id: stored.id,
        line: &stored.message.payload,
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
        if !self.behind {
            let is_its_own = |row: &&Stored| row.message.publisher == publisher;
            self.behind = !self.put(&rows.iter().filter(is_its_own).collect::<Vec<_>>());
        }
    }

    /// Whether all found room. Puts down how far it has come.
    fn put(&mut self, rows: &[&Stored]) -> bool {
        let taken = self.receiver.put(rows);
        if let Some(last) = taken.checked_sub(1).and_then(|last| rows.get(last)) {
            self.after = last.id;
        }
        taken == rows.len()
    }

    /// Hands over what there is room for.
    pub async fn run(&mut self, store: &Store) -> Result<(), StoreError> {
        while self.behind {
            let rows = store
                .outbox(self.tun, self.publisher(), self.after, FETCH)
                .await?;
            if !self.put(&rows.iter().collect::<Vec<_>>()) {
                break;
            }
            self.behind = !rows.is_empty();
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use jiff::Timestamp;
    use tempfile::tempdir;

    use super::*;
    use crate::publish::mqtt::message::{Inlet, ROWS_BOUND};
    use crate::store::{Batch, MessageClass, NewMessage};

    struct Way {
        store: Store,
        tun: TunId,
        pump: Pump,
        inlet: Inlet,
        written: Vec<i64>,
        arrived: Vec<i64>,
    }

    impl Way {
        async fn new(store: Store) -> Self {
            let tun = store.tun("north-yard", "tun-1").await.unwrap();
            let (outlet, inlet) = Outlet::lanes();
            Self {
                store,
                tun,
                pump: Pump::new(Receiver::Mqtt(outlet), tun),
                inlet,
                written: Vec::new(),
                arrived: Vec::new(),
            }
        }

        /// Writes so many rows, with one of another publisher before each; gives them as they are in the outbox.
        async fn write(&mut self, count: usize) -> Vec<Stored> {
            let message = |publisher| NewMessage {
                publisher,
                class: MessageClass::Record,
                topic: "t".to_owned(),
                payload: String::new(),
                retain: false,
                created: Timestamp::UNIX_EPOCH,
            };
            let pair = [Publisher::Influx, Publisher::Mqtt].map(message);
            let messages = vec![pair; count].concat();
            let batch = Batch {
                messages: messages.clone(),
                ..Batch::new(self.tun, None)
            };
            let ids = self.store.append(batch).await.unwrap().messages;
            self.written.extend(ids.iter().skip(1).step_by(2));
            let rows = ids.into_iter().zip(messages);
            rows.map(|(id, message)| Stored { id, message }).collect()
        }

        fn take(&mut self) {
            while let Some(message) = self.inlet.waiting_row() {
                self.arrived.extend(message.row);
            }
        }
    }

    #[tokio::test]
    async fn rows_go_out_once_and_in_order_whether_handed_over_or_fetched() {
        let directory = tempdir().unwrap();
        let store = Store::open(directory.path()).unwrap();
        let mut way = Way::new(store.clone()).await;
        // One waits from an earlier run.
        way.write(1).await;
        let rows = way.write(1).await;
        way.pump.hand_over(&rows);
        way.take();
        assert!(way.arrived.is_empty(), "not before those that wait");
        way.pump.run(&store).await.unwrap();
        let rows = way.write(2).await;
        way.pump.hand_over(&rows);
        way.take();
        assert_eq!(way.arrived, way.written, "at once");
        // More than there is room for, then one that would have room.
        let rows = way.write(ROWS_BOUND + 1).await;
        way.pump.hand_over(&rows);
        way.take();
        let rows = way.write(1).await;
        way.pump.hand_over(&rows);
        way.take();
        assert_eq!(way.arrived.len(), way.written.len() - 2);
        way.pump.run(&store).await.unwrap();
        way.take();
        assert_eq!(way.arrived, way.written);
        store.close().await.unwrap();
    }
}
