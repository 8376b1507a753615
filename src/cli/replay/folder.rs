//! `lauterd replay FOLDER`: every brew in a folder, and one table of how each came out.
//!
//! Owns the table, the line of progress and the exit code. What stands in the table is the summary of each replay.

use std::fs;
use std::io::{IsTerminal, Write};
use std::path::{Path, PathBuf};
use std::thread;

use super::Arguments;
use crate::cli::text::{Align, NONE, columns, elapsed, optional, print, words};
use crate::clock;
use crate::config::{self, Configuration};
use crate::exit::{Failure, Kind};
use crate::replay::folder::{self, CONFIGURATION, CORRECTIONS, DATA, GAPS, Outcome, PLAN, SAMPLES};
use crate::replay::{self, Beside, Results, Told};

/// Cells of the line of progress.
const BAR: usize = 30;

pub(super) fn run(folder: &Path, arguments: &Arguments) -> Result<(), Failure> {
    let brews = folder::brews(folder)?;
    let shared = match &arguments.config {
        Some(path) => Some(config::load_offline(path)?),
        None => None,
    };
    if let Some(directory) = &arguments.results {
        fs::create_dir_all(directory).map_err(|error| {
            let directory = directory.display();
            Failure::new(
                Kind::Io,
                format!("{directory}: cannot be made: {error}; name a directory that can be"),
            )
        })?;
    }
    let replay = |brew: &Path| replay(brew, shared.as_ref(), arguments);
    let mut outcomes: Vec<Option<Outcome>> = Vec::new();
    outcomes.resize_with(brews.len(), || None);
    let mut progress = Progress::new(brews.len());
    folder::replay_all(&brews, threads(arguments), &replay, |index, outcome| {
        outcomes[index] = Some(outcome);
        progress.another();
    });
    progress.end();
    let outcomes: Vec<Outcome> = outcomes.into_iter().flatten().collect();
    print(&table(&brews, &outcomes))?;
    verdict(&brews, outcomes)
}

/// Brews that teach a profile do so in turn.
fn threads(arguments: &Arguments) -> usize {
    if arguments.store.is_some() {
        return 1;
    }
    let processors = || thread::available_parallelism().map_or(1, usize::from);
    arguments.jobs.map_or_else(processors, usize::from)
}

fn replay(brew: &Path, shared: Option<&Configuration>, arguments: &Arguments) -> Outcome {
    let own = brew.join(CONFIGURATION);
    let configuration = match shared {
        _ if own.is_file() => config::load_offline(&own)?,
        Some(shared) => shared.clone(),
        None => {
            let text = format!(
                "{}: there is no {CONFIGURATION} in it; give --config",
                brew.display()
            );
            return Err(Failure::new(Kind::NoInput, text));
        }
    };
    let beside = |name: &str| Some(brew.join(name)).filter(|path| path.is_file());
    let results = match &arguments.results {
        Some(directory) => Results::File(directory.join(format!("{}.jsonl", name(brew)))),
        None => Results::Nowhere,
    };
    let job = super::job(
        configuration,
        &brew.join(PLAN),
        &brew.join(DATA),
        Beside {
            samples: beside(SAMPLES),
            corrections: beside(CORRECTIONS),
            gaps: beside(GAPS),
        },
        arguments.store.clone(),
        results,
    )?;
    replay::run(&job, &mut |_| {})
}

fn name(brew: &Path) -> String {
    brew.file_name().map_or_else(
        || "brew".to_owned(),
        |name| name.to_string_lossy().into_owned(),
    )
}

fn table(brews: &[PathBuf], outcomes: &[Outcome]) -> String {
    let heads = [
        "brew",
        "stop-point L",
        "at",
        "cause",
        "kettle °P",
        "extract kg",
        "alarms",
        "readings",
        "rejected",
    ];
    let mut rows = vec![heads.map(str::to_owned)];
    rows.extend(
        brews
            .iter()
            .zip(outcomes)
            .map(|(brew, outcome)| row(brew, outcome)),
    );
    let align = std::array::from_fn(|column| match column {
        0 | 3 => Align::Left,
        _ => Align::Right,
    });
    columns(align, &rows)
}

fn row(brew: &Path, outcome: &Outcome) -> [String; 9] {
    let mut cells: [String; 9] = std::array::from_fn(|_| NONE.to_owned());
    cells[0] = name(brew);
    match outcome {
        Ok(Told {
            summary: Some(summary),
            alarms,
        }) => {
            cells[1] = optional(summary.stop_volume_l, 0);
            cells[2] = summary.stop_elapsed_s.map_or(NONE.to_owned(), elapsed);
            cells[3] = words(&summary.stop_cause);
            cells[4] = optional(summary.kettle_gravity_p, 2);
            cells[5] = optional(summary.extract_kg, 1);
            cells[6] = alarms.to_string();
            cells[7] = summary.readings.to_string();
            cells[8] = summary.rejected.to_string();
        }
        Ok(Told { summary: None, .. }) => {}
        Err(_) => "could not be replayed".clone_into(&mut cells[3]),
    }
    cells
}

/// Everything that went wrong at once, with the code of the first.
fn verdict(brews: &[PathBuf], outcomes: Vec<Outcome>) -> Result<(), Failure> {
    let count = outcomes.len();
    let mut kind = None;
    let mut faults = Vec::new();
    for (brew, outcome) in brews.iter().zip(outcomes) {
        if let Err(failure) = outcome {
            kind.get_or_insert(failure.kind);
            faults.push(format!("{}: {}", name(brew), failure.message));
        }
    }
    let Some(kind) = kind else { return Ok(()) };
    faults.push(format!(
        "{} of {count} brews could not be replayed",
        faults.len()
    ));
    Err(Failure::new(kind, faults.join("\n")))
}

/// A line on a terminal that says how far it has come; nothing elsewhere.
struct Progress {
    shown: bool,
    done: usize,
    of: usize,
    percent: usize,
    started_s: f64,
}

impl Progress {
    fn new(of: usize) -> Self {
        Self {
            shown: std::io::stderr().is_terminal(),
            done: 0,
            of,
            percent: 0,
            started_s: now_s(),
        }
    }

    fn another(&mut self) {
        self.done += 1;
        let percent = 100 * self.done / self.of;
        if !self.shown || percent == self.percent {
            return;
        }
        self.percent = percent;
        let full = BAR * self.done / self.of;
        let left_s = (now_s() - self.started_s) / self.done as f64 * (self.of - self.done) as f64;
        eprint!(
            "\r[{}{}] {} of {} brews, {left_s:.0} s left ",
            "#".repeat(full),
            ".".repeat(BAR - full),
            self.done,
            self.of
        );
        let _ = std::io::stderr().flush();
    }

    fn end(&self) {
        if self.shown {
            eprintln!();
        }
    }
}

fn now_s() -> f64 {
    clock::wall_now().as_microsecond() as f64 / 1e6
}
