//! The running service: the only room from which both sides are seen.
//!
//! Owns the start and the end of everything: stores, adapters, publishers, one task a tun, the web interface.
//! A service that cannot start says why and ends; one that runs goes on whatever happens at its edges.

mod commands;
mod door;
mod latest;
mod outbox;
mod publishers;
pub mod request;
mod sequence;
mod signals;
mod tun;

use std::collections::btree_map::Entry;
use std::collections::{BTreeMap, HashMap};
use std::net::SocketAddr;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;

use lauter_core::supervisor::Dated;
use serde_json::json;
use tokio::net::TcpListener;
use tokio::sync::{mpsc, watch};
use tokio::task::JoinHandle;
use tokio_util::sync::CancellationToken;

use crate::clock::{Clock, wall_now};
use crate::config::Configuration;
use crate::exit::{Failure, Kind};
use crate::ingest::{self, Intake};
use crate::store::{Keep, Store};
use crate::web::{self, Entrance};
use commands::Answering;
use publishers::Publishers;
use request::{News, REQUESTS_BOUND, TunHandle};
use sequence::Sequence;
use tun::{Setting, Tun};

pub use signals::stop_on_signals;

/// How long tasks get to end when the service stops.
const END_LIMIT: Duration = Duration::from_secs(2);
/// How often old records are removed.
const RETENTION_EVERY: Duration = Duration::from_secs(3600);

/// How the service is run.
#[derive(Debug, Default)]
pub struct Options {
    /// Core seconds in a real one; None is 1.
    pub speed: Option<f64>,
    /// Told of every output as it happens.
    pub observer: Option<mpsc::Sender<Dated>>,
}

/// A service that has started.
#[derive(Debug)]
pub struct Service {
    pub tuns: Vec<TunHandle>,
    pub listening: Vec<SocketAddr>,
    /// Those of them where connections are encrypted.
    pub encrypted: Vec<SocketAddr>,
    stop: CancellationToken,
    tasks: Vec<JoinHandle<()>>,
    stores: HashMap<PathBuf, Store>,
    heartbeats: Vec<Arc<AtomicU64>>,
}

impl Service {
    /// Starts everything. Ports are bound and stores are open when this returns.
    pub async fn start(
        configurations: Vec<Configuration>,
        options: Options,
    ) -> Result<Self, Failure> {
        check(&configurations)?;
        let mut service = Self {
            tuns: Vec::new(),
            listening: Vec::new(),
            encrypted: Vec::new(),
            stop: CancellationToken::new(),
            tasks: Vec::new(),
            stores: HashMap::new(),
            heartbeats: Vec::new(),
        };
        // Ports first: a service that cannot be reached must not begin to record.
        let mut desks = desks(&configurations)?;
        for configuration in configurations {
            let listen = configuration
                .web
                .enabled
                .then_some(configuration.web.listen);
            let store = service.store(&configuration).await?;
            let handle = service
                .start_tun(configuration, store.clone(), &options)
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
                service.tasks.push(web::serve(
                    desk.listener,
                    desk.tuns,
                    store,
                    desk.entrance,
                    service.stop.clone(),
                ));
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
        let path = directory.clone();
        let store = tokio::task::spawn_blocking(move || Store::open(&path))
            .await
            .map_err(|error| Failure::new(Kind::Io, error.to_string()))??;
        self.tasks.push(tokio::spawn(retain(
            store.clone(),
            configuration.store.keep_readings_days,
            configuration.store.keep_brews_days,
            self.stop.clone(),
        )));
        self.stores.insert(directory, store.clone());
        Ok(store)
    }

    async fn start_tun(
        &mut self,
        configuration: Configuration,
        store: Store,
        options: &Options,
    ) -> Result<TunHandle, Failure> {
        let id = store
            .tun(&configuration.site, &configuration.tun.name)
            .await?;
        let last = store
            .read(move |database| {
                let unfinished = database.unfinished_brew(id)?;
                let events = unfinished
                    .map(|brew| database.events(brew.id))
                    .transpose()?;
                Ok(events.and_then(|events| events.last().map(|event| event.at)))
            })
            .await?;
        let clock = Clock::start_at_speed(last, options.speed.unwrap_or(1.0));
        let sequence = Sequence::open(&store, id).await?;
        let publishers =
            Publishers::start(&configuration, id, sequence.clone(), clock, &self.stop)?;
        let (intake, arrivals) = Intake::channel();
        let polling = ingest::modbus::start(&configuration, &intake, clock, &self.stop);
        self.tasks.extend(polling.tasks);
        let subscription =
            ingest::mqtt::start(&configuration, intake.clone(), clock, self.stop.clone());
        let links = polling.links;
        let subscribed = subscription.map(|(task, health)| {
            self.tasks.push(task);
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
            id,
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
        self.tasks
            .extend(commands::start(&configuration, answers, &self.stop)?);
        let mut tun = Tun::new(Setting {
            configuration,
            clock,
            store,
            tun: id,
            sequence,
            publishers,
            intake,
            arrivals,
            requests,
            news: news_in,
            heartbeat,
            adapters: Box::new(adapters),
            observer: options.observer.clone(),
        });
        tun.resume().await?;
        self.tasks.push(tokio::spawn(tun.run(self.stop.clone())));
        Ok(handle)
    }

    /// A token that stops the service when cancelled.
    pub fn stopper(&self) -> CancellationToken {
        self.stop.clone()
    }

    /// Tells the service manager that all is well, as long as every tun's loop turns. Returns on `stop`.
    pub async fn watch_over(&self) {
        let every = sd_notify::watchdog_enabled().map_or(Duration::from_secs(5), |limit| limit / 3);
        let mut last: Vec<u64> = vec![u64::MAX; self.heartbeats.len()];
        let _ = sd_notify::notify(&[sd_notify::NotifyState::Ready]);
        loop {
            tokio::select! {
                () = self.stop.cancelled() => break,
                () = tokio::time::sleep(every) => {}
            }
            let now: Vec<u64> = self
                .heartbeats
                .iter()
                .map(|beat| beat.load(Ordering::Relaxed))
                .collect();
            if now.iter().zip(&last).all(|(now, last)| now != last) {
                let _ = sd_notify::notify(&[sd_notify::NotifyState::Watchdog]);
            } else {
                tracing::error!("a tun's task has stopped turning");
            }
            last = now;
        }
        let _ = sd_notify::notify(&[sd_notify::NotifyState::Stopping]);
    }

    /// Stops everything and waits for it, but not for ever.
    pub async fn end(self) {
        self.stop.cancel();
        let all = async {
            for task in self.tasks {
                // A task that panicked has already said so.
                let _ = task.await;
            }
        };
        if tokio::time::timeout(END_LIMIT, all).await.is_err() {
            tracing::warn!("not everything ended in time");
        }
        for store in self.stores.into_values() {
            if let Err(error) = store.close().await {
                tracing::warn!("the store did not close: {error}");
            }
        }
    }
}

/// One web address: its listener, and the tuns and the record behind it.
struct Desk {
    listener: TcpListener,
    entrance: Entrance,
    tuns: Vec<TunHandle>,
    store: Option<Store>,
}

/// Binds every address once.
fn desks(configurations: &[Configuration]) -> Result<BTreeMap<SocketAddr, Desk>, Failure> {
    let mut desks = BTreeMap::new();
    for configuration in configurations
        .iter()
        .filter(|configuration| configuration.web.enabled)
    {
        let address = configuration.web.listen;
        if let Entry::Vacant(place) = desks.entry(address) {
            place.insert(Desk {
                listener: web::bind(address)?,
                entrance: Entrance::of(&configuration.web)?,
                tuns: Vec::new(),
                store: None,
            });
        }
    }
    Ok(desks)
}

/// What must be right before anything is started.
fn check(configurations: &[Configuration]) -> Result<(), Failure> {
    let mut faults: Vec<String> = configurations
        .iter()
        .flat_map(Configuration::check_live)
        .map(|fault| fault.to_string())
        .collect();
    faults.extend(two_records_behind_one_address(configurations));
    faults.extend(door::two_at_one_address(configurations));
    if faults.is_empty() {
        return Ok(());
    }
    Err(Failure::new(Kind::Configuration, faults.join("\n")))
}

/// One address serves one record: its tuns must keep theirs in the same directory.
fn two_records_behind_one_address(configurations: &[Configuration]) -> Vec<String> {
    let mut known: BTreeMap<SocketAddr, &Configuration> = BTreeMap::new();
    let mut faults = Vec::new();
    for configuration in configurations
        .iter()
        .filter(|configuration| configuration.web.enabled)
    {
        let first = *known
            .entry(configuration.web.listen)
            .or_insert(configuration);
        if first.store.directory != configuration.store.directory {
            faults.push(format!(
                "{}: store.directory: is {}, but {} has the same web.listen and keeps its record in {}; give both \
                 files the same directory or different addresses",
                configuration.file.display(),
                configuration.store.directory.display(),
                first.file.display(),
                first.store.directory.display()
            ));
        }
    }
    faults
}

/// Removes what is older than the configuration keeps, now and then.
async fn retain(
    store: Store,
    readings_days: f64,
    brews_days: Option<f64>,
    stop: CancellationToken,
) {
    loop {
        let keep = Keep {
            readings_days,
            brews_days,
        };
        match store.retention(wall_now(), keep).await {
            Ok(removed) if removed > 0 => {
                tracing::info!("{removed} old rows removed from the record");
            }
            Ok(_) => {}
            Err(error) => tracing::warn!("old records cannot be removed: {error}"),
        }
        tokio::select! {
            () = stop.cancelled() => return,
            () = tokio::time::sleep(RETENTION_EVERY) => {}
        }
    }
}
