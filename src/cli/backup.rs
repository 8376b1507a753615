//! `lauterd backup`: a copy of the record while the service goes on, and its way back.

use std::path::{Path, PathBuf};

use clap::Args;

use super::text::print;
use crate::clock::wall_now;
use crate::config;
use crate::exit::Failure;
use crate::store::{Copied, DamagedBlocks, Database, StoreError};

/// Copies the record to another directory, while the service may be running; or puts a copy back.
#[derive(Debug, Args)]
#[command(after_help = "Examples:
  lauterd backup --config tun-1.toml --to /mnt/backup/2026-04-12
  systemctl stop lauterd && lauterd backup --config tun-1.toml --restore /mnt/backup/2026-04-12
The copy is of one moment and has been checked. Where blocks of readings are damaged, the copy is made all the same, the \
brews and stretches are named, and the exit code is 74. It is put back with --restore and not by hand: the log beside the old file \
would spoil it. What it replaces is kept beside it under another name.")]
pub struct Arguments {
    /// Configuration whose [store] directory is copied, or gets the copy back.
    #[arg(long, value_name = "FILE", default_value = "/etc/lauterd/lauterd.toml")]
    config: PathBuf,
    /// Directory for the copy; it must hold no record yet.
    #[arg(long, value_name = "DIR", required_unless_present = "restore")]
    to: Option<PathBuf>,
    /// Directory with a copy, to be put in place of the record; the service must be stopped.
    #[arg(long, value_name = "DIR", conflicts_with = "to")]
    restore: Option<PathBuf>,
}

pub fn run(arguments: &Arguments) -> Result<(), Failure> {
    let configuration = config::load(&arguments.config)?;
    let directory = &configuration.store.directory;
    if let Some(to) = &arguments.to {
        let copied = Database::open_read_only(directory)?.backup(to)?;
        let checked = if copied.damaged.is_empty() {
            "checked"
        } else {
            "made, and as damaged as the record"
        };
        print(&format!(
            "{} ({:.1} MB), {checked}\n",
            copied.path.display(),
            copied.bytes as f64 / 1e6
        ))?;
        whole(copied)?;
    }
    if let Some(from) = &arguments.restore {
        restore(directory, from)?;
    }
    Ok(())
}

fn restore(directory: &Path, from: &Path) -> Result<(), Failure> {
    let (placed, aside) = Database::restore(directory, from, wall_now())?;
    print(&format!(
        "{} ({:.1} MB) is the copy from {}\n",
        placed.path.display(),
        placed.bytes as f64 / 1e6,
        from.display()
    ))?;
    if let Some(aside) = aside {
        print(&format!(
            "the record of before is kept as {}\n",
            aside.display()
        ))?;
    }
    whole(placed)
}

/// A copy is worth having whatever is missing in it, but nobody must take it for the whole.
fn whole(copied: Copied) -> Result<(), Failure> {
    if copied.damaged.is_empty() {
        return Ok(());
    }
    let error = StoreError::DamagedBlocks {
        path: copied.path,
        blocks: DamagedBlocks(copied.damaged),
    };
    Err(error.into())
}
