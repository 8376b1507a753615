//! `lauterd replay`: recorded instruments through the supervisor, one brew or a folder of them.

mod folder;

use std::io::{IsTerminal, Write};
use std::path::{Path, PathBuf};

use clap::Args;

use crate::config::{self, Configuration};
use crate::exit::{Failure, Kind};
use crate::replay::{self, Beside, Job, Results};

/// Runs recorded instruments through the same watch as the live service, as fast as it can.
///
/// Writes one JSON object a line, in time order: projections, alarms, the brewer's table and a summary. With a folder,
/// every brew in it is replayed, several at a time, and one table says how each came out.
#[derive(Debug, Args)]
#[command(after_help = "Examples:
  lauterd replay --config config/lauterd.toml --plan plan.toml --data RUN.csv
  lauterd replay --config tun.toml --plan plan.toml --data RUN.csv --samples SAMPLES.csv --results OUT.jsonl
  lauterd replay --config tun.toml --plan plan.toml --data RUN.csv --store DIR   (keeps the brew)
  lauterd replay brews/ --config tun.toml             (every brew in a folder; one table)
  lauterd replay brews/ --results lines/              (and each brew's lines, in lines/NAME.jsonl)")]
pub struct Arguments {
    /// Folder of brews: in each folder RUN.csv, plan.toml and perhaps samples.csv, corrections.jsonl, gaps.csv and
    /// config.toml.
    #[arg(value_name = "FOLDER", conflicts_with_all = ["plan", "data", "samples", "corrections", "gaps"])]
    folder: Option<PathBuf>,
    /// Configuration of the tun whose instruments were recorded; of a folder, for brews without a config.toml of
    /// their own.
    #[arg(long, value_name = "FILE", required_unless_present = "folder")]
    config: Option<PathBuf>,
    /// Run-off plan of the brew.
    #[arg(long, value_name = "FILE", required_unless_present = "folder")]
    plan: Option<PathBuf>,
    /// Recording: first column elapsed_s or time, the others instrument ids.
    #[arg(long, value_name = "CSV", required_unless_present = "folder")]
    data: Option<PathBuf>,
    /// Hand samples: elapsed_s,place,gravity_p,ph,volume_l.
    #[arg(long, value_name = "CSV")]
    samples: Option<PathBuf>,
    /// Corrections of instruments, as `lauterd brew export` writes them: corrections.jsonl.
    #[arg(long, value_name = "JSONL")]
    corrections: Option<PathBuf>,
    /// Times in which nobody watched, as `lauterd brew export` writes them: gaps.csv.
    #[arg(long, value_name = "CSV")]
    gaps: Option<PathBuf>,
    /// Directory of a store in which the brew is kept; made if it is not there. A folder's brews teach the tun one
    /// after the other.
    #[arg(long, value_name = "DIR")]
    store: Option<PathBuf>,
    /// File for the lines instead of standard output; of a folder, a directory.
    #[arg(long, value_name = "FILE")]
    results: Option<PathBuf>,
    /// Brews at a time; as many as there are processors unless given.
    #[arg(long, value_name = "N", requires = "folder", value_parser = clap::value_parser!(u16).range(1..=256))]
    jobs: Option<u16>,
}

pub fn run(arguments: &Arguments) -> Result<(), Failure> {
    match (arguments, &arguments.folder) {
        (_, Some(folder)) => folder::run(folder, arguments),
        (
            Arguments {
                config: Some(config),
                plan: Some(plan),
                data: Some(data),
                ..
            },
            None,
        ) => one(config, plan, data, arguments),
        _ => Err(Failure::new(
            Kind::Usage,
            "name a folder of brews, or --config, --plan and --data",
        )),
    }
}

fn one(config: &Path, plan: &Path, data: &Path, arguments: &Arguments) -> Result<(), Failure> {
    let job = job(
        config::load_offline(config)?,
        plan,
        data,
        Beside {
            samples: arguments.samples.clone(),
            corrections: arguments.corrections.clone(),
            gaps: arguments.gaps.clone(),
        },
        arguments.store.clone(),
        match &arguments.results {
            Some(path) => Results::File(path.clone()),
            None => Results::StandardOutput,
        },
    )?;
    let shown = std::io::stderr().is_terminal();
    let mut last_percent = 0;
    let outcome = replay::run(&job, &mut |share| {
        let percent = (share * 100.0) as u32;
        if shown && percent != last_percent {
            last_percent = percent;
            eprint!("\rreplaying {}: {percent} %", job.data.display());
            let _ = std::io::stderr().flush();
        }
    });
    if shown && last_percent > 0 {
        eprintln!();
    }
    outcome.map(|_| ())
}

/// A replay whose plan goes with its configuration.
fn job(
    configuration: Configuration,
    plan: &Path,
    data: &Path,
    beside: Beside,
    store: Option<PathBuf>,
    results: Results,
) -> Result<Job, Failure> {
    let plan = config::load_plan(plan)?;
    let faults = configuration.check_plan(&plan);
    if !faults.is_empty() {
        let text: Vec<String> = faults.iter().map(ToString::to_string).collect();
        return Err(Failure::new(Kind::Configuration, text.join("\n")));
    }
    Ok(Job {
        configuration,
        plan,
        data: data.to_owned(),
        beside,
        store,
        results,
    })
}
