//! Removing what has passed its time.
//!
//! Readings go first, whole brews later if at all. The work is cut into slices of some thousand rows, so that
//! an alarm never waits for it; the caller asks for the next slice while there is more. Age is the record's own count and
//! never the difference of two dates: a wall clock that was wrong removes nothing. Must not know why a site keeps its
//! records for so long.

use jiff::Timestamp;
use rusqlite::{OptionalExtension, Transaction, params};

use super::blocks;
use super::{BrewId, Database, StoreError};

/// How long records are kept.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Keep {
    /// Raw and conditioned readings, ticks and run-off states.
    pub readings_days: f64,
    /// Whole brews, and what happened between them; None keeps them.
    pub brews_days: Option<f64>,
}

/// What one slice did.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Slice {
    pub removed: u64,
    /// Whether another slice has something to do.
    pub more: bool,
}

/// The longest time that one look at the wall clock may add to the record's age, µs: a day. A clock that is wrong by
/// years at a start, or set right after years, makes nothing old; a service that was off for a month keeps its records
/// for as much longer. Own choice.
const COUNTED_US: i64 = 86_400_000_000;
/// What there is, is noted once for so much age, µs.
const MARK_EVERY_US: i64 = COUNTED_US;

/// Blocks of packed readings removed in one slice. Their pages are about as many as those of the rows of a slice. Own choice.
const BLOCKS: i64 = 32;

/// A brew is as old as the first mark that found it. A tun's newest brew is never touched before it has ended: it may be
/// running.
const DUE: &str = "id <= ?1 AND (ended_us IS NOT NULL OR id <> \
     (SELECT max(id) FROM brew AS newest WHERE newest.tun_id = brew.tun_id))";

/// The last rows of some age.
#[derive(Clone, Copy, Default)]
struct Due {
    brew: i64,
    idle_event: i64,
    output: i64,
}

impl Database {
    /// Counts the record's age on, by no more than a day, and notes what there is at it.
    pub fn age(&mut self, now: Timestamp) -> Result<(), StoreError> {
        let failed = self.failed("counting the record's age");
        let transaction = self.connection.transaction().map_err(&failed)?;
        count_on(&transaction, now).map_err(&failed)?;
        transaction.commit().map_err(failed)
    }

    /// Removes at most `StoreParameters::retention_rows` of each kind of row and some blocks, by the age that was last counted.
    pub fn retention_slice(&mut self, keep: Keep) -> Result<Slice, StoreError> {
        let failed = self.failed("removing old records");
        let limit = self.parameters.retention_rows;
        let transaction = self.connection.transaction().map_err(&failed)?;
        let slice = remove(&transaction, keep, limit).map_err(&failed)?;
        transaction.commit().map_err(&failed)?;
        // Where a brew stands is looked up again: its rows, or the brew, may be gone.
        self.progress.clear();
        self.connection
            .pragma(None, "incremental_vacuum", limit, |_| Ok(()))
            .map_err(&failed)?;
        Ok(slice)
    }
}

fn count_on(transaction: &Transaction<'_>, now: Timestamp) -> rusqlite::Result<()> {
    let now_us = now.as_microsecond();
    let before: Option<(i64, i64)> = transaction
        .query_row("SELECT aged_us, counted_us FROM age", [], |row| {
            Ok((row.get(0)?, row.get(1)?))
        })
        .optional()?;
    let aged_us = before.map_or(0, |(aged_us, counted_us)| {
        aged_us + now_us.saturating_sub(counted_us).clamp(0, COUNTED_US)
    });
    transaction.execute(
        "INSERT OR REPLACE INTO age (id, aged_us, counted_us) VALUES (1, ?1, ?2)",
        [aged_us, now_us],
    )?;
    transaction.execute(
        "INSERT INTO age_mark (aged_us, brew_id, idle_event_id, output_id) \
         SELECT ?1, coalesce((SELECT max(id) FROM brew), 0), \
         coalesce((SELECT max(id) FROM idle_event), 0), coalesce((SELECT max(id) FROM output), 0) \
         WHERE ?1 - coalesce((SELECT max(aged_us) FROM age_mark), -?2) >= ?2",
        [aged_us, MARK_EVERY_US],
    )?;
    Ok(())
}

/// What is older than `days`.
fn older_than(transaction: &Transaction<'_>, days: f64) -> rusqlite::Result<Due> {
    // A number of days beyond all counting means for ever.
    let age_us = (days * 86_400e6).min(i64::MAX as f64) as i64;
    let due = transaction
        .query_row(
            "SELECT brew_id, idle_event_id, output_id FROM age_mark \
             WHERE aged_us <= (SELECT aged_us FROM age) - ?1 ORDER BY aged_us DESC LIMIT 1",
            [age_us],
            |row| {
                Ok(Due {
                    brew: row.get(0)?,
                    idle_event: row.get(1)?,
                    output: row.get(2)?,
                })
            },
        )
        .optional()?;
    Ok(due.unwrap_or_default())
}

fn remove(transaction: &Transaction<'_>, keep: Keep, limit: u32) -> rusqlite::Result<Slice> {
    let brews = match keep.brews_days {
        Some(days) => Some(older_than(transaction, days)?),
        None => None,
    };
    // A brew past its own time loses its readings first, whatever the readings' time is.
    let readings = older_than(transaction, keep.readings_days)?
        .brew
        .max(brews.map_or(0, |due| due.brew));
    let query = format!("SELECT id FROM brew WHERE readings_kept AND {DUE} ORDER BY id LIMIT 1");
    let brew = transaction
        .query_row(&query, [readings], |row| row.get(0).map(BrewId))
        .optional()?;
    if let Some(brew) = brew {
        return remove_readings(transaction, brew, limit);
    }
    let Some(due) = brews else {
        return Ok(Slice::default());
    };
    let brew = format!("DELETE FROM brew WHERE id = (SELECT id FROM brew WHERE {DUE} LIMIT 1)");
    let mut removed = transaction.execute(&brew, [due.brew])?;
    removed += transaction.execute(
        "DELETE FROM idle_event WHERE id IN \
         (SELECT id FROM idle_event WHERE id <= ?1 ORDER BY id LIMIT ?2)",
        params![due.idle_event, limit],
    )?;
    removed += transaction.execute(
        "DELETE FROM output WHERE id IN \
         (SELECT id FROM output WHERE brew_id IS NULL AND id <= ?1 LIMIT ?2)",
        params![due.output, limit],
    )?;
    Ok(Slice {
        removed: removed as u64,
        more: removed > 0,
    })
}

fn remove_readings(
    transaction: &Transaction<'_>,
    brew: BrewId,
    limit: u32,
) -> rusqlite::Result<Slice> {
    let mut removed = blocks::remove(transaction, brew, BLOCKS)?;
    for rows in [
        "DELETE FROM event WHERE brew_id = ?1 AND seq IN \
         (SELECT seq FROM event WHERE brew_id = ?1 AND kind <> 2 ORDER BY seq LIMIT ?2)",
        "DELETE FROM conditioned WHERE brew_id = ?1 AND seq IN \
         (SELECT seq FROM conditioned WHERE brew_id = ?1 ORDER BY seq LIMIT ?2)",
        "DELETE FROM output WHERE id IN \
         (SELECT id FROM output WHERE brew_id = ?1 AND kind = 'runoff' ORDER BY id LIMIT ?2)",
    ] {
        removed += transaction.execute(rows, params![brew.0, limit])?;
    }
    if removed == 0 {
        transaction.execute("UPDATE brew SET readings_kept = 0 WHERE id = ?1", [brew.0])?;
    }
    Ok(Slice {
        removed: removed as u64,
        more: true,
    })
}
