//! `simulators study`: how well the supervisor does over many invented brews.

use std::path::PathBuf;

use clap::Args;
use lauter_core::supervisor::Parameters;
use simulators::Scenario;
use simulators::study::figures::Figures;
use simulators::study::trial::{self, HandSamples};
use simulators::study::{in_parallel, judged, text};

use super::{Failure, print};

/// What is studied.
#[derive(Debug, Args)]
pub struct Study {
    /// First brews, each on a tun of its own.
    #[arg(long, value_name = "N", default_value_t = 200)]
    brews: u64,
    /// Seed of the first brew; the others follow it.
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Somebody takes hand samples and types them in.
    #[arg(long)]
    hand_samples: bool,
    /// Writes every figure as JSON.
    #[arg(long, value_name = "FILE")]
    json: Option<PathBuf>,
}

pub fn run(arguments: &Study) -> Result<(), Failure> {
    let seeds: Vec<u64> = (0..arguments.brews)
        .map(|n| arguments.seed.wrapping_add(n))
        .collect();
    let hand = if arguments.hand_samples {
        HandSamples::Taken
    } else {
        HandSamples::None
    };
    let judged = in_parallel(&seeds, |seed| {
        let scenario = Scenario::draw(*seed);
        judged::judge(&trial::run(&scenario, *seed, hand, Parameters::default()))
    });
    let figures = Figures::of(&judged);
    print(text::tables(&figures).trim_end());
    if let Some(path) = &arguments.json {
        let json = serde_json::to_string_pretty(&figures).expect("finite numbers") + "\n";
        std::fs::write(path, json).map_err(|source| Failure::Output {
            path: path.clone(),
            source,
        })?;
    }
    Ok(())
}
