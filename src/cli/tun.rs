//! `lauterd tun`: what earlier brews taught about a tun.
//!
//! Reading needs no service and does not disturb one: the record is read beside it. Only a reset changes something;
//! it goes through the service where one holds the record.

use std::path::PathBuf;

use clap::{Args, Subcommand};

use super::client::{Client, tun_path};
use super::text::{Align, columns, local_time, print, print_json};
use crate::clock;
use crate::config::{self, Configuration};
use crate::exit::Failure;
use crate::store::{Database, StoreError, TunId};
use crate::web::wire::{KnownProfile, ProfileVersion, ServedTun};

mod page;

/// Shows, exports and resets what earlier brews taught about a tun
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  lauterd tun show --config /etc/lauterd/tun-1.toml
  lauterd tun history --config tun-1.toml --store /var/lib/lauterd
  lauterd tun export --config tun-1.toml > tun-1-profile.json
  lauterd tun reset --config tun-1.toml          (after new rakes, screens or instruments)")]
pub struct Arguments {
    #[command(subcommand)]
    command: Command,
    /// Configuration of the tun
    #[arg(long, global = true, value_name = "FILE")]
    config: Option<PathBuf>,
    /// Directory of the record [default: the configuration's]
    #[arg(long, global = true, value_name = "DIR")]
    store: Option<PathBuf>,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// The tun's typical figures, and which brews taught them
    #[command(after_help = "\
Examples:
  lauterd tun show --config tun-1.toml")]
    Show,
    /// Every version of the profile, newest first
    #[command(after_help = "\
Examples:
  lauterd tun history --config tun-1.toml")]
    History,
    /// The profile as JSON
    #[command(after_help = "\
Examples:
  lauterd tun export --config tun-1.toml > tun-1-profile.json")]
    Export,
    /// Begins a new profile; the versions before it stay in the record
    #[command(after_help = "\
Examples:
  lauterd tun reset --config tun-1.toml")]
    Reset,
}

pub fn run(arguments: &Arguments) -> Result<(), Failure> {
    let Some(file) = &arguments.config else {
        let message = "which tun? name its configuration with --config FILE";
        return Err(Failure::new(crate::exit::Kind::Usage, message.to_owned()));
    };
    let mut configuration = config::load_offline(file)?;
    if let Some(directory) = &arguments.store {
        configuration.store.directory.clone_from(directory);
    }
    let tun = ServedTun {
        site: configuration.site.clone(),
        tun: configuration.tun.name.clone(),
    };
    match arguments.command {
        Command::Show => {
            let (database, id) = opened(&configuration, &tun)?;
            print(&page::shown(&tun, &KnownProfile::of(&database, id)?))
        }
        Command::History => history(&configuration, &tun),
        Command::Export => {
            let (database, id) = opened(&configuration, &tun)?;
            print_json(&KnownProfile::of(&database, id)?)
        }
        Command::Reset => reset(&configuration, &tun),
    }
}

/// The record for reading, and the tun in it.
fn opened(configuration: &Configuration, tun: &ServedTun) -> Result<(Database, TunId), Failure> {
    let database = Database::open_read_only(&configuration.store.directory)?;
    let id = known(&database, tun)?;
    Ok((database, id))
}

fn known(database: &Database, tun: &ServedTun) -> Result<TunId, Failure> {
    database.find_tun(&tun.site, &tun.tun)?.ok_or_else(|| {
        let path = database.path().display();
        Failure::new(
            crate::exit::Kind::NoInput,
            format!("{path}: has no tun {tun}; no brew of it has been kept there (--store DIR names another record)"),
        )
    })
}

fn history(configuration: &Configuration, tun: &ServedTun) -> Result<(), Failure> {
    let (database, id) = opened(configuration, tun)?;
    let mut rows = vec![["version", "saved", "after", "brews in it"].map(str::to_owned)];
    for stored in database.profile_history(id)? {
        let brews = match database.decode_profile(&stored) {
            Ok(profile) => profile.lessons.len().to_string(),
            Err(_) => "cannot be read".to_owned(),
        };
        rows.push([
            stored.version.to_string(),
            local_time(stored.saved),
            stored.brew.unwrap_or_else(|| "reset".to_owned()),
            brews,
        ]);
    }
    let align = [Align::Right, Align::Left, Align::Left, Align::Right];
    print(&columns(align, &rows))
}

fn reset(configuration: &Configuration, tun: &ServedTun) -> Result<(), Failure> {
    let version = match Database::open(&configuration.store.directory) {
        Ok(mut database) => {
            let id = known(&database, tun)?;
            let version = database.reset_profile(id, clock::wall_now())?;
            database.close()?;
            version
        }
        // A service holds the record: it does the work.
        Err(StoreError::InUse { .. }) => {
            let client = Client::of(configuration)?;
            let answer: ProfileVersion = client.delete(&tun_path(tun, &["profile"]))?;
            answer.version
        }
        Err(error) => return Err(error.into()),
    };
    print(&format!(
        "{tun}: the profile knows nothing now (version {version}); the versions before it stay in the record\n"
    ))
}
