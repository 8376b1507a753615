//! Alarm test and dry run as lines of the sheet, on brewhouses in the likeness of the tun.

use super::alarms::{Row, planned};
use super::trial::{self, Outcome, Settings};
use super::walk::{Walk, line};
use super::{dry_run, simulated};
use crate::cli::text::print;
use crate::commission::sheet::{Line, Part, Verdict};
use crate::config::model::Mqtt;
use crate::config::{self, Configuration};
use crate::exit::Failure;

/// `parts`: whether alarms and dry run are wanted.
pub fn lines(
    walk: &Walk,
    configuration: &Configuration,
    broker: Mqtt,
    (alarms, run_off): (bool, bool),
    runtime: &tokio::runtime::Runtime,
) -> Vec<Line> {
    let settings = Settings {
        broker,
        speed: walk.speed,
        configuration: Some(configuration.clone()),
    };
    let mut lines = Vec::new();
    if alarms {
        lines.extend(
            provoked(configuration, &settings, runtime).unwrap_or_else(|failure| {
                vec![line(
                    Part::Alarms,
                    "every alarm",
                    (Verdict::Fail, failure.message),
                )]
            }),
        );
    }
    if run_off {
        let judged = rehearsed(walk, configuration, &settings, runtime);
        let found = match judged {
            Ok(Ok(reading)) => (Verdict::Pass, reading),
            Ok(Err(words)) => (Verdict::Fail, words),
            Err(failure) => (Verdict::Fail, failure.message),
        };
        lines.push(line(Part::DryRun, "a whole run-off", found));
    }
    lines
}

fn provoked(
    configuration: &Configuration,
    settings: &Settings,
    runtime: &tokio::runtime::Runtime,
) -> Result<Vec<Line>, Failure> {
    let provocations = planned(Some(configuration))?;
    print(
        "TEST: every alarm is provoked on simulated brewhouses, below lauterd/commission/. None of them is real.\n",
    )?;
    let outcomes: Vec<Outcome> = runtime.block_on(trial::run(
        provocations.trials.clone(),
        settings,
        &mut |seen| {
            // A terminal that has gone is found at the end.
            let _ = print(&format!("  seen: {}\n", seen.expected.alarm.name()));
        },
    ))?;
    let rows = Row::all(&provocations, &outcomes);
    Ok(rows.iter().map(of_row).collect())
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

fn rehearsed(
    walk: &Walk,
    configuration: &Configuration,
    settings: &Settings,
    runtime: &tokio::runtime::Runtime,
) -> Result<Result<String, String>, Failure> {
    let plan = match &walk.plan {
        Some(path) => Some(config::load_plan(path)?),
        None => None,
    };
    let base = simulated::scenario(configuration, plan.as_ref())?;
    print("TEST: a whole run-off is simulated with this tun's settings.\n")?;
    let trials = vec![dry_run::trial(&base)];
    let outcomes = runtime.block_on(trial::run(trials, settings, &mut |_| ()))?;
    Ok(outcomes
        .first()
        .map_or_else(|| Err("nothing was run".to_owned()), dry_run::judged))
}
