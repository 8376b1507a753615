//! Moving readings from rows, as they are committed, into blocks, in which they take a tenth of the room.
//!
//! Owns when and how much: a brew under way has a block made of every some thousand rows; an ended one, or one that was
//! left, has all of its rows packed. A slice is one transaction: a reader and a power cut see rows or their block. A block
//! must give back every bit of its rows before they go; rows that do not fit into blocks stay rows.

use rusqlite::{Connection, Transaction, params};

use super::blocks::{self, Kind};
use super::packed::Block;
use super::{BrewId, Database, StoreError, events, readings};

/// Free pages the file keeps for the rows to come; what is beyond is given back to the disk, so many pages in a slice. A
/// megabyte: what the rows of a block take and some more. Own choice.
const FREE_PAGES: i64 = 256;

/// What a slice is about.
#[derive(Clone, Copy)]
struct Due {
    brew: BrewId,
    /// No more rows will come: what is left is packed although it fills no block.
    whole: bool,
}

impl Database {
    /// Packs at most one block of each kind of reading. Whether there may be more to pack.
    pub fn pack_slice(&mut self) -> Result<bool, StoreError> {
        let Some(due) = self.next_to_pack()? else {
            return Ok(false);
        };
        let packed = self.pack(due);
        match &packed {
            Ok(_) => {}
            // Its rows are as good as a block; the next start tries again.
            Err(StoreError::NotPacked { .. }) => {
                self.left_as_rows.insert(due.brew);
            }
            // That may be another brew's luck already, and its own later.
            Err(_) => {
                self.put_off.insert(due.brew);
            }
        }
        packed.map(|_| true)
    }

    /// Whether a brew was put off since a slice of it could not be written.
    pub(super) fn has_put_off(&self) -> bool {
        !self.put_off.is_empty()
    }

    /// Takes up again what was put off.
    pub(super) fn pack_again(&mut self) {
        self.put_off.clear();
        self.may_have_unpacked = true;
    }

    /// Whether it is not to be packed now.
    fn rests(&self, brew: BrewId) -> bool {
        self.left_as_rows.contains(&brew) || self.put_off.contains(&brew)
    }

    /// Packs all of an ended brew. Not for the service, whose batches would wait.
    pub fn pack_brew(&mut self, brew: BrewId) -> Result<(), StoreError> {
        while self.pack(Due { brew, whole: true })? {}
        Ok(())
    }

    fn next_to_pack(&mut self) -> Result<Option<Due>, StoreError> {
        let full = i64::from(self.parameters.packed_rows);
        let running = self.progress.iter().find(|(brew, progress)| {
            progress.live.iter().any(|rows| *rows >= full) && !self.rests(**brew)
        });
        if let Some((brew, _)) = running {
            return Ok(Some(Due {
                brew: *brew,
                whole: false,
            }));
        }
        if !self.may_have_unpacked {
            return Ok(None);
        }
        let next = self.unpacked_brew()?;
        self.may_have_unpacked = next.is_some();
        Ok(next.map(|brew| Due { brew, whole: true }))
    }

    /// A tun's newest brew may be running until it has ended.
    fn unpacked_brew(&self) -> Result<Option<BrewId>, StoreError> {
        let failed = self.failed("looking for readings to pack");
        let mut statement = self
            .connection
            .prepare_cached(
                "SELECT id FROM brew WHERE NOT packed AND (ended_us IS NOT NULL OR id <> \
                 (SELECT max(id) FROM brew AS newest WHERE newest.tun_id = brew.tun_id)) \
                 ORDER BY id DESC",
            )
            .map_err(&failed)?;
        let mut rows = statement.query([]).map_err(&failed)?;
        while let Some(row) = rows.next().map_err(&failed)? {
            let brew = BrewId(row.get(0).map_err(&failed)?);
            if !self.rests(brew) {
                return Ok(Some(brew));
            }
        }
        Ok(None)
    }

    /// Whether the brew may have more to pack.
    fn pack(&mut self, Due { brew, whole }: Due) -> Result<bool, StoreError> {
        let failed = self.failed("packing readings");
        let not_packed = || StoreError::NotPacked {
            path: self.path.clone(),
            brew: brew.0,
        };
        let full = i64::from(self.parameters.packed_rows);
        let progress = self.progress.get(&brew);
        let mut live = progress.map_or([0; 2], |progress| progress.live);
        let mut more = false;
        let transaction = self.connection.transaction().map_err(&failed)?;
        for (kind, live) in Kind::ALL.into_iter().zip(&mut live) {
            if whole || *live >= full {
                let moved = move_rows(&transaction, brew, kind, full)
                    .map_err(&failed)?
                    .ok_or_else(not_packed)?;
                more |= moved == full;
                // Fewer than were asked for are all there were.
                *live = if moved == full { *live - moved } else { 0 };
            }
        }
        if whole && !more {
            transaction
                .execute("UPDATE brew SET packed = 1 WHERE id = ?1", [brew.0])
                .map_err(&failed)?;
        }
        give_back(&transaction).map_err(&failed)?;
        transaction.commit().map_err(&failed)?;
        if let Some(progress) = self.progress.get_mut(&brew) {
            progress.live = live;
        }
        Ok(more)
    }
}

/// Puts the first rows into a block; how many. None where a block would not give them back.
fn move_rows(
    transaction: &Transaction<'_>,
    brew: BrewId,
    kind: Kind,
    limit: i64,
) -> rusqlite::Result<Option<i64>> {
    let read = match kind {
        Kind::Events => events::live_rows(transaction, brew, limit)?,
        Kind::Conditioned => readings::live_rows(transaction, brew, limit)?,
    };
    let Some(block) = read else {
        return Ok(None);
    };
    let (Some(first), Some(last)) = (block.rows.first(), block.rows.last()) else {
        return Ok(Some(0));
    };
    let Some(bytes) = block.pack() else {
        return Ok(None);
    };
    if Block::unpack(&bytes).as_ref() != Ok(&block) {
        return Ok(None);
    }
    blocks::insert(transaction, brew, kind, &block, &bytes)?;
    let gone = remove_rows(transaction, brew, kind, (first.seq, last.seq))?;
    Ok(i64::try_from(gone)
        .ok()
        .filter(|_| gone == block.rows.len()))
}

fn remove_rows(
    connection: &Connection,
    brew: BrewId,
    kind: Kind,
    (first, last): (i64, i64),
) -> rusqlite::Result<usize> {
    let only = match kind {
        Kind::Events => "AND kind <> 2",
        Kind::Conditioned => "",
    };
    let table = kind.table();
    connection
        .prepare_cached(&format!(
            "DELETE FROM {table} WHERE brew_id = ?1 AND seq BETWEEN ?2 AND ?3 {only}"
        ))?
        .execute(params![brew.0, first, last])
}

fn give_back(connection: &Connection) -> rusqlite::Result<()> {
    let free: i64 = connection.pragma_query_value(None, "freelist_count", |row| row.get(0))?;
    if free > FREE_PAGES {
        let pages = (free - FREE_PAGES).min(FREE_PAGES);
        connection.pragma(None, "incremental_vacuum", pages, |_| Ok(()))?;
    }
    Ok(())
}
