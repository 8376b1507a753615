//! `lauterd brew list`.

use std::fmt::Write as _;

use clap::Args;

use crate::cli::client::Client;
use crate::cli::text::{Align, NONE, columns, local_time, optional, print, print_json};
use crate::exit::Failure;
use crate::web::wire::{RecordedBrew, ServedTun};

/// Lists the brews of the record, newest first
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  lauterd brew list
  lauterd brew list --limit 5 --json")]
pub struct Arguments {
    /// How many at most
    #[arg(long, value_name = "N", default_value_t = 20)]
    limit: usize,
    /// As JSON
    #[arg(long)]
    json: bool,
}

pub fn run(arguments: &Arguments, client: &Client) -> Result<(), Failure> {
    let tun = client.tun()?;
    let listed = super::newest(client, &tun, arguments.limit)?;
    if let Some(words) = super::only_in_memory(client, &tun)? {
        eprintln!("{tun}: {words}");
    }
    if arguments.json {
        return print_json(&listed);
    }
    print(&page(&tun, &listed.brews, listed.total))
}

fn page(tun: &ServedTun, brews: &[RecordedBrew], total: usize) -> String {
    if total == 0 {
        return format!("{tun} has no brew in its record yet.\n");
    }
    let mut rows = vec![
        [
            "brew",
            "recipe",
            "started",
            "ended",
            "stop-point",
            "kettle",
            "extract",
            "brew length",
        ]
        .map(str::to_owned),
        ["", "", "", "", "L", "°P", "kg", "L/kg"].map(str::to_owned),
    ];
    rows.extend(brews.iter().map(row));
    let (left, right) = (Align::Left, Align::Right);
    let mut page = columns([left, left, left, left, right, right, right, right], &rows);
    if brews.len() < total {
        let _ = writeln!(page, "{} of {total} brews; --limit shows more", brews.len());
    }
    page
}

fn row(brew: &RecordedBrew) -> [String; 8] {
    let summary = brew.summary.as_ref();
    let or_none = |text: &str| if text.is_empty() { NONE } else { text }.to_owned();
    [
        brew.brew.clone(),
        or_none(&brew.plan.recipe),
        local_time(brew.started),
        brew.ended.map_or_else(|| "not yet".to_owned(), local_time),
        optional(summary.and_then(|s| s.stop_volume_l), 0),
        optional(summary.and_then(|s| s.kettle_gravity_p), 2),
        optional(summary.and_then(|s| s.extract_kg), 0),
        optional(summary.and_then(|s| s.brew_length_l_per_kg), 2),
    ]
}
