//! Where a watch stood: the state to go on from, and both clocks when the record was last written.
//!
//! Owns one checkpoint for each brew under way and one mark for each tun. They go into the record with the batch they
//! belong to, so that neither is ever ahead of its events. What the state says is opaque here.

use rusqlite::{Connection, OptionalExtension, params};

use super::blocks::Kind;
use super::database::Progress;
use super::{BrewId, Database, DatedEvent, StoreError, TunId};
use lauter_core::reading::Moment;

/// A state that may stand in for all events before it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Checkpoint {
    /// The engine that can read it: any other gives the events anew.
    pub engine: String,
    pub state: String,
}

/// Both clocks at one moment.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ClockMark {
    /// Which start of the machine.
    pub boot: String,
    /// How long the machine had been up.
    pub uptime_us: i64,
    /// The monotone axis at that time.
    pub at: Moment,
}

/// What a brew is taken up from.
#[derive(Clone, Debug, PartialEq)]
pub struct Beginning {
    /// None: all events have to be given anew.
    pub checkpoint: Option<Checkpoint>,
    /// The events after the checkpoint.
    pub events: Vec<DatedEvent>,
}

impl Database {
    /// The latest checkpoint of a brew that `engine` can read, and the events since.
    pub fn beginning(&self, brew: BrewId, engine: &str) -> Result<Beginning, StoreError> {
        let stored = self
            .connection
            .prepare_cached("SELECT next_event, engine, state FROM checkpoint WHERE brew_id = ?1")
            .and_then(|mut statement| {
                statement
                    .query_row([brew.0], |row| {
                        let checkpoint = Checkpoint {
                            engine: row.get(1)?,
                            state: row.get(2)?,
                        };
                        Ok((row.get::<_, i64>(0)?, checkpoint))
                    })
                    .optional()
            })
            .map_err(self.failed("reading a checkpoint"))?
            .filter(|(_, checkpoint)| checkpoint.engine == engine);
        let (from, checkpoint) = match stored {
            Some((from, checkpoint)) => (from, Some(checkpoint)),
            None => (0, None),
        };
        Ok(Beginning {
            checkpoint,
            events: self.events_from(brew, from)?,
        })
    }

    /// The moment of a brew's last event.
    pub fn last_event_at(&self, brew: BrewId) -> Result<Option<Moment>, StoreError> {
        let failed = self.failed("reading events");
        let _one = self.one_moment()?;
        let packed = self.last_packed(brew, Kind::Events)?;
        let live = self
            .connection
            .prepare_cached(
                "SELECT seq, at_us FROM event WHERE brew_id = ?1 ORDER BY seq DESC LIMIT 1",
            )
            .and_then(|mut statement| {
                statement
                    .query_row([brew.0], |row| Ok((row.get(0)?, row.get(1)?)))
                    .optional()
            })
            .map_err(&failed)?;
        Ok(packed.max(live).map(|(_, at_us)| Moment(at_us)))
    }

    /// Both clocks when the tun's record was last written.
    pub fn clock_mark(&self, tun: TunId) -> Result<Option<ClockMark>, StoreError> {
        self.connection
            .prepare_cached("SELECT boot, uptime_us, at_us FROM clock_mark WHERE tun_id = ?1")
            .and_then(|mut statement| {
                statement
                    .query_row([tun.0], |row| {
                        Ok(ClockMark {
                            boot: row.get(0)?,
                            uptime_us: row.get(1)?,
                            at: row.get(2).map(Moment)?,
                        })
                    })
                    .optional()
            })
            .map_err(self.failed("reading the clocks' mark"))
    }
}

pub(super) fn keep(
    connection: &Connection,
    brew: BrewId,
    progress: &Progress,
    checkpoint: &Checkpoint,
) -> rusqlite::Result<()> {
    let mut statement = connection.prepare_cached(
        "INSERT OR REPLACE INTO checkpoint (brew_id, next_event, engine, state) VALUES (?1, ?2, ?3, ?4)",
    )?;
    statement.execute(params![
        brew.0,
        progress.next_event,
        checkpoint.engine,
        checkpoint.state
    ])?;
    Ok(())
}

/// A brew that has ended is not taken up again.
pub(super) fn forget(connection: &Connection, brew: BrewId) -> rusqlite::Result<()> {
    connection
        .prepare_cached("DELETE FROM checkpoint WHERE brew_id = ?1")?
        .execute([brew.0])?;
    Ok(())
}

pub(super) fn mark(connection: &Connection, tun: TunId, mark: &ClockMark) -> rusqlite::Result<()> {
    let mut statement = connection.prepare_cached(
        "INSERT OR REPLACE INTO clock_mark (tun_id, boot, uptime_us, at_us) VALUES (?1, ?2, ?3, ?4)",
    )?;
    statement.execute(params![tun.0, mark.boot, mark.uptime_us, mark.at.0])?;
    Ok(())
}
