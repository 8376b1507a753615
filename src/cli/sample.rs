//! `lauterd sample`: a hand sample for the running service.

use clap::{ArgGroup, Args, ValueEnum};
use lauter_core::supervisor::Place;

use super::client::{ServiceOptions, tun_path};
use super::text::print;
use crate::exit::Failure;
use crate::web::wire::SampleBody;

/// Gives the running brew a hand sample
#[derive(Debug, Args)]
#[command(
    group(ArgGroup::new("measured").args(["gravity", "ph", "volume"]).required(true).multiple(true)),
    after_help = "\
Examples:
  lauterd sample --place runnings --gravity 6.2 --ph 5.61
  lauterd sample --place kettle --gravity 12.9 --volume 4980

Wort is hot: cool the sample, covered, before measuring."
)]
pub struct Arguments {
    /// Where it was taken
    #[arg(long)]
    place: SamplePlace,
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

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum SamplePlace {
    /// The wort leaving the tun
    Runnings,
    /// The kettle, well mixed
    Kettle,
}

pub fn run(arguments: &Arguments) -> Result<(), Failure> {
    let client = arguments.service.client()?;
    let tun = client.tun()?;
    let sample = SampleBody {
        place: match arguments.place {
            SamplePlace::Runnings => Place::Runnings,
            SamplePlace::Kettle => Place::Kettle,
        },
        gravity_p: arguments.gravity,
        ph: arguments.ph,
        volume_l: arguments.volume,
        gravity_sg: None,
        gravity_bx: None,
    };
    let taken: SampleBody = client.post(&tun_path(&tun, &["samples"]), &sample)?;
    print(&format!(
        "{tun}: sample of the {} taken\n",
        described(&taken)
    ))
}

fn described(sample: &SampleBody) -> String {
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
