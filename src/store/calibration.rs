//! Loop checks and corrections of instruments.
//!
//! Both are only ever added to: a check is a document, and a correction is taken back by a new version that has none.
//! Retention leaves them alone.

use jiff::Timestamp;
use lauter_core::calibration::{Correction, LoopCheck, MeasuredPoint, Rule};
use lauter_core::reading::Measures;
use lauter_core::units::Unit;
use rusqlite::{OptionalExtension, Row, params};
use serde::{Deserialize, Serialize};

use super::brews::wall;
use super::encoding::{from_json, to_json};
use super::{Database, StoreError, TunId};

/// A loop check that is to be kept.
#[derive(Clone, Debug, PartialEq)]
pub struct NewCheck {
    pub check: LoopCheck,
    pub due: Option<Timestamp>,
    pub who: String,
    pub note: String,
}

/// A loop check of the record.
#[derive(Clone, Debug, PartialEq)]
pub struct StoredCheck {
    /// As it stands on the certificate.
    pub number: i64,
    pub checked: Timestamp,
    pub due: Option<Timestamp>,
    pub who: String,
    pub note: String,
    pub check: LoopCheck,
}

/// How an instrument's readings are corrected, what they were, and from which points it was found.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct MadeCorrection {
    pub measures: Measures,
    pub unit: Unit,
    pub rule: Rule,
    pub points: Vec<MeasuredPoint>,
}

/// A version of an instrument's correction.
#[derive(Clone, Debug, PartialEq)]
pub struct StoredCorrection {
    pub instrument: String,
    /// 1 is the first; each change adds one.
    pub version: u32,
    pub made: Timestamp,
    pub due: Option<Timestamp>,
    pub who: String,
    /// None: taken back, readings pass as they come.
    pub correction: Option<MadeCorrection>,
}

impl StoredCorrection {
    /// What the supervisor is given, if the instrument still measures the same in the same unit.
    pub fn in_force(&self, measures: Measures, unit: Unit) -> Option<Correction> {
        let made = self.correction.as_ref()?;
        (made.measures == measures && made.unit == unit).then_some(Correction {
            version: self.version,
            rule: made.rule,
        })
    }

    /// It was made for something else than the instrument measures now.
    pub fn is_strange(&self, measures: Measures, unit: Unit) -> bool {
        self.correction.is_some() && self.in_force(measures, unit).is_none()
    }
}

const CHECK_COLUMNS: &str = "SELECT id, checked_us, due_us, who, note, body FROM loop_check";
const CORRECTION_COLUMNS: &str =
    "SELECT instrument, version, made_us, due_us, who, body FROM correction";

impl Database {
    /// Keeps a loop check; gives it as it stands in the record, with its number.
    pub fn enter_check(
        &mut self,
        tun: TunId,
        checked: Timestamp,
        new: NewCheck,
    ) -> Result<StoredCheck, StoreError> {
        self.connection
            .execute(
                "INSERT INTO loop_check (tun_id, instrument, checked_us, due_us, who, note, body) \
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
                params![
                    tun.0,
                    new.check.instrument,
                    checked.as_microsecond(),
                    new.due.map(Timestamp::as_microsecond),
                    new.who,
                    new.note,
                    to_json(&new.check)
                ],
            )
            .map_err(self.failed("entering a loop check"))?;
        Ok(StoredCheck {
            number: self.connection.last_insert_rowid(),
            checked: kept(checked),
            due: new.due.map(kept),
            who: new.who,
            note: new.note,
            check: new.check,
        })
    }

    /// One loop check of a tun.
    pub fn loop_check(&self, tun: TunId, number: i64) -> Result<Option<StoredCheck>, StoreError> {
        let query = format!("{CHECK_COLUMNS} WHERE tun_id = ?1 AND id = ?2");
        let mut found = self.select_checks(&query, &[&tun.0, &number])?;
        Ok(found.pop())
    }

    /// The loop checks of a tun, of one instrument or of all, the oldest first.
    pub fn loop_checks(
        &self,
        tun: TunId,
        instrument: Option<&str>,
    ) -> Result<Vec<StoredCheck>, StoreError> {
        if let Some(instrument) = instrument {
            let query =
                format!("{CHECK_COLUMNS} WHERE tun_id = ?1 AND instrument = ?2 ORDER BY id");
            self.select_checks(&query, &[&tun.0, &instrument])
        } else {
            let query = format!("{CHECK_COLUMNS} WHERE tun_id = ?1 ORDER BY id");
            self.select_checks(&query, &[&tun.0])
        }
    }

    fn select_checks(
        &self,
        query: &str,
        keys: &[&dyn rusqlite::ToSql],
    ) -> Result<Vec<StoredCheck>, StoreError> {
        let failed = self.failed("reading loop checks");
        let mut statement = self.connection.prepare_cached(query).map_err(&failed)?;
        let rows = statement
            .query_map(keys, |row| {
                let body: String = row.get(5)?;
                Ok((
                    row.get::<_, i64>(0)?,
                    wall(row.get(1)?),
                    row.get::<_, Option<i64>>(2)?.map(wall),
                    row.get(3)?,
                    row.get(4)?,
                    body,
                ))
            })
            .and_then(Iterator::collect::<rusqlite::Result<Vec<_>>>)
            .map_err(&failed)?;
        rows.into_iter()
            .map(|(number, checked, due, who, note, body)| {
                let what = || format!("the loop check {number}");
                Ok(StoredCheck {
                    number,
                    checked,
                    due,
                    who,
                    note,
                    check: from_json(&self.path, what, &body)?,
                })
            })
            .collect()
    }

    /// Adds a version of an instrument's correction; None takes the one in force back.
    pub fn enter_correction(
        &mut self,
        tun: TunId,
        instrument: &str,
        new: StoredCorrection,
    ) -> Result<StoredCorrection, StoreError> {
        let failed = self.failed("entering a correction");
        let transaction = self.connection.transaction().map_err(&failed)?;
        let version: u32 = transaction
            .query_row(
                "SELECT coalesce(max(version), 0) + 1 FROM correction \
                 WHERE tun_id = ?1 AND instrument = ?2",
                params![tun.0, instrument],
                |row| row.get(0),
            )
            .map_err(&failed)?;
        transaction
            .execute(
                "INSERT INTO correction (tun_id, instrument, version, made_us, due_us, who, body) \
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
                params![
                    tun.0,
                    instrument,
                    version,
                    new.made.as_microsecond(),
                    new.due.map(Timestamp::as_microsecond),
                    new.who,
                    new.correction.as_ref().map(to_json)
                ],
            )
            .map_err(&failed)?;
        transaction.commit().map_err(&failed)?;
        Ok(StoredCorrection {
            version,
            made: kept(new.made),
            due: new.due.map(kept),
            ..new
        })
    }

    /// The newest version of every instrument's correction.
    pub fn corrections(&self, tun: TunId) -> Result<Vec<StoredCorrection>, StoreError> {
        let query = format!(
            "{CORRECTION_COLUMNS} AS newest WHERE tun_id = ?1 AND version = \
             (SELECT max(version) FROM correction WHERE tun_id = ?1 AND instrument = newest.instrument) \
             ORDER BY instrument"
        );
        self.select_corrections(&query, &[&tun.0])
    }

    /// Every version of one instrument's correction, the oldest first.
    pub fn correction_history(
        &self,
        tun: TunId,
        instrument: &str,
    ) -> Result<Vec<StoredCorrection>, StoreError> {
        let query =
            format!("{CORRECTION_COLUMNS} WHERE tun_id = ?1 AND instrument = ?2 ORDER BY version");
        self.select_corrections(&query, &[&tun.0, &instrument])
    }

    fn select_corrections(
        &self,
        query: &str,
        keys: &[&dyn rusqlite::ToSql],
    ) -> Result<Vec<StoredCorrection>, StoreError> {
        let failed = self.failed("reading corrections");
        let mut statement = self.connection.prepare_cached(query).map_err(&failed)?;
        let rows = statement
            .query_map(keys, correction_row)
            .and_then(Iterator::collect::<rusqlite::Result<Vec<_>>>)
            .map_err(&failed)?;
        rows.into_iter()
            .map(|(stored, body)| {
                let what = || format!("correction {} of {}", stored.version, stored.instrument);
                let correction = body
                    .map(|body| from_json(&self.path, what, &body))
                    .transpose()?;
                Ok(StoredCorrection {
                    correction,
                    ..stored
                })
            })
            .collect()
    }

    /// When each instrument was last looked at, and when it is due: of its newest check or correction.
    pub fn last_looked_at(
        &self,
        tun: TunId,
        instrument: &str,
    ) -> Result<Option<(Timestamp, Option<Timestamp>)>, StoreError> {
        self.connection
            .prepare_cached(
                "SELECT at_us, due_us FROM ( \
                 SELECT checked_us AS at_us, due_us FROM loop_check WHERE tun_id = ?1 AND instrument = ?2 \
                 UNION ALL \
                 SELECT made_us, due_us FROM correction \
                 WHERE tun_id = ?1 AND instrument = ?2 AND body IS NOT NULL) \
                 ORDER BY at_us DESC LIMIT 1",
            )
            .and_then(|mut statement| {
                statement
                    .query_row(params![tun.0, instrument], |row| {
                        Ok((
                            wall(row.get(0)?),
                            row.get::<_, Option<i64>>(1)?.map(wall),
                        ))
                    })
                    .optional()
            })
            .map_err(self.failed("reading when an instrument is due"))
    }
}

/// A time as the record keeps it: to the microsecond.
fn kept(time: Timestamp) -> Timestamp {
    wall(time.as_microsecond())
}

fn correction_row(row: &Row<'_>) -> rusqlite::Result<(StoredCorrection, Option<String>)> {
    let stored = StoredCorrection {
        instrument: row.get(0)?,
        version: row.get(1)?,
        made: wall(row.get(2)?),
        due: row.get::<_, Option<i64>>(3)?.map(wall),
        who: row.get(4)?,
        correction: None,
    };
    Ok((stored, row.get(5)?))
}
