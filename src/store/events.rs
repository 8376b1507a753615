//! The supervisor's input, recorded so that it can be given again.
//!
//! Owns the form in rows: a reading is columns, a tick is nothing but its time, any other event is JSON. Readings and ticks
//! move into blocks later; both forms are read here, and nobody else sees which it was.
//! `events` gives back exactly what was appended, bit for bit and in order; a value that is not finite comes
//! back as its cause, since the record has no number for it.

use lauter_core::reading::{Cause, Moment, Reading, Status};
use lauter_core::supervisor::{Event, Sample};
use rusqlite::{CachedStatement, Connection, Row, params};

use super::blocks::{Kind, Meanings, OnDamage};
use super::database::Progress;
use super::encoding::{
    from_json, from_name, name_of, status_column, status_from_column, to_json, unreadable,
};
use super::packed::{self, Block};
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
        if matches!(dated.event, Event::Reading { .. } | Event::Tick) {
            progress.live[Kind::Events.place()] += 1;
        }
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
        let _one = self.one_moment()?;
        let packed = self.packed_events(brew, from, OnDamage::Fail)?;
        let rows = self.select_events(brew, "seq >= ?2", from)?;
        Ok(in_order(packed, rows))
    }

    /// The readings as they came, in order: those of `events` that are readings.
    pub fn raw_readings(&self, brew: BrewId) -> Result<Vec<DatedEvent>, StoreError> {
        let _one = self.one_moment()?;
        let mut packed = self.packed_events(brew, 0, OnDamage::GoWithout)?;
        packed.retain(|(_, dated)| matches!(dated.event, Event::Reading { .. }));
        let rows = self.select_events(brew, "kind = ?2", READING)?;
        Ok(in_order(packed, rows))
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
        // With the number in the query, SQLite finds them by their own index.
        let rows = self.select_events(brew, "kind = 2 AND seq >= ?2", 0)?;
        Ok(in_order(Vec::new(), rows))
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

    /// The readings and ticks in blocks, from the number `from` on, with their numbers.
    fn packed_events(
        &self,
        brew: BrewId,
        from: i64,
        on_damage: OnDamage,
    ) -> Result<Vec<Numbered>, StoreError> {
        let mut events = Vec::new();
        self.each_block((brew, Kind::Events, from), on_damage, |block| {
            let statuses = Meanings::of(&block.names);
            let causes = Meanings::of(&block.names);
            let read = events.len();
            for row in block.rows.iter().filter(|row| row.seq >= from) {
                let event =
                    unpack(row, &statuses, &causes).inspect_err(|_| events.truncate(read))?;
                let at = Moment(row.at_us);
                events.push((row.seq, DatedEvent { at, event }));
            }
            Ok(())
        })?;
        Ok(events)
    }

    /// The events in rows that meet a condition with `key` in it, with their numbers.
    fn select_events(
        &self,
        brew: BrewId,
        condition: &str,
        key: i64,
    ) -> Result<Vec<Numbered>, StoreError> {
        let failed = self.failed("reading events");
        let mut statement = self
            .connection
            .prepare_cached(&format!(
                "SELECT at_us, kind, instrument, value, status, cause, age_us, body, seq FROM event \
                 WHERE brew_id = ?1 AND {condition} ORDER BY seq"
            ))
            .map_err(&failed)?;
        let mut rows = statement.query([brew.0, key]).map_err(&failed)?;
        let mut events = Vec::new();
        while let Some(row) = rows.next().map_err(&failed)? {
            let at = Moment(row.get(0).map_err(&failed)?);
            let event = decode(row).map_err(&failed)?.map_err(|detail| {
                unreadable(&self.path, format!("the event at {} µs", at.0), detail)
            })?;
            let seq = row.get(8).map_err(&failed)?;
            events.push((seq, DatedEvent { at, event }));
        }
        Ok(events)
    }
}

/// An event with its number among the brew's.
type Numbered = (i64, DatedEvent);

fn in_order(mut packed: Vec<Numbered>, rows: Vec<Numbered>) -> Vec<DatedEvent> {
    // Only events of other kinds stay rows between those in blocks.
    packed.extend(rows);
    packed.sort_by_key(|(seq, _)| *seq);
    packed.into_iter().map(|(_, dated)| dated).collect()
}

/// The first readings and ticks in rows; None where a row has no place in a block.
pub(super) fn live_rows(
    connection: &Connection,
    brew: BrewId,
    limit: i64,
) -> rusqlite::Result<Option<Block>> {
    let mut statement = connection.prepare_cached(
        "SELECT seq, at_us, kind, instrument, value, status, cause, age_us FROM event \
         WHERE brew_id = ?1 AND kind <> 2 ORDER BY seq LIMIT ?2",
    )?;
    let mut rows = statement.query([brew.0, limit])?;
    let mut block = Block::default();
    while let Some(row) = rows.next()? {
        let instrument = match row.get(2)? {
            TICK => Some(packed::TICK),
            _ => row.get::<_, Option<i64>>(3)?.filter(|index| *index >= 0),
        };
        let status = block.names.code(row.get_ref(5)?.as_str_or_null()?);
        let cause = block.names.code(row.get_ref(6)?.as_str_or_null()?);
        let (Some(instrument), Some(status), Some(cause)) = (instrument, status, cause) else {
            return Ok(None);
        };
        block.rows.push(packed::Row {
            seq: row.get(0)?,
            at_us: row.get(1)?,
            instrument,
            status,
            cause,
            unit: 0,
            age_us: row.get::<_, Option<i64>>(7)?.unwrap_or(0),
            numbers: [row.get(4)?, None, None, None],
        });
    }
    Ok(Some(block))
}

fn unpack(
    row: &packed::Row,
    statuses: &Meanings<Status>,
    causes: &Meanings<Cause>,
) -> Result<Event, String> {
    if row.instrument == packed::TICK {
        return Ok(Event::Tick);
    }
    let value = match (row.numbers[0], causes.get(row.cause)?) {
        (Some(value), _) => Ok(value),
        (None, Some(cause)) => Err(cause),
        (None, None) => return Err("a reading has neither a value nor a cause".to_owned()),
    };
    Ok(Event::Reading {
        instrument: usize::try_from(row.instrument).map_err(|error| error.to_string())?,
        reading: Reading {
            value,
            status: statuses.get(row.status)?.unwrap_or_default(),
            at: Moment(row.at_us.wrapping_sub(row.age_us)),
        },
    })
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
