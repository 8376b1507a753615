//! `lauterd brew start` and `lauterd brew end`.

use std::path::PathBuf;

use clap::Args;
use serde_json::json;

use crate::cli::client::{Client, kept, tun_path};
use crate::cli::text::print;
use crate::config;
use crate::exit::Failure;
use crate::web::wire::BrewName;

/// Starts a brew with its run-off plan
///
/// The plan is checked here first, then by the service against its tun.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  lauterd brew start --plan plan.toml
  lauterd brew start --plan plan.toml --config /etc/lauterd/tun-1.toml
  lauterd brew start --plan plan.toml --replace --url http://127.0.0.1:8780 \\
      --tun north-yard/tun-1")]
pub struct Arguments {
    /// Run-off plan (TOML)
    #[arg(long, value_name = "PLAN.toml")]
    plan: PathBuf,
    /// Remove an earlier brew of the same id from the record
    #[arg(long)]
    replace: bool,
}

pub fn run(arguments: &Arguments, client: Result<Client, Failure>) -> Result<(), Failure> {
    let plan = config::load_plan(&arguments.plan)?;
    let client = client?;
    let tun = client.tun()?;
    let mut path = tun_path(&tun, &["brew"]);
    if arguments.replace {
        path.push_str("?replace=true");
    }
    let started: BrewName = client.post(&path, &plan)?;
    print(&format!("{tun}: brew {} started\n", started.brew))?;
    // It has begun, whatever is known of its record.
    if let Ok(Some(words)) = super::only_in_memory(&client, &tun) {
        eprintln!("{tun}: {words}");
    }
    Ok(())
}

pub fn end(client: &Client) -> Result<(), Failure> {
    let tun = client.tun()?;
    let ended: Option<BrewName> = client.act(&tun_path(&tun, &["brew", "end"]), &json!({}))?;
    let kept = kept(ended.as_ref());
    let brew = ended.map_or_else(
        || "the brew".to_owned(),
        |ended| format!("brew {}", ended.brew),
    );
    print(&format!("{tun}: {brew} ended{kept}\n"))
}
