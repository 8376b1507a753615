//! When rows came: few moments for many rows, and nearly even ones.
//!
//! Instruments read in one request share a moment, so moments are written once for all rows that follow one another with
//! it. Each is guessed to come as long after the last one of the same instrument as that came after the one before:
//! several links polled in turn do not spoil one another's rhythm. (The difference of differences of Pelkonen et al.,
//! "Gorilla", VLDB 2015, kept for each instrument.)

use std::collections::BTreeMap;

use super::bits::{BitReader, BitWriter};
use super::{Damage, Row, integers};

/// Bits of a count of rows.
pub const COUNT_BITS: u32 = 17;

pub fn write(out: &mut BitWriter, rows: &[Row]) {
    let groups: Vec<&[Row]> = rows.chunk_by(|a, b| a.at_us == b.at_us).collect();
    out.put(groups.len() as u64, COUNT_BITS);
    let sizes: Vec<i64> = groups
        .iter()
        .map(|group| group.len().cast_signed() as i64)
        .collect();
    integers::write(out, &sizes);
    let mut rhythm = Rhythm::default();
    let errors: Vec<i64> = groups
        .iter()
        .filter_map(|group| group.first())
        .map(|first| {
            let error = first.at_us.wrapping_sub(rhythm.guess(first.instrument));
            rhythm.note(first.instrument, first.at_us);
            error
        })
        .collect();
    integers::write(out, &errors);
}

/// Sets the moments of rows whose instruments are known.
pub fn read(reader: &mut BitReader<'_>, rows: &mut [Row]) -> Result<(), Damage> {
    let count = reader.get(COUNT_BITS)? as usize;
    if count > rows.len() {
        return Err(Damage::Senseless);
    }
    let sizes = integers::read(reader, count)?;
    let errors = integers::read(reader, count)?;
    let mut rhythm = Rhythm::default();
    let mut left = rows;
    for (size, error) in sizes.into_iter().zip(errors) {
        let size = usize::try_from(size).map_err(|_| Damage::Senseless)?;
        let (group, after) = left.split_at_mut_checked(size).ok_or(Damage::Senseless)?;
        let lead = group.first().ok_or(Damage::Senseless)?.instrument;
        let at_us = rhythm.guess(lead).wrapping_add(error);
        rhythm.note(lead, at_us);
        for row in group {
            row.at_us = at_us;
        }
        left = after;
    }
    match left {
        [] => Ok(()),
        _ => Err(Damage::Senseless),
    }
}

/// When each instrument last came first in a group, and how long after the time before.
#[derive(Default)]
struct Rhythm {
    last: BTreeMap<i64, (i64, i64)>,
    newest: i64,
}

impl Rhythm {
    fn guess(&self, instrument: i64) -> i64 {
        self.last
            .get(&instrument)
            .map_or(self.newest, |(at_us, interval)| {
                at_us.wrapping_add(*interval)
            })
    }

    fn note(&mut self, instrument: i64, at_us: i64) {
        let before = self.last.get(&instrument).copied();
        let interval = before.map_or(0, |(last, _)| at_us.wrapping_sub(last));
        self.last.insert(instrument, (at_us, interval));
        self.newest = at_us;
    }
}
