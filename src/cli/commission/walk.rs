//! The walk through a tun's commissioning, line by line onto the acceptance sheet.

use std::io::{BufRead as _, IsTerminal as _, Write as _};
use std::path::{Path, PathBuf};
use std::time::Duration;

use clap::{Args, ValueEnum};
use lauter_core::supervisor::LinkState;

use super::checked;
use super::watched::{Looked, look};
use crate::cli::probe::BrokerOptions;
use crate::cli::text::print;
use crate::clock;
use crate::commission::plausible::{self, Found, Vessel};
use crate::commission::sheet::{Line, Part, Sheet, Verdict};
use crate::config::model::Source;
use crate::config::{self, Configuration};
use crate::engine;
use crate::exit::{Failure, Kind};
use crate::ingest;

/// What is walked through
#[derive(Debug, Args)]
#[cfg_attr(
    not(feature = "demo"),
    allow(dead_code, reason = "without simulators some of it has no use")
)]
pub struct Walk {
    /// Configuration of the tun
    #[arg(long, value_name = "FILE")]
    config: Option<PathBuf>,
    /// Who commissions it, for the sheet; asked for on a terminal
    #[arg(long, value_name = "NAME")]
    who: Option<String>,
    /// How long every instrument is read
    #[arg(long, value_name = "SECONDS", default_value_t = 30, value_parser = clap::value_parser!(u32).range(3..=3600))]
    watch: u32,
    /// Plan of a brew for the dry run; without it one that fits the tun
    #[arg(long, value_name = "FILE")]
    pub plan: Option<PathBuf>,
    /// Leaves parts out; their lines are not done
    #[arg(long, value_name = "PARTS", value_enum, value_delimiter = ',')]
    leave_out: Vec<Leave>,
    /// Writes the sheet as well: .html to print and sign, .json, or text
    #[arg(long, value_name = "FILE")]
    to: Option<PathBuf>,
    /// Asks nothing, also on a terminal
    #[arg(long)]
    no_questions: bool,
    #[command(flatten)]
    pub broker: BrokerOptions,
    /// Simulated seconds in a second, for alarms and dry run
    #[arg(long, default_value_t = 60.0, value_parser = speed)]
    pub speed: f64,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Leave {
    Instruments,
    LoopChecks,
    Alarms,
    DryRun,
}

pub fn speed(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(speed) if (1.0..=600.0).contains(&speed) => Ok(speed),
        _ => Err("allowed is 1 to 600".to_owned()),
    }
}

fn now() -> String {
    format!("{:.0}", clock::wall_now())
}

/// One more line for the sheet.
pub fn line(part: Part, item: impl Into<String>, (verdict, reading): Found) -> Line {
    Line {
        part,
        item: item.into(),
        verdict,
        reading,
        time: now(),
    }
}

pub fn run(walk: &Walk) -> Result<(), Failure> {
    let file = walk
        .config
        .as_ref()
        .ok_or_else(|| Failure::new(Kind::Usage, "give the tun's configuration: --config FILE"))?;
    let configuration = config::load(file)?;
    let started = now();
    let who = walk
        .who
        .clone()
        .or_else(|| walk.ask("Who commissions this tun? "));
    let runtime = tokio::runtime::Runtime::new()
        .map_err(|error| Failure::new(Kind::Io, format!("threads cannot be started: {error}")))?;
    let mut lines = Vec::new();
    if walk.leaves_out(Leave::Instruments) {
        let left_out = (Verdict::NotDone, "left out".to_owned());
        lines.push(line(Part::Instruments, "all instruments", left_out));
    } else {
        walk.ask(
            "Let water or wort run through the line to the kettle if you can, then press Enter. ",
        );
        print(&format!("Every instrument is read for {} s.\n", walk.watch))?;
        let lasting = Duration::from_secs(u64::from(walk.watch));
        let looked = runtime.block_on(look(&configuration, lasting));
        lines.extend(links(&configuration, &looked));
        lines.extend(instruments(&configuration, &looked));
    }
    if walk.leaves_out(Leave::LoopChecks) {
        let left_out = (Verdict::NotDone, "left out".to_owned());
        lines.push(line(Part::LoopChecks, "all instruments", left_out));
    } else {
        lines.extend(checked::lines(&configuration));
    }
    lines.extend(simulations(walk, &configuration, &runtime)?);
    runtime.shutdown_timeout(Duration::from_millis(200));
    let sheet = Sheet {
        site: configuration.site.clone(),
        tun: configuration.tun.name.clone(),
        configuration: configuration.file.display().to_string(),
        settings: engine::digest(&configuration),
        version: env!("CARGO_PKG_VERSION").to_owned(),
        who,
        started,
        ended: now(),
        lines,
    };
    print(&format!("\n{}", sheet.text()))?;
    if let Some(path) = &walk.to {
        write(path, &sheet)?;
    }
    verdict(&sheet)
}

impl Walk {
    fn leaves_out(&self, part: Leave) -> bool {
        self.leave_out.contains(&part)
    }

    /// An answer typed at a terminal; None where there is none.
    fn ask(&self, question: &str) -> Option<String> {
        if self.no_questions || !std::io::stdin().is_terminal() || !std::io::stdout().is_terminal()
        {
            return None;
        }
        print(question).ok()?;
        std::io::stdout().flush().ok()?;
        let mut answer = String::new();
        std::io::stdin().lock().read_line(&mut answer).ok()?;
        let answer = answer.trim().to_owned();
        (!answer.is_empty()).then_some(answer)
    }
}

fn links(configuration: &Configuration, looked: &Looked) -> Vec<Line> {
    let uses_mqtt = configuration
        .instruments
        .iter()
        .any(|each| matches!(each.source, Source::Mqtt(_)));
    let modbus = configuration
        .modbus_links
        .iter()
        .map(|link| link.name.as_str());
    modbus
        .chain(uses_mqtt.then_some(ingest::mqtt::LINK))
        .map(|name| {
            let found = match looked.links.get(name) {
                Some((LinkState::Up, detail)) => (Verdict::Pass, detail.clone()),
                Some((LinkState::Down, detail)) => (Verdict::Fail, detail.clone()),
                None if serves_nobody(configuration, name) => (
                    Verdict::NotApplicable,
                    "no instrument is read over it".to_owned(),
                ),
                None => (
                    Verdict::Fail,
                    "it did not answer; watch longer (--watch)".to_owned(),
                ),
            };
            line(Part::Links, name, found)
        })
        .collect()
}

fn serves_nobody(configuration: &Configuration, name: &str) -> bool {
    let mut instruments = configuration.instruments.iter();
    !instruments.any(|each| each.instrument.link.as_deref() == Some(name))
}

fn instruments(configuration: &Configuration, looked: &Looked) -> Vec<Line> {
    let vessel = Vessel {
        bed_area_m2: configuration.tun.bed_area_m2,
        pressure_drop_limit_kpa: configuration.tun.pressure_drop_limit_kpa,
        capacity_l: configuration.kettle.capacity_l,
        strapping: &configuration.kettle.strapping,
        no_flow_l_min: configuration.watch.no_flow_l_min,
    };
    let watched = looked.watched(configuration);
    let mut lines = Vec::new();
    for (each, configured) in watched.iter().zip(&configuration.instruments) {
        let id = &each.instrument.id;
        if matches!(configured.source, Source::Recorded) {
            let words = "it has neither modbus nor mqtt and serves replay only".to_owned();
            lines.push(line(Part::Instruments, id, (Verdict::NotApplicable, words)));
            continue;
        }
        lines.push(line(Part::Instruments, id, plausible::reading(each)));
    }
    for (each, configured) in watched.iter().zip(&configuration.instruments) {
        if !matches!(configured.source, Source::Recorded) {
            let item = format!(
                "{} as {}",
                each.instrument.id,
                config::spelt(each.instrument.measures)
            );
            lines.push(line(
                Part::SignsAndUnits,
                item,
                plausible::by_itself(each, &vessel),
            ));
        }
    }
    for (item, found) in plausible::together(&watched, &vessel) {
        lines.push(line(Part::SignsAndUnits, item, found));
    }
    lines
}

/// Alarm test and dry run.
fn simulations(
    walk: &Walk,
    configuration: &Configuration,
    runtime: &tokio::runtime::Runtime,
) -> Result<Vec<Line>, Failure> {
    let mut lines = Vec::new();
    let (alarms, dry_run) = (
        !walk.leaves_out(Leave::Alarms),
        !walk.leaves_out(Leave::DryRun),
    );
    let left_out = || (Verdict::NotDone, "left out".to_owned());
    let broker = walk.broker.settings(configuration.mqtt.as_ref())?;
    match broker {
        Some(broker) if alarms || dry_run => {
            lines.extend(simulated(
                walk,
                configuration,
                broker,
                (alarms, dry_run),
                runtime,
            ));
        }
        None if alarms || dry_run => {
            let words = "there is no broker: configure [mqtt], or give --broker".to_owned();
            if alarms {
                lines.push(line(
                    Part::Alarms,
                    "every alarm",
                    (Verdict::NotDone, words.clone()),
                ));
            }
            if dry_run {
                lines.push(line(
                    Part::DryRun,
                    "a whole run-off",
                    (Verdict::NotDone, words),
                ));
            }
        }
        _ => {}
    }
    if !alarms {
        lines.push(line(Part::Alarms, "every alarm", left_out()));
    }
    if !dry_run {
        lines.push(line(Part::DryRun, "a whole run-off", left_out()));
    }
    Ok(lines)
}

#[cfg(feature = "demo")]
fn simulated(
    walk: &Walk,
    configuration: &Configuration,
    broker: config::model::Mqtt,
    parts: (bool, bool),
    runtime: &tokio::runtime::Runtime,
) -> Vec<Line> {
    super::rehearsal::lines(walk, configuration, broker, parts, runtime)
}

#[cfg(not(feature = "demo"))]
fn simulated(
    _: &Walk,
    _: &Configuration,
    _: config::model::Mqtt,
    (alarms, dry_run): (bool, bool),
    _: &tokio::runtime::Runtime,
) -> Vec<Line> {
    let words = "this build has no simulators; build it with the feature demo".to_owned();
    let mut lines = Vec::new();
    for (wanted, part) in [(alarms, Part::Alarms), (dry_run, Part::DryRun)] {
        if wanted {
            lines.push(line(
                part,
                "simulated brews",
                (Verdict::NotDone, words.clone()),
            ));
        }
    }
    lines
}

/// By the file's ending: a page, JSON or text.
fn write(path: &Path, sheet: &Sheet) -> Result<(), Failure> {
    let text = match path.extension().and_then(|ending| ending.to_str()) {
        Some("html" | "htm") => sheet.html(),
        Some("json") => sheet.json(),
        _ => sheet.text(),
    };
    std::fs::write(path, text).map_err(|error| {
        let path = path.display();
        Failure::new(Kind::Io, format!("{path}: cannot be written: {error}"))
    })
}

/// A link that does not answer is another matter than a line that failed.
fn verdict(sheet: &Sheet) -> Result<(), Failure> {
    let failed: Vec<&Line> = sheet
        .lines
        .iter()
        .filter(|line| line.verdict == Verdict::Fail)
        .collect();
    let Some(first) = failed.first() else {
        return Ok(());
    };
    let kind = if first.part == Part::Links {
        Kind::Unavailable
    } else {
        Kind::Data
    };
    Err(Failure::new(kind, sheet.outcome()))
}
