//! `lauterd calc`: the brewer's arithmetic, with formula and source.
//!
//! Owns which calculations there are and how they are asked for. The physics is the core's; nothing here knows
//! instruments or a running brew.

mod answer;
mod gravity;
mod kettle;
mod limits;
mod ph;

use std::io::{ErrorKind, Write as _};

use clap::{Args, Subcommand};

use crate::exit::{Failure, Kind};
use answer::Answer;

/// The brewer's arithmetic: each answer with its formula and its source.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  lauterd calc convert 1.0484 --from sg
  lauterd calc mix --portion 5000,16,75 --portion 1000,3,75
  lauterd calc dilute --volume-l 5000 --gravity-p 13 --temperature-c 75 --target-gravity-p 12.4
  lauterd calc flow --volume-l 5500 --minutes 90 --json")]
pub struct Arguments {
    /// Give the answer as JSON, unrounded
    #[arg(long, global = true)]
    json: bool,
    #[command(subcommand)]
    calculation: Calculation,
}

#[derive(Debug, Subcommand)]
enum Calculation {
    Convert(gravity::Convert),
    Density(gravity::Density),
    Mix(kettle::Mix),
    Dilute(kettle::Dilute),
    Contraction(kettle::Contraction),
    Flow(kettle::Flow),
    BrewLength(kettle::BrewLength),
    Extract(kettle::Extract),
    Ph(ph::Shift),
}

impl Calculation {
    fn answer(&self) -> Result<Answer, Failure> {
        match self {
            Self::Convert(arguments) => arguments.answer(),
            Self::Density(arguments) => arguments.answer(),
            Self::Mix(arguments) => arguments.answer(),
            Self::Dilute(arguments) => arguments.answer(),
            Self::Contraction(arguments) => arguments.answer(),
            Self::Flow(arguments) => arguments.answer(),
            Self::BrewLength(arguments) => arguments.answer(),
            Self::Extract(arguments) => arguments.answer(),
            Self::Ph(arguments) => arguments.answer(),
        }
    }
}

pub fn run(arguments: &Arguments) -> Result<(), Failure> {
    let answer = arguments.calculation.answer()?;
    let text = if arguments.json {
        answer.json()
    } else {
        answer.text()
    };
    match writeln!(std::io::stdout().lock(), "{text}") {
        // A reader that has seen enough (`| head`) is no failure.
        Err(error) if error.kind() != ErrorKind::BrokenPipe => Err(Failure::new(
            Kind::Io,
            format!("cannot write the answer to standard output: {error}"),
        )),
        _ => Ok(()),
    }
}
