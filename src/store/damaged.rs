//! Blocks of packed readings that cannot be read: which brew and which stretch of it that costs.
//!
//! Owns the search for them and their words. What is done about one stands with whoever reads.

use std::fmt;

use jiff::Timestamp;
use rusqlite::Row;

use super::blocks::{Kind, unpacked};
use super::brews::wall;
use super::packed::{Block, Damage};
use super::{BrewId, Database, StoreError};

/// How many are named where people read of them; the others are counted.
const NAMED: usize = 5;

/// A block that cannot be read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DamagedBlock {
    /// Site and tun.
    pub tun: String,
    /// The brew's id.
    pub brew: String,
    /// What it held, in words.
    pub what: &'static str,
    /// Its readings came after the first of these and up to the second.
    pub stretch: (Timestamp, Timestamp),
    pub damage: String,
}

impl fmt::Display for DamagedBlock {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self {
            tun, brew, what, ..
        } = self;
        let (from, to) = self.stretch;
        write!(
            f,
            "brew {brew} of {tun}, {what} from {} to {} UTC: {}",
            from.strftime("%Y-%m-%d %H:%M:%S"),
            to.strftime("%H:%M:%S"),
            self.damage
        )
    }
}

/// Some of them, in words.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DamagedBlocks(pub Vec<DamagedBlock>);

impl fmt::Display for DamagedBlocks {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let named = self.0.iter().take(NAMED).map(ToString::to_string);
        f.write_str(&named.collect::<Vec<_>>().join("; "))?;
        match self.0.len().saturating_sub(NAMED) {
            0 => Ok(()),
            others => write!(f, "; and {others} more"),
        }
    }
}

/// How well a block is looked at.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Look {
    /// Whether it has changed since it was written.
    Checksum,
    /// Whether it gives back what its row says.
    Content,
}

impl Database {
    /// Every block that would be missing to whoever reads it, of one brew or of all.
    pub fn damaged_blocks(&self, of: Option<BrewId>) -> Result<Vec<DamagedBlock>, StoreError> {
        self.look_at_blocks(of, Look::Content)
    }

    /// Whether every block of the record is as it was written. Quicker, for the service's own check.
    pub(super) fn check_blocks(&self) -> Result<(), StoreError> {
        self.none_of(self.look_at_blocks(None, Look::Checksum)?)
    }

    /// An error that names them, where there are any.
    pub(super) fn none_of(&self, blocks: Vec<DamagedBlock>) -> Result<(), StoreError> {
        if blocks.is_empty() {
            return Ok(());
        }
        Err(StoreError::DamagedBlocks {
            path: self.path.clone(),
            blocks: DamagedBlocks(blocks),
        })
    }

    fn look_at_blocks(
        &self,
        of: Option<BrewId>,
        look: Look,
    ) -> Result<Vec<DamagedBlock>, StoreError> {
        if !self.has_blocks {
            return Ok(Vec::new());
        }
        let failed = self.failed("checking packed readings");
        let mut statement = self
            .connection
            .prepare_cached(
                "SELECT kind, first_seq, last_seq, rows, body, last_at_us, site || '/' || name, brew, started_us, \
                 started_at_us, (SELECT max(before.last_at_us) FROM packed AS before WHERE before.brew_id = \
                 packed.brew_id AND before.kind = packed.kind AND before.first_seq < packed.first_seq) \
                 FROM packed JOIN brew ON brew.id = brew_id JOIN tun ON tun.id = tun_id \
                 WHERE ?1 IS NULL OR brew_id = ?1 ORDER BY brew_id, kind, first_seq",
            )
            .map_err(&failed)?;
        let mut rows = statement.query([of.map(|brew| brew.0)]).map_err(&failed)?;
        let mut damaged = Vec::new();
        while let Some(row) = rows.next().map_err(&failed)? {
            let Some(damage) = looked_at(row, look).map_err(&failed)? else {
                continue;
            };
            damaged.push(named(row, damage).map_err(&failed)?);
        }
        Ok(damaged)
    }
}

/// What is wrong with the block of a row.
fn looked_at(row: &Row<'_>, look: Look) -> rusqlite::Result<Option<String>> {
    let ends = (row.get(1)?, row.get(2)?);
    let count = row.get(3)?;
    let body = row.get_ref(4)?;
    let looked = |bytes: &[u8]| -> Result<(), Damage> {
        match look {
            Look::Checksum => Block::check(bytes),
            Look::Content => unpacked(bytes, ends, count).map(drop),
        }
    };
    let found = match body.as_blob() {
        Ok(bytes) => looked(bytes).err().map(|damage| damage.to_string()),
        Err(error) => Some(error.to_string()),
    };
    Ok(found)
}

fn named(row: &Row<'_>, damage: String) -> rusqlite::Result<DamagedBlock> {
    let (started_us, started_at_us): (i64, i64) = (row.get(8)?, row.get(9)?);
    // From the axis of moments to the wall clock's time, as it was at the brew's beginning.
    let on_wall = |at_us: i64| wall(at_us.saturating_add(started_us - started_at_us));
    let before: Option<i64> = row.get(10)?;
    Ok(DamagedBlock {
        tun: row.get(6)?,
        brew: row.get(7)?,
        what: Kind::of_number(row.get(0)?).name(),
        stretch: (
            on_wall(before.unwrap_or(started_at_us)),
            on_wall(row.get(5)?),
        ),
        damage,
    })
}
