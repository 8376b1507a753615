//! Opening a link, and the state a line must be in before it may be used.
//!
//! Owns TCP and serial connections up to the point where frames can be exchanged, and the wait for a quiet
//! line. An RTU frame carries no transaction number, so a late or doubled reply would pass for the answer to the next
//! request; `guard` and the wait close
//! that hole but for a stray reply of the same unit, function and length that comes between a request and
//! its answer: RTU itself cannot tell that one. Knows nothing of registers or points.

use std::io;
use std::time::Duration;

use tokio::io::{AsyncRead, AsyncReadExt};
use tokio::net::TcpStream;
use tokio::time::{Instant, timeout, timeout_at};
use tokio_serial::SerialStream;

use crate::config::model::{ModbusLink, Parity, Transport};
use crate::tap::{Tap, TappedStream};

use super::exchange::Connection;
use super::parameters::Parameters;

/// Why a link could not be opened.
#[derive(Debug, thiserror::Error)]
pub(super) enum OpenFault {
    #[error("cannot connect to {address}: {source}; check the device's power, cable and address")]
    Connect { address: String, source: io::Error },
    #[error(
        "no connection to {address} within {limit_s} s; check the device's power, cable and address"
    )]
    ConnectLimit { address: String, limit_s: f64 },
    #[error(
        "cannot open serial port {path}: {source}; check that it is plugged in, that the service may \
         use it, and that no other program does"
    )]
    Serial {
        path: String,
        source: tokio_serial::Error,
    },
    #[error("{place} failed before the first request: {source}")]
    Settle { place: String, source: io::Error },
    #[error(
        "{place} does not fall quiet: {bytes} bytes in {limit_s} s that nobody asked for; look for a \
         second master on the line or wrong baud rate and parity"
    )]
    NotQuiet {
        place: String,
        bytes: usize,
        limit_s: f64,
    },
}

/// Where a link leads, for messages.
pub(super) fn place(transport: &Transport) -> &str {
    match transport {
        Transport::Tcp(address) | Transport::RtuOverTcp(address) => address,
        Transport::Rtu { path, .. } => path,
    }
}

/// Opens the link. An RTU line is given back only after it has been quiet for longer than a reply may take. `tap` is
/// told of every byte.
pub(super) async fn open(
    link: &ModbusLink,
    parameters: &Parameters,
    tap: Option<&Tap>,
) -> Result<Connection, OpenFault> {
    match &link.transport {
        Transport::Tcp(address) => {
            let stream = connect(address, parameters.connect_limit).await?;
            let stream = TappedStream::new(stream, tap, &link.name);
            Ok(Connection::tcp(stream, link.timeout))
        }
        Transport::RtuOverTcp(address) => {
            let stream = connect(address, parameters.connect_limit).await?;
            let mut stream = TappedStream::new(stream, tap, &link.name);
            settle(&mut stream, link, parameters).await?;
            Ok(Connection::rtu(stream, link.timeout, parameters.frame_gap))
        }
        Transport::Rtu {
            path,
            baud,
            parity,
            stop_bits,
        } => {
            let stream = open_serial(path, *baud, *parity, *stop_bits)?;
            let mut stream = TappedStream::new(stream, tap, &link.name);
            settle(&mut stream, link, parameters).await?;
            let gap = parameters.frame_gap.max(frame_gap(*baud));
            Ok(Connection::rtu(stream, link.timeout, gap))
        }
    }
}

async fn connect(address: &str, limit: Duration) -> Result<TcpStream, OpenFault> {
    let connected = timeout(limit, TcpStream::connect(address))
        .await
        .map_err(|_| OpenFault::ConnectLimit {
            address: address.to_owned(),
            limit_s: limit.as_secs_f64(),
        })?;
    connected
        .and_then(|stream| stream.set_nodelay(true).map(|()| stream))
        .map_err(|source| OpenFault::Connect {
            address: address.to_owned(),
            source,
        })
}

fn open_serial(
    path: &str,
    baud: u32,
    parity: Parity,
    stop_bits: u8,
) -> Result<SerialStream, OpenFault> {
    let builder = tokio_serial::new(path, baud)
        .data_bits(tokio_serial::DataBits::Eight)
        .parity(match parity {
            Parity::None => tokio_serial::Parity::None,
            Parity::Even => tokio_serial::Parity::Even,
            Parity::Odd => tokio_serial::Parity::Odd,
        })
        .stop_bits(if stop_bits == 2 {
            tokio_serial::StopBits::Two
        } else {
            tokio_serial::StopBits::One
        });
    SerialStream::open(&builder).map_err(|source| OpenFault::Serial {
        path: path.to_owned(),
        source,
    })
}

/// The silence that ends an RTU frame: 3.5 characters of 11 bits, and 1.75 ms above 19200 baud (MODBUS over
/// Serial Line V1.02, 2.5.1.1).
fn frame_gap(baud: u32) -> Duration {
    if baud > 19_200 {
        Duration::from_micros(1750)
    } else {
        Duration::from_secs_f64(3.5 * 11.0 / f64::from(baud.max(1)))
    }
}

/// Reads and discards until nothing has come for longer than the slowest reply.
async fn settle<S: AsyncRead + Unpin>(
    stream: &mut S,
    link: &ModbusLink,
    parameters: &Parameters,
) -> Result<(), OpenFault> {
    let quiet = link.timeout.mul_f64(parameters.quiet_timeouts);
    let limit = link.timeout.mul_f64(parameters.settle_timeouts);
    let deadline = Instant::now() + limit;
    let mut discarded = [0_u8; 256];
    let mut bytes = 0;
    let place = || place(&link.transport).to_owned();
    loop {
        let quiet_at = Instant::now() + quiet;
        if quiet_at > deadline {
            return Err(OpenFault::NotQuiet {
                place: place(),
                bytes,
                limit_s: limit.as_secs_f64(),
            });
        }
        let source = match timeout_at(quiet_at, stream.read(&mut discarded)).await {
            Err(_) => return Ok(()),
            Ok(Ok(0)) => closed(),
            Ok(Ok(count)) => {
                bytes += count;
                continue;
            }
            Ok(Err(source)) => source,
        };
        return Err(OpenFault::Settle {
            place: place(),
            source,
        });
    }
}

pub(super) fn closed() -> io::Error {
    io::Error::new(
        io::ErrorKind::UnexpectedEof,
        "the other end closed the connection",
    )
}

#[cfg(test)]
mod tests {
    use tokio::io::AsyncWriteExt;

    use super::*;

    #[test]
    fn slow_lines_are_given_their_longer_silence() {
        assert_eq!(
            frame_gap(1200),
            Duration::from_micros(32_083) + Duration::from_nanos(333)
        );
        assert_eq!(frame_gap(9600).as_micros(), 4010);
        assert_eq!(frame_gap(115_200), Duration::from_micros(1750));
    }

    fn rtu_link() -> ModbusLink {
        ModbusLink {
            name: "skid".to_owned(),
            transport: Transport::RtuOverTcp("gateway".to_owned()),
            timeout: Duration::from_millis(10),
        }
    }

    #[tokio::test]
    async fn settling_discards_a_late_reply() {
        let (mut ours, mut theirs) = tokio::io::duplex(64);
        theirs.write_all(b"late").await.unwrap();
        settle(&mut ours, &rtu_link(), &Parameters::default())
            .await
            .unwrap();
        theirs.write_all(b"!").await.unwrap();
        assert_eq!(ours.read_u8().await.unwrap(), b'!');
    }

    #[tokio::test]
    async fn a_line_that_never_falls_quiet_is_named() {
        let parameters = Parameters {
            settle_timeouts: 5.0,
            ..Parameters::default()
        };
        let mut chatter = tokio::io::repeat(0x55);
        let fault = settle(&mut chatter, &rtu_link(), &parameters)
            .await
            .unwrap_err();
        assert!(matches!(fault, OpenFault::NotQuiet { .. }), "{fault}");
    }
}
