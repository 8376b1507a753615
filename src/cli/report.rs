//! `lauterd report`: a brew's report from the running service.

use std::fs;
use std::io::Write as _;
use std::path::PathBuf;

use clap::{Args, ValueEnum};

use super::client::{Client, ServiceOptions, tun_path};
use crate::exit::{Failure, Kind};

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
    /// html: the whole report; csv: the brewer's table with hand samples; json: everything
    #[arg(long, value_enum, default_value_t = Format::Html)]
    format: Format,
    /// One chart as SVG instead
    #[arg(long, value_enum, conflicts_with = "format")]
    chart: Option<Chart>,
    /// File to write; without it standard output
    #[arg(long, value_name = "FILE")]
    output: Option<PathBuf>,
    #[command(flatten)]
    service: ServiceOptions,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Format {
    Html,
    Csv,
    Json,
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
        let format = match arguments.format {
            Format::Html => "html",
            Format::Csv => "csv",
            Format::Json => "json",
        };
        format!("{}?format={format}", below(&["report"]))
    };
    let contents = client.download(&path)?;
    let failed = |what: &str, error: &std::io::Error| {
        Failure::new(
            Kind::Io,
            format!("{what}: {error}; check --output and the room on its disk"),
        )
    };
    match &arguments.output {
        Some(file) => {
            fs::write(file, &contents).map_err(|error| failed(&file.display().to_string(), &error))
        }
        None => std::io::stdout()
            .write_all(&contents)
            .map_err(|error| failed("standard output", &error)),
    }
}

fn name(chart: Chart) -> &'static str {
    match chart {
        Chart::Gravity => "gravity",
        Chart::Bed => "bed",
        Chart::Ph => "ph",
        Chart::StopPoint => "stop-point",
    }
}
