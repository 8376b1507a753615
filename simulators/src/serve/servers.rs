//! The servers and the publisher that show instruments to the outside, whatever moves them.
//!
//! Owns listeners, serial ports and their tasks. A simulated brewhouse and a played recording both end here: what is
//! shown comes through a watch channel.

use std::io;
use std::net::SocketAddr;
use std::sync::Arc;

use tokio::net::TcpListener;
use tokio::sync::watch;
use tokio::task::JoinSet;
use tokio_util::sync::CancellationToken;

use super::registers::RegisterMap;
use super::{ServeError, modbus, mqtt, serial};
use crate::instrument::InstrumentReading;
use crate::scenario::{Instrument, ModbusLink, Mqtt, Parity};

/// What the instruments show now.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Shown {
    /// In the order of the instruments.
    pub readings: Vec<InstrumentReading>,
    /// Links that are down, "mqtt" among them.
    pub links_down: Vec<String>,
}

impl Shown {
    pub fn link_is_up(&self, link: &str) -> bool {
        !self.links_down.iter().any(|down| down == link)
    }
}

/// What every server task gets.
#[derive(Clone, Debug)]
pub struct Shared {
    pub shown: watch::Receiver<Arc<Shown>>,
    pub stop: CancellationToken,
}

/// Everything that is served. Dropping it stops all of it.
#[derive(Debug)]
pub struct Servers {
    pub shared: Shared,
    pub tasks: JoinSet<()>,
    /// Bound address of each TCP link, by its name, in the order of serving.
    pub tcp: Vec<(String, SocketAddr)>,
    /// Path a client opens for each serial link, by its name.
    pub serial: Vec<(String, String)>,
}

impl Servers {
    pub fn new(shown: watch::Receiver<Arc<Shown>>) -> Self {
        Self {
            shared: Shared {
                shown,
                stop: CancellationToken::new(),
            },
            tasks: JoinSet::new(),
            tcp: Vec::new(),
            serial: Vec::new(),
        }
    }

    /// Serves one link and gives it back with its real address.
    pub async fn link(
        &mut self,
        instruments: &[Instrument],
        link: &ModbusLink,
    ) -> Result<ModbusLink, ServeError> {
        let mut served = link.clone();
        let service = modbus::Device::new(
            &link.name,
            RegisterMap::of(instruments, &link.name),
            self.shared.shown.clone(),
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
            self.serial
                .push((link.name.clone(), port.client_path().to_owned()));
            self.tasks
                .spawn(serial::serve(port, service, self.shared.clone()));
            return Ok(served);
        }
        let Some(address) = link.tcp.as_ref().or(link.rtu_over_tcp.as_ref()) else {
            return Ok(served);
        };
        let (listener, bound) = bind(&link.name, address).await?;
        self.tcp.push((link.name.clone(), bound));
        let shared = self.shared.clone();
        if link.tcp.is_some() {
            served.tcp = Some(bound.to_string());
            self.tasks
                .spawn(modbus::serve_tcp(listener, service, shared));
        } else {
            served.rtu_over_tcp = Some(bound.to_string());
            self.tasks
                .spawn(modbus::serve_rtu_over_tcp(listener, service, shared));
        }
        Ok(served)
    }

    /// Publishes those instruments that do so; nothing without any.
    pub fn publish(&mut self, name: &str, instruments: &[Instrument], broker: &Mqtt) {
        if instruments.iter().any(|i| i.mqtt.is_some()) {
            self.tasks.spawn(mqtt::publish(
                name.to_owned(),
                instruments.to_vec(),
                broker.clone(),
                self.shared.clone(),
            ));
        }
    }

    /// Ends all servers and waits until they have let go of their ports.
    pub async fn stop(&mut self) {
        self.shared.stop.cancel();
        while self.tasks.join_next().await.is_some() {}
    }
}

impl Drop for Servers {
    fn drop(&mut self) {
        self.shared.stop.cancel();
    }
}

/// Binds the address of a link.
pub async fn bind(link: &str, address: &str) -> Result<(TcpListener, SocketAddr), ServeError> {
    let error = |source: io::Error| ServeError::Listen {
        link: link.to_owned(),
        address: address.to_owned(),
        source,
    };
    let listener = TcpListener::bind(address).await.map_err(error)?;
    let bound = listener.local_addr().map_err(error)?;
    Ok((listener, bound))
}
