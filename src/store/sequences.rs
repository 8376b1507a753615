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
    /// Reserves the next `count` sequence numbers of a tun, durably before it returns. The first ever is 1. What is noted
    /// beside the record counts as well, so that neither a new record nor an old copy gives a number again.
    pub fn next_sequences(&mut self, tun: TunId, count: u32) -> Result<Range<u64>, StoreError> {
        self.sequences_from(tun, count, 0)
    }

    /// The first number of a tun that has not been reserved in the record.
    pub fn next_number(&self, tun: TunId) -> Result<u64, StoreError> {
        self.connection
            .query_row(
                "SELECT next_sequence FROM tun WHERE id = ?1",
                [tun.0],
                |row| row.get::<_, i64>(0),
            )
            .map(|next| next as u64)
            .map_err(self.failed("looking up a tun"))
    }

    /// The same, and none of them below `first`.
    pub fn sequences_from(
        &mut self,
        tun: TunId,
        count: u32,
        first: u64,
    ) -> Result<Range<u64>, StoreError> {
        let failed = self.failed("reserving sequence numbers");
        let name = self.name_of(tun)?;
        let noted = self
            .beside
            .as_ref()
            .map_or(0, |beside| beside.number(&name));
        let first = first.max(noted).cast_signed();
        // Explicit, so that a failing commit is an error and not a reset statement.
        let transaction = self.connection.transaction().map_err(&failed)?;
        let next: Option<i64> = transaction
            .query_row(
                "UPDATE tun SET next_sequence = max(next_sequence, ?3) + ?2 WHERE id = ?1 \
                 RETURNING next_sequence",
                params![tun.0, count, first],
                |row| row.get(0),
            )
            .optional()
            .map_err(&failed)?;
        transaction.commit().map_err(&failed)?;
        let end = next.ok_or_else(|| self.no_such_tun(tun))? as u64;
        if let Some(beside) = &mut self.beside {
            beside.set_number(&name, end);
            beside.set_in_use(true);
        }
        Ok(end - u64::from(count)..end)
    }
}

impl Database {
    /// Site and tun, as they are named beside the record.
    fn name_of(&self, tun: TunId) -> Result<String, StoreError> {
        self.connection
            .prepare_cached("SELECT site || '/' || name FROM tun WHERE id = ?1")
            .and_then(|mut statement| statement.query_row([tun.0], |row| row.get(0)).optional())
            .map_err(self.failed("looking up a tun"))?
            .ok_or_else(|| self.no_such_tun(tun))
    }

    fn no_such_tun(&self, tun: TunId) -> StoreError {
        StoreError::Unreadable {
            path: self.path.clone(),
            what: format!("tun {}", tun.0),
            detail: "it is not in this store".to_owned(),
        }
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
