//! What the record tells about the alarms of a tun: their performance, and who did what and why.
//!
//! Owns the joining of the recorded changes with the recorded actions, on one axis of wall-clock time.

use jiff::{SignedDuration, Timestamp};
use lauter_core::alarm::{
    AlarmId, AlarmState, Benchmark, Change, OperatorAction, Performance, Watch, performance,
};
use lauter_core::reading::Moment;
use lauter_core::supervisor::{AlarmLine, BURST_PLACE, Event};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::Time;
use crate::store::{Brew, Database, DatedEvent, StoreError, TunId};

/// Days of the record that report and trail look back when nobody says how many (own choice: ISA-18.2 asks for at
/// least 30 days of data; from memory).
pub const ALARM_DAYS: f64 = 30.0;

/// Which part of the record is asked for.
#[derive(Clone, Debug, PartialEq)]
pub struct Asked {
    /// One brew alone; otherwise the brews, and what came between them, of the last `days`.
    pub brew: Option<String>,
    pub days: f64,
    pub now: Timestamp,
}

/// The alarms' figures beside their benchmarks.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct AlarmReport {
    #[schemars(with = "Time")]
    pub since: Timestamp,
    /// The brews that were watched, newest first.
    pub brews: Vec<String>,
    pub performance: Performance,
    pub benchmarks: Vec<Benchmark>,
}

/// One change of an alarm's state: when, what, by whom, why.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct TrailEntry {
    #[schemars(with = "Time")]
    pub time: Timestamp,
    /// Null between brews.
    pub brew: Option<String>,
    pub alarm: AlarmId,
    pub instrument: Option<String>,
    pub from: AlarmState,
    pub to: AlarmState,
    /// Null where it happened by itself.
    pub who: Option<String>,
    /// The reason a person gave.
    pub why: Option<String>,
    pub message: String,
}

/// A difference between a brew's axis and the wall clock that no running service has: it was replayed.
const REPLAYED: SignedDuration = SignedDuration::from_hours(24);

/// One brew's alarms in wall-clock time.
struct Chapter {
    /// None for what came between brews.
    brew: Option<String>,
    entries: Vec<TrailEntry>,
    watch: Watch,
}

impl AlarmReport {
    /// None where the brew that was asked for is not in the record.
    pub fn of(database: &Database, tun: TunId, asked: &Asked) -> Result<Option<Self>, StoreError> {
        let Some((chapters, since)) = chapters(database, tun, asked)? else {
            return Ok(None);
        };
        let mut brews = Vec::new();
        let (mut watches, mut between) = (Vec::new(), Vec::new());
        for chapter in chapters {
            match chapter.brew {
                Some(brew) => {
                    brews.push(brew);
                    watches.push(chapter.watch);
                }
                None => between.extend(chapter.watch.changes),
            }
        }
        let performance = performance(&watches, &between, moment(asked.now));
        Ok(Some(Self {
            since,
            brews,
            benchmarks: performance.benchmarks(),
            performance,
        }))
    }
}

/// Every change of an alarm's state, oldest first. None where the brew that was asked for is not in the record.
pub fn trail(
    database: &Database,
    tun: TunId,
    asked: &Asked,
) -> Result<Option<Vec<TrailEntry>>, StoreError> {
    let Some((chapters, _)) = chapters(database, tun, asked)? else {
        return Ok(None);
    };
    let mut entries: Vec<TrailEntry> = chapters
        .into_iter()
        .flat_map(|chapter| chapter.entries)
        .collect();
    entries.sort_by_key(|entry| entry.time);
    Ok(Some(entries))
}

fn moment(time: Timestamp) -> Moment {
    Moment(time.as_microsecond())
}

/// The chapters asked for, and since when.
fn chapters(
    database: &Database,
    tun: TunId,
    asked: &Asked,
) -> Result<Option<(Vec<Chapter>, Timestamp)>, StoreError> {
    if let Some(name) = &asked.brew {
        let Some(brew) = database.find_brew(tun, name)? else {
            return Ok(None);
        };
        let since = brew.header.started;
        return Ok(Some((vec![of_brew(database, brew, asked.now)?], since)));
    }
    let age = SignedDuration::try_from_secs_f64(asked.days * 86_400.0).ok();
    let since = age
        .and_then(|age| asked.now.checked_sub(age).ok())
        .unwrap_or(Timestamp::UNIX_EPOCH);
    let mut chapters = Vec::new();
    for brew in database.brews(tun)? {
        if brew.header.started >= since {
            chapters.push(of_brew(database, brew, asked.now)?);
        }
    }
    let lines = database.idle_alarms(tun)?.into_iter();
    let lines = lines.filter(|(at, _)| *at >= moment(since)).collect();
    let events = database.idle_events(tun, moment(since))?;
    chapters.push(chapter(
        None,
        lines,
        &events,
        (moment(since), moment(asked.now)),
        0,
    ));
    Ok(Some((chapters, since)))
}

fn of_brew(database: &Database, brew: Brew, now: Timestamp) -> Result<Chapter, StoreError> {
    let lines = database.dated_alarms(brew.id)?;
    let events = database.other_events(brew.id)?;
    let header = &brew.header;
    let shift_us = header.started.as_microsecond() - header.started_at.0;
    let to = brew
        .finished
        .as_ref()
        .map_or(now, |finished| finished.ended);
    let span = (moment(header.started), moment(to));
    let name = brew.header.plan.brew;
    Ok(chapter(Some(name), lines, &events, span, shift_us))
}

/// `shift_us` brings the lines' axis to wall-clock time.
fn chapter(
    brew: Option<String>,
    lines: Vec<(Moment, AlarmLine)>,
    events: &[DatedEvent],
    (from, to): (Moment, Moment),
    shift_us: i64,
) -> Chapter {
    let mut entries = Vec::new();
    let mut changes = Vec::new();
    for (at, line) in lines {
        let deed = events.iter().find_map(|dated| deed_of(dated, at, &line));
        let (who, why) = deed.unwrap_or_default();
        let at = Moment(at.0.saturating_add(shift_us));
        changes.push(Change {
            at,
            alarm: line.alarm,
            instrument: line.instrument.clone(),
            from: line.from,
            to: line.to,
            priority: line.priority,
            burst_place: line.evidence.get(BURST_PLACE).map(|place| *place as u32),
        });
        entries.push(TrailEntry {
            time: Timestamp::from_microsecond(at.0).unwrap_or_default(),
            brew: brew.clone(),
            alarm: line.alarm,
            instrument: line.instrument,
            from: line.from,
            to: line.to,
            who,
            why,
            message: line.message,
        });
    }
    let watch = Watch {
        from,
        to,
        changes,
        carries_over: i128::from(shift_us.unsigned_abs()) * 1000 < REPLAYED.as_nanos(),
    };
    Chapter {
        brew,
        entries,
        watch,
    }
}

/// Who made a change and why, if this event did.
fn deed_of(
    dated: &DatedEvent,
    at: Moment,
    line: &AlarmLine,
) -> Option<(Option<String>, Option<String>)> {
    let Event::Operator {
        alarm,
        instrument,
        who,
        action,
    } = &dated.event
    else {
        return None;
    };
    if dated.at != at || *alarm != line.alarm || *instrument != line.instrument {
        return None;
    }
    let why = match action {
        OperatorAction::Shelve { reason, .. } | OperatorAction::OutOfService { reason } => {
            Some(reason.clone())
        }
        OperatorAction::Acknowledge
        | OperatorAction::Unshelve
        | OperatorAction::ReturnToService => None,
    };
    Some((Some(who.clone()), why))
}
