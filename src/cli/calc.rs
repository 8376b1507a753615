//! `lauterd calc`: the brewer's arithmetic, with formula and source.

use clap::Args;

use crate::exit::Failure;

/// The brewer's arithmetic: each answer with its formula and its source.
#[derive(Debug, Args)]
pub struct Arguments {}

pub fn run(_arguments: &Arguments) -> Result<(), Failure> {
    Ok(())
}
