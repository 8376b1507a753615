//! `lauterd sample`: a hand sample for the running service.

use clap::{ArgGroup, Args, Subcommand, ValueEnum};
use lauter_core::supervisor::Place;

use super::client::{Client, ServiceOptions, tun_path};
use super::text::print;
use crate::exit::{Failure, Kind};
use crate::runtime::request::TunStatus;
use crate::web::wire::{SampleBody, SampleTaken, ServedTun};

/// Gives the running brew a hand sample
#[derive(Debug, Args)]
#[command(
    args_conflicts_with_subcommands = true,
    subcommand_negates_reqs = true,
    group(ArgGroup::new("measured").args(["gravity", "ph", "volume"]).required(true).multiple(true)),
    after_help = "\
Examples:
  lauterd sample --place runnings --gravity 6.2 --ph 5.61
  lauterd sample --place kettle --gravity 12.9 --volume 4980
  lauterd sample withdraw 3

Wort is hot: cool the sample, covered, before measuring."
)]
pub struct Arguments {
    #[command(subcommand)]
    command: Option<Command>,
    /// Where it was taken
    #[arg(long, required = true)]
    place: Option<SamplePlace>,
    /// Gravity, °P at 20 °C
    #[arg(long, value_name = "P", value_parser = finite, allow_negative_numbers = true)]
    gravity: Option<f64>,
    /// pH of the cooled sample
    #[arg(long, value_name = "X", value_parser = finite, allow_negative_numbers = true)]
    ph: Option<f64>,
    /// Volume read at the kettle, L as metered
    #[arg(long, value_name = "L", value_parser = finite, allow_negative_numbers = true)]
    volume: Option<f64>,
    #[command(flatten)]
    service: ServiceOptions,
}

#[derive(Debug, Subcommand)]
enum Command {
    Withdraw(WithdrawArguments),
}

/// Takes a hand sample back that was a slip: it counts no more
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  lauterd sample withdraw
  lauterd sample withdraw 3

The sample stays in the record as withdrawn.")]
struct WithdrawArguments {
    /// Number of the sample, as it was told when the sample was taken; without it the last that stands
    #[arg(value_name = "NUMBER")]
    number: Option<usize>,
    #[command(flatten)]
    service: ServiceOptions,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum SamplePlace {
    /// The wort leaving the tun
    Runnings,
    /// The kettle, well mixed
    Kettle,
}

pub fn run(arguments: &Arguments) -> Result<(), Failure> {
    if let Some(Command::Withdraw(arguments)) = &arguments.command {
        return withdraw(arguments);
    }
    let client = arguments.service.client()?;
    let tun = client.tun()?;
    let place = match arguments.place {
        Some(SamplePlace::Runnings) => Place::Runnings,
        Some(SamplePlace::Kettle) => Place::Kettle,
        None => return Err(Failure::new(Kind::Usage, "--place is missing")),
    };
    let sample = SampleBody {
        place,
        gravity_p: arguments.gravity,
        ph: arguments.ph,
        volume_l: arguments.volume,
        gravity_sg: None,
        gravity_bx: None,
    };
    let taken: SampleTaken = client.post(&tun_path(&tun, &["samples"]), &sample)?;
    let (number, what) = (taken.number, described(&taken));
    let kept = if taken.recorded {
        ""
    } else {
        "; the record cannot be written now: it is kept in memory and written as soon as it can be, do not enter it again"
    };
    print(&if taken.repeated {
        format!(
            "{tun}: sample {number} of the {what} was given a moment ago and counts once{kept}\n"
        )
    } else {
        format!("{tun}: sample {number} of the {what} taken{kept}\n")
    })
}

fn withdraw(arguments: &WithdrawArguments) -> Result<(), Failure> {
    let client = arguments.service.client()?;
    let tun = client.tun()?;
    let number = match arguments.number {
        Some(number) => number,
        None => last_standing(&client, &tun)?,
    };
    let path = tun_path(&tun, &["samples", &number.to_string(), "withdraw"]);
    let taken: SampleTaken = client.post(&path, &serde_json::json!({}))?;
    print(&format!(
        "{tun}: sample {} of the {} withdrawn\n",
        taken.number,
        described(&taken)
    ))
}

fn last_standing(client: &Client, tun: &ServedTun) -> Result<usize, Failure> {
    #[derive(serde::Deserialize)]
    struct Known {
        number: usize,
        withdrawn_s: Option<f64>,
    }
    let status: TunStatus = client.get(&tun_path(tun, &[]))?;
    let none = |why: &str| Failure::new(Kind::Usage, format!("{tun}: {why}"));
    let brew = status.brew.ok_or_else(|| none("no brew is under way"))?;
    let known: Vec<Known> = client.get(&tun_path(tun, &["brews", &brew, "samples"]))?;
    known
        .iter()
        .rfind(|sample| sample.withdrawn_s.is_none())
        .map(|sample| sample.number)
        .ok_or_else(|| none("this brew has no hand sample that stands"))
}

fn described(sample: &SampleTaken) -> String {
    let place = match sample.place {
        Place::Runnings => "runnings",
        Place::Kettle => "kettle",
    };
    let mut parts = Vec::new();
    parts.extend(sample.gravity_p.map(|p| format!("{p:.2} °P")));
    parts.extend(sample.ph.map(|ph| format!("pH {ph:.2}")));
    parts.extend(sample.volume_l.map(|l| format!("{l:.0} L")));
    format!("{place} ({})", parts.join(", "))
}

/// JSON has no other numbers, and a sample that is none would arrive as not given.
pub fn finite(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(value) if value.is_finite() => Ok(value),
        _ => Err("needed is a number, with a point for the decimals".to_owned()),
    }
}
