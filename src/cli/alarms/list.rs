//! `lauterd alarms list`: the rationalised alarm table, as defined or as a tun has changed it.

use std::fmt::Write as _;

use clap::Args;
use clap::builder::PossibleValuesParser;
use lauter_core::alarm::{AlarmId, DEFINITIONS, Definition, Settings};
use serde::Serialize;

use crate::cli::client::ServiceOptions;
use crate::cli::text::{print, print_json};
use crate::engine;
use crate::exit::Failure;

#[derive(Debug, Args)]
pub struct Arguments {
    /// One alarm alone
    #[arg(value_name = "ALARM", value_parser = PossibleValuesParser::new(AlarmId::ALL.map(AlarmId::name)))]
    alarm: Option<String>,
    /// As JSON
    #[arg(long)]
    json: bool,
}

/// A row as it holds on a tun.
#[derive(Debug, Serialize)]
struct Row {
    #[serde(flatten)]
    definition: Definition,
    enabled: bool,
    /// A threshold of the tun's own; null keeps the built-in one.
    limit: Option<f64>,
}

pub fn run(arguments: &Arguments, service: &ServiceOptions) -> Result<(), Failure> {
    let configuration = service.configuration()?;
    let settings = |alarm| {
        let own = configuration.as_ref();
        own.map_or_else(Settings::default, |own| engine::alarm_settings(own, alarm))
    };
    let rows: Vec<Row> = DEFINITIONS
        .iter()
        .filter(|row| {
            arguments
                .alarm
                .as_deref()
                .is_none_or(|name| name == row.alarm.name())
        })
        .map(|row| Row::of(*row, settings(row.alarm)))
        .collect();
    if arguments.json {
        return print_json(&rows);
    }
    let blocks: Vec<String> = rows.iter().map(Row::block).collect();
    print(&blocks.join("\n"))
}

impl Row {
    fn of(row: Definition, settings: Settings) -> Self {
        let conduct = settings.conduct(row.alarm);
        Self {
            definition: Definition {
                priority: settings.priority(row.alarm),
                on_delay_s: conduct.on_s,
                off_delay_s: conduct.off_s,
                deadband: settings.deadband(row.alarm),
                longest_shelving_min: settings.longest_shelving_min(row.alarm),
                ..row
            },
            enabled: settings.enabled.unwrap_or(true),
            limit: settings.limit,
        }
    }

    /// Writing to a string cannot fail.
    fn block(&self) -> String {
        let row = &self.definition;
        let off = if self.enabled { "" } else { " SWITCHED OFF" };
        let mut text = format!(
            "{} ({}), respond within: {}{off}\n",
            row.alarm.name(),
            row.priority.name(),
            row.time_to_respond
        );
        let mut line = |name: &str, words: &str| {
            if !words.is_empty() {
                let _ = writeln!(text, "  {name:<11} {words}");
            }
        };
        line("cause", row.cause);
        line("do", row.response);
        line("otherwise", row.consequence);
        line("caution", row.caution);
        let deadband = match row.deadband_unit {
            "" => String::new(),
            unit => format!(", deadband {} {unit}", row.deadband),
        };
        let limit = self
            .limit
            .map_or_else(String::new, |limit| format!(", limit {limit}"));
        line(
            "delays",
            &format!(
                "on {} s, off {} s{deadband}{limit}",
                row.on_delay_s, row.off_delay_s
            ),
        );
        if row.latching {
            line("latching", "stays until somebody acknowledges it");
        }
        line(
            "shelving",
            &format!("{} min at most", row.longest_shelving_min),
        );
        line("suppressed", &row.suppressed_by().join("; "));
        text
    }
}
