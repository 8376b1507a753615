//! How the record fares: what failed, what was refused, what was given up.
//!
//! Owns the counters that the thread and its callers share. They decide nothing.

use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Mutex, MutexGuard, OnceLock, PoisonError};

use super::{DamagedBlocks, StoreError};

#[derive(Debug, Default)]
pub(super) struct Shared {
    pub refused: AtomicU64,
    pub failed: AtomicU64,
    pub thinned: AtomicU64,
    last_error: Mutex<Option<String>>,
    /// What the check of the whole file found; stays until the service ends.
    pub damage: OnceLock<String>,
    /// Blocks of readings that it found damaged.
    pub damaged_blocks: OnceLock<DamagedBlocks>,
}

/// How the record fares.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct StoreHealth {
    /// Offered batches refused because the thread did not keep up.
    pub refused: u64,
    /// Calls that failed.
    pub failed: u64,
    /// Messages given up because a publisher had too many waiting.
    pub thinned: u64,
    /// Jobs that wait now.
    pub queued: usize,
    /// The latest failure; None once a batch has been taken in since. A damaged file is one as long as it is in use.
    pub last_error: Option<String>,
    /// What is wrong with the file itself.
    pub damage: Option<String>,
    /// Blocks of readings that cannot be read, in words; what they held is lost, and the record takes new readings as ever.
    pub damaged_blocks: Option<String>,
}

impl Shared {
    pub fn note_success(&self, thinned: u64) {
        self.thinned.store(thinned, Ordering::Relaxed);
        *self.last_error() = None;
    }

    pub fn note_failure(&self, error: &StoreError) {
        self.failed.fetch_add(1, Ordering::Relaxed);
        *self.last_error() = Some(error.to_string());
    }

    pub fn last_error(&self) -> MutexGuard<'_, Option<String>> {
        self.last_error
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
    }
}
