//! The brews of a study, run and judged.
//!
//! Owns which brews there are and what is kept of each. The brews of one tun run one after the other, tuns side by
//! side; a seed gives the same study on any number of processors.

use lauter_core::profile::TunProfile;
use lauter_core::supervisor::Parameters;
use serde::Serialize;

use super::bound::{self, Bound, Features};
use super::figures::{Figures, StudyFigures};
use super::hand::NoteBook;
use super::in_parallel;
use super::judged::{FRACTIONS, Judged, judge};
use super::measured::Recorder;
use super::trial::{self, HandSamples, Trial};
use crate::scenario::Scenario;

/// What is run.
#[derive(Clone, Debug)]
pub struct Campaign {
    /// Tuns, each with a seed of its own from `seed` on.
    pub tuns: u64,
    pub brews_each: u32,
    pub seed: u64,
    pub hand: HandSamples,
    /// The profile goes from brew to brew.
    pub learns: bool,
    /// Train the bound beside it.
    pub bound: bool,
    pub parameters: Parameters,
}

/// A brew of the study: judged, beside what other methods made of it.
#[derive(Clone, Debug, Serialize)]
pub struct Runoff {
    pub tun_seed: u64,
    /// From 0 on.
    pub brew: u32,
    #[serde(flatten)]
    pub judged: Judged,
    /// The hand method at the same moments, L.
    pub hand_l: [Option<f64>; FRACTIONS.len()],
    /// The bound at the same shares of the planned volume, L.
    pub bound_l: [Option<f64>; FRACTIONS.len()],
    /// The metered stop volume when nothing is left to forecast, L.
    pub hindsight_l: Option<f64>,
    /// The tun's profile learnt from it.
    pub accepted: bool,
    #[serde(skip)]
    features: Features,
}

/// How a study was made, for those who want to make it again.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct Recipe {
    pub tuns: u64,
    pub brews_each: u32,
    pub seed: u64,
    pub hand_samples: HandSamples,
    pub learns: bool,
    /// Brews that the bound was trained on; none without it.
    pub bound_trained_on: Option<usize>,
}

/// A finished study.
#[derive(Clone, Debug, Serialize)]
pub struct Study {
    #[serde(flatten)]
    pub figures: StudyFigures,
    /// One after the other, for those who look for the worst.
    pub runoffs: Vec<Runoff>,
}

impl Campaign {
    pub fn run(&self) -> Study {
        let tuns: Vec<u64> = (0..self.tuns).map(|n| self.seed.wrapping_add(n)).collect();
        let mut runoffs: Vec<Runoff> = in_parallel(&tuns, |tun_seed| self.brews_of(*tun_seed))
            .into_iter()
            .flatten()
            .collect();
        let bound = self.bound.then(|| Bound::train(self.seed));
        if let Some(bound) = &bound {
            for runoff in &mut runoffs {
                let planned_l = runoff.judged.planned_volume_l;
                runoff.bound_l = std::array::from_fn(|point| {
                    runoff.judged.read[point]?;
                    bound.stop_volume_l(point, &runoff.features, planned_l)
                });
            }
        }
        let recipe = Recipe {
            tuns: self.tuns,
            brews_each: self.brews_each,
            seed: self.seed,
            hand_samples: self.hand,
            learns: self.learns,
            bound_trained_on: bound.map(|bound| bound.trained_on),
        };
        let figures = self.figures(recipe, &runoffs);
        Study { figures, runoffs }
    }

    fn figures(&self, recipe: Recipe, runoffs: &[Runoff]) -> StudyFigures {
        let by_brew = if self.brews_each > 1 {
            (0..self.brews_each)
                .map(|brew| Figures::of(runoffs.iter().filter(|runoff| runoff.brew == brew)))
                .collect()
        } else {
            Vec::new()
        };
        StudyFigures {
            recipe,
            all: Figures::of(runoffs.iter()),
            by_brew,
        }
    }

    /// The brews of a tun in their order; each learns from those before it.
    fn brews_of(&self, tun_seed: u64) -> Vec<Runoff> {
        let mut profile = TunProfile::default();
        (0..self.brews_each)
            .map(|brew| {
                let scenario = Scenario::draw_brew(tun_seed, brew);
                let taught = self.learns.then_some(&profile);
                let (trial, features, hindsight_l) = self.trial(&scenario, taught);
                let accepted = trial.lesson().is_some_and(|lesson| {
                    let (next, acceptance) = profile.update(lesson);
                    profile = next;
                    acceptance.accepted
                });
                let judged = judge(&trial);
                let book = NoteBook::of(&trial);
                Runoff {
                    tun_seed,
                    brew,
                    hand_l: judged
                        .read
                        .map(|read| read.map(|read| book.stop_volume_l(read.elapsed_s))),
                    bound_l: [None; FRACTIONS.len()],
                    hindsight_l,
                    accepted,
                    features,
                    judged,
                }
            })
            .collect()
    }

    fn trial(
        &self,
        scenario: &Scenario,
        profile: Option<&TunProfile>,
    ) -> (Trial, Features, Option<f64>) {
        let supervisor = trial::supervisor(scenario, self.parameters.clone());
        let mut recorder = Recorder::new(scenario);
        let watch = |brewhouse: &crate::model::Brewhouse| recorder.see(brewhouse);
        let trial = trial::run_watched(
            scenario,
            scenario.seed,
            self.hand,
            supervisor,
            profile,
            watch,
        );
        let measured = recorder.finish();
        let hindsight_l = measured.stop_volume_in_hindsight_l(trial.plan.target_gravity_p);
        (trial, bound::features(&measured, scenario), hindsight_l)
    }
}
