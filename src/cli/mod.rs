//! The command line: one module for each command, and what they share.

use std::process::ExitCode;

use clap::{Parser, Subcommand};

use crate::exit::{Failure, Kind};

mod calc;
mod check_config;
#[cfg(feature = "demo")]
mod demo;
#[cfg(feature = "demo")]
mod demo_text;
mod replay;
mod run;

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
    #[cfg(feature = "demo")]
    Demo(demo::Arguments),
    Run(run::Arguments),
    Replay(replay::Arguments),
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
        #[cfg(feature = "demo")]
        Command::Demo(arguments) => demo::run(&arguments),
        Command::Run(arguments) => run::run(&arguments),
        Command::Replay(arguments) => replay::run(&arguments),
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
