//! Tun profiles: what earlier brews taught, one version for each lesson.
//!
//! The body is JSON that only the profile's owner understands. Earlier versions stay, so that a lesson can be
//! taken back.

use jiff::Timestamp;
use rusqlite::{OptionalExtension, Row, params};

use super::brews::wall;
use super::{Database, StoreError, TunId};

/// One version of a tun's profile.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StoredProfile {
    /// 1 is the first; each lesson adds one.
    pub version: u64,
    pub saved: Timestamp,
    /// Id (`plan.brew`) of the brew this version learnt from; None for one set by hand.
    pub brew: Option<String>,
    pub body: String,
}

const PROFILE_COLUMNS: &str = "SELECT version, saved_us, brew, body FROM profile WHERE tun_id = ?1";

impl Database {
    /// The newest version of a tun's profile, if it has learnt anything yet.
    pub fn profile(&self, tun: TunId) -> Result<Option<StoredProfile>, StoreError> {
        self.connection
            .prepare_cached(&format!("{PROFILE_COLUMNS} ORDER BY version DESC LIMIT 1"))
            .and_then(|mut statement| statement.query_row([tun.0], read).optional())
            .map_err(self.failed("reading a tun profile"))
    }

    /// Every version, the newest first.
    pub fn profile_history(&self, tun: TunId) -> Result<Vec<StoredProfile>, StoreError> {
        self.connection
            .prepare_cached(&format!("{PROFILE_COLUMNS} ORDER BY version DESC"))
            .and_then(|mut statement| statement.query_map([tun.0], read)?.collect())
            .map_err(self.failed("reading a tun profile"))
    }

    /// Adds a version and says which.
    pub fn save_profile(
        &mut self,
        tun: TunId,
        saved: Timestamp,
        brew: Option<&str>,
        body: &str,
    ) -> Result<u64, StoreError> {
        let failed = self.failed("saving a tun profile");
        let transaction = self.connection.transaction().map_err(&failed)?;
        let version: i64 = transaction
            .query_row(
                "SELECT coalesce(max(version), 0) + 1 FROM profile WHERE tun_id = ?1",
                [tun.0],
                |row| row.get(0),
            )
            .map_err(&failed)?;
        transaction
            .execute(
                "INSERT INTO profile (tun_id, version, saved_us, brew, body) \
                 VALUES (?1, ?2, ?3, ?4, ?5)",
                params![tun.0, version, saved.as_microsecond(), brew, body],
            )
            .map_err(&failed)?;
        transaction.commit().map_err(&failed)?;
        Ok(version as u64)
    }
}

fn read(row: &Row<'_>) -> rusqlite::Result<StoredProfile> {
    Ok(StoredProfile {
        version: row.get::<_, i64>(0)? as u64,
        saved: wall(row.get(1)?),
        brew: row.get(2)?,
        body: row.get(3)?,
    })
}
