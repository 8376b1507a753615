//! Simulated brews under the real service, faster than life, heard by a client at a real broker.
//!
//! Owns the run: brewhouses, one service for all of them, the faults at their moments, and what is cleared away
//! afterwards. Every name it publishes under says that it is a test; what a site publishes is never touched.

use std::path::Path;
use std::time::Duration;

use lauter_core::alarm::AlarmId;
use lauter_core::reading::Moment;
use lauter_core::supervisor::SummaryLine;
use simulators::{Crossing, Fault, Scenario, lauterd_files};

use super::super::demo_text::{Scratch, scratch_directory};
use super::running::{Running, begun};
use crate::clock::{Clock, Start};
use crate::commission::hearing::{Heard, Hearing};
use crate::config::model::Mqtt;
use crate::config::{self, Configuration};
use crate::exit::{Failure, Kind};
use crate::runtime::request::{Refusal, Request};
use crate::runtime::{Options, Service, stop_on_signals};

/// The site under which everything of a test is published.
pub const TEST_SITE: &str = "commission";

/// What a test says of itself, retained, below every tun it invents.
const NOTICE: &str = "{\"test\":true,\"text\":\"Simulated brews of a commissioning test. No alarm below this topic is real.\"}";

/// Real time in which a broker gives a message to who listens.
const COMES_BACK: Duration = Duration::from_secs(5);
/// How often faults are looked after.
const TICK: Duration = Duration::from_millis(20);
/// Real time for what is still on its way when a run-off is over.
const LAST_MESSAGES: Duration = Duration::from_secs(3);
/// A part of a test may last so much longer than its run-off, s of the brewhouse: nobody waits for ever.
const PATIENCE_S: f64 = 1800.0;

/// An alarm that is to be seen, and what brings it about.
#[derive(Clone, Debug)]
pub struct Expected {
    pub alarm: AlarmId,
    /// When the fault begins, s of the run-off.
    pub at_s: f64,
    /// None where the brew's own course brings it about.
    pub fault: Option<Fault>,
    /// In words, for the table.
    pub provoked_by: String,
}

/// One simulated brew.
#[derive(Clone, Debug)]
pub struct Trial {
    pub name: &'static str,
    pub scenario: Scenario,
    pub expected: Vec<Expected>,
    /// Faults that answer nothing by themselves, such as the end of another.
    pub beside: Vec<(f64, Fault)>,
    /// It goes on to the end of the simulated run-off, whatever has been seen.
    pub to_the_end: bool,
}

/// What became of an expected alarm.
#[derive(Clone, Debug)]
pub struct Seen {
    pub expected: Expected,
    /// Topic, and seconds of the brewhouse from the fault to the client; None: it never came.
    pub heard: Option<(String, f64)>,
}

/// What became of a trial.
#[derive(Clone, Debug)]
pub struct Outcome {
    pub seen: Vec<Seen>,
    /// Alarms that nobody expected, in the order they came.
    pub others: Vec<AlarmId>,
    pub summary: Option<SummaryLine>,
    /// Where the simulated kettle truly came down to its target.
    pub truth: Option<Crossing>,
}

/// How trials are run.
#[derive(Clone, Debug)]
pub struct Settings {
    pub broker: Mqtt,
    pub speed: f64,
    /// Of the site, where it has a word in how alarms are judged.
    pub configuration: Option<Configuration>,
}

/// Runs them all at once; `tell` is told of every alarm that is seen.
pub async fn run(
    trials: Vec<Trial>,
    settings: &Settings,
    tell: &mut (dyn FnMut(&Seen) + Send),
) -> Result<Vec<Outcome>, Failure> {
    let scratch = scratch_directory()?;
    let filters = vec![format!("lauterd/{TEST_SITE}/#")];
    let client_id = format!("lauterd-commission-{}", std::process::id());
    let mut hearing = Hearing::open(&settings.broker, &client_id, &filters)
        .await
        .map_err(|words| unreachable(&words))?;
    let mut running = Vec::new();
    for trial in trials {
        running.push(Box::pin(begun(trial, settings)).await?);
    }
    let served = served(&mut running, &mut hearing, (settings, &scratch), tell).await;
    clear(&running, &hearing).await;
    let mut outcomes = Vec::new();
    for each in running {
        outcomes.push(each.outcome().await);
    }
    if served? {
        Ok(outcomes)
    } else {
        Err(Failure::new(Kind::Io, "stopped before it was done"))
    }
}

/// The service on all of them, from its start to its end. False: somebody stopped it.
async fn served(
    running: &mut [Running],
    hearing: &mut Hearing,
    (settings, scratch): (&Settings, &Scratch),
    tell: &mut (dyn FnMut(&Seen) + Send),
) -> Result<bool, Failure> {
    let mut configurations = Vec::new();
    for each in running.iter() {
        let topic = notice_topic(&each.tun);
        let put = hearing.retain(&topic, NOTICE).await;
        put.map_err(|words| unreachable(&words))?;
        comes_back(hearing, &topic).await?;
        configurations.push(each.configuration(settings, scratch)?);
    }
    let options = Options {
        speed: Some(settings.speed),
        ..Options::default()
    };
    let service = Box::pin(Service::start(configurations, options)).await?;
    stop_on_signals(service.stopper())
        .map_err(|error| Failure::new(Kind::Io, format!("signals cannot be taken: {error}")))?;
    let watched = watch(running, &service, hearing, settings.speed, tell).await;
    let stopped = service.stopper().is_cancelled();
    service.end().await;
    watched.map(|()| !stopped)
}

/// A broker that takes a message and gives it to nobody would let every alarm seem lost.
async fn comes_back(hearing: &mut Hearing, topic: &str) -> Result<(), Failure> {
    let heard = async {
        while let Some(heard) = hearing.next().await {
            if heard.topic == topic {
                return true;
            }
        }
        false
    };
    if let Ok(true) = tokio::time::timeout(COMES_BACK, heard).await {
        return Ok(());
    }
    let words = format!(
        "what is put on {topic} does not come back; let this user write and read below lauterd/{TEST_SITE}/"
    );
    Err(unreachable(&words))
}

fn unreachable(words: &str) -> Failure {
    Failure::new(Kind::Unavailable, format!("broker: {words}"))
}

fn notice_topic(tun: &str) -> String {
    format!("lauterd/{TEST_SITE}/{tun}/test")
}

const WHO: &str = "commissioning";

async fn watch(
    running: &mut [Running],
    service: &Service,
    hearing: &mut Hearing,
    speed: f64,
    tell: &mut (dyn FnMut(&Seen) + Send),
) -> Result<(), Failure> {
    let clock = Clock::start(&Start {
        speed: Some(speed),
        ..Start::default()
    });
    for (each, tun) in running.iter().zip(&service.tuns) {
        let text = lauterd_files::plan(each.house.scenario());
        let plan = config::parse_plan(Path::new("the simulated plan"), text)?;
        tun.ask(|reply| Request::StartBrew {
            plan: Box::new(plan),
            who: WHO.to_owned(),
            reply,
        })
        .await
        .map_err(|refusal| refused(&refusal))?;
    }
    let limits_s = running
        .iter()
        .map(|each| each.house.scenario().run.longest_s);
    let limit_s = limits_s.fold(0.0, f64::max) + PATIENCE_S;
    let started = clock.now();
    let stopper = service.stopper();
    let mut ticks = tokio::time::interval(TICK);
    let last_us = clock.span_us(LAST_MESSAGES);
    let mut over_since: Option<Moment> = None;
    loop {
        tokio::select! {
            () = stopper.cancelled() => return Ok(()),
            heard = hearing.next() => {
                let Some(heard) = heard else { return Ok(()) };
                take(running, &heard, clock.now(), tell);
                continue;
            }
            _ = ticks.tick() => {}
        }
        let now = clock.now();
        for (each, tun) in running.iter_mut().zip(&service.tuns) {
            if each.ended {
                continue;
            }
            each.inject(now).await?;
            if each.is_done() || now.since(started) > limit_s {
                each.ended = true;
                let who = WHO.to_owned();
                match tun.ask(|reply| Request::EndBrew { who, reply }).await {
                    Ok(_) | Err(Refusal::NoBrew) => {}
                    Err(refusal) => return Err(refused(&refusal)),
                }
            }
        }
        if running.iter().all(|each| each.ended) {
            let since = *over_since.get_or_insert(now);
            if now.0 - since.0 > last_us {
                return Ok(());
            }
        }
    }
}

fn refused(refusal: &Refusal) -> Failure {
    Failure::new(Kind::Io, refusal.to_string())
}

fn take(running: &mut [Running], heard: &Heard, now: Moment, tell: &mut (dyn FnMut(&Seen) + Send)) {
    for each in running {
        let own = format!("lauterd/{TEST_SITE}/{}/", each.tun);
        if let Some(below) = heard.topic.strip_prefix(&own)
            && let Some(seen) = each.take(below, heard, now)
        {
            tell(&seen);
        }
    }
}

/// Takes away what the broker would remember of the test. What cannot be taken away bears the test's name.
async fn clear(running: &[Running], hearing: &Hearing) {
    for each in running {
        let mut topics = vec![
            notice_topic(&each.tun),
            format!("lauterd/{TEST_SITE}/{}/online", each.tun),
        ];
        topics.extend(each.topics.iter().cloned());
        for topic in topics {
            if let Err(error) = hearing.retain(&topic, "").await {
                tracing::warn!("{topic} stays at the broker: {error}");
            }
        }
    }
}
