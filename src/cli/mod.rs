//! The command line: one module for each command, and what they share.

use std::process::ExitCode;

use clap::{Parser, Subcommand};

use crate::exit::{Failure, Kind};

mod alarms;
mod brew;
mod calc;
mod check_config;
mod client;
mod sample;
mod status;
mod text;

/// Watches a lauter run-off through inline instruments and tells the brewer what to do next.
#[derive(Debug, Parser)]
#[command(name = "lauterd", version, propagate_version = true)]
pub struct Arguments {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    CheckConfig(check_config::Arguments),
    Calc(calc::Arguments),
    Brew(brew::Arguments),
    Sample(sample::Arguments),
    Alarms(alarms::Arguments),
    Status(status::Arguments),
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
        Command::Brew(arguments) => brew::run(&arguments),
        Command::Sample(arguments) => sample::run(&arguments),
        Command::Alarms(arguments) => alarms::run(&arguments),
        Command::Status(arguments) => status::run(&arguments),
    };
    match outcome {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => report(&failure),
    }
}

fn report(failure: &Failure) -> ExitCode {
    eprintln!("lauterd: {failure}");
    failure.exit_code()
}
