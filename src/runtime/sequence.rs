//! Sequence numbers for what leaves the service, never used twice.
//!
//! Owns a block of numbers that the store has already marked as used, so that handing one out needs no disk.
//! The block is extended long before it ends.

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use crate::store::{Store, StoreError, TunId};

/// Numbers reserved at one time. So many that hours on a disk that takes nothing do not use them up: what is handed out
/// beyond the reserved ones would come a second time after a restart.
const BLOCK: u32 = 1_000_000;
/// The block is extended when fewer than this are left.
const LOW: u64 = 500_000;

/// One tun's numbers. Clones share them.
#[derive(Clone, Debug)]
pub struct Sequence {
    next: Arc<AtomicU64>,
    end: Arc<AtomicU64>,
}

impl Sequence {
    /// Numbers of the store's; or, where it gives none now, from `at_least` on: they are reserved once it does.
    pub async fn open(store: &Store, tun: TunId, at_least: u64) -> Self {
        let block = match store.next_sequences(tun, BLOCK).await {
            Ok(block) => block,
            Err(error) => {
                tracing::warn!("numbers are given out without the record: {error}");
                at_least..at_least
            }
        };
        Self {
            next: Arc::new(AtomicU64::new(block.start)),
            end: Arc::new(AtomicU64::new(block.end)),
        }
    }

    pub fn next(&self) -> u64 {
        self.next.fetch_add(1, Ordering::Relaxed)
    }

    /// Reserves more when few are left. Blocks of one tun follow each other, since only its task reserves.
    pub async fn refill(&self, store: &Store, tun: TunId) -> Result<(), StoreError> {
        let next = self.next.load(Ordering::Relaxed);
        let end = self.end.load(Ordering::Relaxed);
        if end.saturating_sub(next) < LOW {
            let block = store.sequences_from(tun, BLOCK, next).await?;
            if next >= end {
                // Nothing was reserved, and the record may have come further than was known.
                self.next.fetch_max(block.start, Ordering::Relaxed);
            }
            self.end.store(block.end, Ordering::Relaxed);
        }
        Ok(())
    }
}
