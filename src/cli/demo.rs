//! `lauterd demo`: a simulated brewhouse and the service on it, over real Modbus on the loopback.
//!
//! Owns the show: it starts both sides, plays the brewer who starts and ends the brew, and prints what the
//! service says. The service does not know that its brewhouse is simulated.

use std::net::SocketAddr;
use std::path::Path;
use std::time::Duration;

use clap::{Args, ValueEnum};
use lauter_core::alarm::AlarmId;
use lauter_core::supervisor::{Dated, Line, Output, SummaryLine};
use simulators::serve::{self, Handle};
use simulators::{Crossing, Scenario, lauterd_files};
use tokio::sync::mpsc;

use super::demo_text::{self, Screen};
use crate::config::model::{DecimalMark, Language};
use crate::config::{self, Configuration, Surroundings};
use crate::exit::{Failure, Kind};
use crate::runtime::request::{Refusal, Request};
use crate::runtime::{Options, Service, stop_on_signals};

/// Shows the service at work on a simulated brewhouse, sixty times faster than life.
///
/// Nothing else needs to be installed. A run-off of an invented brew in which liquor finds a channel through
/// the bed; the rakes close it again.
#[derive(Debug, Args)]
#[command(after_help = "Examples:
  lauterd demo
  lauterd demo --speed 240 --seed 3
  lauterd demo --listen 127.0.0.1:8780 --stay    look at the page meanwhile, and at the report afterwards")]
pub struct Arguments {
    /// Simulated seconds in a second.
    #[arg(long, default_value_t = 60.0, value_parser = speed)]
    speed: f64,
    /// Another seed gives other noise on the instruments; without it the scenario's own.
    #[arg(long)]
    seed: Option<u64>,
    /// Where the page is served; without it on any free port.
    #[arg(long, value_name = "ADDRESS:PORT", default_value = "127.0.0.1:0")]
    listen: SocketAddr,
    /// Goes on serving page and record after the run-off, until Ctrl-C.
    #[arg(long)]
    stay: bool,
    /// Language of the page.
    #[arg(long, value_enum, default_value_t = PageLanguage::En)]
    language: PageLanguage,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum PageLanguage {
    En,
    De,
}

const SCENARIO: &str = include_str!("../../simulators/scenarios/orchard-ale-channel.toml");
/// Outputs that may wait for the terminal: some minutes of the brewhouse's time.
const OUTPUTS_BOUND: usize = 16_384;
/// How often the terminal gets a line of the table, in the brewhouse's time.
const TABLE_EVERY_S: f64 = 300.0;
/// The stop-point is called by estimates; the true one may come a little later. Simulated seconds.
const TRUTH_LATE_S: f64 = 900.0;

fn speed(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(speed) if (1.0..=600.0).contains(&speed) => Ok(speed),
        _ => Err("allowed is 1 to 600".to_owned()),
    }
}

pub fn run(arguments: &Arguments) -> Result<(), Failure> {
    let runtime = tokio::runtime::Runtime::new()
        .map_err(|error| Failure::new(Kind::Io, format!("threads cannot be started: {error}")))?;
    let outcome = runtime.block_on(show(arguments));
    runtime.shutdown_timeout(Duration::from_millis(200));
    outcome
}

async fn show(arguments: &Arguments) -> Result<(), Failure> {
    let scenario = Scenario::from_toml(SCENARIO).map_err(|error| {
        Failure::new(
            Kind::Configuration,
            format!("the demonstration's scenario: {error}"),
        )
    })?;
    let options = serve::Options {
        speed: arguments.speed,
        modbus_tcp: Some(([127, 0, 0, 1], 0).into()),
        ..serve::Options::with_seed(arguments.seed.unwrap_or(scenario.seed))
    };
    let brewhouse = serve::start(&scenario, options)
        .await
        .map_err(|error| Failure::new(Kind::Unavailable, error.to_string()))?;
    let record = demo_text::scratch_directory()?;
    let configuration = configuration(&brewhouse, record.path(), arguments)?;
    let (observer, outputs) = mpsc::channel(OUTPUTS_BOUND);
    let service = Box::pin(Service::start(
        vec![configuration],
        Options {
            speed: Some(arguments.speed),
            observer: Some(observer),
            ..Options::default()
        },
    ))
    .await?;
    stop_on_signals(service.stopper())
        .map_err(|error| Failure::new(Kind::Io, format!("signals cannot be taken: {error}")))?;
    let mut screen = Screen::new(arguments.speed);
    screen.opening(&scenario, service.listening.first().copied());
    let outcome = brew(&brewhouse, &service, outputs, &mut screen, arguments.stay).await;
    if arguments.stay && !service.stopper().is_cancelled() {
        screen.staying(service.listening.first().copied());
        service.stopper().cancelled().await;
    }
    service.end().await;
    brewhouse.stop().await;
    outcome
}

fn configuration(
    brewhouse: &Handle,
    record: &Path,
    arguments: &Arguments,
) -> Result<Configuration, Failure> {
    let text = lauterd_files::configuration(brewhouse.scenario());
    let mut configuration =
        config::parse(Path::new("the demonstration"), text, &Surroundings::none())?;
    record.clone_into(&mut configuration.store.directory);
    // Any free port unless one is asked for: the demonstration must not disturb a service that runs here.
    configuration.web.listen = arguments.listen;
    if arguments.language == PageLanguage::De {
        configuration.web.display.language = Language::German;
        configuration.web.display.decimal = DecimalMark::Comma;
    }
    configuration.watch.table_every_s = TABLE_EVERY_S;
    Ok(configuration)
}

/// Who starts and ends the demonstration's brew.
const BREWER: &str = "the demonstration";

/// Plays the brewer: starts the brew, follows it, ends it at the stop-point.
async fn brew(
    brewhouse: &Handle,
    service: &Service,
    mut outputs: mpsc::Receiver<Dated>,
    screen: &mut Screen,
    stay: bool,
) -> Result<(), Failure> {
    let plan_text = lauterd_files::plan(brewhouse.scenario());
    let plan = config::parse_plan(Path::new("the demonstration's plan"), plan_text)?;
    let tun = &service.tuns[0];
    let refused = |refusal: Refusal| Failure::new(Kind::Io, refusal.to_string());
    tun.ask(|reply| Request::StartBrew {
        plan: Box::new(plan),
        who: BREWER.to_owned(),
        reply,
    })
    .await
    .map_err(refused)?;
    let stopper = service.stopper();
    let mut alarmed_channel = false;
    let mut reached_at_s = None;
    let mut ended = false;
    let mut snapshots = brewhouse.watch();
    loop {
        let dated = tokio::select! {
            () = stopper.cancelled() => return Ok(()),
            dated = outputs.recv() => dated,
            changed = snapshots.changed() => {
                let snapshot = snapshots.borrow_and_update().clone();
                let waited = reached_at_s.is_some_and(|at_s| snapshot.truth.elapsed_s > at_s + TRUTH_LATE_S);
                let known = snapshot.crossings.target.is_some() && reached_at_s.is_some();
                if !ended && (known || waited || snapshot.finished || changed.is_err()) {
                    ended = true;
                    match tun.ask(|reply| Request::EndBrew { who: BREWER.to_owned(), reply }).await {
                        // Somebody may have ended it on the page.
                        Ok(_) | Err(Refusal::NoBrew) => {}
                        Err(refusal) => return Err(refused(refusal)),
                    }
                }
                continue;
            }
        };
        let Some(dated) = dated else { return Ok(()) };
        if let Output::Line(Line::Alarm(line)) = &dated.output {
            alarmed_channel |= line.alarm == AlarmId::Channelling;
            if line.alarm == AlarmId::StopPointReached {
                reached_at_s.get_or_insert(line.elapsed_s);
            }
        }
        screen.show(&dated.output);
        if screen.is_gone() && !stay {
            return Ok(());
        }
        if let Output::Line(Line::Summary(summary)) = &dated.output {
            let truth = brewhouse.snapshot().crossings.target;
            return verdict(summary, truth, alarmed_channel, screen);
        }
    }
}

fn verdict(
    summary: &SummaryLine,
    truth: Option<Crossing>,
    alarmed_channel: bool,
    screen: &mut Screen,
) -> Result<(), Failure> {
    let (Some(called_l), Some(truth)) = (summary.stop_volume_l, truth) else {
        return Err(Failure::new(
            Kind::Io,
            "the demonstration ended without a stop-point",
        ));
    };
    screen.verdict(called_l, truth.volume_l, alarmed_channel);
    Ok(())
}
