//! Sequence numbers: per tun, never reused.
//!
//! Numbers are reserved on the disk in blocks before any of them is handed out. A process that is killed leaves
//! a gap, never a repeat.

use std::ops::Range;

use rusqlite::{OptionalExtension, params};

use super::{Database, Store, StoreError, TunId};

/// Numbers reserved at once: some minutes of messages for one commit. Own choice.
const BLOCK: u32 = 1_000;

impl Database {
    /// Reserves the next `count` sequence numbers of a tun, durably before it returns. The first ever is 1.
    pub fn next_sequences(&mut self, tun: TunId, count: u32) -> Result<Range<u64>, StoreError> {
        let failed = self.failed("reserving sequence numbers");
        // Explicit, so that a failing commit is an error and not a reset statement.
        let transaction = self.connection.transaction().map_err(&failed)?;
        let next: Option<i64> = transaction
            .query_row(
                "UPDATE tun SET next_sequence = next_sequence + ?2 WHERE id = ?1 \
                 RETURNING next_sequence",
                params![tun.0, count],
                |row| row.get(0),
            )
            .optional()
            .map_err(&failed)?;
        transaction.commit().map_err(&failed)?;
        let end = next.ok_or_else(|| StoreError::Unreadable {
            path: self.path.clone(),
            what: format!("tun {}", tun.0),
            detail: "it is not in this store".to_owned(),
        })? as u64;
        Ok(end - u64::from(count)..end)
    }
}

/// Hands out a tun's sequence numbers one by one, asking the store only once a block.
#[derive(Debug)]
pub struct Sequencer {
    store: Store,
    tun: TunId,
    reserved: Range<u64>,
}

impl Sequencer {
    pub fn new(store: Store, tun: TunId) -> Self {
        Self {
            store,
            tun,
            reserved: 0..0,
        }
    }

    pub async fn next(&mut self) -> Result<u64, StoreError> {
        if let Some(number) = self.reserved.next() {
            return Ok(number);
        }
        let block = self.store.next_sequences(self.tun, BLOCK).await?;
        self.reserved = block.start + 1..block.end;
        Ok(block.start)
    }
}
