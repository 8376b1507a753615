//! `lauterd brew table`: the brewer's table, in the order a brewer keeps it.

use std::fmt::Write as _;

use clap::Args;
use lauter_core::supervisor::TableLine;

use crate::cli::client::{Client, tun_path};
use crate::cli::text::{Align, columns, elapsed, local_time, optional, print, print_json};
use crate::exit::Failure;
use crate::web::wire::RecordedBrew;

/// Shows the brewer's table of a brew, by default of the newest
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  lauterd brew table
  lauterd brew table 2026-0412
  lauterd brew table 2026-0412 --json")]
pub struct Arguments {
    /// The brew's id
    #[arg(value_name = "BREW")]
    brew: Option<String>,
    /// As JSON, one object for each row
    #[arg(long)]
    json: bool,
}

pub fn run(arguments: &Arguments, client: &Client) -> Result<(), Failure> {
    let tun = client.tun()?;
    let brew = match super::named_or_newest(client, &tun, arguments.brew.as_deref())? {
        Ok(brew) => brew,
        Err(words) => {
            eprintln!("{tun}: {words}");
            return Ok(());
        }
    };
    let table: Vec<TableLine> = client.get(&tun_path(&tun, &["brews", &brew.brew, "table"]))?;
    if arguments.json {
        return print_json(&table);
    }
    print(&page(&brew, &table))
}

fn page(brew: &RecordedBrew, table: &[TableLine]) -> String {
    let plan = &brew.plan;
    let mut page = format!("brew {}", brew.brew);
    if !plan.recipe.is_empty() {
        let _ = write!(page, " ({})", plan.recipe);
    }
    let _ = writeln!(
        page,
        ", started {}, target {:.2} °P in {:.0} L\n",
        local_time(brew.started),
        plan.target_gravity_p,
        plan.planned_volume_l
    );
    let mut rows = vec![
        [
            "time",
            "runnings",
            "runnings",
            "kettle",
            "kettle",
            "flow",
            "pressure drop",
        ]
        .map(str::to_owned),
        ["h:min", "°P", "pH", "L", "°P", "L/min", "kPa"].map(str::to_owned),
    ];
    rows.extend(table.iter().map(row));
    page.push_str(&columns([Align::Right; 7], &rows));
    if table.is_empty() {
        page.push_str("no row yet\n");
    }
    page
}

fn row(line: &TableLine) -> [String; 7] {
    [
        elapsed(line.elapsed_s),
        optional(line.runnings_gravity_p, 2),
        optional(line.runnings_ph, 2),
        format!("{:.0}", line.kettle_volume_l),
        optional(line.kettle_gravity_p, 2),
        optional(line.flow_l_min, 1),
        optional(line.pressure_drop_kpa, 2),
    ]
}
