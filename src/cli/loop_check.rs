//! `lauterd loop-check`: instruments against references, certificates, and corrections kept here.

mod applied;
mod ask;
mod asking;
mod guide;
mod page;
mod steps;
mod taken;

pub use page::result;

use std::fs;
use std::path::PathBuf;

use clap::{Args, Subcommand};

use super::client::{Client, ServiceOptions, query_value, tun_path};
use super::sample::finite;
use super::text::{print, print_json};
use super::written::{Format, Output};
use crate::exit::{Failure, Kind};
use crate::runtime::request::Calibrated;
use crate::web::wire::ServedTun;
use crate::web::wire::calibration::{
    CorrectionBody, CorrectionRecord, LoopCheckBody, LoopCheckRecord,
};

/// Checks instruments against references, writes certificates, and corrects pH and gravity
///
/// Nothing is ever written to an instrument: a correction is kept here and applied to its readings.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  lauterd loop-check guide --instrument runnings_ph --tolerance 0.1 \\
      --reference \"buffers, lot 7\" --uncertainty 0.02 --resolution 0.01
  lauterd loop-check list
  lauterd loop-check certificate 12 --output certificate-12.html
  lauterd loop-check correct --instrument runnings_ph --point phosphate@25=6.67 --point phthalate@25=3.92
  lauterd loop-check due

Lines under pressure, hot wort and caustic injure: isolate, release pressure and drain before you
open a fitting or draw a probe. Local codes and licensed practice come first.")]
pub struct Arguments {
    #[command(subcommand)]
    command: Command,
    #[command(flatten)]
    service: ServiceOptions,
}

const ENTER: &str = r#"Example:
  lauterd loop-check enter check.json

check.json, of a pressure drop against a calibrator; readings, tolerance and uncertainties are in the
instrument's unit, "direction" is the way the value was approached:
  {
    "instrument": "bed_pressure",
    "reference": { "name": "calibrator 4", "expanded_uncertainty": 0.004 },
    "tolerance": 0.05,
    "resolution": 0.001,
    "as_found": [
      { "direction": "up", "applied": { "kind": "value", "value": 0.0 }, "reading": 0.011 },
      { "direction": "up", "applied": { "kind": "value", "value": 5.0 }, "reading": 5.023 },
      { "direction": "down", "applied": { "kind": "value", "value": 0.0 }, "reading": 0.014 }
    ],
    "due_days": 365,
    "note": "after the autumn clean",
    "who": "engineer"
  }

Other kinds of "applied":
  { "kind": "buffer", "buffer": "phosphate", "temperature_c": 24.8 }      also phthalate, borate
  { "kind": "gravity", "gravity_p": 12.0, "temperature_c": 20.0 }
  { "kind": "sample-ph", "ph": 5.42, "temperature_c": 75.0 }
  { "kind": "weighed-tank", "mass_kg": 51.3, "seconds": 60.0, "temperature_c": 18.0 }
What was done afterwards stands in "as_left", in the same shape. A check that `guide` could not hand over lies in such a
file as well."#;

#[derive(Debug, Subcommand)]
enum Command {
    /// Leads through a loop check: asks for each applied value, takes the readings, says pass or fail
    #[command(after_help = "\
Examples:
  lauterd loop-check guide --instrument bed_pressure --tolerance 0.02 \\
      --reference \"calibrator 4\" --uncertainty 0.004
  lauterd loop-check guide --instrument runoff_flow --tolerance 0.5 \\
      --reference \"tank on scale 2\" --uncertainty 0.1 --repeats 3")]
    Guide(guide::Arguments),
    /// Enters a loop check that was written down: a file of JSON
    #[command(after_help = ENTER)]
    Enter {
        #[arg(value_name = "FILE")]
        file: PathBuf,
    },
    /// The loop checks of the record, newest last
    #[command(after_help = "\
Examples:
  lauterd loop-check list --instrument runnings_ph")]
    List {
        /// Only of this instrument
        #[arg(long, value_name = "ID")]
        instrument: Option<String>,
        /// As JSON
        #[arg(long)]
        json: bool,
    },
    /// The certificate of a loop check
    #[command(after_help = "\
Examples:
  lauterd loop-check certificate 12 --output certificate-12.html
  lauterd loop-check certificate 12 --output certificate-12.csv
  lauterd loop-check certificate 12 --format csv > certificate-12.csv")]
    Certificate {
        /// Its number
        #[arg(value_name = "NUMBER")]
        number: u64,
        /// html: to read and to print; csv: its levels; json: everything [default: as --output ends, else html]
        #[arg(long, value_enum)]
        format: Option<Format>,
        #[command(flatten)]
        output: Output,
    },
    /// Corrects a pH or gravity instrument from now on by applied values
    #[command(after_help = "\
Examples:
  lauterd loop-check correct --instrument runnings_ph --point phosphate@25=6.67 --point phthalate@25=3.92
  lauterd loop-check correct --instrument runnings_density --point 0P@20=999.1 --point 12P@20=1047.2
  lauterd loop-check correct --instrument runnings_gravity --point 12P=12.3")]
    Correct {
        /// The instrument
        #[arg(long, value_name = "ID")]
        instrument: String,
        /// What was applied and what the instrument read before any correction: BUFFER@C=READING, GRAVITYP@C=READING or
        /// VALUE=READING; once or more often
        #[arg(long, value_name = "APPLIED=READING", required = true, value_parser = applied::measured)]
        point: Vec<lauter_core::calibration::MeasuredPoint>,
        #[command(flatten)]
        common: Common,
    },
    /// Lets an instrument's readings pass as they come; the versions before stay in the record
    #[command(after_help = "\
Examples:
  lauterd loop-check take-back --instrument runnings_ph")]
    TakeBack {
        /// The instrument
        #[arg(long, value_name = "ID")]
        instrument: String,
        /// Who does it, where nobody signs in
        #[arg(long, value_name = "NAME")]
        who: Option<String>,
    },
    /// Corrections in force, and which instruments are due
    #[command(after_help = "\
Examples:
  lauterd loop-check due")]
    Due {
        /// As JSON
        #[arg(long)]
        json: bool,
    },
}

/// What every check and correction may bear.
#[derive(Clone, Debug, Args)]
struct Common {
    /// Days to the next check [default: 30 for pH, 182 for gravity and turbidity, 365 for others]
    #[arg(long, value_name = "DAYS", value_parser = finite)]
    due_days: Option<f64>,
    /// Who does it, where nobody signs in
    #[arg(long, value_name = "NAME")]
    who: Option<String>,
}

pub fn run(arguments: &Arguments) -> Result<(), Failure> {
    let client = arguments.service.client()?;
    let tun = client.tun()?;
    match &arguments.command {
        Command::Guide(arguments) => guide::run(arguments, &client, &tun),
        Command::Enter { file } => enter(file, &client, &tun),
        Command::List { instrument, json } => list(instrument.as_deref(), *json, &client, &tun),
        Command::Certificate {
            number,
            format,
            output,
        } => certificate(*number, *format, output, &client, &tun),
        Command::Correct {
            instrument,
            point,
            common,
        } => {
            let body = CorrectionBody {
                points: point.clone(),
                due_days: common.due_days,
                who: common.who.clone(),
            };
            let made = correct(instrument, &body, &client, &tun)?;
            print(&page::corrected(&made))
        }
        Command::TakeBack { instrument, who } => {
            let mut path = tun_path(&tun, &["instruments", instrument, "correction"]);
            if let Some(who) = who {
                path = format!("{path}?who={}", query_value(who));
            }
            let made: CorrectionRecord = client.delete(&path)?;
            print(&page::corrected(&made))
        }
        Command::Due { json } => {
            let states: Vec<Calibrated> = client.get(&tun_path(&tun, &["calibration"]))?;
            if *json {
                return print_json(&states);
            }
            print(&page::due(&states))
        }
    }
}

fn correct(
    instrument: &str,
    body: &CorrectionBody,
    client: &Client,
    tun: &ServedTun,
) -> Result<CorrectionRecord, Failure> {
    client.post(
        &tun_path(tun, &["instruments", instrument, "correction"]),
        body,
    )
}

fn enter(file: &PathBuf, client: &Client, tun: &ServedTun) -> Result<(), Failure> {
    let text = fs::read_to_string(file).map_err(|error| {
        let kind = match error.kind() {
            std::io::ErrorKind::NotFound => Kind::NoInput,
            _ => Kind::Io,
        };
        Failure::new(kind, format!("{}: {error}", file.display()))
    })?;
    let body: LoopCheckBody = serde_json::from_str(&text)
        .map_err(|error| Failure::new(Kind::Data, format!("{}: {error}", file.display())))?;
    let entered: LoopCheckRecord = client.post(&tun_path(tun, &["loop-checks"]), &body)?;
    print(&page::checked(&entered))
}

fn list(
    instrument: Option<&str>,
    json: bool,
    client: &Client,
    tun: &ServedTun,
) -> Result<(), Failure> {
    let mut path = tun_path(tun, &["loop-checks"]);
    if let Some(instrument) = instrument {
        path = format!("{path}?instrument={}", query_value(instrument));
    }
    let checks: Vec<LoopCheckRecord> = client.get(&path)?;
    if json {
        return print_json(&checks);
    }
    print(&page::list(&checks))
}

fn certificate(
    number: u64,
    format: Option<Format>,
    output: &Output,
    client: &Client,
    tun: &ServedTun,
) -> Result<(), Failure> {
    let format = Format::meant(format, output).name();
    let path = tun_path(tun, &["loop-checks", &number.to_string(), "certificate"]);
    let contents = client.download(&format!("{path}?format={format}"))?;
    output.write(&contents)
}
