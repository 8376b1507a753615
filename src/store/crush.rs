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
    /// Time of an earlier entry that this one corrects and stands for.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(with = "Option<String>", extend("format" = "date-time"))]
    pub replaces: Option<Timestamp>,
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

    /// The log of a tun, the oldest first. What has been corrected stands there as it was corrected, at its own time.
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
        let entries: Result<Vec<(Timestamp, Crush)>, StoreError> = rows
            .into_iter()
            .map(|(logged_us, body)| {
                let what = || format!("the crush of {}", wall(logged_us));
                Ok((wall(logged_us), from_json(&self.path, what, &body)?))
            })
            .collect();
        Ok(corrected(entries?))
    }
}

/// A correction takes the place of what it replaces; the last one counts.
fn corrected(entries: Vec<(Timestamp, Crush)>) -> Vec<(Timestamp, Crush)> {
    let mut log: Vec<(Timestamp, Crush)> = Vec::new();
    for (logged, crush) in entries {
        let earlier = crush.replaces.and_then(|time| {
            let us = time.as_microsecond();
            log.iter_mut().find(|(at, _)| at.as_microsecond() == us)
        });
        match earlier {
            Some((_, place)) => *place = crush,
            None => log.push((logged, crush)),
        }
    }
    log
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_correction_stands_at_the_time_of_what_it_replaces() {
        let at = |us: i64| Timestamp::from_microsecond(us).unwrap();
        let crush = |gap_mm: f64, replaces: Option<i64>| Crush {
            who: "mill".to_owned(),
            gap_mm,
            fractions: Vec::new(),
            note: String::new(),
            replaces: replaces.map(at),
        };
        let log = corrected(vec![
            (at(10), crush(4.5, None)),
            (at(20), crush(0.5, None)),
            (at(30), crush(0.44, Some(10))),
            (at(40), crush(0.45, Some(10))),
            (at(50), crush(0.6, Some(99))),
        ]);
        let kept: Vec<(i64, f64)> = log
            .iter()
            .map(|(time, it)| (time.as_microsecond(), it.gap_mm))
            .collect();
        assert_eq!(kept, [(10, 0.45), (20, 0.5), (50, 0.6)]);
    }
}
