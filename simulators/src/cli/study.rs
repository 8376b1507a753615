//! `simulators study`: how well the supervisor does over many invented brews.

use std::path::{Path, PathBuf};

use crate::Scenario;
use crate::scenario::Disturbance;
use crate::study::campaign::Campaign;
use crate::study::faults::{FaultCampaign, FaultFigures};
use crate::study::trial::{self, HandSamples};
use crate::study::{plots, text};
use clap::Args;
use lauter_core::supervisor::Parameters;

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
    /// Every brew of a tun is run as if it were the first: nothing is learnt from the others.
    #[arg(long, requires = "tuns")]
    no_learning: bool,
    /// Leaves the bound out, which takes eight hundred further brews to train.
    #[arg(long)]
    no_bound: bool,
    /// Lets this go wrong in every brew and says how it was detected; "all" for one family after the other.
    #[arg(long, value_name = "NAME", value_parser = disturbances, conflicts_with_all = ["tuns", "plots"])]
    disturbance: Option<Disturbances>,
    /// Writes every figure as JSON.
    #[arg(long, value_name = "FILE")]
    json: Option<PathBuf>,
    /// Writes error.svg, coverage.svg and, of the first brew, fan.svg into a directory.
    #[arg(long, value_name = "DIR")]
    plots: Option<PathBuf>,
}

/// The families of one argument.
#[derive(Clone, Debug)]
struct Disturbances(Vec<Disturbance>);

fn disturbances(text: &str) -> Result<Disturbances, String> {
    if text == "all" {
        return Ok(Disturbances(Disturbance::ALL.to_vec()));
    }
    let named = Disturbance::ALL.into_iter().find(|one| one.name() == text);
    named.map(|one| Disturbances(vec![one])).ok_or_else(|| {
        let names = Disturbance::ALL.map(Disturbance::name).join(", ");
        format!("give all or one of {names}")
    })
}

pub fn run(arguments: &Study) -> Result<(), Failure> {
    let hand = if arguments.hand_samples {
        HandSamples::Taken
    } else {
        HandSamples::None
    };
    if let Some(Disturbances(families)) = &arguments.disturbance {
        return faults(arguments, families, hand);
    }
    let campaign = Campaign {
        tuns: arguments.tuns.unwrap_or(arguments.brews),
        brews_each: arguments.brews_each.unwrap_or(1),
        seed: arguments.seed,
        hand,
        learns: !arguments.no_learning,
        bound: !arguments.no_bound,
        parameters: Parameters::default(),
    };
    let study = campaign.run();
    print(text::tables(&study.figures).trim_end());
    if let Some(path) = &arguments.json {
        write_json(&study, path)?;
    }
    if let Some(directory) = &arguments.plots {
        plots::write(&study.figures.all, directory)?;
        let scenario = Scenario::draw(arguments.seed);
        let first = trial::run(&scenario, arguments.seed, hand, Parameters::default());
        plots::write_fan(&first, &directory.join("fan.svg"))?;
    }
    Ok(())
}

fn faults(arguments: &Study, families: &[Disturbance], hand: HandSamples) -> Result<(), Failure> {
    let figures: Vec<FaultFigures> = families
        .iter()
        .map(|disturbance| {
            FaultCampaign {
                disturbance: *disturbance,
                brews: arguments.brews,
                seed: arguments.seed,
                hand,
                parameters: Parameters::default(),
            }
            .run()
        })
        .collect();
    print(text::faults(&figures).trim_end());
    match &arguments.json {
        Some(path) => write_json(&figures, path),
        None => Ok(()),
    }
}

fn write_json(figures: &impl serde::Serialize, path: &Path) -> Result<(), Failure> {
    let json = serde_json::to_string_pretty(figures).expect("finite numbers") + "\n";
    std::fs::write(path, json).map_err(|source| Failure::Output {
        path: path.to_owned(),
        source,
    })
}
