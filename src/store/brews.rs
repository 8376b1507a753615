//! Tuns and brews: their identity, their beginning and their end.

use jiff::Timestamp;
use lauter_core::projection::Plan;
use lauter_core::reading::{Instrument, Moment};
use lauter_core::supervisor::SummaryLine;
use rusqlite::{OptionalExtension, Row, params};

use super::encoding::{from_json, to_json};
use super::{Database, StoreError};

/// A tun of this store: one site and name.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct TunId(pub(super) i64);

impl TunId {
    /// A tun that no record has entered yet: it has no rows.
    pub const UNKNOWN: Self = Self(0);
}

/// A brew's record number. Never reused, not even when the brew is replaced.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct BrewId(pub(super) i64);

impl BrewId {
    /// The number as it stands in addresses and file names.
    pub fn number(self) -> i64 {
        self.0
    }

    /// From an address; the queries say when there is no such brew.
    pub fn from_number(number: i64) -> Self {
        Self(number)
    }
}

/// What is known when a brew begins.
#[derive(Clone, Debug, PartialEq)]
pub struct BrewHeader {
    pub tun: TunId,
    /// `plan.brew` is the brew's id, unique per tun: one seen before replaces its record.
    pub plan: Plan,
    /// As configured now; an instrument's index in the events is its index here.
    pub instruments: Vec<Instrument>,
    /// Digest of the configuration the brew ran with.
    pub config_digest: String,
    pub started: Timestamp,
    pub started_at: Moment,
    /// Where `elapsed_s` counts from.
    pub origin: Moment,
}

/// What is known when it ends.
#[derive(Clone, Debug, PartialEq)]
pub struct FinishedBrew {
    pub ended: Timestamp,
    pub ended_at: Moment,
    pub summary: Option<SummaryLine>,
}

/// A brew of the record.
#[derive(Clone, Debug, PartialEq)]
pub struct Brew {
    pub id: BrewId,
    pub header: BrewHeader,
    /// None while it runs, or when the service ended before it did.
    pub finished: Option<FinishedBrew>,
    /// Whether the tun's profile learnt from it; None while undecided.
    pub accepted: Option<bool>,
    /// False once their time is over: then the brew cannot be replayed any more.
    pub readings_kept: bool,
}

const BREW_COLUMNS: &str = "SELECT id, tun_id, brew, plan, instruments, config_digest, started_us, \
     started_at_us, origin_at_us, ended_us, ended_at_us, summary, accepted, readings_kept FROM brew";

impl Database {
    /// The tun with this site and name, entered if it is new.
    pub fn tun(&mut self, site: &str, name: &str) -> Result<TunId, StoreError> {
        let failed = self.failed("entering a tun");
        if let Some(known) = self.find_tun(site, name)? {
            return Ok(known);
        }
        self.connection
            .execute(
                "INSERT INTO tun (site, name) VALUES (?1, ?2)",
                params![site, name],
            )
            .map_err(failed)?;
        Ok(TunId(self.connection.last_insert_rowid()))
    }

    /// The tun with this site and name, if the store has it.
    pub fn find_tun(&self, site: &str, name: &str) -> Result<Option<TunId>, StoreError> {
        self.connection
            .prepare_cached("SELECT id FROM tun WHERE site = ?1 AND name = ?2")
            .and_then(|mut statement| {
                statement
                    .query_row(params![site, name], |row| row.get(0).map(TunId))
                    .optional()
            })
            .map_err(self.failed("looking up a tun"))
    }

    /// Every tun with its site and name, in the order they were entered.
    pub fn tuns(&self) -> Result<Vec<(TunId, String, String)>, StoreError> {
        self.connection
            .prepare_cached("SELECT id, site, name FROM tun ORDER BY id")
            .and_then(|mut statement| {
                statement
                    .query_map([], |row| Ok((TunId(row.get(0)?), row.get(1)?, row.get(2)?)))?
                    .collect()
            })
            .map_err(self.failed("listing the tuns"))
    }

    /// Begins a brew's record. A brew with the same id on the same tun is removed with all its rows in the same
    /// transaction.
    pub fn begin_brew(&mut self, header: &BrewHeader) -> Result<BrewId, StoreError> {
        let failed = self.failed("beginning a brew");
        let transaction = self.connection.transaction().map_err(&failed)?;
        let former: Option<i64> = transaction
            .query_row(
                "SELECT id FROM brew WHERE tun_id = ?1 AND brew = ?2",
                params![header.tun.0, header.plan.brew],
                |row| row.get(0),
            )
            .optional()
            .map_err(&failed)?;
        transaction
            .execute("DELETE FROM brew WHERE id = ?1", [former])
            .map_err(&failed)?;
        transaction
            .execute(
                "INSERT INTO brew (tun_id, brew, plan, instruments, config_digest, started_us, \
                 started_at_us, origin_at_us) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)",
                params![
                    header.tun.0,
                    header.plan.brew,
                    to_json(&header.plan),
                    to_json(&header.instruments),
                    header.config_digest,
                    header.started.as_microsecond(),
                    header.started_at.0,
                    header.origin.0,
                ],
            )
            .map_err(&failed)?;
        let id = BrewId(transaction.last_insert_rowid());
        transaction.commit().map_err(&failed)?;
        // The one before may have been left without an end.
        self.may_have_unpacked = true;
        if let Some(former) = former {
            self.progress.remove(&BrewId(former));
        }
        Ok(id)
    }

    /// Closes a brew's record. Closing it again replaces what was said before.
    pub fn finish_brew(&mut self, brew: BrewId, end: &FinishedBrew) -> Result<(), StoreError> {
        let changed = self
            .connection
            .execute(
                "UPDATE brew SET ended_us = ?2, ended_at_us = ?3, summary = ?4 WHERE id = ?1",
                params![
                    brew.0,
                    end.ended.as_microsecond(),
                    end.ended_at.0,
                    end.summary.as_ref().map(to_json),
                ],
            )
            .map_err(self.failed("finishing a brew"))?;
        super::checkpoints::forget(&self.connection, brew)
            .map_err(self.failed("finishing a brew"))?;
        self.progress.remove(&brew);
        self.may_have_unpacked = true;
        self.must_exist(brew, changed)
    }

    /// Keeps whether the tun's profile learnt from the brew.
    pub fn mark_accepted(&mut self, brew: BrewId, accepted: bool) -> Result<(), StoreError> {
        let changed = self
            .connection
            .execute(
                "UPDATE brew SET accepted = ?2 WHERE id = ?1",
                params![brew.0, accepted],
            )
            .map_err(self.failed("marking a brew"))?;
        self.must_exist(brew, changed)
    }

    /// Every brew of a tun that can be read, the newest first. One whose row cannot be read is no reason to show none.
    pub fn brews(&self, tun: TunId) -> Result<Vec<Brew>, StoreError> {
        let rows = self.select_rows(
            "WHERE tun_id = ?1 ORDER BY started_us DESC, id DESC",
            params![tun.0],
        )?;
        let readable = |row| match self.decode_brew(row) {
            Ok(brew) => Some(brew),
            Err(error) => {
                tracing::debug!("a brew is not listed: {error}");
                None
            }
        };
        Ok(rows.into_iter().filter_map(readable).collect())
    }

    pub fn brew(&self, brew: BrewId) -> Result<Brew, StoreError> {
        self.select_brews("WHERE id = ?1", params![brew.0])?
            .pop()
            .ok_or_else(|| self.no_such_brew(brew))
    }

    /// The brew with this id (`plan.brew`) on a tun.
    pub fn find_brew(&self, tun: TunId, name: &str) -> Result<Option<Brew>, StoreError> {
        let condition = "WHERE tun_id = ?1 AND brew = ?2";
        Ok(self.select_brews(condition, params![tun.0, name])?.pop())
    }

    /// The tun's newest brew if it has not been finished: it runs, or the service ended in the middle of it.
    pub fn unfinished_brew(&self, tun: TunId) -> Result<Option<Brew>, StoreError> {
        let newest = "WHERE id = (SELECT max(id) FROM brew WHERE tun_id = ?1) AND ended_us IS NULL";
        Ok(self.select_brews(newest, params![tun.0])?.pop())
    }

    /// Closes the record of the tun's newest brew with its last event, without reading anything of it: nobody can go on
    /// with it, and no later start shall try.
    pub fn close_unreadable(&mut self, tun: TunId, now: Timestamp) -> Result<(), StoreError> {
        self.connection
            .execute(
                "UPDATE brew SET ended_us = ?2, ended_at_us = coalesce((SELECT max(at_us) FROM event WHERE event.brew_id = \
                 brew.id), started_at_us) WHERE id = (SELECT max(id) FROM brew WHERE tun_id = ?1) AND ended_us IS NULL",
                params![tun.0, now.as_microsecond()],
            )
            .map_err(self.failed("closing a brew"))?;
        Ok(())
    }

    fn select_brews(
        &self,
        condition: &str,
        keys: &[&dyn rusqlite::ToSql],
    ) -> Result<Vec<Brew>, StoreError> {
        let rows = self.select_rows(condition, keys)?;
        rows.into_iter().map(|row| self.decode_brew(row)).collect()
    }

    fn select_rows(
        &self,
        condition: &str,
        keys: &[&dyn rusqlite::ToSql],
    ) -> Result<Vec<BrewRow>, StoreError> {
        let failed = self.failed("reading brews");
        let mut statement = self
            .connection
            .prepare_cached(&format!("{BREW_COLUMNS} {condition}"))
            .map_err(&failed)?;
        statement
            .query_map(keys, BrewRow::read)
            .and_then(Iterator::collect::<rusqlite::Result<Vec<_>>>)
            .map_err(&failed)
    }

    fn decode_brew(&self, row: BrewRow) -> Result<Brew, StoreError> {
        let what = |part: &str| format!("the {part} of brew {}", row.brew);
        let summary = row
            .summary
            .as_deref()
            .map(|body| from_json(&self.path, || what("summary"), body))
            .transpose()?;
        let finished = match (row.ended_us, row.ended_at_us) {
            (Some(ended_us), Some(ended_at_us)) => Some(FinishedBrew {
                ended: wall(ended_us),
                ended_at: Moment(ended_at_us),
                summary,
            }),
            _ => None,
        };
        Ok(Brew {
            id: row.id,
            header: BrewHeader {
                tun: row.tun,
                plan: from_json(&self.path, || what("plan"), &row.plan)?,
                instruments: from_json(&self.path, || what("instruments"), &row.instruments)?,
                config_digest: row.config_digest,
                started: wall(row.started_us),
                started_at: Moment(row.started_at_us),
                origin: Moment(row.origin_at_us),
            },
            finished,
            accepted: row.accepted,
            readings_kept: row.readings_kept,
        })
    }

    pub(super) fn must_exist(&self, brew: BrewId, changed: usize) -> Result<(), StoreError> {
        if changed == 0 {
            return Err(self.no_such_brew(brew));
        }
        Ok(())
    }

    pub(super) fn no_such_brew(&self, brew: BrewId) -> StoreError {
        StoreError::NoSuchBrew {
            path: self.path.clone(),
            brew: brew.0,
        }
    }
}

/// Wall-clock time of a stored column.
pub(super) fn wall(microseconds: i64) -> Timestamp {
    Timestamp::from_microsecond(microseconds).unwrap_or(Timestamp::UNIX_EPOCH)
}

struct BrewRow {
    id: BrewId,
    tun: TunId,
    brew: String,
    plan: String,
    instruments: String,
    config_digest: String,
    started_us: i64,
    started_at_us: i64,
    origin_at_us: i64,
    ended_us: Option<i64>,
    ended_at_us: Option<i64>,
    summary: Option<String>,
    accepted: Option<bool>,
    readings_kept: bool,
}

impl BrewRow {
    fn read(row: &Row<'_>) -> rusqlite::Result<Self> {
        Ok(Self {
            id: BrewId(row.get(0)?),
            tun: TunId(row.get(1)?),
            brew: row.get(2)?,
            plan: row.get(3)?,
            instruments: row.get(4)?,
            config_digest: row.get(5)?,
            started_us: row.get(6)?,
            started_at_us: row.get(7)?,
            origin_at_us: row.get(8)?,
            ended_us: row.get(9)?,
            ended_at_us: row.get(10)?,
            summary: row.get(11)?,
            accepted: row.get(12)?,
            readings_kept: row.get(13)?,
        })
    }
}
