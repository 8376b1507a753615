//! Some thousand rows as one block of bytes.
//!
//! Owns the order of the columns: form, count of rows, words; then, in bits, the rows' numbers, which instrument each is of,
//! their moments, and the columns of one instrument after another; at the end the checksum of it all. A form that has once been
//! released never changes: another one gets another number.

use std::collections::BTreeMap;

use crc::{CRC_32_ISO_HDLC, Crc};

use super::bits::{BitReader, BitWriter};
use super::moments::{self, COUNT_BITS};
use super::row::NUMBERS;
use super::{Damage, Names, Row, TICK, integers, numbers};

/// The most rows of a block: each has a place of 16 bits.
const MOST_ROWS: usize = 1 << 16;

/// The most instruments: more than any brew has, and few enough for a table.
const MOST_INSTRUMENTS: i64 = 4096;

const FORM: u8 = 1;

const CHECKSUM: Crc<u32> = Crc::<u32>::new(&CRC_32_ISO_HDLC);
const CHECKSUM_BYTES: usize = 4;

/// Rows with the words they use.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Block {
    pub names: Names,
    pub rows: Vec<Row>,
}

impl Block {
    /// None where the rows are no readings of a brew: too many, or of an instrument that cannot be.
    pub fn pack(&self) -> Option<Vec<u8>> {
        let instruments = TICK..MOST_INSTRUMENTS;
        let fit = |row: &Row| instruments.contains(&row.instrument);
        if self.rows.len() > MOST_ROWS || !self.rows.iter().all(fit) {
            return None;
        }
        let mut bytes = vec![FORM, u8::try_from(self.names.words().len()).ok()?];
        for word in self.names.words() {
            bytes.push(u8::try_from(word.len()).ok()?);
            bytes.extend(word.as_bytes());
        }
        let mut out = BitWriter::behind(bytes);
        out.put(self.rows.len() as u64, COUNT_BITS);
        let numbers: Vec<i64> = self.rows.iter().map(|row| row.seq).collect();
        integers::write(&mut out, &numbers);
        integers::write(&mut out, &turns(&self.rows));
        moments::write(&mut out, &self.rows);
        for places in of_each(&self.rows).values() {
            let rows: Vec<&Row> = places.iter().map(|place| &self.rows[*place]).collect();
            write_columns(&mut out, &rows);
        }
        let mut bytes = out.finish();
        bytes.extend(CHECKSUM.checksum(&bytes).to_le_bytes());
        Some(bytes)
    }

    pub fn unpack(bytes: &[u8]) -> Result<Self, Damage> {
        Self::unpack_content(content_of(bytes)?)
    }

    /// Whether a block is as it was written.
    pub fn check(bytes: &[u8]) -> Result<(), Damage> {
        content_of(bytes).map(drop)
    }

    fn unpack_content(content: &[u8]) -> Result<Self, Damage> {
        let (form, content) = content.split_first().ok_or(Damage::Short)?;
        if *form != FORM {
            return Err(Damage::Form(*form));
        }
        let (names, content) = read_names(content)?;
        let mut reader = BitReader::new(content);
        let count = reader.get(COUNT_BITS)? as usize;
        if count > MOST_ROWS {
            return Err(Damage::Senseless);
        }
        let numbers = integers::read(&mut reader, count)?;
        let turns = integers::read(&mut reader, count)?;
        let instruments = instruments(&turns)?;
        let mut rows: Vec<Row> = numbers
            .into_iter()
            .zip(instruments)
            .map(|(seq, instrument)| Row {
                seq,
                at_us: 0,
                instrument,
                status: 0,
                cause: 0,
                unit: 0,
                age_us: 0,
                numbers: [None; NUMBERS],
            })
            .collect();
        moments::read(&mut reader, &mut rows)?;
        for places in of_each(&rows).values() {
            read_columns(&mut reader, &mut rows, places)?;
        }
        let words = names.words().len();
        let known = |row: &Row| {
            let codes = [row.status, row.cause, row.unit];
            codes.iter().all(|code| usize::from(*code) <= words)
        };
        if !rows.iter().all(known) {
            return Err(Damage::Senseless);
        }
        Ok(Self { names, rows })
    }
}

fn content_of(bytes: &[u8]) -> Result<&[u8], Damage> {
    let (content, checksum) = bytes
        .split_last_chunk::<CHECKSUM_BYTES>()
        .ok_or(Damage::Short)?;
    if CHECKSUM.checksum(content) != u32::from_le_bytes(*checksum) {
        return Err(Damage::Checksum);
    }
    Ok(content)
}

fn read_names(content: &[u8]) -> Result<(Names, &[u8]), Damage> {
    let (count, mut content) = content.split_first().ok_or(Damage::Short)?;
    let mut words = Vec::new();
    for _ in 0..*count {
        let (length, rest) = content.split_first().ok_or(Damage::Short)?;
        let (word, rest) = rest
            .split_at_checked(usize::from(*length))
            .ok_or(Damage::Short)?;
        let word = str::from_utf8(word).map_err(|_| Damage::Senseless)?;
        words.push(word.to_owned());
        content = rest;
    }
    Ok((Names::from_words(words), content))
}

/// Instruments come in turn: who came after whom the last time, comes again. Nought where that is so, otherwise the
/// instrument and two.
fn turns(rows: &[Row]) -> Vec<i64> {
    let mut guess = Turn::default();
    rows.iter()
        .map(|row| {
            let as_guessed = guess.next() == row.instrument;
            guess.note(row.instrument);
            if as_guessed { 0 } else { row.instrument + 2 }
        })
        .collect()
}

fn instruments(turns: &[i64]) -> Result<Vec<i64>, Damage> {
    let mut guess = Turn::default();
    turns
        .iter()
        .map(|turn| {
            let instrument = match turn {
                0 => guess.next(),
                1.. => turn - 2,
                _ => return Err(Damage::Senseless),
            };
            if instrument >= MOST_INSTRUMENTS {
                return Err(Damage::Senseless);
            }
            guess.note(instrument);
            Ok(instrument)
        })
        .collect()
}

#[derive(Default)]
struct Turn {
    /// Who came after each, by its place counted from `TICK`.
    after: Vec<i64>,
    last: usize,
}

impl Turn {
    fn next(&self) -> i64 {
        self.after.get(self.last).copied().unwrap_or(TICK)
    }

    fn note(&mut self, instrument: i64) {
        if self.after.len() <= self.last {
            self.after.resize(self.last + 1, TICK);
        }
        self.after[self.last] = instrument;
        self.last = (instrument - TICK) as usize;
    }
}

/// Where the rows of each instrument stand.
fn of_each(rows: &[Row]) -> BTreeMap<i64, Vec<usize>> {
    let mut places: BTreeMap<i64, Vec<usize>> = BTreeMap::new();
    for (place, row) in rows.iter().enumerate() {
        places.entry(row.instrument).or_default().push(place);
    }
    places
}

fn write_columns(out: &mut BitWriter, rows: &[&Row]) {
    let columns: [fn(&Row) -> i64; 4] = [
        |row| row.status.into(),
        |row| row.cause.into(),
        |row| row.unit.into(),
        |row| row.age_us,
    ];
    for column in columns {
        let values: Vec<i64> = rows.iter().map(|row| column(row)).collect();
        integers::write(out, &values);
    }
    for number in 0..NUMBERS {
        let there: Vec<i64> = rows
            .iter()
            .map(|row| i64::from(row.numbers[number].is_some()))
            .collect();
        integers::write(out, &there);
        let values: Vec<f64> = rows.iter().filter_map(|row| row.numbers[number]).collect();
        if !values.is_empty() {
            numbers::write(out, &values);
        }
    }
}

type SetColumn = fn(&mut Row, i64) -> Result<(), Damage>;

fn read_columns(
    reader: &mut BitReader<'_>,
    rows: &mut [Row],
    places: &[usize],
) -> Result<(), Damage> {
    let columns: [SetColumn; 4] = [
        |row, code| set_code(&mut row.status, code),
        |row, code| set_code(&mut row.cause, code),
        |row, code| set_code(&mut row.unit, code),
        |row, age_us| {
            row.age_us = age_us;
            Ok(())
        },
    ];
    for set in columns {
        let values = integers::read(reader, places.len())?;
        for (place, value) in places.iter().zip(values) {
            set(&mut rows[*place], value)?;
        }
    }
    for number in 0..NUMBERS {
        let there = integers::read(reader, places.len())?;
        let count = there.iter().filter(|is| **is != 0).count();
        if count == 0 {
            continue;
        }
        let mut values = numbers::read(reader, count)?.into_iter();
        for (place, is) in places.iter().zip(there) {
            if is != 0 {
                rows[*place].numbers[number] = values.next();
            }
        }
    }
    Ok(())
}

fn set_code(field: &mut u16, code: i64) -> Result<(), Damage> {
    *field = u16::try_from(code).map_err(|_| Damage::Senseless)?;
    Ok(())
}

#[cfg(test)]
mod tests;
