//! `lauterd brew`: starting and ending a brew of the running service, and looking into its record.

mod export;
mod list;
mod start;
mod table;

use clap::{Args, Subcommand};

use super::client::{Client, ServiceOptions, tun_path};
use crate::exit::{Failure, Kind};
use crate::runtime::request::TunStatus;
use crate::web::wire::{RecordedBrew, RecordedBrews, ServedTun};

/// Starts, ends, lists, shows and exports brews of the running service
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  lauterd brew start --plan plan.toml
  lauterd brew table
  lauterd brew end
  lauterd brew list --tun north-yard/tun-1
  lauterd brew export 2026-0412 --into brew-2026-0412")]
pub struct Arguments {
    #[command(subcommand)]
    command: Command,
    #[command(flatten)]
    service: ServiceOptions,
}

#[derive(Debug, Subcommand)]
enum Command {
    Start(start::Arguments),
    End(EndArguments),
    List(list::Arguments),
    Table(table::Arguments),
    Export(export::Arguments),
}

/// Ends the brew under way
///
/// The record is closed and the tun's profile may learn from it.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  lauterd brew end
  lauterd brew end --config /etc/lauterd/tun-1.toml")]
struct EndArguments {}

pub fn run(arguments: &Arguments) -> Result<(), Failure> {
    let client = arguments.service.client();
    match &arguments.command {
        // The plan is looked at first: what is wrong with it needs no service to be said.
        Command::Start(start) => start::run(start, client),
        Command::End(EndArguments {}) => start::end(&client?),
        Command::List(list) => list::run(list, &client?),
        Command::Table(table) => table::run(table, &client?),
        Command::Export(export) => export::run(export, &client?),
    }
}

/// The newest brews of a tun.
fn newest(client: &Client, tun: &ServedTun, limit: usize) -> Result<RecordedBrews, Failure> {
    let path = tun_path(tun, &["brews"]);
    client.get(&format!("{path}?limit={limit}"))
}

/// The brew under way, where it is not in the record yet: words about it.
fn only_in_memory(client: &Client, tun: &ServedTun) -> Result<Option<String>, Failure> {
    let status: TunStatus = client.get(&tun_path(tun, &[]))?;
    let Some(brew) = status.brew else {
        return Ok(None);
    };
    let newest = newest(client, tun, 1)?.brews.pop();
    let recorded = newest.is_some_and(|newest| newest.brew == brew && newest.ended.is_none());
    Ok((!recorded).then(|| {
        format!(
            "brew {brew} is under way and kept in memory; its table is in the record as soon as it can be written"
        )
    }))
}

/// The brew of that id, or the newest. Words where that one is under way and not in the record yet: an older one must not
/// be taken for it.
fn named_or_newest(
    client: &Client,
    tun: &ServedTun,
    name: Option<&str>,
) -> Result<Result<RecordedBrew, String>, Failure> {
    if let Some(name) = name {
        return client.get(&tun_path(tun, &["brews", name])).map(Ok);
    }
    if let Some(words) = only_in_memory(client, tun)? {
        return Ok(Err(words));
    }
    let newest = newest(client, tun, 1)?.brews.pop();
    newest.map(Ok).ok_or_else(|| {
        Failure::new(
            Kind::Usage,
            format!("{tun} has no brew in its record yet; start one (lauterd brew start --plan PLAN.toml)"),
        )
    })
}
