//! Adapters that read instruments.
//!
//! Owns the channel by which readings reach the runtime. Adapters know the configuration and the core's
//! readings, never one another and never a publisher.

pub mod modbus;
pub mod mqtt;

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use lauter_core::reading::Reading;
use lauter_core::supervisor::LinkState;
use tokio::sync::mpsc;

use crate::tap::Tap;

/// How many arrivals may wait for the runtime. At one reading a second from twenty instruments this is
/// more than three minutes; beyond it the runtime is not alive and readings are refused and counted.
pub const ARRIVALS_BOUND: usize = 4096;

/// What an adapter hands to the runtime.
#[derive(Clone, Debug, PartialEq)]
pub enum Arrival {
    /// `instrument` is the index in `Configuration::instruments`.
    Reading { instrument: usize, reading: Reading },
    /// A link came up or went down; `detail` says why, for the log and the alarm's evidence.
    Link {
        name: String,
        state: LinkState,
        detail: String,
    },
}

/// The adapters' end of the channel.
#[derive(Clone, Debug)]
pub struct Intake {
    sender: mpsc::Sender<Arrival>,
    refused: Arc<AtomicU64>,
    tap: Option<Tap>,
}

impl Intake {
    pub fn channel() -> (Self, mpsc::Receiver<Arrival>) {
        let (sender, receiver) = mpsc::channel(ARRIVALS_BOUND);
        (
            Self {
                sender,
                refused: Arc::default(),
                tap: None,
            },
            receiver,
        )
    }

    /// Whoever records is told of every byte besides.
    #[must_use]
    pub fn tapped(mut self, tap: Tap) -> Self {
        self.tap = Some(tap);
        self
    }

    /// Whoever records, if anybody does.
    pub fn tap(&self) -> Option<&Tap> {
        self.tap.as_ref()
    }

    /// Hands over without waiting; a full channel refuses and counts, so that one slow consumer never
    /// delays a bus.
    pub fn put(&self, arrival: Arrival) {
        if self.sender.try_send(arrival).is_err() {
            self.refused.fetch_add(1, Ordering::Relaxed);
        }
    }

    pub fn refused(&self) -> u64 {
        self.refused.load(Ordering::Relaxed)
    }
}
