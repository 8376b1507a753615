//! A message on its way to the broker, and the queues by which it gets there.
//!
//! Owns the two lanes: rows of the outbox, which must arrive, and live messages, which are worth nothing once
//! they are old. One never waits for the other. Whoever hands over rows reads the receipts in the same loop: when
//! receipts find no room, rows wait, and live messages do not.

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use tokio::sync::mpsc;

/// Rows that may wait for room among the unacknowledged ones. More wait in the store.
pub const ROWS_BOUND: usize = 256;

/// Live messages that may wait for the connection: a few seconds' worth.
pub const LIVE_BOUND: usize = 256;

/// Rows published and not yet acknowledged.
pub const IN_FLIGHT: usize = 64;

/// Receipts that may wait for the store: every row that can be under way at one time.
pub const RECEIPTS_BOUND: usize = ROWS_BOUND + IN_FLIGHT;

/// MQTT's quality of service; exactly-once is not used, the sequence number serves that.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Quality {
    AtMostOnce,
    AtLeastOnce,
}

/// A message as it is published.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Message {
    /// Its row in the outbox; the receipt names it.
    pub row: Option<i64>,
    /// The whole topic.
    pub topic: String,
    pub payload: Vec<u8>,
    pub quality: Quality,
    pub retain: bool,
}

/// What became of a row.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Receipt {
    /// The broker has it: the row can be deleted.
    Acknowledged(i64),
    /// No broker would take it (an impossible topic, too large): the row must be set aside, or it would be handed
    /// over for ever.
    Unpublishable(i64),
}

/// The lane is full; the message comes back. A row stays in the store and is handed over later.
#[derive(Debug, PartialEq, Eq, thiserror::Error)]
#[error("the queue to the MQTT publisher is full")]
pub struct LaneFull(pub Message);

/// The runtime's end of the lanes.
#[derive(Clone, Debug)]
pub struct Outlet {
    rows: mpsc::Sender<Message>,
    live: mpsc::Sender<Message>,
    refused: Arc<AtomicU64>,
}

/// The publisher's end of the lanes.
#[derive(Debug)]
pub struct Inlet {
    pub(super) rows: mpsc::Receiver<Message>,
    pub(super) live: mpsc::Receiver<Message>,
}

impl Outlet {
    pub fn lanes() -> (Self, Inlet) {
        let (rows, rows_out) = mpsc::channel(ROWS_BOUND);
        let (live, live_out) = mpsc::channel(LIVE_BOUND);
        let outlet = Self {
            rows,
            live,
            refused: Arc::default(),
        };
        let inlet = Inlet {
            rows: rows_out,
            live: live_out,
        };
        (outlet, inlet)
    }

    /// Hands over without waiting; a full lane refuses and counts.
    pub fn put(&self, message: Message) -> Result<(), LaneFull> {
        self.lane(&message).try_send(message).map_err(|error| {
            self.refused.fetch_add(1, Ordering::Relaxed);
            LaneFull(error.into_inner())
        })
    }

    /// Hands over when there is room; Err when the publisher has ended.
    pub async fn put_when_free(&self, message: Message) -> Result<(), LaneFull> {
        let lane = self.lane(&message);
        lane.send(message).await.map_err(|error| LaneFull(error.0))
    }

    pub fn refused(&self) -> u64 {
        self.refused.load(Ordering::Relaxed)
    }

    fn lane(&self, message: &Message) -> &mpsc::Sender<Message> {
        match message.quality {
            Quality::AtMostOnce => &self.live,
            Quality::AtLeastOnce => &self.rows,
        }
    }
}

impl Inlet {
    pub(super) fn is_empty(&self) -> bool {
        self.rows.is_empty() && self.live.is_empty()
    }

    /// A row that was handed over, if one waits.
    #[cfg(test)]
    pub fn waiting_row(&mut self) -> Option<Message> {
        self.rows.try_recv().ok()
    }

    /// The next live message; waits for ever once nobody can send any more.
    pub(super) async fn next_live(&mut self) -> Message {
        next(&mut self.live).await
    }
}

pub(super) async fn next(lane: &mut mpsc::Receiver<Message>) -> Message {
    match lane.recv().await {
        Some(message) => message,
        None => std::future::pending().await,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn message(quality: Quality) -> Message {
        Message {
            row: None,
            topic: "t".to_owned(),
            payload: Vec::new(),
            quality,
            retain: false,
        }
    }

    #[test]
    fn a_full_lane_of_live_messages_leaves_room_for_rows() {
        let (outlet, inlet) = Outlet::lanes();
        for _ in 0..LIVE_BOUND {
            outlet.put(message(Quality::AtMostOnce)).expect("room");
        }
        let refused = outlet.put(message(Quality::AtMostOnce));
        assert_eq!(refused, Err(LaneFull(message(Quality::AtMostOnce))));
        assert_eq!(outlet.refused(), 1);
        outlet
            .put(message(Quality::AtLeastOnce))
            .expect("room for a row");
        assert!(!inlet.is_empty());
    }
}
