//! Conditioned readings: what the supervisor made of each instrument, as columns.
//!
//! They serve curves and comparisons; a replay computes them anew from the raw readings in `events`.

use lauter_core::reading::{Cause, Moment, Status};
use lauter_core::supervisor::{ConditionedReading, Dated, Output};
use lauter_core::units::Unit;
use rusqlite::{Connection, Row, params};

use super::blocks::{Kind, Meanings, OnDamage};
use super::database::Progress;
use super::encoding::{from_name, name_of, status_column, status_from_column, unreadable};
use super::packed::{self, Block};
use super::{BrewId, Database, StoreError};

/// A conditioned reading of the record.
#[derive(Clone, Debug, PartialEq)]
pub struct RecordedReading {
    pub at: Moment,
    pub reading: ConditionedReading,
}

impl Database {
    /// The columns hold an instrument's index, so each must be in the brew's header.
    pub(super) fn check_instruments(
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
        let _one = self.one_moment()?;
        // Rows always come after blocks.
        let mut readings = self.packed_readings(brew, &instruments)?;
        let mut statement = self
            .connection
            .prepare_cached(
                "SELECT at_us, instrument, unit, value, standard_error, rate_per_min, status, cause, raw \
                 FROM conditioned WHERE brew_id = ?1 ORDER BY seq",
            )
            .map_err(&failed)?;
        let mut rows = statement.query([brew.0]).map_err(&failed)?;
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

    fn packed_readings(
        &self,
        brew: BrewId,
        instruments: &[String],
    ) -> Result<Vec<RecordedReading>, StoreError> {
        let mut readings = Vec::new();
        let which = (brew, Kind::Conditioned, 0);
        self.each_block(which, OnDamage::GoWithout, |block| {
            let words = Words {
                units: Meanings::of(&block.names),
                statuses: Meanings::of(&block.names),
                causes: Meanings::of(&block.names),
            };
            let read = readings.len();
            for row in &block.rows {
                let reading =
                    unpack(row, instruments, &words).inspect_err(|_| readings.truncate(read))?;
                let at = Moment(row.at_us);
                readings.push(RecordedReading { at, reading });
            }
            Ok(())
        })?;
        Ok(readings)
    }
}

/// A block's words as what they may be.
struct Words {
    units: Meanings<Unit>,
    statuses: Meanings<Status>,
    causes: Meanings<Cause>,
}

fn unpack(
    row: &packed::Row,
    instruments: &[String],
    words: &Words,
) -> Result<ConditionedReading, String> {
    let [value, standard_error, rate_per_min, raw] = row.numbers;
    Ok(ConditionedReading {
        instrument: name_of_index(instruments, row.instrument)?,
        value,
        unit: words.units.get(row.unit)?.ok_or("a reading has no unit")?,
        standard_error,
        rate_per_min,
        status: words.statuses.get(row.status)?.unwrap_or_default(),
        cause: words.causes.get(row.cause)?,
        raw,
        measured: None,
        corrected: None,
        correction: None,
    })
}

/// The first conditioned readings in rows; None where a row has no place in a block.
pub(super) fn live_rows(
    connection: &Connection,
    brew: BrewId,
    limit: i64,
) -> rusqlite::Result<Option<Block>> {
    let mut statement = connection.prepare_cached(
        "SELECT seq, at_us, instrument, unit, value, standard_error, rate_per_min, raw, status, cause \
         FROM conditioned WHERE brew_id = ?1 ORDER BY seq LIMIT ?2",
    )?;
    let mut rows = statement.query([brew.0, limit])?;
    let mut block = Block::default();
    while let Some(row) = rows.next()? {
        let instrument: i64 = row.get(2)?;
        let unit = block.names.code(row.get_ref(3)?.as_str_or_null()?);
        let status = block.names.code(row.get_ref(8)?.as_str_or_null()?);
        let cause = block.names.code(row.get_ref(9)?.as_str_or_null()?);
        let (0.., Some(unit), Some(status), Some(cause)) = (instrument, unit, status, cause) else {
            return Ok(None);
        };
        block.rows.push(packed::Row {
            seq: row.get(0)?,
            at_us: row.get(1)?,
            instrument,
            status,
            cause,
            unit,
            age_us: 0,
            numbers: [row.get(4)?, row.get(5)?, row.get(6)?, row.get(7)?],
        });
    }
    Ok(Some(block))
}

fn name_of_index(instruments: &[String], index: i64) -> Result<String, String> {
    usize::try_from(index)
        .ok()
        .and_then(|index| instruments.get(index))
        .cloned()
        .ok_or_else(|| format!("the brew has no instrument {index}"))
}

pub(super) fn insert(
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
    progress.live[Kind::Conditioned.place()] += 1;
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
        Ok(ConditionedReading {
            instrument: name_of_index(instruments, instrument)?,
            value,
            unit: from_name(&unit)?,
            standard_error,
            rate_per_min,
            status: status_from_column(status.as_deref())?,
            cause: cause.as_deref().map(from_name).transpose()?,
            raw,
            // A replay of the events gives them again.
            measured: None,
            corrected: None,
            correction: None,
        })
    };
    Ok(decoded())
}

impl Progress {
    fn index_of(&self, instrument: &str) -> Option<usize> {
        self.instruments.iter().position(|id| id == instrument)
    }
}
