//! Commands and exit codes of the `simulators` program.

mod control;
mod play;
mod serve;
mod study;

use std::fs;
use std::io::Write as _;
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use crate::play::PlayError;
use crate::record::RecordError;
use crate::serve::ServeError;
use crate::study::plots::PlotError;
use crate::{Scenario, ScenarioError, built_in, lauterd_files, record};
use clap::{CommandFactory as _, Parser, Subcommand};

const EXAMPLES: &str = "\
Examples:
  simulators serve orchard-ale-channel --speed 60
  simulators serve small-rtu --rtu pty --truth truth.jsonl
  simulators serve three-makes --control 127.0.0.1:5599 --write-config tun.toml
  simulators inject --at 127.0.0.1:5599 freeze runnings_density for_s=120
  simulators play brew-2026-0412/RUN.csv --config tun-1.toml --speed 10 --write-config played.toml
  simulators record harbour-stout --seed 7 --into harbour
  simulators show three-makes > ours.toml
  simulators draw --seed 42 > brew.toml
  simulators check ours.toml brew.toml
  simulators study --brews 200 --json study.json --plots plots
  simulators config hill-lager > hill-lager.toml";

/// A simulated brewhouse: lauter tun, kettle, and the instruments that watch the run-off.
#[derive(Debug, Parser)]
#[command(version, after_help = EXAMPLES)]
struct Cli {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Serves a brewhouse live over Modbus and MQTT. Reads commands from standard input; `help` lists them.
    #[command(after_help = crate::fault::HELP)]
    Serve(serve::Serve),
    /// Lets something happen in a brewhouse that is being served, from another terminal.
    #[command(after_help = crate::fault::HELP)]
    Inject(control::Inject),
    Play(play::Play),
    /// Simulates a whole brew and writes the files of a replay: RUN.csv, samples.csv, config.toml, plan.toml, and
    /// the truth in truth.csv and truth.json.
    Record {
        /// Scenario: a file, or the name of one that is built in.
        scenario: PathBuf,
        /// Seed of all randomness; without it the scenario's own.
        #[arg(long)]
        seed: Option<u64>,
        /// Directory to write into; made if it is not there.
        #[arg(long)]
        into: PathBuf,
    },
    /// Prints a scenario that is built in, to be changed; without a name, lists them.
    Show {
        #[arg(value_name = "NAME")]
        name: Option<String>,
    },
    /// Prints an invented scenario.
    Draw {
        #[arg(long)]
        seed: u64,
    },
    /// Checks scenario files and names every error with key and line.
    Check {
        #[arg(required = true)]
        scenarios: Vec<PathBuf>,
    },
    /// Runs many invented brews under the real supervisor and prints how well it did.
    Study(study::Study),
    /// Prints lauterd's configuration for a scenario, or its run-off plan.
    Config {
        /// Scenario: a file, or the name of one that is built in.
        scenario: PathBuf,
        /// The plan instead of the configuration.
        #[arg(long)]
        plan: bool,
    },
}

/// The command line, for manual pages and completions.
pub fn command() -> clap::Command {
    Cli::command()
}

/// What went wrong, with its exit code.
#[derive(Debug, thiserror::Error)]
enum Failure {
    #[error(
        "{}: {source}; name a scenario file that can be read, or one of those built in: {}",
        path.display(),
        built_in::names()
    )]
    NoInput {
        path: PathBuf,
        source: std::io::Error,
    },
    #[error("{}: {source}", path.display())]
    Scenario {
        path: PathBuf,
        source: ScenarioError,
    },
    #[error(transparent)]
    Record(#[from] RecordError),
    #[error(transparent)]
    Serve(ServeError),
    #[error(transparent)]
    Play(#[from] PlayError),
    #[error("{address}: {source}; is a brewhouse served with --control at this address?")]
    Unreachable {
        address: SocketAddr,
        source: std::io::Error,
    },
    #[error("{0}")]
    Refused(String),
    #[error("{}: {source}; name a file that can be written", path.display())]
    Output {
        path: PathBuf,
        source: std::io::Error,
    },
    #[error(transparent)]
    Plot(#[from] PlotError),
    #[error("cannot run: {0}")]
    Runtime(std::io::Error),
}

impl Failure {
    fn exit_code(&self) -> u8 {
        match self {
            Self::NoInput { .. } => 66,
            Self::Scenario { .. } => 78,
            Self::Serve(ServeError::Speed(_) | ServeError::NoSuchLink(_)) | Self::Refused(_) => 64,
            Self::Serve(_) | Self::Unreachable { .. } => 69,
            Self::Play(error) => error.exit_code(),
            Self::Record(_) | Self::Output { .. } | Self::Plot(_) | Self::Runtime(_) => 74,
        }
    }
}

pub fn main() -> ExitCode {
    let cli = match Cli::try_parse() {
        Ok(cli) => cli,
        Err(error) => {
            let code = if error.use_stderr() { 64 } else { 0 };
            let _ = error.print();
            return ExitCode::from(code);
        }
    };
    match run(cli.command) {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => {
            eprintln!("simulators: {failure}");
            ExitCode::from(failure.exit_code())
        }
    }
}

fn run(command: Command) -> Result<(), Failure> {
    match command {
        Command::Serve(arguments) => {
            serve::run(&read(&arguments.scenario)?, &arguments)?;
        }
        Command::Inject(arguments) => control::inject(&arguments)?,
        Command::Play(arguments) => play::run(&arguments)?,
        Command::Record {
            scenario,
            seed,
            into,
        } => {
            let scenario = read(&scenario)?;
            let outcome = record::record(&scenario, seed.unwrap_or(scenario.seed), &into)?;
            print(&serde_json::to_string_pretty(&outcome.crossings).expect("finite numbers"));
        }
        Command::Show { name } => show(name.as_deref())?,
        Command::Draw { seed } => print(&Scenario::draw(seed).to_toml()),
        Command::Check { scenarios } => check(&scenarios)?,
        Command::Study(arguments) => study::run(&arguments)?,
        Command::Config { scenario, plan } => {
            let scenario = read(&scenario)?;
            let text = if plan {
                lauterd_files::plan(&scenario)
            } else {
                lauterd_files::configuration(&scenario)
            };
            print(text.trim_end());
        }
    }
    Ok(())
}

/// Every file is checked; the first failure decides the exit code.
fn check(paths: &[PathBuf]) -> Result<(), Failure> {
    let mut first = None;
    for path in paths {
        match read(path) {
            Ok(scenario) => print(&format!("{}: {} is fine", path.display(), scenario.name)),
            Err(failure) if first.is_none() => first = Some(failure),
            Err(failure) => eprintln!("simulators: {failure}"),
        }
    }
    first.map_or(Ok(()), Err)
}

fn show(name: Option<&str>) -> Result<(), Failure> {
    let Some(name) = name else {
        for (name, text) in built_in::ALL {
            print(&format!("{name:<20}  {}", built_in::what_it_is(text)));
        }
        return Ok(());
    };
    let text = built_in::named(name).ok_or_else(|| {
        let known = built_in::names();
        Failure::Refused(format!(
            "{name}: no such scenario is built in; there are {known}"
        ))
    })?;
    print(text.trim_end());
    Ok(())
}

/// A file, or else what is built in under this name.
fn read(path: &Path) -> Result<Scenario, Failure> {
    let text = match fs::read_to_string(path) {
        Ok(text) => text,
        Err(source) => path
            .to_str()
            .and_then(built_in::named)
            .map(str::to_owned)
            .ok_or_else(|| Failure::NoInput {
                path: path.to_owned(),
                source,
            })?,
    };
    Scenario::from_toml(&text).map_err(|source| Failure::Scenario {
        path: path.to_owned(),
        source,
    })
}

/// A closed pipe at the other end is not an error.
fn print(text: &str) {
    let _ = writeln!(std::io::stdout(), "{text}");
}
