//! `lauterd commission`: proves an installation before its first brew.
//!
//! Owns what is asked for and the order of the walk. Its parts read and listen; what they simulate is served on this
//! machine and published under names that say so.

#[cfg(feature = "demo")]
mod alarms;
mod checked;
#[cfg(feature = "demo")]
mod dry_run;
#[cfg(feature = "demo")]
mod provocations;
#[cfg(feature = "demo")]
mod rehearsal;
#[cfg(feature = "demo")]
mod running;
#[cfg(feature = "demo")]
mod simulated;
#[cfg(feature = "demo")]
mod trial;
mod walk;
mod watched;

use clap::{Args, Subcommand};

use crate::exit::Failure;

/// Walks through the commissioning of a tun and writes the acceptance sheet
///
/// It looks at every link and instrument, asks whether signs and units can be right, looks up each
/// instrument's last loop check, provokes every alarm on a simulated
/// brewhouse and sees it at the broker, and runs a whole simulated run-off with the tun's own settings. It writes to no
/// instrument. Nothing of the test appears below the site's own topics.
#[derive(Debug, Args)]
#[command(
    args_conflicts_with_subcommands = true,
    after_help = "\
Exit codes: 0 nothing failed; 65 a line failed; 69 a link or the broker does not answer; 78 configuration.

Examples:
  lauterd commission --config tun-1.toml
  lauterd commission --config tun-1.toml --who \"A. Engineer\" --watch 120 --to tun-1-acceptance.html
  lauterd commission --config tun-1.toml --leave-out alarms,dry-run
  lauterd commission alarms --broker 127.0.0.1:1883
  lauterd commission alarms --config tun-1.toml

It supports judgement and is no safety function: interlocks and trips are proved by those who are licensed for it, by the
site's own procedure. Hot wort and liquor scald."
)]
pub struct Arguments {
    #[command(subcommand)]
    command: Option<Command>,
    #[command(flatten)]
    walk: walk::Walk,
}

#[derive(Debug, Subcommand)]
enum Command {
    #[cfg(feature = "demo")]
    Alarms(alarms::Alarms),
}

pub fn run(arguments: &Arguments) -> Result<(), Failure> {
    match &arguments.command {
        #[cfg(feature = "demo")]
        Some(Command::Alarms(asked)) => alarms::run(asked),
        _ => walk::run(&arguments.walk),
    }
}
