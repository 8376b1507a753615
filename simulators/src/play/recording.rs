//! A recorded brew as columns of moments and values: what each instrument showed at a moment of it.
//!
//! Owns the reading of `RUN.csv` and how long a recorded value counts. Must not know servers or the present.

use std::path::Path;

use lauter_core::reading::Status;

use super::PlayError;
use crate::instrument::InstrumentReading;
use crate::scenario::Instrument;
use crate::serve::servers::Shown;

/// After so many of its usual intervals without a value the instrument had none to give. Own choice: one lost row is
/// no outage.
const SILENT_AFTER_INTERVALS: f64 = 3.0;

/// What one instrument gave, in time order.
#[derive(Clone, Debug, Default, PartialEq)]
struct Column {
    id: String,
    /// Moment, s, and value.
    samples: Vec<(f64, f64)>,
    holds_s: f64,
}

/// A whole recording.
#[derive(Clone, Debug, PartialEq)]
pub struct Recording {
    columns: Vec<Column>,
    begins_s: f64,
    ends_s: f64,
}

impl Recording {
    pub fn load(path: &Path) -> Result<Self, PlayError> {
        let text = std::fs::read_to_string(path).map_err(|source| PlayError::NoInput {
            path: path.to_owned(),
            source,
        })?;
        Self::parse(&text).map_err(|fault| PlayError::Data {
            path: path.to_owned(),
            fault,
        })
    }

    pub fn parse(text: &str) -> Result<Self, String> {
        let mut reader = csv::ReaderBuilder::new()
            .flexible(true)
            .trim(csv::Trim::All)
            .from_reader(text.as_bytes());
        let head = reader.headers().map_err(|error| error.to_string())?.clone();
        let clock = head
            .get(0)
            .unwrap_or_default()
            .trim_start_matches('\u{feff}');
        let is_wall = match clock {
            "time" => true,
            "elapsed_s" => false,
            other => {
                return Err(format!(
                    "line 1: the first column is \"{other}\"; it must be elapsed_s or time"
                ));
            }
        };
        let mut columns: Vec<Column> = head
            .iter()
            .skip(1)
            .map(|id| Column {
                id: id.to_owned(),
                ..Column::default()
            })
            .collect();
        let mut moments: Vec<f64> = Vec::new();
        for (number, row) in (2..).zip(reader.records()) {
            let row = row.map_err(|error| format!("line {number}: {error}"))?;
            let cell = row.get(0).unwrap_or_default();
            let at_s = moment(cell, is_wall)
                .ok_or_else(|| format!("line {number}: \"{cell}\" is no {clock}"))?;
            if moments.last().is_some_and(|last| at_s < *last) {
                return Err(format!("line {number}: it is earlier than the row before"));
            }
            moments.push(at_s);
            for (column, cell) in columns.iter_mut().zip(row.iter().skip(1)) {
                if cell.is_empty() {
                    continue;
                }
                let value = value(cell).ok_or_else(|| {
                    format!("line {number}: {}: \"{cell}\" is no number", column.id)
                })?;
                column.samples.push((at_s, value));
            }
        }
        let (Some(first), Some(last)) = (moments.first().copied(), moments.last().copied()) else {
            return Err("there are no rows below the header".to_owned());
        };
        let zero_s = if is_wall { first } else { 0.0 };
        for column in &mut columns {
            for sample in &mut column.samples {
                sample.0 -= zero_s;
            }
            column.holds_s = SILENT_AFTER_INTERVALS * usual_interval_s(&column.samples);
        }
        Ok(Self {
            columns,
            begins_s: first - zero_s,
            ends_s: last - zero_s,
        })
    }

    /// Moment of the first row, s.
    pub fn begins_s(&self) -> f64 {
        self.begins_s
    }

    /// Moment of the last row, s.
    pub fn ends_s(&self) -> f64 {
        self.ends_s
    }

    /// At least one instrument must have a column, and somewhere to be read.
    pub fn check(&self, instruments: &[Instrument]) -> Result<(), PlayError> {
        let mut known = instruments
            .iter()
            .filter(|instrument| self.columns.iter().any(|column| column.id == instrument.id))
            .peekable();
        if known.peek().is_some() {
            let is_read = known.any(|it| it.modbus.is_some() || it.mqtt.is_some());
            return is_read.then_some(()).ok_or(PlayError::NoWayToRead);
        }
        let ids: Vec<&str> = self
            .columns
            .iter()
            .map(|column| column.id.as_str())
            .collect();
        Err(PlayError::NothingToPlay(ids.join(", ")))
    }

    /// What the instruments showed at a moment. Those without a column answer nothing.
    pub fn shown(&self, instruments: &[Instrument], elapsed_s: f64) -> Shown {
        let mut shown = Shown::silent(instruments);
        for reading in &mut shown.readings {
            let column = self.columns.iter().find(|column| column.id == reading.id);
            if let Some((at_s, value)) = column.and_then(|column| column.at(elapsed_s)) {
                reading.value = Some(value);
                reading.sampled_s = at_s;
            }
        }
        shown
    }
}

impl Column {
    /// The latest sample at a moment, if it still counts.
    fn at(&self, elapsed_s: f64) -> Option<(f64, f64)> {
        let behind = self.samples.partition_point(|(at_s, _)| *at_s <= elapsed_s);
        let sample = self.samples.get(behind.checked_sub(1)?)?;
        (elapsed_s - sample.0 <= self.holds_s).then_some(*sample)
    }
}

impl Shown {
    /// Instruments of which none has anything to say.
    pub fn silent(instruments: &[Instrument]) -> Self {
        let readings = instruments.iter().map(|instrument| InstrumentReading {
            id: instrument.id.clone(),
            value: None,
            status: Status::Good,
            sampled_s: 0.0,
        });
        Self {
            readings: readings.collect(),
            links_down: Vec::new(),
        }
    }
}

fn moment(cell: &str, is_wall: bool) -> Option<f64> {
    if is_wall {
        let time: jiff::Timestamp = cell.parse().ok()?;
        return Some(time.as_microsecond() as f64 / 1e6);
    }
    cell.parse::<f64>().ok().filter(|at_s| at_s.is_finite())
}

fn value(cell: &str) -> Option<f64> {
    match cell {
        "true" => Some(1.0),
        "false" => Some(0.0),
        number => number.parse::<f64>().ok().filter(|value| value.is_finite()),
    }
}

/// The median of the times between two samples; with fewer than two the only one always counts.
fn usual_interval_s(samples: &[(f64, f64)]) -> f64 {
    let mut intervals: Vec<f64> = samples
        .windows(2)
        .map(|pair| pair[1].0 - pair[0].0)
        .collect();
    intervals.sort_by(f64::total_cmp);
    intervals
        .get(intervals.len() / 2)
        .copied()
        .unwrap_or(f64::INFINITY)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn flow() -> Vec<Instrument> {
        crate::Scenario::demonstration()
            .instruments
            .into_iter()
            .filter(|i| i.id == "runoff_flow")
            .collect()
    }

    fn at(recording: &Recording, elapsed_s: f64) -> Option<f64> {
        recording.shown(&flow(), elapsed_s).readings[0].value
    }

    #[test]
    fn a_value_counts_until_the_next_and_a_gap_is_an_instrument_without_one() {
        let text = "elapsed_s,runoff_flow\n0,60\n1,61\n2,62\n3,\n4,64\n5,\n6,\n7,\n8,\n9,\n10,\n11,71\n12,72\n";
        let recording = Recording::parse(text).unwrap();
        assert_eq!(at(&recording, 1.9), Some(61.0));
        assert_eq!(at(&recording, 3.9), Some(62.0));
        assert_eq!(at(&recording, 7.5), None);
        assert_eq!(at(&recording, 11.0), Some(71.0));
        assert_eq!((recording.begins_s(), recording.ends_s()), (0.0, 12.0));
    }

    #[test]
    fn wall_clock_rows_count_from_the_first() {
        let text = "time,runoff_flow\n2026-04-12T08:00:00Z,60\n2026-04-12T08:00:01.5Z,true\n";
        let recording = Recording::parse(text).unwrap();
        assert!((recording.ends_s() - 1.5).abs() < 1e-9);
        assert_eq!(at(&recording, 1.5), Some(1.0));
    }

    #[test]
    fn a_fault_in_the_file_names_its_line() {
        for (text, part) in [
            ("when,a\n0,1\n", "line 1"),
            ("elapsed_s,a\n0,1\nx,1\n", "line 3"),
            ("elapsed_s,a\n5,1\n4,1\n", "line 3"),
            ("elapsed_s,a\n0,many\n", "line 2: a"),
            ("elapsed_s,a\n", "no rows"),
        ] {
            let fault = Recording::parse(text).unwrap_err();
            assert!(fault.contains(part), "{fault}");
        }
    }
}
