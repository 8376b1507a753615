//! The crush log: the mill's gap and the sieve analysis of the grist, as people entered them.

use jiff::Timestamp;
use rusqlite::params;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::brews::wall;
use super::encoding::{from_json, to_json};
use super::{Database, StoreError, TunId};

/// One sieve: what it held back.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Fraction {
    /// Opening of the sieve, mm; 0 is the pan.
    pub opening_mm: f64,
    /// Share of the sample held back, % of mass.
    pub percent: f64,
}

/// The mill as it was set and what it gave.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Crush {
    /// Where people sign in, the signed-in name is written and this one may be left out.
    #[serde(default)]
    pub who: String,
    /// Gap of the last pair of rollers, mm.
    pub gap_mm: f64,
    #[serde(default)]
    pub fractions: Vec<Fraction>,
    #[serde(default)]
    pub note: String,
}

impl Database {
    pub fn log_crush(
        &mut self,
        tun: TunId,
        logged: Timestamp,
        crush: &Crush,
    ) -> Result<(), StoreError> {
        self.connection
            .execute(
                "INSERT INTO crush (tun_id, logged_us, body) VALUES (?1, ?2, ?3)",
                params![tun.0, logged.as_microsecond(), to_json(crush)],
            )
            .map(drop)
            .map_err(self.failed("entering a crush"))
    }

    /// The log of a tun, the oldest first.
    pub fn crushes(&self, tun: TunId) -> Result<Vec<(Timestamp, Crush)>, StoreError> {
        let failed = self.failed("reading the crush log");
        let mut statement = self
            .connection
            .prepare_cached(
                "SELECT logged_us, body FROM crush WHERE tun_id = ?1 ORDER BY logged_us, id",
            )
            .map_err(&failed)?;
        let rows = statement
            .query_map([tun.0], |row| {
                Ok((row.get::<_, i64>(0)?, row.get::<_, String>(1)?))
            })
            .and_then(Iterator::collect::<rusqlite::Result<Vec<_>>>)
            .map_err(&failed)?;
        rows.into_iter()
            .map(|(logged_us, body)| {
                let what = || format!("the crush of {}", wall(logged_us));
                Ok((wall(logged_us), from_json(&self.path, what, &body)?))
            })
            .collect()
    }
}
