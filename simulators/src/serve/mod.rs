//! A brewhouse that runs live: stepped in time, read over Modbus and MQTT, disturbed from outside.
//!
//! Owns the tasks and what they share. The brewhouse itself belongs to one task; the others see snapshots of it
//! through a watch channel, and reach it through a bounded queue of faults. This is the only place of the crate
//! with a clock.

mod modbus;
mod mqtt;
mod registers;
mod serial;
mod stepping;

use std::io;
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;

use tokio::net::TcpListener;
use tokio::sync::{mpsc, oneshot, watch};
use tokio::task::JoinSet;
use tokio_util::sync::CancellationToken;

use crate::fault::{Fault, FaultError};
use crate::instrument::InstrumentReading;
use crate::model::{Brewhouse, Crossings, Truth};
use crate::scenario::{ModbusLink, Mqtt, Parity, Scenario};
use registers::RegisterMap;
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

    fn link_is_up(&self, link: &str) -> bool {
        !self.links_down.iter().any(|down| down == link)
    }
}

/// What every server task gets.
#[derive(Clone, Debug)]
struct Shared {
    snapshots: watch::Receiver<Arc<Snapshot>>,
    stop: CancellationToken,
}

/// A served brewhouse. Dropping it stops everything.
#[derive(Debug)]
pub struct Handle {
    shared: Shared,
    commands: mpsc::Sender<Command>,
    tasks: JoinSet<()>,
    scenario: Scenario,
    tcp: Vec<(String, SocketAddr)>,
    serial: Vec<(String, String)>,
}

impl Handle {
    /// The scenario with the addresses that are really served: `lauterd_files::configuration` of it fits.
    pub fn scenario(&self) -> &Scenario {
        &self.scenario
    }

    /// Bound address of each TCP link, by its name, in the scenario's order.
    pub fn tcp_links(&self) -> &[(String, SocketAddr)] {
        &self.tcp
    }

    /// Bound address of the first TCP link.
    pub fn modbus_tcp(&self) -> Option<SocketAddr> {
        self.tcp.first().map(|(_, address)| *address)
    }

    /// Path a client opens for each serial link, by its name.
    pub fn serial_links(&self) -> &[(String, String)] {
        &self.serial
    }

    /// The true state as of the last tick.
    pub fn truth(&self) -> Truth {
        self.shared.snapshots.borrow().truth
    }

    /// Everything as of the last tick.
    pub fn snapshot(&self) -> Arc<Snapshot> {
        self.shared.snapshots.borrow().clone()
    }

    /// Snapshots as they come.
    pub fn watch(&self) -> watch::Receiver<Arc<Snapshot>> {
        self.shared.snapshots.clone()
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
        self.shared.stop.cancel();
        while self.tasks.join_next().await.is_some() {}
    }
}

impl Drop for Handle {
    fn drop(&mut self) {
        self.shared.stop.cancel();
    }
}

/// Starts serving a scenario. All listeners are bound when this returns.
pub async fn start(scenario: &Scenario, options: Options) -> Result<Handle, ServeError> {
    if !(0.01..=100_000.0).contains(&options.speed) {
        return Err(ServeError::Speed(options.speed));
    }
    let mut scenario = scenario.clone();
    redirect(&mut scenario, &options)?;
    let brewhouse = Brewhouse::new(&scenario, options.seed);
    let links = link_names(&scenario);
    let first = Arc::new(Snapshot::of(&brewhouse, &links, false));
    let (publish, snapshots) = watch::channel(first);
    let (commands, queue) = mpsc::channel(WAITING_FAULTS);
    let shared = Shared {
        snapshots,
        stop: CancellationToken::new(),
    };
    let mut handle = Handle {
        shared: shared.clone(),
        commands,
        tasks: JoinSet::new(),
        scenario: scenario.clone(),
        tcp: Vec::new(),
        serial: Vec::new(),
    };
    for (index, link) in scenario.modbus_links.iter().enumerate() {
        let bound = serve_link(&scenario, link, &mut handle).await?;
        handle.scenario.modbus_links[index] = bound;
    }
    if let Some(broker) = &scenario.mqtt
        && scenario.instruments.iter().any(|i| i.mqtt.is_some())
    {
        handle.tasks.spawn(mqtt::publish(
            scenario.clone(),
            broker.clone(),
            shared.clone(),
        ));
    }
    let stepper = stepping::Stepper {
        brewhouse,
        links,
        speed: options.speed,
        start_after: options.start_after,
        publish,
        queue,
    };
    handle.tasks.spawn(stepper.run(shared.stop));
    Ok(handle)
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
        .chain([crate::instrument::MQTT_LINK.to_owned()])
        .collect()
}

/// Serves one link and gives it back with its real address.
async fn serve_link(
    scenario: &Scenario,
    link: &ModbusLink,
    handle: &mut Handle,
) -> Result<ModbusLink, ServeError> {
    let mut served = link.clone();
    let service = modbus::Device::new(
        &link.name,
        RegisterMap::of(scenario, &link.name),
        handle.shared.snapshots.clone(),
        link.rtu.is_some(),
    );
    if let Some(path) = &link.rtu {
        let port = serial::Port::open(link, path).map_err(|source| ServeError::Serial {
            link: link.name.clone(),
            path: path.clone(),
            source,
        })?;
        served.rtu = Some(port.client_path().to_owned());
        if port.is_pseudo_terminal() {
            // A pseudo-terminal has no parity bit, and opening one with parity fails.
            served.parity = Some(Parity::None);
        }
        handle
            .serial
            .push((link.name.clone(), port.client_path().to_owned()));
        handle
            .tasks
            .spawn(serial::serve(port, service, handle.shared.clone()));
        return Ok(served);
    }
    let Some(address) = link.tcp.as_ref().or(link.rtu_over_tcp.as_ref()) else {
        return Ok(served);
    };
    let error = |source| ServeError::Listen {
        link: link.name.clone(),
        address: address.clone(),
        source,
    };
    let listener = TcpListener::bind(address).await.map_err(error)?;
    let bound = listener.local_addr().map_err(error)?;
    handle.tcp.push((link.name.clone(), bound));
    let shared = handle.shared.clone();
    if link.tcp.is_some() {
        served.tcp = Some(bound.to_string());
        handle
            .tasks
            .spawn(modbus::serve_tcp(listener, service, shared));
    } else {
        served.rtu_over_tcp = Some(bound.to_string());
        handle
            .tasks
            .spawn(modbus::serve_rtu_over_tcp(listener, service, shared));
    }
    Ok(served)
}
