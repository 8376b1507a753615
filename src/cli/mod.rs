//! The command line: one module for each command, and what they share.

use std::io::Write as _;
use std::process::ExitCode;

use clap::{Parser, Subcommand};

use crate::exit::{Failure, Kind};

mod alarms;
mod backup;
mod beside;
mod brew;
mod calc;
mod check_config;
mod client;
mod commission;
#[cfg(feature = "demo")]
mod demo;
#[cfg(feature = "demo")]
mod demo_text;
mod loop_check;
mod probe;
mod record;
mod replay;
mod report;
mod run;
mod sample;
mod status;
mod text;
mod tun;
mod user;
mod written;

/// Watches a lauter run-off through inline instruments and tells the brewer what to do next.
#[derive(Debug, Parser)]
#[command(name = "lauterd", version, propagate_version = true, after_help = EXAMPLES)]
pub struct Arguments {
    #[command(subcommand)]
    command: Command,
}

const EXAMPLES: &str = "First steps:
  lauterd demo                                    see it at work; nothing else is needed
  lauterd check-config tun-1.toml                 what the file says, or everything wrong with it
  lauterd run --config tun-1.toml                 watch the tun
  lauterd brew start --config tun-1.toml --plan plan.toml
  lauterd status --config tun-1.toml              where the run-off stands
  lauterd report 2026-0412 --output report.html   the record of a brew, to read and to print
  lauterd tun show --config tun-1.toml            what earlier brews taught about the tun
  lauterd calc dilute --help                      the brewer's arithmetic

It advises; people and interlocks act. Hot wort and liquor scald.";

#[derive(Debug, Subcommand)]
enum Command {
    #[cfg(feature = "demo")]
    Demo(demo::Arguments),
    CheckConfig(check_config::Arguments),
    Probe(probe::Arguments),
    Commission(commission::Arguments),
    Run(run::Arguments),
    Brew(brew::Arguments),
    Sample(sample::Arguments),
    LoopCheck(loop_check::Arguments),
    Alarms(alarms::Arguments),
    Status(status::Arguments),
    Tun(tun::Arguments),
    User(user::UserArguments),
    Token(user::TokenArguments),
    Report(report::Arguments),
    Record(record::Arguments),
    Replay(replay::Arguments),
    Backup(backup::Arguments),
    Calc(calc::Arguments),
}

/// Runs the command line and returns the exit code; failures are written to standard error.
pub fn main() -> ExitCode {
    let arguments = match Arguments::try_parse() {
        Ok(arguments) => arguments,
        Err(error) => {
            let _ = error.print();
            return if error.use_stderr() {
                ExitCode::from(Kind::Usage.code())
            } else {
                ExitCode::SUCCESS
            };
        }
    };
    let outcome = match arguments.command {
        Command::CheckConfig(arguments) => check_config::run(&arguments),
        Command::Calc(arguments) => calc::run(&arguments),
        Command::Probe(arguments) => probe::run(&arguments),
        Command::Commission(arguments) => commission::run(&arguments),
        #[cfg(feature = "demo")]
        Command::Demo(arguments) => demo::run(&arguments),
        Command::Run(arguments) => run::run(&arguments),
        Command::Record(arguments) => record::run(&arguments),
        Command::Replay(arguments) => replay::run(&arguments),
        Command::Backup(arguments) => backup::run(&arguments),
        Command::Brew(arguments) => brew::run(&arguments),
        Command::Report(arguments) => report::run(&arguments),
        Command::Sample(arguments) => sample::run(&arguments),
        Command::LoopCheck(arguments) => loop_check::run(&arguments),
        Command::Alarms(arguments) => alarms::run(&arguments),
        Command::Status(arguments) => status::run(&arguments),
        Command::Tun(arguments) => tun::run(&arguments),
        Command::User(arguments) => user::user(&arguments),
        Command::Token(arguments) => user::token(&arguments),
    };
    match outcome {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => told(&failure),
    }
}

fn told(failure: &Failure) -> ExitCode {
    // Whoever has closed standard error still gets the exit code.
    let _ = writeln!(std::io::stderr(), "lauterd: {failure}");
    failure.exit_code()
}
