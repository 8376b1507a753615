//! `lauterd check-config`: the resolved instruments as a table, and every error at once.

use std::path::PathBuf;

use clap::Args;

use crate::exit::Failure;

/// Checks a configuration file: prints the resolved instruments, or everything that is wrong with it.
#[derive(Debug, Args)]
pub struct Arguments {
    pub file: PathBuf,
}

pub fn run(_arguments: &Arguments) -> Result<(), Failure> {
    Ok(())
}
