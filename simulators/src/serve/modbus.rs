//! Modbus devices: TCP, and RTU frames over TCP. Read functions only.

use std::future::{Ready, ready};
use std::net::SocketAddr;
use std::sync::Arc;

use tokio::net::{TcpListener, TcpStream};
use tokio::sync::watch;
use tokio_modbus::server::{Service, rtu_over_tcp, tcp};
use tokio_modbus::{ExceptionCode, Request, Response, SlaveRequest};

use super::registers::RegisterMap;
use super::servers::{Shared, Shown};
use crate::scenario::Table;

/// The instruments behind one link.
#[derive(Clone, Debug)]
pub struct Device {
    link: Arc<str>,
    registers: Arc<RegisterMap>,
    shown: watch::Receiver<Arc<Shown>>,
    /// On a bus nobody answers for a unit that is not there; a TCP device says so.
    on_bus: bool,
}

impl Device {
    pub fn new(
        link: &str,
        registers: RegisterMap,
        shown: watch::Receiver<Arc<Shown>>,
        on_bus: bool,
    ) -> Self {
        Self {
            link: link.into(),
            registers: Arc::new(registers),
            shown,
            on_bus,
        }
    }

    fn is_up(&self) -> bool {
        self.shown.borrow().link_is_up(&self.link)
    }

    /// Waits until the link is up or down.
    async fn becomes(&self, up: bool) {
        let mut states = self.shown.clone();
        let reached = states.wait_for(|shown| shown.link_is_up(&self.link) == up);
        if reached.await.is_err() {
            // Nothing is shown any more: the state cannot change any more.
            std::future::pending::<()>().await;
        }
    }

    fn answer(&self, asked: &SlaveRequest<'_>) -> Result<Option<Response>, ExceptionCode> {
        let unit = asked.slave;
        if !self.registers.has_unit(unit) {
            return if self.on_bus {
                Ok(None)
            } else {
                Err(ExceptionCode::GatewayTargetDevice)
            };
        }
        let shown = self.shown.borrow().clone();
        if !shown.link_is_up(&self.link) {
            return Ok(None);
        }
        let readings = &shown.readings;
        let words = |table, at, count| self.registers.words(readings, unit, table, at, count);
        let bits = |table, at, count| self.registers.bits(readings, unit, table, at, count);
        let response = match asked.request {
            Request::ReadCoils(at, count) => Response::ReadCoils(bits(Table::Coil, at, count)?),
            Request::ReadDiscreteInputs(at, count) => {
                Response::ReadDiscreteInputs(bits(Table::Discrete, at, count)?)
            }
            Request::ReadHoldingRegisters(at, count) => {
                Response::ReadHoldingRegisters(words(Table::Holding, at, count)?)
            }
            Request::ReadInputRegisters(at, count) => {
                Response::ReadInputRegisters(words(Table::Input, at, count)?)
            }
            _ => return Err(ExceptionCode::IllegalFunction),
        };
        Ok(Some(response))
    }
}

impl Service for Device {
    type Request = SlaveRequest<'static>;
    type Response = Option<Response>;
    type Exception = ExceptionCode;
    type Future = Ready<Result<Self::Response, Self::Exception>>;

    fn call(&self, asked: Self::Request) -> Self::Future {
        ready(self.answer(&asked))
    }
}

/// What a server does with a new connection while the link is up: answer it. While it is down: close it.
macro_rules! serve_while_the_link_changes {
    ($server:expr, $device:expr, $shared:expr) => {{
        let (server, device, shared) = ($server, $device, $shared);
        loop {
            let up = device.is_up();
            let connected = |stream: TcpStream, _from: SocketAddr| {
                // Answers are small; they must not wait for each other.
                let _ = stream.set_nodelay(true);
                let service = up.then(|| (device.clone(), stream));
                ready(Ok(service))
            };
            let failed = |error: std::io::Error| tracing::debug!("connection ended: {error}");
            tokio::select! {
                () = shared.stop.cancelled() => return,
                // Leaving the server closes its connections.
                () = device.becomes(!up) => {}
                served = server.serve(&connected, failed) => {
                    if let Err(error) = served {
                        tracing::warn!("link {}: {error}; listening again", device.link);
                        tokio::time::sleep(std::time::Duration::from_millis(200)).await;
                    }
                }
            }
        }
    }};
}

pub async fn serve_tcp(listener: TcpListener, device: Device, shared: Shared) {
    serve_while_the_link_changes!(tcp::Server::new(listener), device, shared);
}

pub async fn serve_rtu_over_tcp(listener: TcpListener, device: Device, shared: Shared) {
    serve_while_the_link_changes!(rtu_over_tcp::Server::new(listener), device, shared);
}
