//! A brew's record as files that any program reads, and that `replay` reads again.
//!
//! Owns the columns and the spelling of numbers: a value is printed with the fewest digits that give back every
//! bit of it, so that a replay of the files computes with the same numbers as the service did.
//!
//! Corrections have a file of their own, since RUN.csv holds the readings as they came; so have the gaps in which nobody
//! watched, since no instrument was silent in them.
//!
//! What RUN.csv cannot carry: why a reading is missing (the cell is empty, a replay sees no reading), an
//! instrument's status, its own time where it has one, and links going up and down. The store keeps all of it;
//! recovery and comparison use `Database::events`.

use std::fs::File;
use std::io::{self, BufWriter, Write};
use std::path::Path;

use lauter_core::reading::{Moment, Reading};
use lauter_core::supervisor::{Event, Line, Place, TableLine};

use super::{BrewId, Database, DatedEvent, StoreError};

/// Names of the files an export makes.
pub mod files {
    /// Raw readings: `elapsed_s`, then one column for each instrument, in its own unit.
    pub const RUN: &str = "RUN.csv";
    /// Hand samples: `elapsed_s,place,gravity_p,ph,volume_l`, and `withdrawn_s` where one was withdrawn.
    pub const SAMPLES: &str = "samples.csv";
    /// Which corrections were in force from when on, one JSON object a line; empty where none were.
    pub const CORRECTIONS: &str = "corrections.jsonl";
    /// When nobody watched: `elapsed_s,since_s,why`.
    pub const GAPS: &str = "gaps.csv";
    pub const PLAN: &str = "plan.toml";
    /// The brewer's table.
    pub const TABLE: &str = "table.csv";
    /// Every change of an alarm's state, one JSON object a line.
    pub const ALARMS: &str = "alarms.jsonl";
    /// Projections, alarms, table and summary, one JSON object a line, in the order they were put out.
    pub const LINES: &str = "lines.jsonl";
}

impl Database {
    /// Writes every file of a brew into `directory`, making it if it is not there and replacing files of the
    /// same names.
    pub fn export(&self, brew: BrewId, directory: &Path) -> Result<(), StoreError> {
        std::fs::create_dir_all(directory).map_err(|source| failed(directory, source))?;
        let header = self.brew(brew)?.header;
        let origin = header.origin;
        write_file(directory, files::PLAN, |out| {
            let plan = toml::to_string(&header.plan).map_err(io::Error::other)?;
            out.write_all(plan.as_bytes())
        })?;
        let ids: Vec<&str> = header.instruments.iter().map(|i| i.id.as_str()).collect();
        let recording = self.recording(brew)?;
        write_file(directory, files::RUN, |out| {
            write_run(out, origin, &ids, &recording)
        })?;
        let samples = self.recorded_samples(brew)?;
        write_file(directory, files::SAMPLES, |out| {
            write_samples(out, origin, &samples)
        })?;
        let others = self.other_events(brew)?;
        write_file(directory, files::GAPS, |out| {
            super::write_gaps(out, origin, &super::gaps(&others))
        })?;
        let changes = super::changes(&header, &others);
        write_file(directory, files::CORRECTIONS, |out| {
            super::write_changes(out, &changes)
        })?;
        let table = self.table(brew)?;
        write_file(directory, files::TABLE, |out| write_table(out, &table))?;
        let lines: Vec<Line> = self.lines(brew)?.into_iter().map(|(_, l)| l).collect();
        write_file(directory, files::LINES, |out| write_lines(out, &lines))?;
        let is_alarm = |line: &&Line| matches!(line, Line::Alarm(_));
        write_file(directory, files::ALARMS, |out| {
            write_lines(out, lines.iter().filter(is_alarm))
        })?;
        // All that can be read has been written; that it is not all must not go unnoticed.
        self.none_of(self.damaged_blocks(Some(brew))?)
    }
}

fn failed(path: &Path, source: io::Error) -> StoreError {
    StoreError::Export {
        path: path.to_owned(),
        source,
    }
}

fn write_file(
    directory: &Path,
    name: &str,
    write: impl FnOnce(&mut BufWriter<File>) -> io::Result<()>,
) -> Result<(), StoreError> {
    let path = directory.join(name);
    File::create(&path)
        .and_then(|file| {
            let mut out = BufWriter::new(file);
            write(&mut out)?;
            out.flush()
        })
        .map_err(|source| failed(&path, source))
}

/// One row for each moment at which readings came. Readings of one moment share a row as long as they came in
/// the order of the columns, in which a replay gives them again; otherwise the next row bears the same time. A
/// reading without a value leaves its cell empty, but its row shows that time went on. So does the empty row at the
/// end of the brew, up to which a replay then goes on as the service did.
pub fn write_run(
    out: impl Write,
    origin: Moment,
    instruments: &[&str],
    recording: &[DatedEvent],
) -> io::Result<()> {
    let mut csv = csv::Writer::from_writer(out);
    csv.write_field("elapsed_s")?;
    csv.write_record(instruments)?;
    let mut row: Option<RunRow> = None;
    for dated in recording {
        let column = match dated.event {
            Event::Reading { instrument, .. } => instrument,
            Event::BrewEnded => instruments.len(),
            _ => continue,
        };
        match &mut row {
            Some(row) if row.at == dated.at && row.filled <= column => {}
            _ => {
                if let Some(row) = row.take() {
                    row.write(&mut csv, origin)?;
                }
            }
        }
        let row = row.get_or_insert_with(|| RunRow::new(dated.at, instruments.len()));
        if let Event::Reading { reading, .. } = dated.event {
            row.fill(column, reading);
        }
    }
    if let Some(row) = row {
        row.write(&mut csv, origin)?;
    }
    csv.flush()
}

struct RunRow {
    at: Moment,
    cells: Vec<String>,
    /// Columns up to here have had their reading.
    filled: usize,
}

impl RunRow {
    fn new(at: Moment, columns: usize) -> Self {
        Self {
            at,
            cells: vec![String::new(); columns],
            filled: 0,
        }
    }

    fn fill(&mut self, instrument: usize, reading: Reading) {
        if let (Some(cell), Ok(value)) = (self.cells.get_mut(instrument), reading.value) {
            *cell = number(value);
        }
        self.filled = instrument + 1;
    }

    fn write(self, csv: &mut csv::Writer<impl Write>, origin: Moment) -> io::Result<()> {
        csv.write_field(elapsed_s(self.at, origin))?;
        csv.write_record(&self.cells)?;
        Ok(())
    }
}

/// In the form that `replay --samples` reads; only where one was withdrawn does a column say when.
pub fn write_samples(
    out: impl Write,
    origin: Moment,
    samples: &[super::RecordedSample],
) -> io::Result<()> {
    let mut csv = csv::Writer::from_writer(out);
    let withdrawn = samples.iter().any(|recorded| recorded.withdrawn.is_some());
    let mut header = vec!["elapsed_s", "place", "gravity_p", "ph", "volume_l"];
    header.extend(withdrawn.then_some("withdrawn_s"));
    csv.write_record(header)?;
    for recorded in samples {
        let sample = recorded.sample;
        let place = match sample.place {
            Place::Runnings => "runnings",
            Place::Kettle => "kettle",
        };
        let mut row = vec![
            elapsed_s(recorded.at, origin),
            place.to_owned(),
            optional(sample.gravity_p),
            optional(sample.ph),
            optional(sample.volume_l),
        ];
        row.extend(withdrawn.then(|| {
            let at = recorded.withdrawn;
            at.map_or_else(String::new, |at| elapsed_s(at, origin))
        }));
        csv.write_record(row)?;
    }
    csv.flush()
}

/// The brewer's table with the fields of the table line.
pub fn write_table(out: impl Write, table: &[TableLine]) -> io::Result<()> {
    let mut csv = csv::Writer::from_writer(out);
    csv.write_record([
        "elapsed_s",
        "runnings_gravity_p",
        "runnings_ph",
        "kettle_volume_l",
        "kettle_gravity_p",
        "flow_l_min",
        "pressure_drop_kpa",
    ])?;
    for line in table {
        csv.write_record([
            number(line.elapsed_s),
            optional(line.runnings_gravity_p),
            optional(line.runnings_ph),
            number(line.kettle_volume_l),
            optional(line.kettle_gravity_p),
            optional(line.flow_l_min),
            optional(line.pressure_drop_kpa),
        ])?;
    }
    csv.flush()
}

/// One JSON object a line, as a replay prints them.
pub fn write_lines<'a>(
    mut out: impl Write,
    lines: impl IntoIterator<Item = &'a Line>,
) -> io::Result<()> {
    for line in lines {
        serde_json::to_writer(&mut out, line)?;
        out.write_all(b"\n")?;
    }
    Ok(())
}

/// The fewest digits that give back every bit.
fn number(value: f64) -> String {
    format!("{value:?}")
}

fn optional(value: Option<f64>) -> String {
    value.map(number).unwrap_or_default()
}

/// Seconds with six decimals, by whole microseconds so that nothing is rounded.
pub(super) fn elapsed_s(at: Moment, origin: Moment) -> String {
    let elapsed = i128::from(at.0) - i128::from(origin.0);
    let sign = if elapsed < 0 { "-" } else { "" };
    let (seconds, microseconds) = (elapsed.abs() / 1_000_000, elapsed.abs() % 1_000_000);
    format!("{sign}{seconds}.{microseconds:06}")
}
