//! A recorded run-off of the simulated brewhouse, for benches that need readings as instruments give them.

#![allow(dead_code, reason = "each bench uses what it needs")]

use std::path::{Path, PathBuf};

use lauter_core::reading::{Moment, Reading, Status};
use lauter_core::supervisor::{Event, Supervisor};
use lauterd::config::{self, Configuration};
use lauterd::engine;
use lauterd::replay::{Recording, Row};
use simulators::Scenario;
use simulators::record::record;

use crate::paired::sized;

pub struct Brew {
    directory: tempfile::TempDir,
    pub configuration: Configuration,
}

impl Brew {
    pub fn path(&self, name: &str) -> PathBuf {
        self.directory.path().join(name)
    }

    /// A simulated run-off, cut to 90 minutes.
    pub fn recorded() -> Self {
        Self::recorded_with(|_| {})
    }

    /// Another one, after a change of the scenario.
    pub fn recorded_with(change: impl FnOnce(&mut Scenario)) -> Self {
        let path = Path::new(env!("CARGO_MANIFEST_DIR"));
        let path = path.join("simulators/scenarios/hill-lager.toml");
        let text = std::fs::read_to_string(path).expect("the scenario is there");
        let mut scenario = Scenario::from_toml(&text).expect("the scenario is right");
        scenario.run.longest_s = sized(5400, 600) as f64;
        change(&mut scenario);
        let directory = tempfile::tempdir().expect("a temporary directory");
        record(&scenario, scenario.seed, directory.path()).expect("it is recorded");
        let configuration = config::load_offline(&directory.path().join("config.toml"));
        Self {
            directory,
            configuration: configuration.expect("its configuration is right"),
        }
    }

    /// A supervisor that the brew has just begun for.
    pub fn supervisor(&self) -> Supervisor {
        let plan = config::load_plan(&self.path("plan.toml")).expect("its plan is right");
        let mut supervisor = engine::supervisor(&self.configuration);
        let started = Event::BrewStarted {
            plan: Box::new(plan),
            zero: Moment::ZERO,
            profile: None,
            corrections: Vec::new(),
        };
        supervisor.handle(started, Moment::ZERO);
        supervisor
    }

    /// Its readings with their moments, as RUN.csv has them.
    pub fn events(&self) -> Vec<(Event, Moment)> {
        let ids: Vec<&str> = self
            .configuration
            .instruments
            .iter()
            .map(|each| each.instrument.id.as_str())
            .collect();
        let mut recording = Recording::open(&self.path("RUN.csv"), &ids).expect("it opens");
        let (mut row, mut events) = (Row::default(), Vec::new());
        while recording.next_row(&mut row).expect("a row") {
            events.extend(row.values.iter().map(|(instrument, value)| {
                let reading = Reading {
                    value: Ok(*value),
                    status: Status::Good,
                    at: row.at,
                };
                let instrument = *instrument;
                (
                    Event::Reading {
                        instrument,
                        reading,
                    },
                    row.at,
                )
            }));
        }
        events
    }
}
