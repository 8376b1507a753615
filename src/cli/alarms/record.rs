//! `lauterd alarms report` and `lauterd alarms trail`: what the record tells about a tun's alarms.
//!
//! With a configuration the record is read beside the service, which need not run; without one the service is asked.

use std::fmt::Write as _;
use std::path::PathBuf;

use clap::Args;
use lauter_core::alarm::{Benchmark, Frequency, Performance, Priority, Source};
use serde::de::DeserializeOwned;

use crate::cli::client::{ServiceOptions, query_value, tun_path};
use crate::cli::sample::finite;
use crate::cli::text::{Align, NONE, columns, elapsed, local_time, print, print_json};
use crate::clock;
use crate::config::Configuration;
use crate::exit::{Failure, Kind};
use crate::store::{Database, StoreError, TunId};
use crate::web::wire::{self, ALARM_DAYS, AlarmReport, Asked, ServedTun, TrailEntry};

#[derive(Debug, Args)]
pub struct Arguments {
    /// One brew alone
    #[arg(long, value_name = "BREW", conflicts_with = "days")]
    brew: Option<String>,
    /// How many days back
    #[arg(long, value_name = "DAYS", value_parser = finite, default_value_t = ALARM_DAYS)]
    days: f64,
    /// Directory of the record [default: the configuration's]
    #[arg(long, value_name = "DIR")]
    store: Option<PathBuf>,
    /// As JSON
    #[arg(long)]
    json: bool,
}

pub fn report(arguments: &Arguments, service: &ServiceOptions) -> Result<(), Failure> {
    let (tun, report) = looked_up(arguments, service, "report", AlarmReport::of)?;
    if arguments.json {
        return print_json(&report);
    }
    print(&page(&tun, arguments, &report))
}

pub fn trail(arguments: &Arguments, service: &ServiceOptions) -> Result<(), Failure> {
    let (tun, trail) = looked_up(arguments, service, "trail", wire::trail)?;
    if arguments.json {
        return print_json(&trail);
    }
    print(&trail_page(&tun, &trail))
}

type Look<T> = fn(&Database, TunId, &Asked) -> Result<Option<T>, StoreError>;

fn looked_up<T: DeserializeOwned>(
    arguments: &Arguments,
    service: &ServiceOptions,
    what: &str,
    look: Look<T>,
) -> Result<(ServedTun, T), Failure> {
    match (service.configuration()?, &arguments.store) {
        (Some(configuration), _) => of_record(arguments, configuration, look),
        (None, Some(_)) => Err(Failure::new(
            Kind::Usage,
            "--store names a record; say whose with --config FILE".to_owned(),
        )),
        (None, None) => {
            let client = service.client()?;
            let tun = client.tun()?;
            let mut path = tun_path(&tun, &["alarms", what]);
            let _ = match &arguments.brew {
                Some(brew) => write!(path, "?brew={}", query_value(brew)),
                None => write!(path, "?days={}", arguments.days),
            };
            let found = client.get(&path)?;
            Ok((tun, found))
        }
    }
}

fn of_record<T>(
    arguments: &Arguments,
    configuration: Configuration,
    look: Look<T>,
) -> Result<(ServedTun, T), Failure> {
    let directory = arguments
        .store
        .as_ref()
        .unwrap_or(&configuration.store.directory);
    let database = Database::open_read_only(directory)?;
    let tun = ServedTun {
        site: configuration.site,
        tun: configuration.tun.name,
    };
    let path = database.path().display().to_string();
    let id = database.find_tun(&tun.site, &tun.tun)?.ok_or_else(|| {
        let message = format!("{path}: has no tun {tun} (--store DIR names another record)");
        Failure::new(Kind::NoInput, message)
    })?;
    let asked = Asked {
        brew: arguments.brew.clone(),
        days: arguments.days,
        now: clock::wall_now(),
    };
    let found = look(&database, id, &asked)?.ok_or_else(|| {
        let brew = arguments.brew.as_deref().unwrap_or_default();
        Failure::new(
            Kind::NoInput,
            format!("{path}: has no brew {brew} of {tun}"),
        )
    })?;
    Ok((tun, found))
}

/// Writing to a string cannot fail.
fn page(tun: &ServedTun, arguments: &Arguments, report: &AlarmReport) -> String {
    let figures = &report.performance;
    let since = local_time(report.since);
    let mut page = match &arguments.brew {
        Some(brew) => format!("{tun}: alarms of brew {brew}, started {since}\n"),
        None => format!("{tun}: alarms since {since}\n"),
    };
    let _ = writeln!(
        page,
        "{} in {} of run-off watched ({}); {} suppressed, {} shelved, {} taken out of service\n",
        many(figures.annunciated, "alarm"),
        elapsed(3600.0 * figures.watched_h) + " h:min",
        many(figures.watches, "brew"),
        figures.suppressed,
        figures.shelved,
        figures.taken_out_of_service
    );
    page.push_str(&benchmarks(&report.benchmarks));
    page.push('\n');
    page.push_str(&lists(figures));
    page
}

fn many(count: u32, noun: &str) -> String {
    let plural = if count == 1 { "" } else { "s" };
    format!("{count} {noun}{plural}")
}

fn benchmarks(benchmarks: &[Benchmark]) -> String {
    let mut rows = vec![["figure", "value", "at most", "", "benchmark of"].map(str::to_owned)];
    rows.extend(benchmarks.iter().map(|row| {
        let unit = |value: String| format!("{value} {}", row.unit).trim_end().to_owned();
        let verdict = match row.kept {
            Some(true) => "kept",
            Some(false) => "EXCEEDED",
            None => "too few to say",
        };
        [
            row.figure.clone(),
            row.value
                .map_or_else(|| NONE.to_owned(), |value| unit(format!("{value:.1}"))),
            unit(row.at_most.to_string()),
            verdict.to_owned(),
            row.source.clone(),
        ]
    }));
    let (left, right) = (Align::Left, Align::Right);
    columns([left, right, right, left, left], &rows)
}

fn lists(figures: &Performance) -> String {
    let mut text = String::new();
    let priorities: Vec<String> = Priority::ALL
        .into_iter()
        .map(|one| {
            let count = figures.by_priority.get(&one).unwrap_or(&0);
            let share = figures
                .percent(&[one])
                .map_or_else(String::new, |percent| format!(" ({percent:.0} %)"));
            format!("{count} {}{share}", one.name())
        })
        .collect();
    let mut line = |name: &str, words: String| {
        let _ = writeln!(text, "{name:<14}  {words}");
    };
    line("priorities", priorities.join(", "));
    line("bursts", figures.bursts.to_string());
    line(
        "standing",
        format!("{} at once at most", figures.standing_most),
    );
    let after = figures
        .median_acknowledge_s
        .map_or_else(String::new, |median_s| {
            format!(", the middle one after {median_s:.0} s")
        });
    line("acknowledged", format!("{}{after}", figures.acknowledged));
    for (name, list) in [
        ("most frequent", &figures.most_frequent),
        ("chattering", &figures.chattering),
        ("fleeting", &figures.fleeting),
    ] {
        line(name, frequencies(list));
    }
    let stale: Vec<String> = figures.stale.iter().map(named).collect();
    line("stale", or_none(&stale.join(", ")));
    text
}

fn frequencies(list: &[Frequency]) -> String {
    let words: Vec<String> = list
        .iter()
        .map(|one| format!("{} {}", one.count, named(&one.source)))
        .collect();
    or_none(&words.join(", "))
}

fn or_none(words: &str) -> String {
    if words.is_empty() { NONE } else { words }.to_owned()
}

fn named(source: &Source) -> String {
    match &source.instrument {
        Some(instrument) => format!("{} of {instrument}", source.alarm.name()),
        None => source.alarm.name().to_owned(),
    }
}

fn trail_page(tun: &ServedTun, trail: &[TrailEntry]) -> String {
    if trail.is_empty() {
        return format!("{tun}: no alarm has changed its state.\n");
    }
    let mut rows = vec![["time", "brew", "alarm", "from", "to", "who", "why"].map(str::to_owned)];
    rows.extend(trail.iter().map(|entry| {
        let source = Source {
            alarm: entry.alarm,
            instrument: entry.instrument.clone(),
        };
        let or_none = |text: &Option<String>| text.clone().unwrap_or_else(|| NONE.to_owned());
        [
            local_time(entry.time),
            or_none(&entry.brew),
            named(&source),
            entry.from.name().to_owned(),
            entry.to.name().to_owned(),
            or_none(&entry.who),
            entry.why.clone().unwrap_or_else(|| entry.message.clone()),
        ]
    }));
    columns([Align::Left; 7], &rows)
}
