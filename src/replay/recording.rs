//! A recorded run-off as CSV: one row a moment, one column an instrument.
//!
//! Owns the format of RUN.csv: which column is which instrument, what a cell may hold, and the clock of the
//! recording. Every fault names the file and the line. It reads row by row, so a recording may be long.

use std::fs::File;
use std::path::{Path, PathBuf};

use jiff::Timestamp;
use lauter_core::reading::Moment;

use super::fault::{DataFault, open};

/// Which clock the first column keeps.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Clock {
    Elapsed,
    /// RFC 3339; the first row is nought.
    Wall {
        first: Option<Timestamp>,
    },
}

/// One row: its moment on the recording's clock, and what each instrument read. Errors in a cell's number are
/// faults; an empty cell is no reading.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Row {
    pub at: Moment,
    pub values: Vec<(usize, f64)>,
}

/// A recording being read.
#[derive(Debug)]
pub struct Recording {
    path: PathBuf,
    reader: csv::Reader<File>,
    record: csv::StringRecord,
    clock: Clock,
    /// Instrument of each column after the first.
    columns: Vec<(usize, String)>,
    last: Option<Moment>,
    /// Bytes of the file, for progress.
    length: u64,
}

impl Recording {
    /// Opens a recording; `instruments` are the configured ids in their order.
    pub fn open(path: &Path, instruments: &[&str]) -> Result<Self, DataFault> {
        let file = open(path)?;
        let length = file.metadata().map_or(0, |metadata| metadata.len());
        let mut reader = csv::ReaderBuilder::new()
            .trim(csv::Trim::Headers)
            .from_reader(file);
        let header = reader
            .headers()
            .map_err(|error| DataFault::from_csv(path, &error))?
            .clone();
        if header.is_empty() || header.iter().eq([""]) {
            return Err(DataFault::Empty {
                path: path.to_owned(),
                text: "the file is empty; its first line must name the columns, elapsed_s or time first".to_owned(),
            });
        }
        let clock = match header.get(0) {
            Some("elapsed_s") => Clock::Elapsed,
            Some("time") => Clock::Wall { first: None },
            Some(capture) if capture.starts_with("{\"capture\"") => {
                let text = "it holds the raw bytes of `lauterd record`, not a run-off; `simulators play` serves them to \
                            `lauterd run` again";
                return Err(DataFault::at(path, 1, text));
            }
            other => {
                let found = other.unwrap_or_default();
                let text = format!("the first column is \"{found}\"; it must be elapsed_s or time");
                return Err(DataFault::at(path, 1, text));
            }
        };
        let mut columns: Vec<(usize, String)> = Vec::new();
        for name in header.iter().skip(1) {
            let Some(index) = instruments.iter().position(|id| *id == name) else {
                let text = format!(
                    "column \"{name}\" is no configured instrument; there are {}",
                    instruments.join(", ")
                );
                return Err(DataFault::at(path, 1, text));
            };
            if columns.iter().any(|(known, _)| *known == index) {
                return Err(DataFault::at(
                    path,
                    1,
                    format!("column \"{name}\" stands twice"),
                ));
            }
            columns.push((index, name.to_owned()));
        }
        let record = csv::StringRecord::new();
        Ok(Self {
            path: path.to_owned(),
            reader,
            record,
            clock,
            columns,
            last: None,
            length,
        })
    }

    /// Reads the next row into `row`; false at the end, where `row` stays as it was.
    pub fn next_row(&mut self, row: &mut Row) -> Result<bool, DataFault> {
        let more = self
            .reader
            .read_record(&mut self.record)
            .map_err(|error| DataFault::from_csv(&self.path, &error))?;
        if !more {
            return Ok(false);
        }
        let line = self.record.position().map_or(0, csv::Position::line);
        let at = self.moment(line)?;
        if let Some(last) = self.last.filter(|last| at < *last) {
            let text = format!(
                "the time goes back from {} s to {} s; rows must be in time order",
                last.seconds(),
                at.seconds()
            );
            return Err(DataFault::at(&self.path, line, text));
        }
        self.last = Some(at);
        row.at = at;
        row.values.clear();
        for ((index, name), cell) in self.columns.iter().zip(self.record.iter().skip(1)) {
            let cell = cell.trim();
            if !cell.is_empty() {
                row.values.push((*index, self.number(line, name, cell)?));
            }
        }
        Ok(true)
    }

    /// Share of the file read so far.
    pub fn share_read(&self) -> f64 {
        self.reader.position().byte() as f64 / self.length.max(1) as f64
    }

    fn moment(&mut self, line: u64) -> Result<Moment, DataFault> {
        let cell = self.record.get(0).unwrap_or_default().trim();
        match &mut self.clock {
            Clock::Elapsed => match cell.parse::<f64>() {
                Ok(seconds) if seconds.is_finite() && seconds.abs() < 1e9 => {
                    Ok(Moment::from_seconds(seconds))
                }
                _ => {
                    let text = format!("elapsed_s is \"{cell}\"; it must be a number of seconds");
                    Err(DataFault::at(&self.path, line, text))
                }
            },
            Clock::Wall { first } => {
                let time: Timestamp = cell.parse().map_err(|_| {
                    let text = format!(
                        "time is \"{cell}\"; it must be RFC 3339, such as 2026-04-12T08:30:00.250Z"
                    );
                    DataFault::at(&self.path, line, text)
                })?;
                let zero = *first.get_or_insert(time);
                Ok(Moment(time.as_microsecond() - zero.as_microsecond()))
            }
        }
    }

    fn number(&self, line: u64, name: &str, cell: &str) -> Result<f64, DataFault> {
        let value = match cell {
            "true" => Some(1.0),
            "false" => Some(0.0),
            _ => cell.parse::<f64>().ok().filter(|value| value.is_finite()),
        };
        value.ok_or_else(|| {
            let text = format!(
                "column {name} is \"{cell}\"; it must be a number, or empty for no reading"
            );
            DataFault::at(&self.path, line, text)
        })
    }
}
