//! Messages that a receiver would not take, alone: kept for people to look at, never sent again.
//!
//! Owns the move out of the outbox and the bound on what is kept. Why a receiver refused is its own word.

use jiff::Timestamp;
use rusqlite::params;

use super::brews::wall;
use super::{Database, Publisher, StoreError, TunId};

/// Messages kept for each tun; older ones are forgotten. Enough to see what is wrong. Own choice.
const KEPT: i64 = 1_000;

/// A message nobody will get.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SetAside {
    pub publisher: Publisher,
    pub topic: String,
    pub payload: String,
    pub reason: String,
    pub created: Timestamp,
    pub set_aside: Timestamp,
}

impl Database {
    /// Takes messages out of the outbox and keeps them aside. An id that is not there any more is no error.
    pub fn set_aside(
        &mut self,
        ids: &[i64],
        reason: &str,
        now: Timestamp,
    ) -> Result<(), StoreError> {
        let failed = self.failed("setting messages aside");
        let transaction = self.connection.transaction().map_err(&failed)?;
        for id in ids {
            transaction
                .execute(
                    "INSERT INTO set_aside \
                     (tun_id, publisher, topic, payload, reason, created_us, set_aside_us) \
                     SELECT tun_id, publisher, topic, payload, ?2, created_us, ?3 FROM outbox WHERE id = ?1",
                    params![id, reason, now.as_microsecond()],
                )
                .map_err(&failed)?;
        }
        transaction
            .execute(
                "DELETE FROM set_aside WHERE id <= (SELECT max(id) FROM set_aside) - ?1",
                [KEPT],
            )
            .map_err(&failed)?;
        transaction.commit().map_err(&failed)?;
        self.acknowledge(ids)
    }

    /// What was set aside of a tun, the latest first.
    pub fn all_set_aside(&self, tun: TunId, limit: usize) -> Result<Vec<SetAside>, StoreError> {
        self.connection
            .prepare_cached(
                "SELECT publisher, topic, payload, reason, created_us, set_aside_us FROM set_aside \
                 WHERE tun_id = ?1 ORDER BY id DESC LIMIT ?2",
            )
            .and_then(|mut statement| {
                statement
                    .query_map(params![tun.0, limit.cast_signed()], |row| {
                        let publisher: String = row.get(0)?;
                        Ok(SetAside {
                            publisher: super::outbox::publisher_of(&publisher),
                            topic: row.get(1)?,
                            payload: row.get(2)?,
                            reason: row.get(3)?,
                            created: wall(row.get(4)?),
                            set_aside: wall(row.get(5)?),
                        })
                    })?
                    .collect()
            })
            .map_err(self.failed("reading what was set aside"))
    }
}
