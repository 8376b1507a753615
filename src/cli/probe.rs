//! `lauterd probe`: looks at instruments that nobody has described yet, and writes their tables.
//!
//! Owns what is asked for and the listing of units. It reads and listens; nothing is written to a device or a topic.

mod broker;
mod into;
mod line;
mod live;
mod registers;
mod topics;
mod wanted;
mod watched;

use std::fmt::Write as _;

use clap::{Args, Subcommand};

pub use broker::BrokerOptions;
use line::Line;

use super::text::print;
use crate::config::model::Table;
use crate::exit::{Failure, Kind};
use crate::ingest::modbus::probe::{Probe, Seen};

/// Looks at instruments that are not described yet: Modbus units, their registers, MQTT topics
///
/// It only reads. On Modbus it asks one request at a time with pauses, over one connection; on a serial line nobody
/// else may be master meanwhile: stop the service, or whatever else reads there.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  lauterd probe units --tcp 192.0.2.10:502
  lauterd probe units --rtu /dev/ttyUSB0 --baud 9600
  lauterd probe registers --tcp 192.0.2.10:502 --unit 3 --from 90 --count 40
  lauterd probe registers --tcp 192.0.2.10:502 --unit 3 --from 90 --expect 1030..1060 --watch 10 \\
      --id runnings_density --measures runnings-gravity --unit-of-value kg/m3
  lauterd probe registers --tcp 192.0.2.10:502 --unit 5 --expect 5.02 \\
      --id runnings_ph --measures runnings-ph --into tun-1.toml
  lauterd probe topics --broker 192.0.2.20:1883 --measures runoff-flow --unit-of-value L/min")]
pub struct Arguments {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Asks every unit for one register and lists those that answer
    Units(Units),
    Registers(registers::Registers),
    Topics(topics::Topics),
}

#[derive(Debug, Args)]
struct Units {
    /// First unit
    #[arg(long, value_name = "N", default_value_t = 1)]
    first: u8,
    /// Last unit
    #[arg(long, value_name = "N", default_value_t = 247)]
    last: u8,
    #[command(flatten)]
    line: Line,
}

pub fn run(arguments: &Arguments) -> Result<(), Failure> {
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(|error| Failure::new(Kind::Io, format!("cannot start: {error}")))?;
    runtime.block_on(async {
        match &arguments.command {
            Command::Units(asked) => units(asked).await,
            Command::Registers(asked) => registers::show(asked).await,
            Command::Topics(asked) => topics::show(asked).await,
        }
    })
}

/// With the digits that an instrument has, not those of a conversion.
fn shown(value: f64) -> String {
    format!("{}", (value * 1e6).round() / 1e6)
}

fn unreachable(words: String) -> Failure {
    Failure::new(Kind::Unavailable, words)
}

async fn units(asked: &Units) -> Result<(), Failure> {
    let mut probe = Probe::new(asked.line.link()?);
    let mut text = String::new();
    let mut absent = None;
    for unit in asked.first..=asked.last {
        let seen = probe
            .read(unit, Table::Input, 0, 1)
            .await
            .map_err(unreachable)?;
        let says = match seen {
            Seen::Silent(_) => continue,
            Seen::Absent(why) => {
                absent = Some(why);
                continue;
            }
            Seen::Refused(why) => format!("answers, and refuses input register 0: {why}"),
            Seen::Registers(_) | Seen::Bits(_) => "answers".to_owned(),
        };
        let _ = writeln!(text, "unit {unit:>3}  {says}");
    }
    if text.is_empty() {
        let look = match absent {
            Some(why) => format!("a gateway does, and says {why:?}; check the line behind it"),
            None => "check cable, address, baud rate and parity".to_owned(),
        };
        return Err(unreachable(format!(
            "no unit from {} to {} answers; {look}, and try a longer --timeout",
            asked.first, asked.last
        )));
    }
    print(&text)
}
