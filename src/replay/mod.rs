//! Recorded instruments through the same supervisor as the live service, as fast as it can.
//!
//! Owns the order in which rows, samples and the brew's ends are given to the engine, and where the lines go.
//! It reads no clock but to date the record: the recording's own clock is the only time the engine sees.

mod corrections;
mod fault;
mod keep;
mod recording;
mod samples;

use std::fs::File;
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};

use lauter_core::projection::Plan;
use lauter_core::reading::{Moment, Reading, Status};
use lauter_core::supervisor::{Dated, Event, Output, Supervisor};

use corrections::Corrections;
pub use fault::DataFault;
use keep::Keeper;
pub use recording::{Recording, Row};
pub use samples::read as read_samples;

use crate::config::Configuration;
use crate::engine;
use crate::exit::{Failure, Kind};

/// What to replay and where the answers go.
#[derive(Clone, Debug)]
pub struct Job {
    pub configuration: Configuration,
    pub plan: Plan,
    pub data: PathBuf,
    pub samples: Option<PathBuf>,
    /// Without them the instruments are taken as they were recorded.
    pub corrections: Option<PathBuf>,
    pub store: Option<PathBuf>,
    /// None: standard output.
    pub results: Option<PathBuf>,
}

/// The watch begins at nought where the recording begins with it, and else with the first row: an instrument
/// is not at fault for the time before a recording.
const LATE_START_S: f64 = 10.0;

/// Runs the job; `progress` is told the share of the recording that has been read.
pub fn run(job: &Job, progress: &mut dyn FnMut(f64)) -> Result<(), Failure> {
    let ids: Vec<&str> = job
        .configuration
        .instruments
        .iter()
        .map(|each| each.instrument.id.as_str())
        .collect();
    let mut recording = Recording::open(&job.data, &ids)?;
    let samples = match &job.samples {
        Some(path) => samples::read(path)?,
        None => Vec::new(),
    };
    let Some(first) = recording.next_row()? else {
        return Err(DataFault::Empty {
            path: job.data.clone(),
            text: "there are no rows below the header; a recording needs at least one".to_owned(),
        }
        .into());
    };
    let start = if (0.0..=LATE_START_S).contains(&first.at.seconds()) {
        Moment::ZERO
    } else {
        first.at
    };
    let corrections = match &job.corrections {
        Some(path) => corrections::read(path, &ids, start)?,
        None => Corrections::default(),
    };
    let samples = samples.into_iter();
    let mut beside: Vec<(Moment, Event)> = samples
        .map(|(at, sample)| (at, Event::Sample(sample)))
        .chain(corrections.changes)
        .collect();
    beside.sort_by_key(|(at, _)| *at);
    let mut player = Player {
        supervisor: engine::supervisor(&job.configuration),
        writer: Writer::open(job.results.as_deref())?,
        keeper: Keeper::open(job, start)?,
        beside: beside.into_iter().peekable(),
    };
    let profile = player.keeper.as_ref().and_then(Keeper::profile);
    player.give(
        Event::BrewStarted {
            plan: Box::new(job.plan.clone()),
            zero: Moment::ZERO,
            profile,
            corrections: corrections.at_start,
        },
        start,
    )?;
    let mut last = first.at;
    let mut next = Some(first);
    while let Some(row) = next {
        player.play(&row)?;
        last = row.at;
        progress(recording.share_read());
        next = recording.next_row()?;
    }
    player.finish(last)
}

struct Player {
    supervisor: Supervisor,
    writer: Writer,
    keeper: Option<Keeper>,
    /// What people did beside the readings: samples and corrections.
    beside: std::iter::Peekable<std::vec::IntoIter<(Moment, Event)>>,
}

impl Player {
    fn play(&mut self, row: &Row) -> Result<(), Failure> {
        // It belongs after the readings of its own moment.
        while let Some((at, event)) = self.beside.next_if(|(at, _)| *at < row.at) {
            self.give(event, at)?;
        }
        for (instrument, value) in &row.values {
            let reading = Reading {
                value: Ok(*value),
                status: Status::Good,
                at: row.at,
            };
            self.give(
                Event::Reading {
                    instrument: *instrument,
                    reading,
                },
                row.at,
            )?;
        }
        Ok(())
    }

    fn finish(mut self, last: Moment) -> Result<(), Failure> {
        let end = self
            .beside
            .clone()
            .map(|(at, _)| at)
            .fold(last, Moment::max);
        while let Some((at, event)) = self.beside.next() {
            self.give(event, at.max(last))?;
        }
        self.give(Event::BrewEnded, end)?;
        if let Some(keeper) = self.keeper {
            keeper.close(end)?;
        }
        self.writer.close()
    }

    fn give(&mut self, event: Event, at: Moment) -> Result<(), Failure> {
        if let Some(keeper) = &mut self.keeper {
            keeper.event(event.clone(), at);
        }
        self.supervisor.handle(event, at);
        while let Some(dated) = self.supervisor.poll_output() {
            self.writer.write(&dated)?;
            if let Some(keeper) = &mut self.keeper {
                keeper.output(dated)?;
            }
        }
        Ok(())
    }
}

/// Lines of JSON, to a file or to standard output.
struct Writer {
    sink: BufWriter<Box<dyn Write>>,
    name: String,
}

impl Writer {
    fn open(path: Option<&Path>) -> Result<Self, Failure> {
        let (sink, name): (Box<dyn Write>, String) = match path {
            Some(path) => {
                let file = File::create(path).map_err(|error| {
                    let path = path.display();
                    Failure::new(
                        Kind::Io,
                        format!("{path}: cannot be written: {error}; name a file in a directory that can be written to"),
                    )
                })?;
                (Box::new(file), path.display().to_string())
            }
            None => (Box::new(io::stdout()), "standard output".to_owned()),
        };
        Ok(Self {
            sink: BufWriter::new(sink),
            name,
        })
    }

    fn write(&mut self, dated: &Dated) -> Result<(), Failure> {
        let Output::Line(line) = &dated.output else {
            return Ok(());
        };
        let written = serde_json::to_writer(&mut self.sink, line)
            .map_err(io::Error::from)
            .and_then(|()| self.sink.write_all(b"\n"));
        written.map_err(|error| self.failed(&error))
    }

    fn close(mut self) -> Result<(), Failure> {
        self.sink.flush().map_err(|error| self.failed(&error))
    }

    fn failed(&self, error: &io::Error) -> Failure {
        Failure::new(
            Kind::Io,
            format!(
                "{}: cannot be written: {error}; what was written is not the whole",
                self.name
            ),
        )
    }
}
