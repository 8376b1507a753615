//! `lauterd backup`: a copy of the record while the service goes on.

use std::path::PathBuf;

use clap::Args;

use crate::config;
use crate::exit::Failure;
use crate::store::Database;

/// Copies the record to another directory; the service may be running.
#[derive(Debug, Args)]
#[command(after_help = "Examples:
  lauterd backup --config tun-1.toml --to /mnt/backup/2026-04-12
The copy is of one moment and has been checked. It is a store directory: to go back to it, stop the service and name it in
[store] directory, or copy its file there.")]
pub struct Arguments {
    /// Configuration whose [store] directory is copied.
    #[arg(long, value_name = "FILE", default_value = "/etc/lauterd/lauterd.toml")]
    config: PathBuf,
    /// Directory for the copy; it must hold no record yet.
    #[arg(long, value_name = "DIR")]
    to: PathBuf,
}

pub fn run(arguments: &Arguments) -> Result<(), Failure> {
    let configuration = config::load(&arguments.config)?;
    let database = Database::open_read_only(&configuration.store.directory)?;
    let copied = database.backup(&arguments.to)?;
    println!(
        "{} ({:.1} MB), checked",
        copied.path.display(),
        copied.bytes as f64 / 1e6
    );
    Ok(())
}
