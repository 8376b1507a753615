//! `lauterd commission alarms`: every alarm provoked by a fault, and seen by a client at the broker.

use std::fmt::Write as _;
use std::path::PathBuf;

use clap::Args;
use lauter_core::alarm::AlarmId;
use simulators::Scenario;

use super::provocations::{self, Provocations};
use super::simulated::{self, FILLED_SHARE, calm};
use super::trial::{self, Outcome, Seen, Settings, TEST_SITE};
use crate::cli::probe::BrokerOptions;
use crate::cli::text::{Align, columns, print};
use crate::config;
use crate::config::Configuration;
use crate::engine::alarm_settings;
use crate::exit::{Failure, Kind};

/// Provokes every alarm on simulated brewhouses and sees it arrive at a broker
///
/// The service watches simulated brews, faster than life, and a client of its own listens at the broker as any other
/// system would. With --config the brewhouse is in the likeness of that tun, with its instruments and its alarm settings.
/// Everything is published below lauterd/commission/, with a retained notice that it is a test, and cleared away
/// afterwards: nothing appears below the site's own topics.
#[derive(Debug, Args)]
#[command(after_help = "Examples:
  lauterd commission alarms --broker 127.0.0.1:1883
  lauterd commission alarms --config tun-1.toml
  lauterd commission alarms --config tun-1.toml --broker 192.0.2.20:1883 --user lauterd --password-file password")]
pub struct Alarms {
    /// Configuration of the tun; without it the demonstration's brewhouse, which can show every alarm
    #[arg(long, value_name = "FILE")]
    config: Option<PathBuf>,
    #[command(flatten)]
    broker: BrokerOptions,
    /// Simulated seconds in a second
    #[arg(long, default_value_t = 60.0, value_parser = super::walk::speed)]
    speed: f64,
}

pub fn run(asked: &Alarms) -> Result<(), Failure> {
    let broker = asked.broker.of_file(asked.config.as_deref())?;
    let configuration = match &asked.config {
        Some(path) => Some(config::load_offline(path)?),
        None => None,
    };
    let provocations = planned(configuration.as_ref())?;
    let settings = Settings {
        broker,
        speed: asked.speed,
        configuration,
    };
    print(&opening(&provocations, &settings))?;
    let runtime = tokio::runtime::Runtime::new()
        .map_err(|error| Failure::new(Kind::Io, format!("threads cannot be started: {error}")))?;
    let outcomes = runtime.block_on(trial::run(
        provocations.trials.clone(),
        &settings,
        &mut |seen| {
            // A terminal that has gone is found at the end.
            let _ = print(&progress(seen));
        },
    ))?;
    let rows = Row::all(&provocations, &outcomes);
    print(&table(&rows))?;
    let unseen = rows.iter().filter(|row| row.is_unseen()).count();
    if unseen > 0 {
        return Err(Failure::new(
            Kind::Data,
            format!("{unseen} alarms were provoked and not seen at the broker"),
        ));
    }
    Ok(())
}

/// What is to be provoked on this tun, or on the demonstration's.
pub fn planned(configuration: Option<&Configuration>) -> Result<Provocations, Failure> {
    let Some(configuration) = configuration else {
        let mut base = calm(Scenario::demonstration());
        // So that a run-off that nobody stops fills it soon.
        base.kettle.capacity_l = (base.plan.planned_volume_l / FILLED_SHARE).round();
        return Ok(provocations::all(&base, &|_| false));
    };
    let base = simulated::scenario(configuration, None)?;
    let disabled = |alarm: AlarmId| alarm_settings(configuration, alarm).enabled == Some(false);
    Ok(provocations::all(&base, &disabled))
}

fn opening(provocations: &Provocations, settings: &Settings) -> String {
    let count: usize = provocations.trials.iter().map(|t| t.expected.len()).sum();
    let broker = &settings.broker;
    format!(
        "TEST. {count} alarms are provoked on {} simulated brewhouses, {} times faster than life.\n\
         They are published at {}:{} below lauterd/{TEST_SITE}/ and nowhere else. None of them is real.\n\n",
        provocations.trials.len(),
        settings.speed,
        broker.host,
        broker.port
    )
}

fn progress(seen: &Seen) -> String {
    let after_s = seen.heard.as_ref().map_or(0.0, |(_, after_s)| *after_s);
    format!(
        "seen  {:<20}  {after_s:>5.0} s after: {}\n",
        seen.expected.alarm.name(),
        seen.expected.provoked_by
    )
}

/// One alarm of the table and what became of it.
#[derive(Clone, Debug)]
pub struct Row {
    pub alarm: AlarmId,
    pub result: Result<Option<Seen>, String>,
}

impl Row {
    /// In the order of the alarm table. Err: this tun cannot show it.
    pub fn all(provocations: &Provocations, outcomes: &[Outcome]) -> Vec<Self> {
        AlarmId::ALL
            .into_iter()
            .map(|alarm| {
                let mut seen = outcomes.iter().flat_map(|outcome| &outcome.seen);
                let seen = seen.find(|seen| seen.expected.alarm == alarm).cloned();
                let cannot = provocations.cannot.get(&alarm);
                let result = match (seen, cannot) {
                    (None, Some(reason)) => Err(reason.clone()),
                    (seen, _) => Ok(seen),
                };
                Self { alarm, result }
            })
            .collect()
    }

    /// Where it was seen.
    pub fn topic(&self) -> Option<(&str, f64)> {
        let seen = self.result.as_ref().ok()?.as_ref()?;
        let (topic, after_s) = seen.heard.as_ref()?;
        Some((topic, *after_s))
    }

    /// It should have come, and did not.
    pub fn is_unseen(&self) -> bool {
        self.result.is_ok() && self.topic().is_none()
    }

    /// The fault, or why there is none.
    pub fn provoked_by(&self) -> &str {
        match &self.result {
            Ok(Some(seen)) => &seen.expected.provoked_by,
            Ok(None) => "nothing provokes it",
            Err(reason) => reason,
        }
    }
}

fn table(rows: &[Row]) -> String {
    let mut cells =
        vec![["alarm", "result", "seen after", "provoked by", "topic"].map(str::to_owned)];
    for row in rows {
        let (result, after) = match (&row.result, row.topic()) {
            (Err(_), _) => ("cannot occur", String::new()),
            (Ok(_), Some((_, after_s))) => ("seen", format!("{after_s:.0} s")),
            (Ok(_), None) => ("NOT SEEN", String::new()),
        };
        cells.push([
            row.alarm.name().to_owned(),
            result.to_owned(),
            after,
            row.provoked_by().to_owned(),
            row.topic()
                .map_or_else(String::new, |(topic, _)| topic.to_owned()),
        ]);
    }
    let align = [
        Align::Left,
        Align::Left,
        Align::Right,
        Align::Left,
        Align::Left,
    ];
    let seen = rows.iter().filter(|row| row.topic().is_some()).count();
    let mut text = format!("\n{}", columns(align, &cells));
    let _ = writeln!(
        text,
        "\n{seen} of {} alarms were seen at the broker. Times are the brewhouse's, from the fault to the client.",
        rows.len()
    );
    text
}
