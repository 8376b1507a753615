//! What a link counts about itself, for the health page.

use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Mutex, PoisonError};

use lauter_core::supervisor::LinkState;
use serde::Serialize;

/// A counter that only grows.
#[derive(Debug, Default)]
pub(super) struct Counter(AtomicU64);

impl Counter {
    pub fn add(&self, count: u64) {
        self.0.fetch_add(count, Ordering::Relaxed);
    }

    fn get(&self) -> u64 {
        self.0.load(Ordering::Relaxed)
    }
}

/// One link's counters and state, shared between its task and whoever shows them.
#[derive(Debug)]
pub struct LinkHealth {
    name: String,
    standing: Mutex<Standing>,
    pub(super) requests: Counter,
    pub(super) timeouts: Counter,
    pub(super) faults: Counter,
    pub(super) exceptions: Counter,
    pub(super) reconnects: Counter,
    pub(super) skipped: Counter,
}

#[derive(Clone, Debug, Default)]
struct Standing {
    state: Option<LinkState>,
    detail: String,
}

/// The figures at one instant.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct LinkFigures {
    pub name: String,
    /// None until the first answer or the first failure.
    pub state: Option<LinkState>,
    /// Why the state is what it is.
    pub detail: String,
    pub requests: u64,
    /// Requests without an answer in time.
    pub timeouts: u64,
    /// Requests that broke the connection or were answered wrongly.
    pub faults: u64,
    /// Requests a device or gateway refused.
    pub exceptions: u64,
    /// Connections opened after the first.
    pub reconnects: u64,
    /// Polls missed because the bus was busy, down, or left a silent unit alone.
    pub skipped: u64,
}

impl LinkHealth {
    pub(super) fn new(name: &str) -> Self {
        Self {
            name: name.to_owned(),
            standing: Mutex::default(),
            requests: Counter::default(),
            timeouts: Counter::default(),
            faults: Counter::default(),
            exceptions: Counter::default(),
            reconnects: Counter::default(),
            skipped: Counter::default(),
        }
    }

    pub(super) fn stands(&self, state: LinkState, detail: &str) {
        let mut standing = self.standing.lock().unwrap_or_else(PoisonError::into_inner);
        standing.state = Some(state);
        detail.clone_into(&mut standing.detail);
    }

    pub fn figures(&self) -> LinkFigures {
        let standing = self
            .standing
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .clone();
        LinkFigures {
            name: self.name.clone(),
            state: standing.state,
            detail: standing.detail,
            requests: self.requests.get(),
            timeouts: self.timeouts.get(),
            faults: self.faults.get(),
            exceptions: self.exceptions.get(),
            reconnects: self.reconnects.get(),
            skipped: self.skipped.get(),
        }
    }
}
