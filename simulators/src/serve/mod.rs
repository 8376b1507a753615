//! A brewhouse that runs live: stepped in time, read over Modbus and MQTT, disturbed from outside.
//!
//! Owns the tasks and what they share. The brewhouse itself belongs to one task; the others see snapshots of it
//! through a watch channel, and reach it through a bounded queue of faults. This is the only place of the crate
//! with a clock.

mod database;
mod modbus;
mod mqtt;
pub mod publishing;
mod registers;
pub mod serial;
pub mod servers;
mod stepping;

use std::io;
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;

use tokio::sync::{mpsc, oneshot, watch};

use crate::fault::{Fault, FaultError};
use crate::instrument::InstrumentReading;
use crate::model::{Brewhouse, Crossings, Truth};
use crate::scenario::{Mqtt, Scenario};
use servers::{Servers, Shown};
use stepping::Command;

/// Faults that may wait for the brewhouse; it takes them within one tick.
const WAITING_FAULTS: usize = 64;

/// How a scenario is served.
#[derive(Clone, Debug)]
pub struct Options {
    pub seed: u64,
    /// Simulated seconds in a second.
    pub speed: f64,
    /// Real time before the run-off begins to run; instruments answer from the start.
    pub start_after: Duration,
    /// Address instead of the scenario's for its first Modbus TCP link; port 0 takes a free one.
    pub modbus_tcp: Option<SocketAddr>,
    /// Device instead of the scenario's for its first serial link; "pty" makes a pseudo-terminal.
    pub rtu: Option<String>,
    /// Broker instead of the scenario's.
    pub mqtt: Option<Mqtt>,
    /// Serves the scenario's database here: it takes every write and keeps nothing. Port 0 takes a free one.
    pub database: Option<SocketAddr>,
}

impl Options {
    /// In real time, at once, at the scenario's own addresses.
    pub fn with_seed(seed: u64) -> Self {
        Self {
            seed,
            speed: 1.0,
            start_after: Duration::ZERO,
            modbus_tcp: None,
            rtu: None,
            mqtt: None,
            database: None,
        }
    }
}

/// Why a brewhouse could not be served.
#[derive(Debug, thiserror::Error)]
pub enum ServeError {
    #[error("speed is {0}; allowed is 0.01 to 100000")]
    Speed(f64),
    #[error("modbus_link \"{link}\": cannot listen on {address}: {source}; choose a free address")]
    Listen {
        link: String,
        address: String,
        source: io::Error,
    },
    #[error("modbus_link \"{link}\": cannot open {path}: {source}; name a serial device, or pty")]
    Serial {
        link: String,
        path: String,
        source: io::Error,
    },
    #[error("the scenario has no {0} link to give this address to")]
    NoSuchLink(&'static str),
}

/// A state of the live brewhouse, as of the last tick.
#[derive(Clone, Debug)]
pub struct Snapshot {
    pub readings: Vec<InstrumentReading>,
    pub truth: Truth,
    pub crossings: Crossings,
    /// Links that are down, "mqtt" among them.
    pub links_down: Vec<String>,
    /// The run is over; flow stands still and the instruments go on answering.
    pub finished: bool,
}

impl Snapshot {
    fn of(brewhouse: &Brewhouse, links: &[String], finished: bool) -> Self {
        Self {
            readings: brewhouse.readings().to_vec(),
            truth: *brewhouse.truth(),
            crossings: *brewhouse.crossings(),
            links_down: links
                .iter()
                .filter(|link| !brewhouse.link_is_up(link))
                .cloned()
                .collect(),
            finished,
        }
    }

    /// What the outside sees of it.
    fn shown(&self) -> Shown {
        Shown {
            readings: self.readings.clone(),
            links_down: self.links_down.clone(),
        }
    }
}

/// A served brewhouse. Dropping it stops everything.
#[derive(Debug)]
pub struct Handle {
    servers: Servers,
    snapshots: watch::Receiver<Arc<Snapshot>>,
    commands: mpsc::Sender<Command>,
    scenario: Scenario,
}

impl Handle {
    /// The scenario with the addresses that are really served: `lauterd_files::configuration` of it fits.
    pub fn scenario(&self) -> &Scenario {
        &self.scenario
    }

    /// Bound address of each TCP link, by its name, in the scenario's order.
    pub fn tcp_links(&self) -> &[(String, SocketAddr)] {
        &self.servers.tcp
    }

    /// Bound address of the first TCP link.
    pub fn modbus_tcp(&self) -> Option<SocketAddr> {
        self.servers.tcp.first().map(|(_, address)| *address)
    }

    /// Path a client opens for each serial link, by its name.
    pub fn serial_links(&self) -> &[(String, String)] {
        &self.servers.serial
    }

    /// The true state as of the last tick.
    pub fn truth(&self) -> Truth {
        self.snapshots.borrow().truth
    }

    /// Everything as of the last tick.
    pub fn snapshot(&self) -> Arc<Snapshot> {
        self.snapshots.borrow().clone()
    }

    /// Snapshots as they come.
    pub fn watch(&self) -> watch::Receiver<Arc<Snapshot>> {
        self.snapshots.clone()
    }

    /// Lets something happen, with the next tick.
    pub async fn inject(&self, fault: Fault) -> Result<(), FaultError> {
        let (reply, answer) = oneshot::channel();
        // Both fail only once the brewhouse has been stopped, when nothing can happen to it any more.
        if self.commands.send(Command { fault, reply }).await.is_err() {
            return Ok(());
        }
        answer.await.unwrap_or(Ok(()))
    }

    /// Ends all servers and waits until they have let go of their ports.
    pub async fn stop(mut self) {
        self.servers.stop().await;
    }
}

/// Starts serving a scenario. All listeners are bound when this returns.
pub async fn start(scenario: &Scenario, options: Options) -> Result<Handle, ServeError> {
    check_speed(options.speed)?;
    let mut scenario = scenario.clone();
    redirect(&mut scenario, &options)?;
    let brewhouse = Brewhouse::new(&scenario, options.seed);
    let links = link_names(&scenario);
    let first = Snapshot::of(&brewhouse, &links, false);
    let (show, shown) = watch::channel(Arc::new(first.shown()));
    let (publish, snapshots) = watch::channel(Arc::new(first));
    let (commands, queue) = mpsc::channel(WAITING_FAULTS);
    let mut servers = Servers::new(shown);
    for index in 0..scenario.modbus_links.len() {
        let link = &scenario.modbus_links[index];
        scenario.modbus_links[index] = servers.link(&scenario.instruments, link).await?;
    }
    if let Some(broker) = &scenario.mqtt {
        servers.publish(&scenario.name, &scenario.instruments, broker);
    }
    if let Some(address) = options.database {
        let database = scenario.influx.as_mut();
        let database = database.ok_or(ServeError::NoSuchLink("database"))?;
        let bound = servers::bind(crate::instrument::DATABASE_LINK, &address.to_string()).await?;
        database.url = format!("http://{}", bound.1);
        let shared = servers.shared.clone();
        servers.tasks.spawn(database::serve(bound.0, shared));
    }
    let stepper = stepping::Stepper {
        brewhouse,
        links,
        speed: options.speed,
        start_after: options.start_after,
        publish,
        show,
        queue,
    };
    let stop = servers.shared.stop.clone();
    servers.tasks.spawn(stepper.run(stop));
    Ok(Handle {
        servers,
        snapshots,
        commands,
        scenario,
    })
}

/// Refuses a speed that nothing can be served at.
pub fn check_speed(speed: f64) -> Result<(), ServeError> {
    if (0.01..=100_000.0).contains(&speed) {
        Ok(())
    } else {
        Err(ServeError::Speed(speed))
    }
}

/// Puts the options' addresses in place of the scenario's.
fn redirect(scenario: &mut Scenario, options: &Options) -> Result<(), ServeError> {
    let links = &mut scenario.modbus_links;
    if let Some(address) = options.modbus_tcp {
        let link = links.iter_mut().find(|link| link.tcp.is_some());
        let link = link.ok_or(ServeError::NoSuchLink("Modbus TCP"))?;
        link.tcp = Some(address.to_string());
    }
    if let Some(path) = &options.rtu {
        let link = links.iter_mut().find(|link| link.rtu.is_some());
        let link = link.ok_or(ServeError::NoSuchLink("serial"))?;
        link.rtu = Some(path.clone());
    }
    if let Some(broker) = &options.mqtt {
        scenario.mqtt = Some(broker.clone());
    }
    Ok(())
}

fn link_names(scenario: &Scenario) -> Vec<String> {
    let modbus = scenario.modbus_links.iter().map(|link| link.name.clone());
    modbus
        .chain([
            crate::instrument::MQTT_LINK.to_owned(),
            crate::instrument::DATABASE_LINK.to_owned(),
        ])
        .collect()
}
