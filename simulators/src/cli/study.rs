//! `simulators study`: how well the supervisor does over many invented brews.

use std::path::PathBuf;

use clap::Args;
use lauter_core::supervisor::Parameters;
use simulators::study::campaign::Campaign;
use simulators::study::text;
use simulators::study::trial::HandSamples;

use super::{Failure, print};

/// What is studied.
#[derive(Debug, Args)]
pub struct Study {
    /// First brews, each on a tun of its own.
    #[arg(long, value_name = "N", default_value_t = 200)]
    brews: u64,
    /// Tuns with several brews each, instead of --brews.
    #[arg(
        long,
        value_name = "N",
        conflicts_with = "brews",
        requires = "brews_each"
    )]
    tuns: Option<u64>,
    /// Brews on each tun, with recipes of their own.
    #[arg(long, value_name = "M", requires = "tuns", value_parser = clap::value_parser!(u32).range(1..=100))]
    brews_each: Option<u32>,
    /// Seed of the first tun; the others follow it.
    #[arg(long, default_value_t = 1, value_parser = clap::value_parser!(u64).range(..1 << 40))]
    seed: u64,
    /// Somebody takes hand samples and types them in.
    #[arg(long)]
    hand_samples: bool,
    /// Leaves the bound out, which takes eight hundred further brews to train.
    #[arg(long)]
    no_bound: bool,
    /// Writes every figure as JSON.
    #[arg(long, value_name = "FILE")]
    json: Option<PathBuf>,
}

pub fn run(arguments: &Study) -> Result<(), Failure> {
    let campaign = Campaign {
        tuns: arguments.tuns.unwrap_or(arguments.brews),
        brews_each: arguments.brews_each.unwrap_or(1),
        seed: arguments.seed,
        hand: if arguments.hand_samples {
            HandSamples::Taken
        } else {
            HandSamples::None
        },
        bound: !arguments.no_bound,
        parameters: Parameters::default(),
    };
    let study = campaign.run();
    print(text::tables(&study.figures).trim_end());
    if let Some(path) = &arguments.json {
        let json = serde_json::to_string_pretty(&study.figures).expect("finite numbers") + "\n";
        std::fs::write(path, json).map_err(|source| Failure::Output {
            path: path.clone(),
            source,
        })?;
    }
    Ok(())
}
