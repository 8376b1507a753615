//! `lauterd replay`: recorded instruments through the supervisor.

use std::io::{IsTerminal, Write};
use std::path::PathBuf;

use clap::Args;

use crate::config;
use crate::exit::{Failure, Kind};
use crate::replay::{self, Job};

/// Runs recorded instruments through the same watch as the live service, as fast as it can.
///
/// Writes one JSON object a line, in time order: projections, alarms, the brewer's table and a summary.
#[derive(Debug, Args)]
#[command(after_help = "Examples:
  lauterd replay --config config/lauterd.toml --plan plan.toml --data RUN.csv
  lauterd replay --config tun.toml --plan plan.toml --data RUN.csv --samples SAMPLES.csv --results OUT.jsonl
  lauterd replay --config tun.toml --plan plan.toml --data RUN.csv --store DIR   (keeps the brew)")]
pub struct Arguments {
    /// Configuration of the tun whose instruments were recorded.
    #[arg(long, value_name = "FILE")]
    config: PathBuf,
    /// Run-off plan of the brew.
    #[arg(long, value_name = "FILE")]
    plan: PathBuf,
    /// Recording: first column elapsed_s or time, the others instrument ids.
    #[arg(long, value_name = "CSV")]
    data: PathBuf,
    /// Hand samples: elapsed_s,place,gravity_p,ph,volume_l.
    #[arg(long, value_name = "CSV")]
    samples: Option<PathBuf>,
    /// Corrections of instruments, as `lauterd brew export` writes them: corrections.jsonl.
    #[arg(long, value_name = "JSONL")]
    corrections: Option<PathBuf>,
    /// Directory of a store in which the brew is kept; made if it is not there.
    #[arg(long, value_name = "DIR")]
    store: Option<PathBuf>,
    /// File for the lines instead of standard output.
    #[arg(long, value_name = "FILE")]
    results: Option<PathBuf>,
}

pub fn run(arguments: &Arguments) -> Result<(), Failure> {
    let configuration = config::load_offline(&arguments.config)?;
    let plan = config::load_plan(&arguments.plan)?;
    let faults = configuration.check_plan(&plan);
    if !faults.is_empty() {
        let text: Vec<String> = faults.iter().map(ToString::to_string).collect();
        return Err(Failure::new(Kind::Configuration, text.join("\n")));
    }
    let job = Job {
        configuration,
        plan,
        data: arguments.data.clone(),
        samples: arguments.samples.clone(),
        corrections: arguments.corrections.clone(),
        store: arguments.store.clone(),
        results: arguments.results.clone(),
    };
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
    outcome
}
