//! The way from a tun to the edge node.
//!
//! Owns the queue between them and its bound: whoever tells never waits. What finds no room is counted; the metric is
//! right again with its next change.

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use tokio::sync::{mpsc, watch};

use super::metrics::Told;
use crate::broker::Fault;

/// Outputs that may wait for the node's task; it takes them at once.
pub const TOLD_BOUND: usize = 1024;

/// What can be said about the node at any moment.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct SparkplugState {
    pub connected: bool,
    /// The births of this connection have been sent.
    pub born: bool,
    /// Why there is no connection; none while there is one.
    pub fault: Option<Fault>,
    /// Births sent since the start, those that were asked for included.
    pub births: u64,
    pub published: u64,
}

/// One device's end of the queue.
#[derive(Clone, Debug)]
pub struct Outlet {
    pub(super) device: usize,
    pub(super) told: mpsc::Sender<(usize, Vec<Told>)>,
    pub(super) refused: Arc<AtomicU64>,
    pub health: watch::Receiver<SparkplugState>,
}

impl Outlet {
    pub fn tell(&self, told: Vec<Told>) {
        if !told.is_empty() && self.told.try_send((self.device, told)).is_err() {
            self.refused.fetch_add(1, Ordering::Relaxed);
        }
    }

    /// Outputs that found no room, of all devices of the node.
    pub fn refused(&self) -> u64 {
        self.refused.load(Ordering::Relaxed)
    }
}
