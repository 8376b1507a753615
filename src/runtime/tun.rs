//! One tun's task: the only place where its supervisor is called.
//!
//! Owns the loop that turns arrivals, requests and the passing of time into events, and outputs into the record
//! and the publishers. Alarms and events are on the disk before they are published. It computes nothing of its
//! own.

mod calibration;
mod checkpoint;
mod delivery;
mod gap;
mod learn;
mod record;
mod requests;
mod resume;
mod standing;

use std::collections::VecDeque;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, OnceLock};
use std::time::Duration;

use lauter_core::profile::BrewLesson;
use lauter_core::reading::Moment;
use lauter_core::supervisor::{Event, Line, Output, SummaryLine, Supervisor, Unwatched};
use tokio::sync::{mpsc, watch};
use tokio::time::{MissedTickBehavior, interval};
use tokio_util::sync::CancellationToken;

use super::latest::Latest;
use super::publishers::{Publishers, Settled};
use super::request::{News, Request};
use super::sequence::Sequence;
use super::timer::Timer;
use crate::clock::Clock;
use crate::config::Configuration;
use crate::engine;
use crate::ingest::{Arrival, Intake};
use crate::store::{Batch, DatedEvent, Store, Stretch, TunId};
use calibration::Calibration;
use record::{Flight, Unwritten};

pub(in crate::runtime) use record::PATIENCE;
pub(in crate::runtime) use requests::configuration_instruments;
pub(in crate::runtime) use resume::{readable, same_instruments};

/// How often the record is written when nothing urgent has happened: with a step of the watch, whose alarms are then in the
/// same commit.
const FLUSH_EVERY: Duration = Duration::from_secs(1);
/// By so much it may be sooner or later, to be with a step. Own choice: a tenth of a step.
const FLUSH_LEEWAY: Duration = Duration::from_millis(100);
/// How often undelivered rows are looked at.
const BACKLOG_EVERY: Duration = Duration::from_secs(10);
/// Events, outputs and messages that may wait, each, for a store that does not take them. At twenty instruments and
/// one reading a second this is an hour; beyond it the oldest readings are given up and counted.
pub const UNWRITTEN_BOUND: usize = 100_000;
/// The loop wakes every second whatever happens. When this long passes without, the process had no time: it was stopped, or
/// the machine was. Own choice: longer than a loaded machine keeps anybody waiting, shorter than any instrument's fault is
/// told.
const STOOD_STILL: Duration = Duration::from_secs(10);
/// A reading that arrived this little before its event is dated with it: the difference is the channel's, not
/// the instrument's, and the record keeps one time for both.
const SAME_MOMENT: Duration = Duration::from_millis(100);

/// Everything a tun's task needs.
pub struct Setting {
    pub configuration: Configuration,
    pub clock: Clock,
    /// Its calls do not wait long.
    pub store: Store,
    /// The tun's number in the store, once there is a record.
    pub place: Arc<OnceLock<TunId>>,
    pub sequence: Sequence,
    pub publishers: Publishers,
    pub intake: Intake,
    pub arrivals: mpsc::Receiver<Arrival>,
    pub requests: mpsc::Receiver<Request>,
    /// Told whenever there is something new to see.
    pub news: watch::Sender<News>,
    /// Grows with every turn of the loop; the watchdog asks whether it does.
    pub heartbeat: Arc<AtomicU64>,
    /// Adapters' counters, for the health page.
    pub adapters: Box<dyn Fn() -> serde_json::Value + Send>,
    /// What is shown as it happens (the demo's terminal).
    pub observer: Option<mpsc::Sender<lauter_core::supervisor::Dated>>,
    pub unwritten_bound: usize,
}

#[allow(missing_debug_implementations, reason = "holds channels and closures")]
pub struct Tun {
    setting: Setting,
    supervisor: Supervisor,
    /// What was told since the record was last written.
    stretch: Stretch,
    /// What waits before it: each ends with a brew's end or before a brew's beginning.
    earlier: VecDeque<Stretch>,
    flight: Option<Flight>,
    latest: Latest,
    last: Moment,
    summary: Option<SummaryLine>,
    lesson: Option<Box<BrewLesson>>,
    urgent: bool,
    /// What is being written is waited for.
    hastens: bool,
    unwritten: Unwritten,
    /// When the record was last written because its time had come.
    flushed: Moment,
    /// The last checkpoint's moment.
    checkpointed: Option<Moment>,
    /// The record has been asked what was under way.
    joined: bool,
    /// Rows that receivers have, and that are still in the outbox.
    settled: Settled,
    /// The brew whose end is not on the disk yet.
    ending: Option<String>,
    /// What receivers would not take, the latest first, as people are shown it.
    set_aside_shown: Vec<serde_json::Value>,
    /// What the record says of the instruments' checks and corrections.
    calibration: Calibration,
    /// The service before has been asked what it could not write.
    words_asked: bool,
    /// What a start has found in the record that people must know, until it is told.
    found: Vec<String>,
    /// How the service before ended, once the record has been asked.
    last_end: Option<Unwatched>,
    /// A brew was taken up that nobody has watched since then, and why.
    unwatched_since: Option<(Moment, Unwatched)>,
}

enum Turn {
    Arrival(Option<Arrival>),
    Request(Option<Request>),
    Time,
    Backlog,
    Settled(Settled),
    Stop,
}

impl Tun {
    pub fn new(setting: Setting) -> Self {
        let supervisor = engine::supervisor(&setting.configuration);
        let stretch = Stretch::new(Batch::new(TunId::UNKNOWN, None));
        Self {
            supervisor,
            stretch,
            earlier: VecDeque::new(),
            flight: None,
            latest: Latest::default(),
            last: Moment(i64::MIN),
            summary: None,
            lesson: None,
            urgent: false,
            hastens: false,
            flushed: Moment(i64::MIN),
            unwritten: Unwritten::default(),
            checkpointed: None,
            joined: false,
            settled: Settled::default(),
            ending: None,
            set_aside_shown: Vec::new(),
            calibration: Calibration::default(),
            words_asked: false,
            found: Vec::new(),
            last_end: None,
            unwatched_since: None,
            setting,
        }
    }

    /// Runs until `stop`; what is unwritten is written before it returns.
    pub async fn run(mut self, stop: CancellationToken) {
        let mut timer = Timer::new(self.setting.clock);
        let mut backlog = interval(BACKLOG_EVERY);
        backlog.set_missed_tick_behavior(MissedTickBehavior::Delay);
        self.go_on();
        loop {
            let wake = self.wake_at();
            let idle_since = self.setting.clock.now();
            let turn = tokio::select! {
                biased;
                () = stop.cancelled() => Turn::Stop,
                request = self.setting.requests.recv() => Turn::Request(request),
                arrival = self.setting.arrivals.recv() => Turn::Arrival(arrival),
                settled = self.setting.publishers.settled() => Turn::Settled(settled),
                () = timer.reach(wake) => Turn::Time,
                _ = backlog.tick() => Turn::Backlog,
            };
            self.setting.heartbeat.fetch_add(1, Ordering::Relaxed);
            self.note_standstill(idle_since);
            if !self.take(turn).await {
                break;
            }
            if self.urgent {
                self.flush().await;
            }
        }
        self.last_words().await;
    }

    /// A process that was given no time has seen nothing, and no instrument is to blame for it.
    fn note_standstill(&mut self, idle_since: Moment) {
        let clock = self.setting.clock;
        let now = clock.now();
        if now.0 - idle_since.0 < clock.span_us(STOOD_STILL) {
            return;
        }
        let stood_s = now.since(idle_since);
        tracing::warn!(
            "the service stood still for {stood_s:.0} s: it was stopped, or the machine was; nothing was watched meanwhile"
        );
        let event = Event::Interrupted {
            since: idle_since.max(self.last),
            why: Unwatched::StoodStill,
        };
        self.give(event, now);
    }

    /// The tun's number in the store.
    fn tun(&self) -> TunId {
        self.setting.place.get().copied().unwrap_or(TunId::UNKNOWN)
    }

    /// False when the loop is to end.
    async fn take(&mut self, turn: Turn) -> bool {
        match turn {
            Turn::Arrival(Some(arrival)) => self.arrive(arrival),
            Turn::Request(Some(request)) => {
                self.take_waiting_arrivals();
                self.answer(request).await;
            }
            Turn::Time => self.pass_time().await,
            Turn::Backlog => self.look_at_backlogs().await,
            Turn::Settled(settled) => self.settle(settled).await,
            Turn::Arrival(None) | Turn::Request(None) | Turn::Stop => return false,
        }
        true
    }

    /// When there is something to do although nothing arrives: the watch's next step, or the record's time where it does not
    /// come with a step.
    fn wake_at(&self) -> Moment {
        let leeway_us = self.setting.clock.span_us(FLUSH_LEEWAY);
        let latest = Moment(self.flush_at().0.saturating_add(leeway_us));
        // A step is taken when its point has passed.
        let step = self.supervisor.next_deadline();
        step.map_or(latest, |(at, _)| Moment(at.0.saturating_add(1)).min(latest))
    }

    fn flush_at(&self) -> Moment {
        let every_us = self.setting.clock.span_us(FLUSH_EVERY);
        Moment(self.flushed.0.saturating_add(every_us))
    }

    async fn pass_time(&mut self) {
        let clock = self.setting.clock;
        let now = clock.now();
        self.give(Event::Tick, now);
        if now.0 >= self.flush_at().0 - clock.span_us(FLUSH_LEEWAY) {
            self.flushed = now;
            self.follow_wall();
            self.flush().await;
        }
    }

    /// What was measured before somebody asked comes before what they ask.
    fn take_waiting_arrivals(&mut self) {
        for _ in 0..self.setting.arrivals.len() {
            match self.setting.arrivals.try_recv() {
                Ok(arrival) => self.arrive(arrival),
                Err(_) => break,
            }
        }
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
    ///
    /// What a person or a link does has a moment of its own: readings that waited in the channel meanwhile come
    /// after it, and a recording, which keeps samples beside the readings, gives both again in this order.
    fn give(&mut self, event: Event, now: Moment) {
        let now = now.max(self.last);
        let only_time = matches!(event, Event::Tick);
        let shares_moment = matches!(
            event,
            Event::Tick | Event::Deed { .. } | Event::Reading { .. }
        );
        self.last = if shares_moment { now } else { now.next() };
        let dated_event = DatedEvent {
            at: now,
            event: event.clone(),
        };
        self.supervisor.handle(event, now);
        let before = self.stretch.batch.outputs.len();
        while let Some(dated) = self.supervisor.poll_output() {
            self.latest.note(&dated);
            log(&dated.output, &self.setting.configuration.tun.name);
            self.urgent |= matches!(
                dated.output,
                Output::Line(Line::Alarm(_) | Line::Summary(_)) | Output::Occurrence(_)
            );
            self.note_end(&dated.output);
            let rows = self.setting.publishers.publish(&dated);
            self.stretch.batch.messages.extend(rows);
            if let Some(observer) = &self.setting.observer {
                // The terminal may have gone or be slow; the watch goes on.
                let _ = observer.try_send(dated.clone());
            }
            self.stretch.batch.outputs.push(dated);
        }
        if self.stretch.batch.outputs.len() > before {
            self.setting.news.send_modify(|news| news.told += 1);
        }
        // The passing of time counts when something was told at it: a service that takes the brew up again must
        // not tell it twice.
        if !only_time || self.stretch.batch.outputs.len() > before {
            self.stretch.batch.events.push(dated_event);
        }
    }

    fn follow_wall(&self) {
        if let Some(step) = self.setting.clock.follow_wall() {
            tracing::warn!(
                "the wall clock was set by {:.1} s: what is told from now on bears its time; durations and the order of \
                 readings go by the monotonic clock",
                step.as_secs_f64()
            );
        }
    }

    fn note_end(&mut self, output: &Output) {
        match output {
            Output::Line(Line::Summary(summary)) => self.summary = Some(summary.clone()),
            Output::Lesson(lesson) => self.lesson = Some(lesson.clone()),
            _ => {}
        }
    }
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
