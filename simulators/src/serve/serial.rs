//! Modbus RTU on a serial device or a pseudo-terminal.
//!
//! The protocol server gives up its port after junk on the line, and a pseudo-terminal cannot be opened twice from
//! the server's side. So the outer port stays open and its bytes are carried to an inner pair that is thrown away
//! with each server: after junk a new one starts at once with nothing left over.

use std::io;
use std::time::Duration;

use tokio_modbus::server::rtu;
use tokio_serial::{SerialPort as _, SerialPortBuilderExt as _, SerialStream};

use super::modbus::Device;
use super::servers::Shared;
use crate::scenario::{ModbusLink, Parity};

/// Pause before a device that failed is opened again.
const REOPEN_AFTER: Duration = Duration::from_millis(500);

const USUAL_BAUD: u32 = 19_200;

/// How the outer port is opened.
#[derive(Clone, Debug)]
struct Line {
    path: String,
    baud: u32,
    parity: Parity,
    stop_bits: u8,
}

/// An open outer port.
#[derive(Debug)]
pub struct Port {
    stream: SerialStream,
    /// The client's end of a pseudo-terminal: held so that the terminal outlives its clients.
    client: Option<SerialStream>,
    client_path: String,
    line: Line,
}

impl Port {
    /// Opens a device, or makes a pseudo-terminal for the path "pty".
    pub fn open(link: &ModbusLink, path: &str) -> io::Result<Self> {
        let line = Line {
            path: path.to_owned(),
            baud: link.baud.unwrap_or(USUAL_BAUD),
            parity: link.parity.unwrap_or(Parity::Even),
            stop_bits: link.stop_bits.unwrap_or(1),
        };
        if path != "pty" {
            return Ok(Self {
                stream: line.open()?,
                client: None,
                client_path: path.to_owned(),
                line,
            });
        }
        let (stream, client) = SerialStream::pair()?;
        let client_path = client
            .name()
            .ok_or_else(|| io::Error::other("a pseudo-terminal without a name"))?;
        Ok(Self {
            stream,
            client: Some(client),
            client_path,
            line,
        })
    }

    pub fn is_pseudo_terminal(&self) -> bool {
        self.client.is_some()
    }

    /// The server's end, for who speaks to the line without a protocol of its own.
    pub fn stream(&mut self) -> &mut SerialStream {
        &mut self.stream
    }

    /// What a client opens.
    pub fn client_path(&self) -> &str {
        &self.client_path
    }
}

impl Line {
    fn open(&self) -> io::Result<SerialStream> {
        let parity = match self.parity {
            Parity::None => tokio_serial::Parity::None,
            Parity::Even => tokio_serial::Parity::Even,
            Parity::Odd => tokio_serial::Parity::Odd,
        };
        let stop_bits = if self.stop_bits == 2 {
            tokio_serial::StopBits::Two
        } else {
            tokio_serial::StopBits::One
        };
        let port = tokio_serial::new(&self.path, self.baud)
            .parity(parity)
            .stop_bits(stop_bits)
            .open_native_async()?;
        Ok(port)
    }
}

/// Serves until stopped, whatever comes over the line.
pub(super) async fn serve(mut port: Port, device: Device, shared: Shared) {
    loop {
        let served = tokio::select! {
            () = shared.stop.cancelled() => return,
            served = serve_once(&mut port, device.clone()) => served,
        };
        match served {
            Ok(reason) => tracing::debug!("{}: {reason}; starting again", port.client_path),
            Err(error) if port.client.is_some() => {
                tracing::warn!("{}: {error}", port.client_path);
                tokio::time::sleep(REOPEN_AFTER).await;
            }
            Err(error) => {
                tracing::warn!("{}: {error}; opening again", port.client_path);
                tokio::time::sleep(REOPEN_AFTER).await;
                if let Ok(stream) = port.line.open() {
                    port.stream = stream;
                }
            }
        }
    }
}

/// One protocol server on an inner pair. Ok when the server gave up, an error when the outer port did.
async fn serve_once(port: &mut Port, device: Device) -> io::Result<String> {
    let (inner, mut carrier) = SerialStream::pair()?;
    let server = rtu::Server::new(inner).serve_forever(device);
    tokio::select! {
        ended = server => Ok(ended.map_or_else(|error| error.to_string(), |()| "ended".to_owned())),
        carried = tokio::io::copy_bidirectional(&mut port.stream, &mut carrier) => {
            carried?;
            Err(io::Error::from(io::ErrorKind::UnexpectedEof))
        }
    }
}
