//! The supervisor's input, recorded so that it can be given again.
//!
//! Owns the compact form: a reading is columns, a tick is nothing but its time, any other event is JSON.
//! `events` gives back exactly what was appended, bit for bit and in order; a value that is not finite comes
//! back as its cause, since the record has no number for it.

use lauter_core::reading::{Cause, Moment, Reading};
use lauter_core::supervisor::{Event, Sample};
use rusqlite::{CachedStatement, Connection, Row, params};

use super::database::Progress;
use super::encoding::{
    from_json, from_name, name_of, status_column, status_from_column, to_json, unreadable,
};
use super::{BrewId, Database, StoreError, TunId};

/// An event with the moment it was given to the supervisor.
#[derive(Clone, Debug, PartialEq)]
pub struct DatedEvent {
    pub at: Moment,
    pub event: Event,
}

/// A hand sample, and since when it counts no more.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RecordedSample {
    pub at: Moment,
    pub sample: Sample,
    pub withdrawn: Option<Moment>,
}

const READING: i64 = 0;
const TICK: i64 = 1;
const OTHER: i64 = 2;

pub(super) fn insert(
    connection: &Connection,
    brew: BrewId,
    progress: &mut Progress,
    events: &[DatedEvent],
) -> rusqlite::Result<()> {
    let mut statement = connection.prepare_cached(
        "INSERT INTO event (brew_id, seq, at_us, kind, instrument, value, status, cause, age_us, body) \
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)",
    )?;
    for dated in events {
        insert_one(&mut statement, brew, progress.next_event, dated)?;
        progress.next_event += 1;
    }
    Ok(())
}

fn insert_one(
    statement: &mut CachedStatement<'_>,
    brew: BrewId,
    seq: i64,
    dated: &DatedEvent,
) -> rusqlite::Result<usize> {
    let at = dated.at.0;
    let none = None::<&str>;
    match &dated.event {
        Event::Reading {
            instrument,
            reading,
        } => {
            let value = reading
                .value
                .and_then(|value| value.is_finite().then_some(value).ok_or(Cause::NotFinite));
            let age = at.wrapping_sub(reading.at.0);
            statement.execute(params![
                brew.0,
                seq,
                at,
                READING,
                instrument.cast_signed(),
                value.ok(),
                status_column(reading.status),
                value.err().map(|cause| name_of(&cause)),
                (age != 0).then_some(age),
                none,
            ])
        }
        Event::Tick => statement.execute(params![
            brew.0, seq, at, TICK, none, none, none, none, none, none
        ]),
        other => statement.execute(params![
            brew.0,
            seq,
            at,
            OTHER,
            none,
            none,
            none,
            none,
            none,
            to_json(other)
        ]),
    }
}

/// Between brews only what a person or a link did is kept.
pub(super) fn insert_idle(
    connection: &Connection,
    tun: TunId,
    events: &[DatedEvent],
) -> rusqlite::Result<()> {
    let mut statement = connection
        .prepare_cached("INSERT INTO idle_event (tun_id, at_us, body) VALUES (?1, ?2, ?3)")?;
    for dated in events {
        if !matches!(dated.event, Event::Reading { .. } | Event::Tick) {
            statement.execute(params![tun.0, dated.at.0, to_json(&dated.event)])?;
        }
    }
    Ok(())
}

impl Database {
    /// Everything the supervisor was given during a brew, in order.
    pub fn events(&self, brew: BrewId) -> Result<Vec<DatedEvent>, StoreError> {
        self.events_from(brew, 0)
    }

    /// The same without the first `from` of them.
    pub(super) fn events_from(
        &self,
        brew: BrewId,
        from: i64,
    ) -> Result<Vec<DatedEvent>, StoreError> {
        self.select_events(
            "SELECT at_us, kind, instrument, value, status, cause, age_us, body FROM event \
             WHERE brew_id = ?1 AND seq >= ?2 ORDER BY seq",
            &[&brew.0, &from],
        )
    }

    /// The readings as they came, in order: those of `events` that are readings.
    pub fn raw_readings(&self, brew: BrewId) -> Result<Vec<DatedEvent>, StoreError> {
        self.select_events(
            "SELECT at_us, kind, instrument, value, status, cause, age_us, body FROM event \
             WHERE brew_id = ?1 AND kind = 0 ORDER BY seq",
            &[&brew.0],
        )
    }

    /// What RUN.csv is made of: the readings as they came, and the end of the brew if it has ended.
    pub fn recording(&self, brew: BrewId) -> Result<Vec<DatedEvent>, StoreError> {
        let mut events = self.raw_readings(brew)?;
        let others = self.other_events(brew)?.into_iter();
        events.extend(others.filter(|dated| matches!(dated.event, Event::BrewEnded)));
        Ok(events)
    }

    /// Hand samples, operators' actions, links: those of `events` that are neither readings nor ticks.
    pub fn other_events(&self, brew: BrewId) -> Result<Vec<DatedEvent>, StoreError> {
        self.select_events(
            "SELECT at_us, kind, instrument, value, status, cause, age_us, body FROM event \
             WHERE brew_id = ?1 AND kind = 2 ORDER BY seq",
            &[&brew.0],
        )
    }

    /// The hand samples of a brew that stand, with their moments, in order.
    pub fn samples(&self, brew: BrewId) -> Result<Vec<(Moment, Sample)>, StoreError> {
        let samples = self.recorded_samples(brew)?.into_iter();
        Ok(samples
            .filter(|recorded| recorded.withdrawn.is_none())
            .map(|recorded| (recorded.at, recorded.sample))
            .collect())
    }

    /// All hand samples of a brew in order, the withdrawn ones among them: their numbers are their places.
    pub fn recorded_samples(&self, brew: BrewId) -> Result<Vec<RecordedSample>, StoreError> {
        let mut samples: Vec<RecordedSample> = Vec::new();
        for dated in self.other_events(brew)? {
            match dated.event {
                Event::Sample(sample) => samples.push(RecordedSample {
                    at: dated.at,
                    sample,
                    withdrawn: None,
                }),
                Event::SampleWithdrawn { number } => {
                    if let Some(recorded) = samples.get_mut(number) {
                        recorded.withdrawn.get_or_insert(dated.at);
                    }
                }
                _ => {}
            }
        }
        Ok(samples)
    }

    /// What happened to a tun between its brews since `from`, in order.
    pub fn idle_events(&self, tun: TunId, from: Moment) -> Result<Vec<DatedEvent>, StoreError> {
        let failed = self.failed("reading events");
        let mut statement = self
            .connection
            .prepare_cached(
                "SELECT at_us, body FROM idle_event WHERE tun_id = ?1 AND at_us >= ?2 ORDER BY id",
            )
            .map_err(&failed)?;
        let rows = statement
            .query_map(params![tun.0, from.0], |row| {
                Ok((Moment(row.get(0)?), row.get::<_, String>(1)?))
            })
            .and_then(Iterator::collect::<rusqlite::Result<Vec<_>>>)
            .map_err(&failed)?;
        rows.into_iter()
            .map(|(at, body)| {
                let event = from_json(&self.path, || format!("the event at {}", at.0), &body)?;
                Ok(DatedEvent { at, event })
            })
            .collect()
    }

    fn select_events(
        &self,
        query: &str,
        keys: &[&dyn rusqlite::ToSql],
    ) -> Result<Vec<DatedEvent>, StoreError> {
        let failed = self.failed("reading events");
        let mut statement = self.connection.prepare_cached(query).map_err(&failed)?;
        let mut rows = statement.query(keys).map_err(&failed)?;
        let mut events = Vec::new();
        while let Some(row) = rows.next().map_err(&failed)? {
            let at = Moment(row.get(0).map_err(&failed)?);
            let event = decode(row).map_err(&failed)?.map_err(|detail| {
                unreadable(&self.path, format!("the event at {} µs", at.0), detail)
            })?;
            events.push(DatedEvent { at, event });
        }
        Ok(events)
    }
}

/// The outer error is SQLite's, the inner one says what is wrong with the row.
fn decode(row: &Row<'_>) -> rusqlite::Result<Result<Event, String>> {
    match row.get::<_, i64>(1)? {
        READING => decode_reading(row),
        TICK => Ok(Ok(Event::Tick)),
        _ => {
            let body: String = row.get(7)?;
            Ok(serde_json::from_str(&body).map_err(|error| error.to_string()))
        }
    }
}

fn decode_reading(row: &Row<'_>) -> rusqlite::Result<Result<Event, String>> {
    let at: i64 = row.get(0)?;
    let instrument: i64 = row.get(2)?;
    let value: Option<f64> = row.get(3)?;
    let status: Option<String> = row.get(4)?;
    let cause: Option<String> = row.get(5)?;
    let age: Option<i64> = row.get(6)?;
    let decoded = || {
        let value = match (value, cause) {
            (Some(value), _) => Ok(value),
            (None, Some(cause)) => Err(from_name(&cause)?),
            (None, None) => return Err("it has neither a value nor a cause".to_owned()),
        };
        Ok(Event::Reading {
            instrument: usize::try_from(instrument).map_err(|error| error.to_string())?,
            reading: Reading {
                value,
                status: status_from_column(status.as_deref())?,
                at: Moment(at.wrapping_sub(age.unwrap_or(0))),
            },
        })
    };
    Ok(decoded())
}
