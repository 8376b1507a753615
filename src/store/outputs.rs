//! What the supervisor put out, and the one transaction that takes a batch in.
//!
//! Owns `append`: events, outputs and the messages made of them are on the disk together or not at all, so that
//! an alarm a receiver has seen is never missing from the record.

use lauter_core::reading::Moment;
use lauter_core::supervisor::{
    AlarmLine, Dated, Line, Output, ProjectionLine, RunoffState, TableLine,
};
use rusqlite::{Connection, params};
use serde::de::DeserializeOwned;

use super::blocks::Kind;
use super::checkpoints::{self, Checkpoint, ClockMark};
use super::database::Progress;
use super::encoding::{from_json, to_json};
use super::events::{self, DatedEvent};
use super::outbox::{self, NewMessage};
use super::readings;
use super::{BrewId, Database, StoreError, StoreParameters, TunId};

/// What belongs together: about a second's worth.
#[derive(Clone, Debug, PartialEq)]
pub struct Batch {
    pub tun: TunId,
    /// None between brews: then readings, ticks, conditioned readings and run-off states are not kept.
    pub brew: Option<BrewId>,
    /// In the order the supervisor was given them.
    pub events: Vec<DatedEvent>,
    pub outputs: Vec<Dated>,
    pub messages: Vec<NewMessage>,
    /// The state after the last of `events`; only during a brew.
    pub checkpoint: Option<Box<Checkpoint>>,
    /// Both clocks now.
    pub mark: Option<Box<ClockMark>>,
}

impl Batch {
    pub fn new(tun: TunId, brew: Option<BrewId>) -> Self {
        Self {
            tun,
            brew,
            events: Vec::new(),
            outputs: Vec::new(),
            messages: Vec::new(),
            checkpoint: None,
            mark: None,
        }
    }

    pub fn is_empty(&self) -> bool {
        self.events.is_empty()
            && self.outputs.is_empty()
            && self.messages.is_empty()
            && self.checkpoint.is_none()
    }
}

/// The batch is on the disk.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Receipt {
    /// Ids of the batch's messages in their order; they now wait for their publishers.
    pub messages: Vec<i64>,
}

/// Kinds of output that are kept as JSON.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(super) enum OutputKind {
    Projection,
    Alarm,
    Table,
    Summary,
    Runoff,
    Occurrence,
}

impl OutputKind {
    fn name(self) -> &'static str {
        match self {
            Self::Projection => "projection",
            Self::Alarm => "alarm",
            Self::Table => "table",
            Self::Summary => "summary",
            Self::Runoff => "runoff",
            Self::Occurrence => "occurrence",
        }
    }
}

impl Database {
    /// Takes a batch in, in one transaction. When it returns, the batch survives a power cut.
    pub fn append(&mut self, batch: &Batch) -> Result<Receipt, StoreError> {
        let failed = self.failed("recording");
        let is_known = |brew| self.progress.contains_key(&brew);
        let taken_up = batch.brew.filter(|brew| !is_known(*brew));
        let mut progress = match batch.brew {
            Some(brew) => Some((brew, self.progress_of(brew)?)),
            None => None,
        };
        if let Some((brew, progress)) = &progress {
            self.check_instruments(*brew, progress, &batch.outputs)?;
        }
        let mut waiting = self.waiting_before(batch.tun, &batch.messages)?;
        let transaction = self.connection.transaction().map_err(&failed)?;
        if let Some(brew) = taken_up {
            // It has rows again.
            transaction
                .execute(
                    "UPDATE brew SET packed = 0 WHERE id = ?1 AND packed",
                    [brew.0],
                )
                .map_err(&failed)?;
        }
        if let Some((brew, progress)) = &mut progress {
            events::insert(&transaction, *brew, progress, &batch.events).map_err(&failed)?;
            if let Some(checkpoint) = &batch.checkpoint {
                checkpoints::keep(&transaction, *brew, progress, checkpoint).map_err(&failed)?;
            }
        } else {
            events::insert_idle(&transaction, batch.tun, &batch.events).map_err(&failed)?;
        }
        if let Some(mark) = &batch.mark {
            checkpoints::mark(&transaction, batch.tun, mark).map_err(&failed)?;
        }
        insert(&transaction, &self.parameters, batch, &mut progress).map_err(&failed)?;
        let messages = outbox::insert(&transaction, batch.tun, &batch.messages).map_err(&failed)?;
        for waiting in &mut waiting {
            let bound = self.parameters.outbox_rows;
            waiting.thin(&transaction, bound).map_err(&failed)?;
        }
        transaction.commit().map_err(&failed)?;
        if let Some((brew, progress)) = progress {
            self.progress.insert(brew, progress);
        }
        self.may_have_unpacked |= taken_up.is_some();
        self.note_waiting(waiting);
        Ok(Receipt { messages })
    }

    fn progress_of(&mut self, brew: BrewId) -> Result<Progress, StoreError> {
        if let Some(known) = self.progress.get(&brew) {
            return Ok(known.clone());
        }
        let instruments = self.brew(brew)?.header.instruments;
        let failed = self.failed("finding where a brew stands");
        let next = |kind: Kind| {
            let table = kind.table();
            let query = format!("SELECT coalesce(max(seq) + 1, 0) FROM {table} WHERE brew_id = ?1");
            let live: i64 = self
                .connection
                .query_row(&query, [brew.0], |row| row.get(0))
                .map_err(&failed)?;
            let packed = self.last_packed(brew, kind)?;
            Ok(live.max(packed.map_or(0, |(last, _)| last + 1)))
        };
        let live = |query| self.connection.query_row(query, [brew.0], |row| row.get(0));
        Ok(Progress {
            next_event: next(Kind::Events)?,
            next_conditioned: next(Kind::Conditioned)?,
            live: [
                live("SELECT count(*) FROM event WHERE brew_id = ?1 AND kind <> 2")
                    .map_err(&failed)?,
                live("SELECT count(*) FROM conditioned WHERE brew_id = ?1").map_err(&failed)?,
            ],
            last_runoff: None,
            instruments: instruments.into_iter().map(|i| i.id).collect(),
        })
    }

    /// The outputs of some kind of a brew with their moments, in the order they were put out.
    fn outputs<T: DeserializeOwned>(
        &self,
        brew: BrewId,
        kind: OutputKind,
    ) -> Result<Vec<(Moment, T)>, StoreError> {
        let query = "SELECT at_us, body FROM output WHERE brew_id = ?1 AND kind = ?2 ORDER BY id";
        self.select_outputs(query, params![brew.0, kind.name()])
    }

    fn select_outputs<T: DeserializeOwned>(
        &self,
        query: &str,
        keys: &[&dyn rusqlite::ToSql],
    ) -> Result<Vec<(Moment, T)>, StoreError> {
        let failed = self.failed("reading the record");
        let mut statement = self.connection.prepare_cached(query).map_err(&failed)?;
        let rows = statement
            .query_map(keys, |row| {
                Ok((Moment(row.get(0)?), row.get::<_, String>(1)?))
            })
            .and_then(Iterator::collect::<rusqlite::Result<Vec<_>>>)
            .map_err(&failed)?;
        self.decoded(rows)
    }

    fn decoded<T: DeserializeOwned>(
        &self,
        rows: Vec<(Moment, String)>,
    ) -> Result<Vec<(Moment, T)>, StoreError> {
        rows.into_iter()
            .map(|(at, body)| {
                let what = || format!("the line at {} µs", at.0);
                Ok((at, from_json(&self.path, what, &body)?))
            })
            .collect()
    }

    /// The brewer's table.
    pub fn table(&self, brew: BrewId) -> Result<Vec<TableLine>, StoreError> {
        self.undated(brew, OutputKind::Table)
    }

    pub fn projections(&self, brew: BrewId) -> Result<Vec<ProjectionLine>, StoreError> {
        self.undated(brew, OutputKind::Projection)
    }

    /// Every change of an alarm's state during the brew, in order.
    pub fn alarms(&self, brew: BrewId) -> Result<Vec<AlarmLine>, StoreError> {
        self.undated(brew, OutputKind::Alarm)
    }

    /// The same with their moments, which join them with what operators did.
    pub fn dated_alarms(&self, brew: BrewId) -> Result<Vec<(Moment, AlarmLine)>, StoreError> {
        self.outputs(brew, OutputKind::Alarm)
    }

    /// Every change of an alarm's state of a tun while no brew ran, in order.
    pub fn idle_alarms(&self, tun: TunId) -> Result<Vec<(Moment, AlarmLine)>, StoreError> {
        self.select_outputs(
            "SELECT at_us, body FROM output \
             WHERE tun_id = ?1 AND brew_id IS NULL AND kind = 'alarm' ORDER BY id",
            params![tun.0],
        )
    }

    /// The latest line of every alarm of a tun, beside those of `except`. Replayed brews do not count: their axis of
    /// time is not the service's.
    pub fn latest_alarms(
        &self,
        tun: TunId,
        except: Option<BrewId>,
    ) -> Result<Vec<(Moment, AlarmLine)>, StoreError> {
        let failed = self.failed("reading the record");
        // With max(), SQLite takes the other columns from the same row.
        let mut statement = self
            .connection
            .prepare_cached(
                "SELECT at_us, body, max(id) FROM output WHERE tun_id = ?1 AND kind = 'alarm' AND json_valid(body) \
                 AND (brew_id IS NULL OR (brew_id IS NOT ?2 AND brew_id IN \
                 (SELECT id FROM brew WHERE abs(started_us - started_at_us) < 86400000000))) \
                 GROUP BY json_extract(body, '$.alarm'), json_extract(body, '$.instrument') ORDER BY max(id)",
            )
            .map_err(&failed)?;
        let rows = statement
            .query_map(params![tun.0, except.map(|brew| brew.0)], |row| {
                Ok((Moment(row.get(0)?), row.get::<_, String>(1)?))
            })
            .and_then(Iterator::collect::<rusqlite::Result<Vec<_>>>)
            .map_err(&failed)?;
        let readable = |(at, body): (Moment, String)| {
            let line = from_json(&self.path, || "an alarm's line".to_owned(), &body);
            match line {
                Ok(line) => Some((at, line)),
                Err(error) => {
                    tracing::error!("an alarm is not taken up: {error}");
                    None
                }
            }
        };
        Ok(rows.into_iter().filter_map(readable).collect())
    }

    /// What happened during the brew, in words.
    pub fn occurrences(
        &self,
        brew: BrewId,
    ) -> Result<Vec<(Moment, lauter_core::supervisor::Occurrence)>, StoreError> {
        self.outputs(brew, OutputKind::Occurrence)
    }

    /// The run-off states, thinned to one every `StoreParameters::runoff_every`.
    pub fn runoff_states(&self, brew: BrewId) -> Result<Vec<(Moment, RunoffState)>, StoreError> {
        self.outputs(brew, OutputKind::Runoff)
    }

    /// Projection, alarm, table and summary lines as they were put out, with their moments.
    pub fn lines(&self, brew: BrewId) -> Result<Vec<(Moment, Line)>, StoreError> {
        self.select_outputs(
            "SELECT at_us, body FROM output WHERE brew_id = ?1 \
             AND kind IN ('projection', 'alarm', 'table', 'summary') ORDER BY id",
            params![brew.0],
        )
    }

    fn undated<T: DeserializeOwned>(
        &self,
        brew: BrewId,
        kind: OutputKind,
    ) -> Result<Vec<T>, StoreError> {
        // A line's body bears its kind, which the struct of that kind does not ask for.
        let lines = self.outputs(brew, kind)?;
        Ok(lines.into_iter().map(|(_, line)| line).collect())
    }
}

fn insert(
    connection: &Connection,
    parameters: &StoreParameters,
    batch: &Batch,
    progress: &mut Option<(BrewId, Progress)>,
) -> rusqlite::Result<()> {
    for Dated { at, output } in &batch.outputs {
        match output {
            Output::Reading(reading) => {
                if let Some((brew, progress)) = progress {
                    readings::insert(connection, *brew, progress, *at, reading)?;
                }
            }
            Output::Runoff(state) => {
                if let Some((_, progress)) = progress
                    && progress.runoff_is_due(*at, parameters)
                {
                    insert_line(connection, batch, *at, OutputKind::Runoff, &to_json(state))?;
                }
            }
            Output::Occurrence(occurrence) => {
                let body = to_json(occurrence);
                insert_line(connection, batch, *at, OutputKind::Occurrence, &body)?;
            }
            // A lesson is kept in the tun's profile; an alarm that stands has changed nothing.
            Output::Lesson(_) | Output::Renewed(_) => {}
            Output::Line(line) => {
                insert_line(connection, batch, *at, kind_of(line), &to_json(line))?;
            }
        }
    }
    Ok(())
}

fn kind_of(line: &Line) -> OutputKind {
    match line {
        Line::Projection(_) => OutputKind::Projection,
        Line::Alarm(_) => OutputKind::Alarm,
        Line::Table(_) => OutputKind::Table,
        Line::Summary(_) => OutputKind::Summary,
    }
}

fn insert_line(
    connection: &Connection,
    batch: &Batch,
    at: Moment,
    kind: OutputKind,
    body: &str,
) -> rusqlite::Result<()> {
    let mut statement = connection.prepare_cached(
        "INSERT INTO output (tun_id, brew_id, at_us, kind, body) VALUES (?1, ?2, ?3, ?4, ?5)",
    )?;
    let brew = batch.brew.map(|brew| brew.0);
    statement.execute(params![batch.tun.0, brew, at.0, kind.name(), body])?;
    Ok(())
}

impl Progress {
    fn runoff_is_due(&mut self, at: Moment, parameters: &StoreParameters) -> bool {
        let due = self
            .last_runoff
            .is_none_or(|last| at.since(last) >= parameters.runoff_every.as_secs_f64());
        if due {
            self.last_runoff = Some(at);
        }
        due
    }
}
