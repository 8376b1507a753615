//! Removing what has passed its time.
//!
//! Readings go first, whole brews later if at all. The work is cut into slices of some thousand rows, so that
//! an alarm never waits for it; the caller asks for the next slice while there is more. Must not know why a
//! site keeps its records for so long.

use jiff::{SignedDuration, Timestamp};
use rusqlite::{OptionalExtension, Transaction, params};

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

/// A brew is as old as its end. One that was never ended counts from its beginning, but a tun's newest brew is
/// never touched before it has ended: it may be running.
const DUE: &str = "coalesce(ended_us, started_us) < ?1 AND (ended_us IS NOT NULL OR id <> \
     (SELECT max(id) FROM brew AS newest WHERE newest.tun_id = brew.tun_id))";

impl Database {
    /// Removes at most `StoreParameters::retention_rows` of each kind of row.
    pub fn retention_slice(&mut self, now: Timestamp, keep: Keep) -> Result<Slice, StoreError> {
        let failed = self.failed("removing old records");
        let limit = self.parameters.retention_rows;
        let transaction = self.connection.transaction().map_err(&failed)?;
        let slice = remove(&transaction, now, keep, limit).map_err(&failed)?;
        transaction.commit().map_err(&failed)?;
        // Where a brew stands is looked up again: its rows, or the brew, may be gone.
        self.progress.clear();
        self.connection
            .pragma(None, "incremental_vacuum", limit, |_| Ok(()))
            .map_err(&failed)?;
        Ok(slice)
    }
}

fn remove(
    transaction: &Transaction<'_>,
    now: Timestamp,
    keep: Keep,
    limit: u32,
) -> rusqlite::Result<Slice> {
    let brews_before = keep.brews_days.map(|days| before(now, days));
    // A brew past its own time loses its readings first, whatever the readings' time is.
    let readings_before = before(now, keep.readings_days).max(brews_before.unwrap_or(i64::MIN));
    let due = format!("SELECT id FROM brew WHERE readings_kept AND {DUE} ORDER BY id LIMIT 1");
    let brew = transaction
        .query_row(&due, [readings_before], |row| row.get(0).map(BrewId))
        .optional()?;
    if let Some(brew) = brew {
        return remove_readings(transaction, brew, limit);
    }
    let Some(brews_before) = brews_before else {
        return Ok(Slice::default());
    };
    let brew = format!("DELETE FROM brew WHERE id = (SELECT id FROM brew WHERE {DUE} LIMIT 1)");
    let mut removed = transaction.execute(&brew, [brews_before])?;
    for idle in [
        "DELETE FROM idle_event WHERE id IN \
         (SELECT id FROM idle_event WHERE at_us < ?1 LIMIT ?2)",
        "DELETE FROM output WHERE id IN \
         (SELECT id FROM output WHERE brew_id IS NULL AND at_us < ?1 LIMIT ?2)",
    ] {
        removed += transaction.execute(idle, params![brews_before, limit])?;
    }
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
    let mut removed = 0;
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

/// `days` before `now`, µs since 1970. A number of days beyond the calendar means for ever.
fn before(now: Timestamp, days: f64) -> i64 {
    SignedDuration::try_from_secs_f64(days * 86_400.0)
        .ok()
        .and_then(|age| now.checked_sub(age).ok())
        .map_or(i64::MIN, Timestamp::as_microsecond)
}
