//! The running service: the only room from which both sides are seen.
//!
//! Owns the start and the end of everything: stores, adapters, publishers, one task a tun, the web interface.
//! A service that cannot start says why and ends; one that runs goes on whatever happens at its edges.

mod commands;
mod door;
mod latest;
mod opening;
mod outbox;
mod publishers;
mod reload;
pub mod request;
mod sequence;
mod signals;
mod sockets;
mod sparkplug;
mod tasks;
mod timer;
mod tun;

use std::collections::HashMap;
use std::net::SocketAddr;
use std::path::PathBuf;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, OnceLock};
use std::time::Duration;

use lauter_core::supervisor::Dated;
use serde_json::json;
use tokio::sync::{Notify, mpsc, watch};
use tokio_util::sync::CancellationToken;

use crate::clock::{self, Clock, Wall};
use crate::config::Configuration;
use crate::exit::{Failure, Kind};
use crate::ingest::{self, Intake};
use crate::publish::sparkplug::outlet::Outlet;
use crate::store::{Keep, Store, TunId};
use crate::web;
use commands::Answering;
use opening::{open_store, retain};
use publishers::Publishers;
use request::{News, REQUESTS_BOUND, TunHandle};
use sequence::Sequence;
use tasks::Tasks;
use tun::{Setting, Tun};

pub use reload::serve;
pub use signals::{Signals, stop_on_signals};
pub use sockets::HandedOver;

/// How long tasks get to end when the service stops, and the record to close after them: with what the process itself needs,
/// two seconds in all.
const END_LIMIT: Duration = Duration::from_millis(1300);
const CLOSE_LIMIT: Duration = Duration::from_millis(400);

/// How long people wait at the page for the disk.
const WEB_PATIENCE: Duration = Duration::from_secs(5);

/// How the service is run.
#[derive(Clone, Debug, Default)]
pub struct Options {
    /// Core seconds in a real one; None is 1.
    pub speed: Option<f64>,
    /// Told of every output as it happens.
    pub observer: Option<mpsc::Sender<Dated>>,
    /// Another wall clock than the machine's.
    pub wall: Option<Wall>,
    /// What may wait in memory for a record that takes nothing; None is `tun::UNWRITTEN_BOUND`.
    pub unwritten_bound: Option<usize>,
    /// Sockets that came with the process.
    pub handed_over: HandedOver,
}

/// Why a running service is to be ended.
#[derive(Debug)]
pub enum Ending {
    /// Somebody asked for it.
    Stopped,
    /// The configuration is to be read again.
    Reload,
    /// A part of it has ended by itself.
    Failed(Failure),
}

/// A service that has started.
#[derive(Debug)]
pub struct Service {
    pub tuns: Vec<TunHandle>,
    pub listening: Vec<SocketAddr>,
    /// Those of them where connections are encrypted.
    pub encrypted: Vec<SocketAddr>,
    /// In the order of `tuns`.
    configurations: Vec<Configuration>,
    stop: CancellationToken,
    tasks: Tasks,
    stores: HashMap<PathBuf, Store>,
    heartbeats: Vec<Arc<AtomicU64>>,
}

impl Service {
    /// Starts everything. Ports are bound and stores are open when this returns.
    pub async fn start(
        configurations: Vec<Configuration>,
        options: Options,
    ) -> Result<Self, Failure> {
        // Large, and awaited in many places.
        Box::pin(Self::start_all(configurations, options)).await
    }

    async fn start_all(
        configurations: Vec<Configuration>,
        options: Options,
    ) -> Result<Self, Failure> {
        check(&configurations)?;
        let stop = CancellationToken::new();
        let mut service = Self {
            tuns: Vec::new(),
            listening: Vec::new(),
            encrypted: Vec::new(),
            configurations: configurations.clone(),
            tasks: Tasks::new(stop.clone()),
            stop,
            stores: HashMap::new(),
            heartbeats: Vec::new(),
        };
        // Ports first: a service that cannot be reached must not begin to record.
        let mut desks = door::desks(&configurations, &options.handed_over)?;
        for fleet in door::open_fleets(&configurations, &mut desks, &service.stop) {
            service.tasks.watch("the page of all tuns", fleet);
        }
        let (nodes, outlets) = sparkplug::start(&configurations, &service.stop);
        for node in nodes {
            service.tasks.watch("the Sparkplug edge node", node);
        }
        for (configuration, outlet) in configurations.into_iter().zip(outlets) {
            let listen = configuration
                .web
                .enabled
                .then_some(configuration.web.listen);
            let store = service.store(&configuration).await?;
            let handle = service
                .start_tun(configuration, store.clone(), outlet, &options)
                .await?;
            if let Some(desk) = listen.and_then(|listen| desks.get_mut(&listen)) {
                desk.tuns.push(handle.clone());
                desk.store = Some(store);
            }
            service.tuns.push(handle);
        }
        for desk in desks.into_values() {
            let address = desk.listener.local_addr().ok();
            service.listening.extend(address);
            if desk.entrance.is_encrypted() {
                service.encrypted.extend(address);
            }
            if let Some(store) = desk.store {
                let stop = service.stop.clone();
                let store = store.within(WEB_PATIENCE);
                let task = web::serve(desk.listener, desk.tuns, store, desk.entrance, stop);
                service.tasks.watch("the web interface", task);
            }
        }
        Ok(service)
    }

    /// The store of a configuration, opened once for all tuns that share its directory.
    async fn store(&mut self, configuration: &Configuration) -> Result<Store, Failure> {
        let directory = configuration.store.directory.clone();
        if let Some(store) = self.stores.get(&directory) {
            return Ok(store.clone());
        }
        let store = open_store(directory.clone()).await?;
        let keep = Keep {
            readings_days: configuration.store.keep_readings_days,
            brews_days: configuration.store.keep_brews_days,
        };
        let task = tokio::spawn(retain(store.clone(), keep, self.stop.clone()));
        self.tasks.watch("the removal of old records", task);
        let ended = store.clone();
        let stop = self.stop.clone();
        let thread = tokio::spawn(async move {
            tokio::select! {
                () = stop.cancelled() => {}
                () = ended.ended() => {}
            }
        });
        self.tasks.watch("the record's thread", thread);
        self.stores.insert(directory, store.clone());
        Ok(store)
    }

    async fn start_tun(
        &mut self,
        configuration: Configuration,
        store: Store,
        outlet: Option<Outlet>,
        options: &Options,
    ) -> Result<TunHandle, Failure> {
        // A record that takes nothing may still say what was.
        let place = Arc::new(OnceLock::new());
        let store = store.within(tun::PATIENCE);
        let before = opening::before(&store, &configuration).await;
        if let Some(id) = before.tun {
            // It is empty.
            let _ = place.set(id);
        }
        let mark = before.mark;
        let written = mark.as_ref().map(|mark| mark.at);
        let clock = Clock::start(&clock::Start {
            not_before: before.last.max(mark.as_ref().map(|mark| mark.at)),
            mark: mark.map(|mark| clock::Mark {
                uptime: clock::Uptime {
                    boot: mark.boot,
                    uptime_us: mark.uptime_us,
                },
                at: mark.at,
            }),
            speed: options.speed,
            wall: options.wall,
        });
        let id = before.tun.unwrap_or(TunId::UNKNOWN);
        let first = Sequence::first(before.number, written, clock);
        let sequence = Sequence::open(&store, id, first).await;
        let mut publishers =
            Publishers::start(&configuration, id, sequence.clone(), clock, &self.stop)?;
        publishers.sparkplug = sparkplug::Side::of(&configuration, outlet);
        for task in std::mem::take(&mut publishers.tasks) {
            self.tasks.watch("a publisher", task);
        }
        let (intake, arrivals) = Intake::channel();
        let polling = ingest::modbus::start(&configuration, &intake, clock, &self.stop);
        for task in polling.tasks {
            self.tasks.watch("a Modbus link", task);
        }
        let subscription =
            ingest::mqtt::start(&configuration, intake.clone(), clock, self.stop.clone());
        let links = polling.links;
        let subscribed = subscription.map(|(task, health)| {
            self.tasks.watch("the reading over MQTT", task);
            health
        });
        let adapters = move || {
            let figures: Vec<_> = links.iter().map(|link| link.figures()).collect();
            let mqtt = subscribed.as_ref().map(|health| health.snapshot());
            json!({ "modbus": figures, "mqtt": mqtt })
        };
        let (requests_in, requests) = mpsc::channel(REQUESTS_BOUND);
        let (news_in, news) = watch::channel(News::default());
        let heartbeat = Arc::new(AtomicU64::new(0));
        self.heartbeats.push(Arc::clone(&heartbeat));
        let handle = TunHandle {
            site: configuration.site.clone(),
            tun: configuration.tun.name.clone(),
            place: Arc::clone(&place),
            requests: requests_in,
            news,
            configuration: Arc::new(configuration.clone()),
        };
        let answers = Answering {
            tun: handle.clone(),
            store: store.clone(),
            sequence: sequence.clone(),
            clock,
        };
        for task in commands::start(&configuration, answers, &self.stop)? {
            self.tasks.watch("the broker's commands", task);
        }
        let mut tun = Tun::new(Setting {
            configuration,
            clock,
            store,
            place,
            sequence,
            publishers,
            intake,
            arrivals,
            requests,
            news: news_in,
            heartbeat,
            adapters: Box::new(adapters),
            observer: options.observer.clone(),
            unwritten_bound: options.unwritten_bound.unwrap_or(tun::UNWRITTEN_BOUND),
        });
        if let Err(error) = tun.join().await {
            tracing::warn!("what was under way is taken up later: {error}");
        }
        let name = format!("the watch over {}/{}", handle.site, handle.tun);
        self.tasks
            .watch(&name, tokio::spawn(tun.run(self.stop.clone())));
        Ok(handle)
    }

    /// A token that stops the service when cancelled.
    pub fn stopper(&self) -> CancellationToken {
        self.stop.clone()
    }

    /// Tells the service manager that all is well, as long as every tun's loop turns. Returns on `stop`, when a new
    /// configuration is asked for, or when a part has ended by itself: half a service would look like a whole one.
    pub async fn watch_over(&mut self, reload: &Notify) -> Ending {
        let every = sd_notify::watchdog_enabled().map_or(Duration::from_secs(5), |limit| limit / 3);
        let mut last: Vec<u64> = vec![u64::MAX; self.heartbeats.len()];
        let _ = sd_notify::notify(&[sd_notify::NotifyState::Ready]);
        let ending = loop {
            tokio::select! {
                () = self.stop.cancelled() => break Ending::Stopped,
                () = reload.notified() => return Ending::Reload,
                ended = self.tasks.ended() => {
                    tracing::error!("{ended}; the service ends, so that it is started anew");
                    break Ending::Failed(Failure::new(Kind::Software, ended));
                }
                () = tokio::time::sleep(every) => {}
            }
            let now: Vec<u64> = self
                .heartbeats
                .iter()
                .map(|beat| beat.load(Ordering::Relaxed))
                .collect();
            let still = now.iter().zip(&last).zip(&self.tuns);
            let still: Vec<String> = still
                .filter(|((now, last), _)| now == last)
                .map(|(_, tun)| format!("{}/{}", tun.site, tun.tun))
                .collect();
            if still.is_empty() {
                let _ = sd_notify::notify(&[sd_notify::NotifyState::Watchdog]);
            } else {
                tracing::error!(
                    "the watch over {} has stood still for {} s: go by hand samples. If it does not go on, systemd starts \
                     the service again; send the log before this line to whoever maintains it",
                    still.join(", "),
                    every.as_secs()
                );
            }
            last = now;
        };
        let _ = sd_notify::notify(&[sd_notify::NotifyState::Stopping]);
        ending
    }

    /// Stops everything and waits for it, but not for ever.
    pub async fn end(self) {
        self.stop.cancel();
        let left = self.tasks.end(END_LIMIT).await;
        for name in left {
            tracing::warn!("{name} did not end in time");
        }
        for store in self.stores.into_values() {
            match tokio::time::timeout(CLOSE_LIMIT, store.close()).await {
                Ok(Ok(())) => {}
                Ok(Err(error)) => tracing::warn!(
                    "the record was not closed in order: {error}. What was written is safe"
                ),
                Err(_) => tracing::warn!(
                    "the record was not closed in time: its disk does not answer. What was written is safe"
                ),
            }
        }
    }
}

/// What must be right before anything is started.
fn check(configurations: &[Configuration]) -> Result<(), Failure> {
    let mut faults: Vec<String> = configurations
        .iter()
        .flat_map(Configuration::check_live)
        .map(|fault| fault.to_string())
        .collect();
    faults.extend(door::two_records_behind_one_address(configurations));
    faults.extend(door::two_at_one_address(configurations));
    faults.extend(sparkplug::disagreements(configurations));
    if faults.is_empty() {
        return Ok(());
    }
    Err(Failure::new(Kind::Configuration, faults.join("\n")))
}
