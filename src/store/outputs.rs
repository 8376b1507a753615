//! What the supervisor put out, and the one transaction that takes a batch in.
//!
//! Owns `append`: events, outputs and the messages made of them are on the disk together or not at all, so that
//! an alarm a receiver has seen is never missing from the record.

use lauter_core::reading::Moment;
use lauter_core::supervisor::{
    AlarmLine, ConditionedReading, Dated, Line, Output, ProjectionLine, RunoffState, TableLine,
};
use rusqlite::{Connection, Row, params};
use serde::de::DeserializeOwned;

use super::database::Progress;
use super::encoding::{
    from_json, from_name, name_of, status_column, status_from_column, to_json, unreadable,
};
use super::events::{self, DatedEvent};
use super::outbox::{self, NewMessage};
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
}

impl Batch {
    pub fn new(tun: TunId, brew: Option<BrewId>) -> Self {
        Self {
            tun,
            brew,
            events: Vec::new(),
            outputs: Vec::new(),
            messages: Vec::new(),
        }
    }

    pub fn is_empty(&self) -> bool {
        self.events.is_empty() && self.outputs.is_empty() && self.messages.is_empty()
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
pub enum OutputKind {
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

/// A conditioned reading of the record.
#[derive(Clone, Debug, PartialEq)]
pub struct RecordedReading {
    pub at: Moment,
    pub reading: ConditionedReading,
}

impl Database {
    /// Takes a batch in, in one transaction. When it returns, the batch survives a power cut.
    pub fn append(&mut self, batch: &Batch) -> Result<Receipt, StoreError> {
        let failed = self.failed("recording");
        let mut progress = match batch.brew {
            Some(brew) => Some((brew, self.progress_of(brew)?)),
            None => None,
        };
        if let Some((brew, progress)) = &progress {
            self.check_instruments(*brew, progress, &batch.outputs)?;
        }
        let transaction = self.connection.transaction().map_err(&failed)?;
        if let Some((brew, progress)) = &mut progress {
            events::insert(&transaction, *brew, progress, &batch.events).map_err(&failed)?;
        } else {
            events::insert_idle(&transaction, batch.tun, &batch.events).map_err(&failed)?;
        }
        insert(&transaction, &self.parameters, batch, &mut progress).map_err(&failed)?;
        let messages = outbox::insert(&transaction, batch.tun, &batch.messages).map_err(&failed)?;
        transaction.commit().map_err(&failed)?;
        if let Some((brew, progress)) = progress {
            self.progress.insert(brew, progress);
        }
        self.count_waiting(batch.tun, &batch.messages)?;
        Ok(Receipt { messages })
    }

    fn progress_of(&mut self, brew: BrewId) -> Result<Progress, StoreError> {
        if let Some(known) = self.progress.get(&brew) {
            return Ok(known.clone());
        }
        let instruments = self.brew(brew)?.header.instruments;
        let failed = self.failed("finding where a brew stands");
        let next = |table| {
            let query = format!("SELECT coalesce(max(seq) + 1, 0) FROM {table} WHERE brew_id = ?1");
            self.connection
                .query_row(&query, [brew.0], |row| row.get(0))
        };
        Ok(Progress {
            next_event: next("event").map_err(&failed)?,
            next_conditioned: next("conditioned").map_err(&failed)?,
            last_runoff: None,
            instruments: instruments.into_iter().map(|i| i.id).collect(),
        })
    }

    fn check_instruments(
        &self,
        brew: BrewId,
        progress: &Progress,
        outputs: &[Dated],
    ) -> Result<(), StoreError> {
        for dated in outputs {
            if let Output::Reading(reading) = &dated.output
                && progress.index_of(&reading.instrument).is_none()
            {
                return Err(StoreError::UnknownInstrument {
                    path: self.path.clone(),
                    brew: brew.0,
                    instrument: reading.instrument.clone(),
                });
            }
        }
        Ok(())
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

    /// Every change of an alarm's state of a tun while no brew ran, in order.
    pub fn idle_alarms(&self, tun: TunId) -> Result<Vec<(Moment, AlarmLine)>, StoreError> {
        self.select_outputs(
            "SELECT at_us, body FROM output \
             WHERE tun_id = ?1 AND brew_id IS NULL AND kind = 'alarm' ORDER BY id",
            params![tun.0],
        )
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

    /// The conditioned readings of a brew, in the order they were put out.
    pub fn readings(&self, brew: BrewId) -> Result<Vec<RecordedReading>, StoreError> {
        let instruments: Vec<String> = self
            .brew(brew)?
            .header
            .instruments
            .into_iter()
            .map(|instrument| instrument.id)
            .collect();
        let failed = self.failed("reading conditioned readings");
        let mut statement = self
            .connection
            .prepare_cached(
                "SELECT at_us, instrument, unit, value, standard_error, rate_per_min, status, cause, raw \
                 FROM conditioned WHERE brew_id = ?1 ORDER BY seq",
            )
            .map_err(&failed)?;
        let mut rows = statement.query([brew.0]).map_err(&failed)?;
        let mut readings = Vec::new();
        while let Some(row) = rows.next().map_err(&failed)? {
            let at = Moment(row.get(0).map_err(&failed)?);
            let reading = decode(row, &instruments)
                .map_err(&failed)?
                .map_err(|detail| {
                    unreadable(&self.path, format!("the reading at {} µs", at.0), detail)
                })?;
            readings.push(RecordedReading { at, reading });
        }
        Ok(readings)
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
                    insert_reading(connection, *brew, progress, *at, reading)?;
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

fn insert_reading(
    connection: &Connection,
    brew: BrewId,
    progress: &mut Progress,
    at: Moment,
    reading: &ConditionedReading,
) -> rusqlite::Result<()> {
    let mut statement = connection.prepare_cached(
        "INSERT INTO conditioned (brew_id, seq, at_us, instrument, unit, value, standard_error, \
         rate_per_min, status, cause, raw) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11)",
    )?;
    statement.execute(params![
        brew.0,
        progress.next_conditioned,
        at.0,
        progress
            .index_of(&reading.instrument)
            .map(usize::cast_signed),
        name_of(&reading.unit),
        reading.value,
        reading.standard_error,
        reading.rate_per_min,
        status_column(reading.status),
        reading.cause.map(|cause| name_of(&cause)),
        reading.raw,
    ])?;
    progress.next_conditioned += 1;
    Ok(())
}

/// The outer error is SQLite's, the inner one says what is wrong with the row.
fn decode(
    row: &Row<'_>,
    instruments: &[String],
) -> rusqlite::Result<Result<ConditionedReading, String>> {
    let instrument: i64 = row.get(1)?;
    let unit: String = row.get(2)?;
    let value = row.get(3)?;
    let standard_error = row.get(4)?;
    let rate_per_min = row.get(5)?;
    let status: Option<String> = row.get(6)?;
    let cause: Option<String> = row.get(7)?;
    let raw = row.get(8)?;
    let decoded = || {
        let instrument = usize::try_from(instrument)
            .ok()
            .and_then(|index| instruments.get(index))
            .ok_or_else(|| format!("the brew has no instrument {instrument}"))?;
        Ok(ConditionedReading {
            instrument: instrument.clone(),
            value,
            unit: from_name(&unit)?,
            standard_error,
            rate_per_min,
            status: status_from_column(status.as_deref())?,
            cause: cause.as_deref().map(from_name).transpose()?,
            raw,
        })
    };
    Ok(decoded())
}

impl Progress {
    fn index_of(&self, instrument: &str) -> Option<usize> {
        self.instruments.iter().position(|id| id == instrument)
    }

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
