//! Alarm test and dry run as lines of the sheet, on brewhouses in the likeness of the tun.

use super::alarms::{Row, planned};
use super::provocations::Provocations;
use super::trial::{self, Outcome, Settings, Trial};
use super::walk::{Walk, line};
use super::{dry_run, simulated};
use crate::cli::text::print;
use crate::commission::sheet::{Line, Part, Verdict};
use crate::config::model::Mqtt;
use crate::config::{self, Configuration};
use crate::exit::Failure;

/// What is to be run, all at once.
struct Rehearsal {
    alarms: Option<Provocations>,
    dry_run: Option<Trial>,
}

/// `parts`: whether alarms and dry run are wanted.
pub fn lines(
    walk: &Walk,
    configuration: &Configuration,
    broker: Mqtt,
    (alarms, run_off): (bool, bool),
    runtime: &tokio::runtime::Runtime,
) -> Vec<Line> {
    let mut lines = Vec::new();
    let mut failed = |part: Part, item: &str, failure: &Failure| {
        lines.push(line(part, item, (Verdict::Fail, failure.message.clone())));
    };
    let mut rehearsal = Rehearsal {
        alarms: None,
        dry_run: None,
    };
    if alarms {
        match planned(Some(configuration)) {
            Ok(provocations) => rehearsal.alarms = Some(provocations),
            Err(failure) => failed(Part::Alarms, EVERY_ALARM, &failure),
        }
    }
    if run_off {
        match whole_run_off(walk, configuration) {
            Ok(trial) => rehearsal.dry_run = Some(trial),
            Err(failure) => failed(Part::DryRun, RUN_OFF, &failure),
        }
    }
    let settings = Settings {
        broker,
        speed: walk.speed,
        configuration: Some(configuration.clone()),
    };
    match rehearsal.run(&settings, runtime) {
        Ok(outcomes) => lines.extend(rehearsal.judged(&outcomes)),
        Err(failure) => {
            if rehearsal.alarms.is_some() {
                failed(Part::Alarms, EVERY_ALARM, &failure);
            }
            if rehearsal.dry_run.is_some() {
                failed(Part::DryRun, RUN_OFF, &failure);
            }
        }
    }
    lines
}

const EVERY_ALARM: &str = "every alarm";
const RUN_OFF: &str = "a whole run-off";

fn whole_run_off(walk: &Walk, configuration: &Configuration) -> Result<Trial, Failure> {
    let plan = match &walk.plan {
        Some(path) => Some(config::load_plan(path)?),
        None => None,
    };
    Ok(dry_run::trial(&simulated::scenario(
        configuration,
        plan.as_ref(),
    )?))
}

impl Rehearsal {
    fn run(
        &self,
        settings: &Settings,
        runtime: &tokio::runtime::Runtime,
    ) -> Result<Vec<Outcome>, Failure> {
        let provoking = self.alarms.iter().flat_map(|alarms| alarms.trials.clone());
        // The dry run is the last.
        let trials: Vec<Trial> = provoking.chain(self.dry_run.clone()).collect();
        if trials.is_empty() {
            return Ok(Vec::new());
        }
        print(
            "TEST: brews are simulated with this tun's settings, published below lauterd/commission/ alone. None of their \
             alarms is real.\n",
        )?;
        runtime.block_on(trial::run(trials, settings, &mut |seen| {
            // A terminal that has gone is found at the end.
            let _ = print(&format!("  seen: {}\n", seen.expected.alarm.name()));
        }))
    }

    fn judged(&self, outcomes: &[Outcome]) -> Vec<Line> {
        let mut lines = Vec::new();
        let provoked = self.alarms.as_ref().map_or(0, |alarms| alarms.trials.len());
        let (of_alarms, of_run_off) = outcomes.split_at(provoked.min(outcomes.len()));
        if let Some(provocations) = &self.alarms {
            lines.extend(Row::all(provocations, of_alarms).iter().map(of_row));
        }
        if let (Some(_), Some(outcome)) = (&self.dry_run, of_run_off.first()) {
            let found = match dry_run::judged(outcome) {
                Ok(reading) => (Verdict::Pass, reading),
                Err(words) => (Verdict::Fail, words),
            };
            lines.push(line(Part::DryRun, RUN_OFF, found));
        }
        lines
    }
}

fn of_row(row: &Row) -> Line {
    let found = match (&row.result, row.topic()) {
        (Err(reason), _) => (Verdict::NotApplicable, reason.clone()),
        (Ok(_), Some((topic, after_s))) => (
            Verdict::Pass,
            format!(
                "{}: seen after {after_s:.0} s on {topic}",
                row.provoked_by()
            ),
        ),
        (Ok(_), None) => (
            Verdict::Fail,
            format!("{}: not seen at the broker", row.provoked_by()),
        ),
    };
    line(Part::Alarms, row.alarm.name(), found)
}
