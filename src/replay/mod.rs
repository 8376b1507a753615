//! Recorded instruments through the same supervisor as the live service, as fast as it can.
//!
//! Owns the order in which rows, samples and the brew's ends are given to the engine, and where the lines go.
//! It reads no clock but to date the record: the recording's own clock is the only time the engine sees.

mod corrections;
mod fault;
pub mod folder;
mod gaps;
mod keep;
mod recording;
mod samples;
mod writer;

use std::path::PathBuf;

use lauter_core::alarm::AlarmState;
use lauter_core::projection::Plan;
use lauter_core::reading::{Moment, Reading, Status};
use lauter_core::supervisor::{Event, Line, Output, SummaryLine, Supervisor};

use corrections::Corrections;
pub use fault::DataFault;
use keep::Keeper;
pub use recording::{Recording, Row};
pub use samples::read as read_samples;
use writer::Writer;

use crate::config::Configuration;
use crate::engine;
use crate::exit::Failure;

/// What to replay and where the answers go.
#[derive(Clone, Debug)]
pub struct Job {
    pub configuration: Configuration,
    pub plan: Plan,
    pub data: PathBuf,
    pub beside: Beside,
    pub store: Option<PathBuf>,
    pub results: Results,
}

/// Files beside the recording; each may be left out.
#[derive(Clone, Debug, Default)]
pub struct Beside {
    pub samples: Option<PathBuf>,
    /// Without them the instruments are taken as they were recorded.
    pub corrections: Option<PathBuf>,
    /// Without them a time in which nobody watched is one in which every instrument was silent.
    pub gaps: Option<PathBuf>,
}

/// Where the lines go.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Results {
    StandardOutput,
    File(PathBuf),
    Nowhere,
}

/// What a replay came to.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Told {
    pub summary: Option<SummaryLine>,
    /// Alarms that were annunciated.
    pub alarms: u32,
}

/// The watch begins at nought where the recording begins with it, and else with the first row: an instrument
/// is not at fault for the time before a recording.
const LATE_START_S: f64 = 10.0;

/// Runs the job; `progress` is told the share of the recording that has been read.
pub fn run(job: &Job, progress: &mut dyn FnMut(f64)) -> Result<Told, Failure> {
    let ids: Vec<&str> = job
        .configuration
        .instruments
        .iter()
        .map(|each| each.instrument.id.as_str())
        .collect();
    let mut recording = Recording::open(&job.data, &ids)?;
    let samples = match &job.beside.samples {
        Some(path) => samples::read(path)?,
        None => Vec::new(),
    };
    let mut row = Row::default();
    if !recording.next_row(&mut row)? {
        return Err(DataFault::Empty {
            path: job.data.clone(),
            text: "there are no rows below the header; a recording needs at least one".to_owned(),
        }
        .into());
    }
    let start = if (0.0..=LATE_START_S).contains(&row.at.seconds()) {
        Moment::ZERO
    } else {
        row.at
    };
    let gaps = match &job.beside.gaps {
        Some(path) => gaps::read(path)?,
        None => Vec::new(),
    };
    let corrections = match &job.beside.corrections {
        Some(path) => corrections::read(path, &ids, start)?,
        None => Corrections::default(),
    };
    let mut beside = samples;
    beside.extend(corrections.changes);
    beside.extend(gaps);
    beside.sort_by_key(|(at, _)| *at);
    let mut player = Player {
        supervisor: engine::supervisor(&job.configuration),
        writer: Writer::open(&job.results)?,
        told: Told::default(),
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
    loop {
        player.play(&row)?;
        progress(recording.share_read());
        if !recording.next_row(&mut row)? {
            break;
        }
    }
    player.finish(row.at)
}

struct Player {
    supervisor: Supervisor,
    writer: Writer,
    told: Told,
    keeper: Option<Keeper>,
    /// What there was beside the readings: samples, corrections, gaps.
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

    fn finish(mut self, last: Moment) -> Result<Told, Failure> {
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
        self.writer.close()?;
        Ok(self.told)
    }

    fn give(&mut self, event: Event, at: Moment) -> Result<(), Failure> {
        if let Some(keeper) = &mut self.keeper {
            keeper.event(event.clone(), at);
        }
        self.supervisor.handle(event, at);
        while let Some(dated) = self.supervisor.poll_output() {
            self.writer.write(&dated)?;
            self.told.note(&dated.output);
            if let Some(keeper) = &mut self.keeper {
                keeper.output(dated)?;
            }
        }
        Ok(())
    }
}

impl Told {
    fn note(&mut self, output: &Output) {
        match output {
            Output::Line(Line::Summary(summary)) => self.summary = Some(summary.clone()),
            Output::Line(Line::Alarm(line)) if line.to == AlarmState::Unacknowledged => {
                self.alarms += 1;
            }
            _ => {}
        }
    }
}
