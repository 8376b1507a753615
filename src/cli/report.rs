//! `lauterd report`: a brew's report from the running service.

use clap::{Args, ValueEnum};

use super::client::{Client, ServiceOptions, tun_path};
use super::written::{Format, Output};
use crate::exit::Failure;

/// Writes the report of a brew: one HTML file that needs nothing beside it and prints well, or its data
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  lauterd report 2026-0412 --output 2026-0412.html
  lauterd report 2026-0412 --format csv > table.csv
  lauterd report 2026-0412 --chart gravity > gravity.svg")]
pub struct Arguments {
    /// The brew's id
    #[arg(value_name = "BREW")]
    brew: String,
    /// html: the whole report; csv: the brewer's table with hand samples; json: everything [default: as --output ends, else
    /// html]
    #[arg(long, value_enum)]
    format: Option<Format>,
    /// One chart as SVG instead
    #[arg(long, value_enum, conflicts_with = "format")]
    chart: Option<Chart>,
    #[command(flatten)]
    output: Output,
    #[command(flatten)]
    service: ServiceOptions,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Chart {
    Gravity,
    Bed,
    Ph,
    StopPoint,
}

pub fn run(arguments: &Arguments) -> Result<(), Failure> {
    let client: Client = arguments.service.client()?;
    let tun = client.tun()?;
    let below = |segments: &[&str]| {
        let mut all = vec!["brews", arguments.brew.as_str()];
        all.extend(segments);
        tun_path(&tun, &all)
    };
    let path = if let Some(chart) = arguments.chart {
        below(&["charts", name(chart)])
    } else {
        let format = Format::meant(arguments.format, &arguments.output).name();
        format!("{}?format={format}", below(&["report"]))
    };
    let contents = client.download(&path)?;
    arguments.output.write(&contents)
}

fn name(chart: Chart) -> &'static str {
    match chart {
        Chart::Gravity => "gravity",
        Chart::Bed => "bed",
        Chart::Ph => "ph",
        Chart::StopPoint => "stop-point",
    }
}
