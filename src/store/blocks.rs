//! Blocks of packed readings in the record: finding, reading and naming them.
//!
//! Owns the table `packed` and the two policies for a block that cannot be read. Whoever computes with events must have all of
//! them and fails; whoever draws or exports goes without that stretch, and the log says so.

use rusqlite::{Connection, OptionalExtension, Transaction, params};
use serde::Deserialize;

use super::encoding::{from_name, unreadable};
use super::packed::{Block, Damage, Names};
use super::{BrewId, Database, StoreError};

/// Which rows a block holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    Events,
    Conditioned,
}

impl Kind {
    pub const ALL: [Self; 2] = [Self::Events, Self::Conditioned];

    pub fn number(self) -> i64 {
        match self {
            Self::Events => 0,
            Self::Conditioned => 1,
        }
    }

    /// Its place among all kinds.
    pub fn place(self) -> usize {
        match self {
            Self::Events => 0,
            Self::Conditioned => 1,
        }
    }

    pub fn of_number(number: i64) -> Self {
        match number {
            0 => Self::Events,
            _ => Self::Conditioned,
        }
    }

    /// In words.
    pub fn name(self) -> &'static str {
        match self {
            Self::Events => "readings as they came",
            Self::Conditioned => "conditioned readings",
        }
    }

    /// The table that holds them as rows.
    pub fn table(self) -> &'static str {
        match self {
            Self::Events => "event",
            Self::Conditioned => "conditioned",
        }
    }
}

/// What is done about a block that cannot be read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum OnDamage {
    Fail,
    /// Its rows are missing in the answer; the log names it.
    GoWithout,
}

/// A block's words as the core's.
pub(super) struct Meanings<T>(Vec<Option<T>>);

impl<T: Copy + for<'a> Deserialize<'a>> Meanings<T> {
    pub fn of(names: &Names) -> Self {
        Self(
            names
                .words()
                .iter()
                .map(|word| from_name(word).ok())
                .collect(),
        )
    }

    /// None for no word.
    pub fn get(&self, code: u16) -> Result<Option<T>, String> {
        let Some(place) = usize::from(code).checked_sub(1) else {
            return Ok(None);
        };
        let meaning = self.0.get(place).copied().flatten();
        meaning
            .map(Some)
            .ok_or_else(|| format!("word {code} of its block has no meaning there"))
    }
}

impl Database {
    /// One state of the record for several statements: what moves from rows to a block meanwhile is seen once.
    pub(super) fn one_moment(&self) -> Result<Transaction<'_>, StoreError> {
        let failed = self.failed("reading the record");
        self.connection.unchecked_transaction().map_err(failed)
    }

    /// Gives `take` the blocks of a brew that hold rows from the number `from` on, in order.
    pub(super) fn each_block(
        &self,
        (brew, kind, from): (BrewId, Kind, i64),
        on_damage: OnDamage,
        mut take: impl FnMut(&Block) -> Result<(), String>,
    ) -> Result<(), StoreError> {
        if !self.has_blocks {
            return Ok(());
        }
        let failed = self.failed("reading packed readings");
        let mut statement = self
            .connection
            .prepare_cached(
                "SELECT first_seq, last_seq, rows, body FROM packed \
                 WHERE brew_id = ?1 AND kind = ?2 AND last_seq >= ?3 ORDER BY first_seq",
            )
            .map_err(&failed)?;
        let mut rows = statement
            .query(params![brew.0, kind.number(), from])
            .map_err(&failed)?;
        while let Some(row) = rows.next().map_err(&failed)? {
            let ends = (row.get(0).map_err(&failed)?, row.get(1).map_err(&failed)?);
            let count = row.get(2).map_err(&failed)?;
            let body = row.get_ref(3).map_err(&failed)?;
            let read = body
                .as_blob()
                .map_err(|error| error.to_string())
                .and_then(|bytes| unpacked(bytes, ends, count).map_err(|it| it.to_string()))
                .and_then(|block| take(&block));
            let Err(detail) = read else { continue };
            let error = unreadable(&self.path, name(brew, kind, ends), detail);
            match on_damage {
                OnDamage::Fail => return Err(error),
                OnDamage::GoWithout => tracing::error!("{error}; what it held is left out"),
            }
        }
        Ok(())
    }

    /// Number and moment of the last row in blocks.
    pub(super) fn last_packed(
        &self,
        brew: BrewId,
        kind: Kind,
    ) -> Result<Option<(i64, i64)>, StoreError> {
        if !self.has_blocks {
            return Ok(None);
        }
        self.connection
            .prepare_cached(
                "SELECT last_seq, last_at_us FROM packed WHERE brew_id = ?1 AND kind = ?2 \
                 ORDER BY first_seq DESC LIMIT 1",
            )
            .and_then(|mut statement| {
                statement
                    .query_row(params![brew.0, kind.number()], |row| {
                        Ok((row.get(0)?, row.get(1)?))
                    })
                    .optional()
            })
            .map_err(self.failed("reading packed readings"))
    }
}

/// A block whose content is what its row says.
pub(super) fn unpacked(
    bytes: &[u8],
    (first, last): (i64, i64),
    count: i64,
) -> Result<Block, Damage> {
    let block = Block::unpack(bytes)?;
    let found = (
        block.rows.first().map(|row| row.seq),
        block.rows.last().map(|row| row.seq),
        i64::try_from(block.rows.len()).ok(),
    );
    let in_order = block.rows.is_sorted_by(|one, next| one.seq < next.seq);
    if found != (Some(first), Some(last), Some(count)) || !in_order {
        return Err(Damage::Senseless);
    }
    Ok(block)
}

/// A block in words.
fn name(brew: BrewId, kind: Kind, (first, last): (i64, i64)) -> String {
    format!(
        "the block with the {} {first} to {last} of brew {}",
        kind.name(),
        brew.0
    )
}

pub(super) fn insert(
    connection: &Connection,
    brew: BrewId,
    kind: Kind,
    block: &Block,
    bytes: &[u8],
) -> rusqlite::Result<()> {
    let (Some(first), Some(last)) = (block.rows.first(), block.rows.last()) else {
        return Ok(());
    };
    connection
        .prepare_cached(
            "INSERT INTO packed (brew_id, kind, first_seq, last_seq, last_at_us, rows, body) \
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
        )?
        .execute(params![
            brew.0,
            kind.number(),
            first.seq,
            last.seq,
            last.at_us,
            block.rows.len().cast_signed(),
            bytes,
        ])?;
    Ok(())
}

/// Removes some blocks of a brew; how many there were.
pub(super) fn remove(connection: &Connection, brew: BrewId, limit: i64) -> rusqlite::Result<usize> {
    connection.execute(
        "DELETE FROM packed WHERE brew_id = ?1 AND (kind, first_seq) IN \
         (SELECT kind, first_seq FROM packed WHERE brew_id = ?1 ORDER BY kind, first_seq LIMIT ?2)",
        params![brew.0, limit],
    )
}
