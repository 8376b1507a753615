//! One simulated brew of a test: its brewhouse, its faults as their time comes, and what was heard of it.

use std::collections::BTreeSet;
use std::path::Path;
use std::time::Duration;

use lauter_core::alarm::{AlarmId, AlarmState};
use lauter_core::reading::Moment;
use lauter_core::supervisor::{AlarmLine, SummaryLine};
use simulators::lauterd_files;
use simulators::serve::{self, Handle};

use super::super::demo_text::Scratch;
use super::trial::{Outcome, Seen, Settings, TEST_SITE, Trial};
use crate::commission::hearing::Heard;
use crate::config::{self, Configuration, Surroundings};
use crate::exit::{Failure, Kind};

/// Readings and states are of no interest here and would only fill the broker, s of the brewhouse.
const QUIET_S: f64 = 60.0;

/// Real time before the simulated run-offs begin: the brews are started in it.
const START_AFTER: Duration = Duration::from_secs(3);

/// A trial under way.
#[derive(Debug)]
pub struct Running {
    pub trial: Trial,
    pub house: Handle,
    pub tun: String,
    /// Moment each expected fault began.
    begun: Vec<Option<Moment>>,
    beside: usize,
    pub heard: Vec<Option<(String, f64)>>,
    others: Vec<AlarmId>,
    /// Topics of which the broker remembers an alarm.
    pub topics: BTreeSet<String>,
    summary: Option<SummaryLine>,
    pub ended: bool,
}

/// Serves the brewhouse; its run-off begins a little later.
pub async fn begun(trial: Trial, settings: &Settings) -> Result<Running, Failure> {
    let options = serve::Options {
        speed: settings.speed,
        start_after: START_AFTER,
        database: trial
            .scenario
            .influx
            .is_some()
            .then(|| ([127, 0, 0, 1], 0).into()),
        ..serve::Options::with_seed(trial.scenario.seed)
    };
    let house = serve::start(&trial.scenario, options)
        .await
        .map_err(|error| Failure::new(Kind::Unavailable, error.to_string()))?;
    let count = trial.expected.len();
    let whose = settings.configuration.as_ref();
    let whose = whose.map_or_else(
        || "trial".to_owned(),
        |site| format!("{}-{}", site.site, site.tun.name),
    );
    Ok(Running {
        tun: format!("commission-{whose}-{}", trial.name),
        trial,
        house,
        begun: vec![None; count],
        beside: 0,
        heard: vec![None; count],
        others: Vec::new(),
        topics: BTreeSet::new(),
        summary: None,
        ended: false,
    })
}

impl Running {
    /// The service's configuration for this brewhouse, under names of the test.
    pub fn configuration(
        &self,
        settings: &Settings,
        scratch: &Scratch,
    ) -> Result<Configuration, Failure> {
        let text = lauterd_files::configuration(self.house.scenario());
        let mut file = config::parse(Path::new("the simulated tun"), text, &Surroundings::none())?;
        TEST_SITE.clone_into(&mut file.site);
        file.tun.name.clone_from(&self.tun);
        scratch.path().clone_into(&mut file.store.directory);
        file.web.enabled = false;
        if let Some(site) = &settings.configuration {
            file.alarms.clone_from(&site.alarms);
            file.watch = site.watch.clone();
            file.projection = site.projection.clone();
            for (own, of_site) in file.instruments.iter_mut().zip(&site.instruments) {
                own.instrument.zero = of_site.instrument.zero;
            }
        }
        file.watch.reading_every_s = file.watch.reading_every_s.max(QUIET_S);
        file.watch.runoff_every_s = file.watch.runoff_every_s.max(QUIET_S);
        let mut broker = settings.broker.clone();
        broker.client_id = format!("{}-{}", self.tun, std::process::id());
        broker.publish = true;
        broker.commands = false;
        broker.reading_every = Duration::from_secs_f64(QUIET_S);
        file.mqtt = Some(broker);
        if let Some(influx) = &mut file.influx {
            // In real time; the brewhouse's passes faster.
            influx.every = Duration::from_millis(200);
            influx.timeout = Duration::from_secs(1);
        }
        Ok(file)
    }

    /// Nothing more is to be waited for.
    pub fn is_done(&self) -> bool {
        let snapshot = self.house.snapshot();
        let seen_all = self.heard.iter().all(Option::is_some);
        if self.trial.to_the_end {
            return snapshot.finished;
        }
        seen_all || snapshot.finished
    }

    /// Lets those faults begin whose time has come.
    pub async fn inject(&mut self, now: Moment) -> Result<(), Failure> {
        let at_s = self.house.truth().elapsed_s;
        let odd = |error: simulators::FaultError| Failure::new(Kind::Software, error.to_string());
        for (expected, begun) in self.trial.expected.iter().zip(&mut self.begun) {
            if begun.is_some() || at_s < expected.at_s {
                continue;
            }
            if let Some(fault) = &expected.fault {
                self.house.inject(fault.clone()).await.map_err(odd)?;
            }
            *begun = Some(now);
        }
        while let Some((due_s, fault)) = self.trial.beside.get(self.beside) {
            if at_s < *due_s {
                break;
            }
            self.house.inject(fault.clone()).await.map_err(odd)?;
            self.beside += 1;
        }
        Ok(())
    }

    /// Takes a message of its own tun.
    pub fn take(&mut self, below: &str, heard: &Heard, now: Moment) -> Option<Seen> {
        if heard.retained || heard.payload.is_empty() {
            return None;
        }
        if below == "event" {
            let event: serde_json::Value = serde_json::from_slice(&heard.payload).ok()?;
            if event["event"] == "summary" {
                self.summary = serde_json::from_value(event).ok();
            }
            return None;
        }
        if !below.starts_with("alarm/") {
            return None;
        }
        self.topics.insert(heard.topic.clone());
        let line: AlarmLine = serde_json::from_slice(&heard.payload).ok()?;
        if line.to != AlarmState::Unacknowledged {
            return None;
        }
        let known = self
            .trial
            .expected
            .iter()
            .position(|e| e.alarm == line.alarm);
        let Some(index) = known else {
            if !self.others.contains(&line.alarm) {
                self.others.push(line.alarm);
            }
            return None;
        };
        // Only what comes after its fault was provoked by it.
        let begun = self.begun[index]?;
        if self.heard[index].is_some() {
            return None;
        }
        self.heard[index] = Some((heard.topic.clone(), now.since(begun)));
        Some(self.seen(index))
    }

    fn seen(&self, index: usize) -> Seen {
        Seen {
            expected: self.trial.expected[index].clone(),
            heard: self.heard[index].clone(),
        }
    }

    pub async fn outcome(self) -> Outcome {
        let seen = (0..self.trial.expected.len()).map(|index| self.seen(index));
        let outcome = Outcome {
            seen: seen.collect(),
            others: self.others.clone(),
            summary: self.summary.clone(),
            truth: self.house.snapshot().crossings.target,
        };
        self.house.stop().await;
        outcome
    }
}
