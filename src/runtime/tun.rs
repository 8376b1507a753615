//! One tun's task: the only place where its supervisor is called.
//!
//! Owns the loop that turns arrivals, requests and the passing of time into events, and outputs into the record
//! and the publishers. Alarms and events are on the disk before they are published. It computes nothing of its
//! own.

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;

use lauter_core::alarm::AlarmId;
use lauter_core::projection::Plan;
use lauter_core::reading::{Instrument, Moment};
use lauter_core::supervisor::{Event, Line, OperatorAction, Output, SummaryLine, Supervisor};
use serde_json::json;
use tokio::sync::mpsc;
use tokio::time::{MissedTickBehavior, interval, sleep_until};
use tokio_util::sync::CancellationToken;

use super::latest::Latest;
use super::publishers::Publishers;
use super::request::{Refusal, Reply, Request, TunStatus};
use super::sequence::Sequence;
use crate::clock::Clock;
use crate::config::Configuration;
use crate::engine;
use crate::ingest::{Arrival, Intake};
use crate::publish::mqtt::topics::time_text;
use crate::store::{
    Batch, Brew, BrewHeader, BrewId, DatedEvent, FinishedBrew, Store, StoreError, TunId,
};

/// How often the record is written when nothing urgent has happened.
const FLUSH_EVERY: Duration = Duration::from_secs(1);
/// How often undelivered rows are looked at.
const BACKLOG_EVERY: Duration = Duration::from_secs(10);
/// Events, outputs and messages that may wait, each, for a store that does not take them. At twenty instruments and one reading
/// a second this is an hour; beyond it the oldest are dropped and counted.
const UNWRITTEN_BOUND: usize = 100_000;
/// A reading that arrived this little before its event is dated with it: the difference is the channel's, not
/// the instrument's, and the record keeps one time for both.
const SAME_MOMENT: Duration = Duration::from_millis(100);

/// Everything a tun's task needs.
pub struct Setting {
    pub configuration: Configuration,
    pub clock: Clock,
    pub store: Store,
    pub tun: TunId,
    pub sequence: Sequence,
    pub publishers: Publishers,
    pub intake: Intake,
    pub arrivals: mpsc::Receiver<Arrival>,
    pub requests: mpsc::Receiver<Request>,
    /// Grows with every turn of the loop; the watchdog asks whether it does.
    pub heartbeat: Arc<AtomicU64>,
    /// Adapters' counters, for the health page.
    pub adapters: Box<dyn Fn() -> serde_json::Value + Send>,
    /// What is shown as it happens (the demo's terminal).
    pub observer: Option<mpsc::UnboundedSender<lauter_core::supervisor::Dated>>,
}

#[allow(missing_debug_implementations, reason = "holds channels and closures")]
pub struct Tun {
    setting: Setting,
    supervisor: Supervisor,
    batch: Batch,
    latest: Latest,
    last: Moment,
    summary: Option<SummaryLine>,
    urgent: bool,
    dropped: u64,
    store_failed: bool,
}

enum Turn {
    Arrival(Option<Arrival>),
    Request(Option<Request>),
    Deadline,
    Flush,
    Backlog,
    Delivered(Vec<i64>),
    Stop,
}

impl Tun {
    pub fn new(setting: Setting) -> Self {
        let supervisor = engine::supervisor(&setting.configuration);
        let batch = Batch::new(setting.tun, None);
        Self {
            supervisor,
            batch,
            latest: Latest::default(),
            last: Moment(i64::MIN),
            summary: None,
            urgent: false,
            dropped: 0,
            store_failed: false,
            setting,
        }
    }

    /// Takes up a brew that was under way when the service last ended, by giving its recorded events to the
    /// supervisor again.
    pub async fn resume(&mut self) -> Result<(), StoreError> {
        let tun = self.setting.tun;
        let unfinished = self
            .setting
            .store
            .read(move |database| match database.unfinished_brew(tun)? {
                Some(brew) => {
                    let events = database.events(brew.id)?;
                    Ok(Some((brew, events)))
                }
                None => Ok(None),
            })
            .await?;
        let Some((brew, events)) = unfinished else {
            return Ok(());
        };
        if !same_instruments(
            &brew.header.instruments,
            &configuration_instruments(&self.setting.configuration),
        ) {
            return self.close_foreign(brew, events.last()).await;
        }
        for DatedEvent { at, event } in events {
            self.last = self.last.max(at);
            self.supervisor.handle(event, at);
            while let Some(dated) = self.supervisor.poll_output() {
                self.latest.note(&dated);
            }
        }
        tracing::info!("brew {} was under way and goes on", brew.header.plan.brew);
        self.batch = Batch::new(tun, Some(brew.id));
        Ok(())
    }

    /// Ends the record of a brew that was under way with other instruments: its readings name them by their places,
    /// and given to the new ones they would be wrong in silence.
    async fn close_foreign(
        &mut self,
        brew: Brew,
        last: Option<&DatedEvent>,
    ) -> Result<(), StoreError> {
        tracing::error!(
            "brew {} was under way with other instruments than {} names now; its record ends here. Start the rest \
             as a new brew with another id",
            brew.header.plan.brew,
            self.setting.configuration.file.display()
        );
        let finished = FinishedBrew {
            ended: self.setting.clock.wall(self.setting.clock.now()),
            ended_at: last.map_or(brew.header.started_at, |event| event.at),
            summary: None,
        };
        self.setting.store.finish_brew(brew.id, finished).await
    }

    /// Runs until `stop`; what is unwritten is written before it returns.
    pub async fn run(mut self, stop: CancellationToken) {
        let mut flush = interval(FLUSH_EVERY);
        flush.set_missed_tick_behavior(MissedTickBehavior::Delay);
        let mut backlog = interval(BACKLOG_EVERY);
        backlog.set_missed_tick_behavior(MissedTickBehavior::Delay);
        self.give(Event::Tick, self.setting.clock.now());
        loop {
            let deadline = self
                .supervisor
                .next_deadline()
                .map_or(Moment(i64::MAX), |(at, _)| at);
            let wake = self
                .setting
                .clock
                .instant_of(Moment(deadline.0.saturating_add(1)));
            let turn = tokio::select! {
                biased;
                () = stop.cancelled() => Turn::Stop,
                request = self.setting.requests.recv() => Turn::Request(request),
                arrival = self.setting.arrivals.recv() => Turn::Arrival(arrival),
                ids = self.setting.publishers.delivered() => Turn::Delivered(ids),
                () = sleep_until(wake.into()) => Turn::Deadline,
                _ = flush.tick() => Turn::Flush,
                _ = backlog.tick() => Turn::Backlog,
            };
            self.setting.heartbeat.fetch_add(1, Ordering::Relaxed);
            if !self.take(turn).await {
                break;
            }
            if self.urgent {
                self.flush().await;
            }
        }
        self.flush().await;
    }

    /// False when the loop is to end.
    async fn take(&mut self, turn: Turn) -> bool {
        match turn {
            Turn::Arrival(Some(arrival)) => self.arrive(arrival),
            Turn::Request(Some(request)) => self.answer(request).await,
            Turn::Deadline => self.give(Event::Tick, self.setting.clock.now()),
            Turn::Flush => self.flush().await,
            Turn::Backlog => self.look_at_backlogs().await,
            Turn::Delivered(ids) => {
                if let Err(error) = self.setting.store.acknowledge(ids).await {
                    self.note_store(Some(&error));
                }
            }
            Turn::Arrival(None) | Turn::Request(None) | Turn::Stop => return false,
        }
        true
    }

    fn arrive(&mut self, arrival: Arrival) {
        match arrival {
            Arrival::Reading {
                instrument,
                mut reading,
            } => {
                let clock = self.setting.clock;
                // Its own time, but neither ahead of the clock nor behind what has been told already.
                let now = reading.at.min(clock.now()).max(self.last);
                if (now.0 - reading.at.0).abs() <= clock.span_us(SAME_MOMENT) {
                    reading.at = now;
                }
                self.give(
                    Event::Reading {
                        instrument,
                        reading,
                    },
                    now,
                );
            }
            Arrival::Link {
                name,
                state,
                detail,
            } => {
                self.give(
                    Event::Link {
                        name,
                        state,
                        detail,
                    },
                    self.setting.clock.now(),
                );
            }
        }
    }

    /// Gives one event to the supervisor and takes what it says.
    fn give(&mut self, event: Event, now: Moment) {
        let now = now.max(self.last);
        self.last = now;
        let only_time = matches!(event, Event::Tick);
        let dated_event = DatedEvent {
            at: now,
            event: event.clone(),
        };
        self.supervisor.handle(event, now);
        let before = self.batch.outputs.len();
        while let Some(dated) = self.supervisor.poll_output() {
            self.latest.note(&dated);
            log(&dated.output, &self.setting.configuration.tun.name);
            self.urgent |= matches!(
                dated.output,
                Output::Line(Line::Alarm(_) | Line::Summary(_)) | Output::Occurrence(_)
            );
            if let Output::Line(Line::Summary(summary)) = &dated.output {
                self.summary = Some(summary.clone());
            }
            let rows = self.setting.publishers.publish(&dated);
            self.batch.messages.extend(rows);
            if let Some(observer) = &self.setting.observer {
                // The demo's terminal may have gone; the watch goes on.
                let _ = observer.send(dated.clone());
            }
            self.batch.outputs.push(dated);
        }
        // The passing of time counts when something was told at it: a service that takes the brew up again must
        // not tell it twice.
        if !only_time || self.batch.outputs.len() > before {
            self.batch.events.push(dated_event);
        }
    }

    /// Writes what waits, then hands rows to the publishers. What the store does not take waits for the next
    /// time.
    async fn flush(&mut self) {
        self.urgent = false;
        if !self.batch.is_empty() {
            let empty = Batch::new(self.setting.tun, self.batch.brew);
            let batch = std::mem::replace(&mut self.batch, empty);
            match self.setting.store.append(batch.clone()).await {
                Ok(_) => {
                    self.note_store(None);
                    self.setting.publishers.wake();
                }
                Err(error) => {
                    self.batch = batch;
                    self.drop_oldest();
                    self.note_store(Some(&error));
                }
            }
        }
        let pumped = self.setting.publishers.pump(&self.setting.store).await;
        let refilled = self
            .setting
            .sequence
            .refill(&self.setting.store, self.setting.tun)
            .await;
        if let Err(error) = pumped.and(refilled) {
            self.note_store(Some(&error));
        }
    }

    fn drop_oldest(&mut self) {
        let excess = self.batch.outputs.len().saturating_sub(UNWRITTEN_BOUND);
        self.batch.outputs.drain(..excess);
        self.dropped += excess as u64;
        let excess = self.batch.events.len().saturating_sub(UNWRITTEN_BOUND);
        self.batch.events.drain(..excess);
        self.dropped += excess as u64;
        let excess = self.batch.messages.len().saturating_sub(UNWRITTEN_BOUND);
        self.batch.messages.drain(..excess);
        self.dropped += excess as u64;
    }

    fn note_store(&mut self, error: Option<&StoreError>) {
        match error {
            Some(error) if !self.store_failed => {
                tracing::error!("the record cannot be written: {error}");
            }
            None if self.store_failed => tracing::info!("the record is being written again"),
            _ => {}
        }
        self.store_failed = error.is_some();
    }

    async fn look_at_backlogs(&mut self) {
        for (publisher, refused) in self.setting.publishers.refusals() {
            let Ok(backlog) = self
                .setting
                .store
                .backlog(self.setting.tun, publisher)
                .await
            else {
                continue;
            };
            let now = self.setting.clock.now();
            let wall = self.setting.clock.wall(now);
            let oldest_age_s = backlog.oldest.map_or(0.0, |oldest| {
                wall.as_second().saturating_sub(oldest.as_second()).max(0) as f64
            });
            let event = Event::Delivery {
                publisher: publisher.name().to_owned(),
                oldest_age_s,
                depth: backlog.depth,
                refused,
            };
            self.give(event, now);
        }
    }

    async fn answer(&mut self, request: Request) {
        match request {
            Request::StartBrew { plan, reply } => {
                let answer = self.start_brew(*plan).await;
                send(reply, answer);
            }
            Request::EndBrew { reply } => {
                let answer = self.end_brew().await;
                send(reply, answer);
            }
            Request::Sample { sample, reply } => {
                let answer = if self.supervisor.plan().is_some() {
                    self.give(Event::Sample(sample), self.setting.clock.now());
                    self.flush().await;
                    self.written()
                } else {
                    Err(Refusal::NoBrew)
                };
                send(reply, answer);
            }
            Request::Operate {
                alarm,
                instrument,
                who,
                action,
                reply,
            } => {
                let answer = self.operate(alarm, instrument, who, action).await;
                send(reply, answer);
            }
            Request::Status { reply } => {
                // Whoever asked may have gone.
                let _ = reply.send(self.status());
            }
        }
    }

    fn written(&self) -> Result<(), Refusal> {
        if self.store_failed {
            let reason = self.setting.store.health().last_error.unwrap_or_default();
            return Err(Refusal::Store(reason));
        }
        Ok(())
    }

    async fn start_brew(&mut self, plan: Plan) -> Result<(), Refusal> {
        if let Some(current) = self.supervisor.plan() {
            return Err(Refusal::BrewUnderWay(current.brew.clone()));
        }
        let mut faults: Vec<String> = plan
            .check()
            .into_iter()
            .map(|fault| format!("{} {}", fault.key, fault.message))
            .collect();
        let configuration = &self.setting.configuration;
        faults.extend(
            configuration
                .check_plan(&plan)
                .iter()
                .map(ToString::to_string),
        );
        if !faults.is_empty() {
            return Err(Refusal::Plan(faults.join("; ")));
        }
        self.flush().await;
        let now = self.setting.clock.now().max(self.last);
        let header = BrewHeader {
            tun: self.setting.tun,
            plan: plan.clone(),
            instruments: configuration_instruments(&self.setting.configuration),
            config_digest: engine::digest(&self.setting.configuration),
            started: self.setting.clock.wall(now),
            started_at: now,
            origin: now,
        };
        let brew: BrewId = self
            .setting
            .store
            .begin_brew(header)
            .await
            .map_err(|error| Refusal::Store(error.to_string()))?;
        self.batch.brew = Some(brew);
        self.latest.forget_brew();
        self.give(
            Event::BrewStarted {
                plan: Box::new(plan),
                zero: now,
            },
            now,
        );
        self.flush().await;
        self.written()
    }

    async fn end_brew(&mut self) -> Result<String, Refusal> {
        let Some(name) = self.supervisor.plan().map(|plan| plan.brew.clone()) else {
            return Err(Refusal::NoBrew);
        };
        let now = self.setting.clock.now().max(self.last);
        self.give(Event::BrewEnded, now);
        self.flush().await;
        self.written()?;
        if let Some(brew) = self.batch.brew.take() {
            let finished = FinishedBrew {
                ended: self.setting.clock.wall(now),
                ended_at: now,
                summary: self.summary.take(),
            };
            let done = self.setting.store.finish_brew(brew, finished).await;
            done.map_err(|error| Refusal::Store(error.to_string()))?;
        }
        Ok(name)
    }

    async fn operate(
        &mut self,
        alarm: AlarmId,
        instrument: Option<String>,
        who: String,
        action: OperatorAction,
    ) -> Result<(), Refusal> {
        let before = self.latest.alarm_state(alarm, instrument.as_deref());
        let event = Event::Operator {
            alarm,
            instrument: instrument.clone(),
            who,
            action,
        };
        self.give(event, self.setting.clock.now());
        if self.latest.alarm_state(alarm, instrument.as_deref()) == before {
            let state = serde_json::to_value(before).ok();
            let state = state
                .as_ref()
                .and_then(serde_json::Value::as_str)
                .unwrap_or_default()
                .to_owned();
            return Err(Refusal::AlarmState {
                alarm: alarm.name().to_owned(),
                state,
            });
        }
        self.flush().await;
        self.written()
    }

    fn status(&self) -> TunStatus {
        let configuration = &self.setting.configuration;
        let store = self.setting.store.health();
        let now = self.setting.clock.now();
        TunStatus {
            site: configuration.site.clone(),
            tun: configuration.tun.name.clone(),
            time: time_text(self.setting.clock.wall(now)),
            brew: self.supervisor.plan().map(|plan| plan.brew.clone()),
            plan: self.supervisor.plan().cloned(),
            runoff: self.latest.runoff.clone(),
            projection: self.latest.projection.clone(),
            alarms: self.latest.alarms(),
            readings: self.latest.readings(
                configuration
                    .instruments
                    .iter()
                    .map(|each| each.instrument.id.as_str()),
            ),
            health: json!({
                "arrivals_refused": self.setting.intake.refused(),
                "unwritten_dropped": self.dropped,
                "store": {
                    "failed": store.failed,
                    "last_error": store.last_error,
                    "queued": store.queued,
                    "thinned": store.thinned,
                },
                "publishers": self.setting.publishers.health(),
                "instruments": (self.setting.adapters)(),
            }),
        }
    }
}

/// Whether a record of the first can be gone on with by the second. Limits and links may have changed.
fn same_instruments(recorded: &[Instrument], configured: &[Instrument]) -> bool {
    let key = |instrument: &Instrument| {
        let Instrument {
            id, measures, unit, ..
        } = instrument;
        (id.clone(), *measures, *unit)
    };
    recorded.iter().map(key).eq(configured.iter().map(key))
}

fn configuration_instruments(configuration: &Configuration) -> Vec<Instrument> {
    configuration
        .instruments
        .iter()
        .map(|each| each.instrument.clone())
        .collect()
}

fn send<T>(reply: Reply<T>, answer: Result<T, Refusal>) {
    // Whoever asked may have gone; what was done is done.
    let _ = reply.send(answer);
}

/// Alarms and occurrences in the log, so that a service without any screen still tells its story.
fn log(output: &Output, tun: &str) {
    match output {
        Output::Line(Line::Alarm(line)) => {
            let about = line.instrument.as_deref().unwrap_or("-");
            let state = serde_json::to_value(line.to).unwrap_or_default();
            let state = state.as_str().unwrap_or_default();
            tracing::warn!(
                tun,
                alarm = line.alarm.name(),
                about,
                state,
                "{}",
                line.message
            );
        }
        Output::Occurrence(occurrence) => tracing::info!(tun, "{}", occurrence.text),
        _ => {}
    }
}
