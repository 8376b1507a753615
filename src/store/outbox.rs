//! Messages that no receiver has acknowledged yet.
//!
//! Owns their order, their removal on acknowledgement, and what is given up when a receiver stays away for too
//! long. Topic and payload mean nothing here.

use std::collections::BTreeMap;

use jiff::Timestamp;
use rusqlite::{Connection, OptionalExtension, Row, params};
use serde_json::json;

use super::brews::wall;
use super::{Database, StoreError, TunId};

/// Who delivers a message.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Publisher {
    Mqtt,
    Influx,
}

impl Publisher {
    /// As in events and messages.
    pub fn name(self) -> &'static str {
        match self {
            Self::Mqtt => "mqtt",
            Self::Influx => "influx",
        }
    }
}

/// How dear a message is: the cheapest are given up first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum MessageClass {
    /// One of many readings.
    Reading,
    /// A state that the next one replaces: run-off, projection.
    State,
    /// An alarm or an event, given up only when nothing else waits.
    Record,
}

impl MessageClass {
    const CHEAPEST_FIRST: [Self; 3] = [Self::Reading, Self::State, Self::Record];

    fn column(self) -> i64 {
        match self {
            Self::Reading => 0,
            Self::State => 1,
            Self::Record => 2,
        }
    }

    fn from_column(column: i64) -> Self {
        match column {
            0 => Self::Reading,
            1 => Self::State,
            _ => Self::Record,
        }
    }
}

/// A message to be kept until it is acknowledged.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NewMessage {
    pub publisher: Publisher,
    pub class: MessageClass,
    /// MQTT topic; a measurement's name for InfluxDB.
    pub topic: String,
    pub payload: String,
    pub retain: bool,
    pub created: Timestamp,
}

/// A message that waits.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Message {
    pub id: i64,
    pub message: NewMessage,
}

/// What a publisher has not delivered.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Backlog {
    pub depth: u64,
    pub oldest: Option<Timestamp>,
}

pub(super) fn insert(
    connection: &Connection,
    tun: TunId,
    messages: &[NewMessage],
) -> rusqlite::Result<Vec<i64>> {
    let mut statement = connection.prepare_cached(
        "INSERT INTO outbox (tun_id, publisher, class, topic, payload, retain, created_us) \
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
    )?;
    messages
        .iter()
        .map(|message| {
            statement.insert(params![
                tun.0,
                message.publisher.name(),
                message.class.column(),
                message.topic,
                message.payload,
                message.retain,
                message.created.as_microsecond(),
            ])
        })
        .collect()
}

impl Database {
    /// The messages of a publisher after the one with id `after` (0 for the first), oldest first.
    pub fn outbox(
        &self,
        tun: TunId,
        publisher: Publisher,
        after: i64,
        limit: usize,
    ) -> Result<Vec<Message>, StoreError> {
        self.connection
            .prepare_cached(NEXT)
            .and_then(|mut statement| {
                statement
                    .query_map(
                        params![tun.0, publisher.name(), after, limit.cast_signed()],
                        |row| read(row, publisher),
                    )?
                    .collect()
            })
            .map_err(self.failed("reading the outbox"))
    }

    /// Removes delivered messages. An id that is no longer there is no error: a repeat may acknowledge it again.
    pub fn acknowledge(&mut self, ids: &[i64]) -> Result<(), StoreError> {
        let removed = self
            .remove(ids)
            .map_err(self.failed("removing delivered messages"))?;
        for (key, count) in removed {
            if let Some(waiting) = self.waiting.get_mut(&key) {
                *waiting = waiting.saturating_sub(count);
            }
        }
        Ok(())
    }

    /// Gives how many went, of whom. One statement for all: it is also one transaction.
    fn remove(&self, ids: &[i64]) -> rusqlite::Result<BTreeMap<(TunId, Publisher), u64>> {
        let mut removed = BTreeMap::new();
        let mut statement = self.connection.prepare_cached(REMOVE)?;
        let mut rows = statement.query([json!(ids).to_string()])?;
        while let Some(row) = rows.next()? {
            let publisher = publisher_of(row.get_ref(1)?.as_str()?);
            *removed.entry((TunId(row.get(0)?), publisher)).or_default() += 1;
        }
        Ok(removed)
    }

    /// How much a publisher has not delivered, and since when.
    pub fn backlog(&mut self, tun: TunId, publisher: Publisher) -> Result<Backlog, StoreError> {
        let depth = self.waiting_of(tun, publisher)?;
        let oldest = self
            .connection
            .prepare_cached(
                "SELECT created_us FROM outbox WHERE tun_id = ?1 AND publisher = ?2 \
                 ORDER BY id LIMIT 1",
            )
            .and_then(|mut statement| {
                statement
                    .query_row(params![tun.0, publisher.name()], |row| row.get(0))
                    .optional()
            })
            .map_err(self.failed("reading the outbox"))?;
        Ok(Backlog {
            depth,
            oldest: oldest.map(wall),
        })
    }

    fn waiting_of(&mut self, tun: TunId, publisher: Publisher) -> Result<u64, StoreError> {
        if let Some(known) = self.waiting.get(&(tun, publisher)) {
            return Ok(*known);
        }
        let counted: i64 = self
            .connection
            .query_row(
                "SELECT count(*) FROM outbox WHERE tun_id = ?1 AND publisher = ?2",
                params![tun.0, publisher.name()],
                |row| row.get(0),
            )
            .map_err(self.failed("counting the outbox"))?;
        let counted = counted as u64;
        self.waiting.insert((tun, publisher), counted);
        Ok(counted)
    }

    /// How many messages of each publisher in `added` wait now.
    pub(super) fn waiting_before(
        &mut self,
        tun: TunId,
        added: &[NewMessage],
    ) -> Result<Vec<Waiting>, StoreError> {
        let mut waiting = Vec::new();
        for publisher in [Publisher::Mqtt, Publisher::Influx] {
            let added = added.iter().filter(|m| m.publisher == publisher).count() as u64;
            if added > 0 {
                waiting.push(Waiting {
                    tun,
                    publisher,
                    depth: self.waiting_of(tun, publisher)? + added,
                    removed: 0,
                });
            }
        }
        Ok(waiting)
    }

    /// To be called after the commit of what `waiting` tells.
    pub(super) fn note_waiting(&mut self, waiting: Vec<Waiting>) {
        for waiting in waiting {
            self.thinned += waiting.removed;
            let depth = waiting.depth.saturating_sub(waiting.removed);
            self.waiting.insert((waiting.tun, waiting.publisher), depth);
        }
    }
}

/// What an append does to a publisher's backlog.
#[derive(Clone, Copy, Debug)]
pub(super) struct Waiting {
    tun: TunId,
    publisher: Publisher,
    /// With the added messages, before any is given up.
    depth: u64,
    removed: u64,
}

impl Waiting {
    /// Gives up the cheapest where more than `bound` wait, some more than needed so that it need not be done
    /// again at once.
    pub(super) fn thin(&mut self, connection: &Connection, bound: u64) -> rusqlite::Result<()> {
        if self.depth <= bound {
            return Ok(());
        }
        let wanted = (self.depth - bound).max(bound / 50);
        for class in MessageClass::CHEAPEST_FIRST {
            for query in [EVERY_OTHER_OF_THE_OLDEST, THE_OLDEST] {
                if self.removed < wanted {
                    let key = params![
                        self.tun.0,
                        self.publisher.name(),
                        class.column(),
                        (wanted - self.removed).cast_signed()
                    ];
                    self.removed += connection.execute(query, key)? as u64;
                }
            }
        }
        Ok(())
    }
}

pub(super) const NEXT: &str = "SELECT id, class, topic, payload, retain, created_us FROM outbox \
     WHERE tun_id = ?1 AND publisher = ?2 AND id > ?3 ORDER BY id LIMIT ?4";

/// The ids as one JSON array: a statement for each would cost more than the removing.
const REMOVE: &str =
    "DELETE FROM outbox WHERE id IN (SELECT value FROM json_each(?1)) RETURNING tun_id, publisher";

/// Leaves a coarser history instead of a hole.
const EVERY_OTHER_OF_THE_OLDEST: &str = "DELETE FROM outbox WHERE id IN (\
     SELECT id FROM (SELECT id, row_number() OVER (ORDER BY id) AS place FROM (\
     SELECT id FROM outbox WHERE tun_id = ?1 AND publisher = ?2 AND class = ?3 \
     ORDER BY id LIMIT 2 * ?4)) WHERE place % 2 = 0)";

const THE_OLDEST: &str = "DELETE FROM outbox WHERE id IN (SELECT id FROM outbox \
     WHERE tun_id = ?1 AND publisher = ?2 AND class = ?3 ORDER BY id LIMIT ?4)";

fn read(row: &Row<'_>, publisher: Publisher) -> rusqlite::Result<Message> {
    Ok(Message {
        id: row.get(0)?,
        message: NewMessage {
            publisher,
            class: MessageClass::from_column(row.get(1)?),
            topic: row.get(2)?,
            payload: row.get(3)?,
            retain: row.get(4)?,
            created: wall(row.get(5)?),
        },
    })
}

pub(super) fn publisher_of(name: &str) -> Publisher {
    if name == Publisher::Influx.name() {
        Publisher::Influx
    } else {
        Publisher::Mqtt
    }
}
