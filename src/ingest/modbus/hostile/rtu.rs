//! Misbehaviour in RTU frames, where no transaction number tells one reply from another.

use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Duration;

use lauter_core::supervisor::LinkState;
use tokio::io::{AsyncRead, AsyncWrite, AsyncWriteExt};

use super::super::testing::register;
use super::device::{Asked, listener, rtu};
use super::watched::Watched;
use crate::config::model::{Parity, Transport};

/// A gateway that passes RTU frames keeps a late reply and hands it to whoever connects next.
#[tokio::test]
async fn a_late_rtu_reply_kept_by_a_gateway_is_discarded_after_the_reconnection() {
    let (listener, address) = listener().await;
    let kept = Arc::new(AtomicUsize::new(0));
    let counted = Arc::clone(&kept);
    tokio::spawn(async move {
        let mut turn = 0;
        let mut late: Option<Vec<u8>> = None;
        while let Ok((mut stream, _)) = listener.accept().await {
            if let Some(reply) = late.take() {
                tokio::time::sleep(Duration::from_millis(20)).await;
                stream.write_all(&reply).await.unwrap_or(());
                counted.fetch_add(1, Ordering::Relaxed);
            }
            while let Some(asked) = Asked::receive_rtu(&mut stream).await {
                turn += 1;
                let reply = rtu(&asked.honest_body());
                if turn % 3 == 0 {
                    late = Some(reply);
                } else if stream.write_all(&reply).await.is_err() {
                    break;
                }
            }
        }
    });
    let addresses = [7, 20, 33];
    let points = addresses.map(|address| register(1, address)).to_vec();
    let mut watched = Watched::start(Transport::RtuOverTcp(address), 100, points);
    while kept.load(Ordering::Relaxed) < 4 {
        watched.next().await;
    }
    watched.readings(3).await;
    watched.assert_only_own_values(&addresses);
    watched.stop().await;
}

/// RTU frames carry no transaction number: a reply sent twice would answer the next request.
#[tokio::test]
async fn a_doubled_rtu_reply_is_not_taken_for_the_next_registers() {
    let (listener, address) = listener().await;
    let doubled = Arc::new(AtomicUsize::new(0));
    let counted = Arc::clone(&doubled);
    tokio::spawn(async move {
        let mut turn = 0;
        while let Ok((mut stream, _)) = listener.accept().await {
            stream.set_nodelay(true).unwrap();
            while let Some(asked) = Asked::receive_rtu(&mut stream).await {
                turn += 1;
                let reply = rtu(&asked.honest_body());
                stream.write_all(&reply).await.unwrap_or(());
                if turn % 5 == 0 {
                    tokio::task::yield_now().await;
                    stream.write_all(&reply).await.unwrap_or(());
                    counted.fetch_add(1, Ordering::Relaxed);
                }
            }
        }
    });
    let addresses = [7, 20, 33];
    let points = addresses.map(|address| register(1, address)).to_vec();
    let mut watched = Watched::start(Transport::RtuOverTcp(address), 100, points);
    while doubled.load(Ordering::Relaxed) < 5 {
        watched.next().await;
    }
    watched.readings(3).await;
    watched.assert_only_own_values(&addresses);
    watched.stop().await;
}

/// A device on a serial line, played on the master side of a pseudo terminal. An error means that nobody
/// has the line open at the moment.
async fn serve_serial<S: AsyncRead + AsyncWrite + Unpin>(
    mut line: S,
    script: impl Fn(usize, Asked) -> Vec<u8>,
) {
    let mut before = 0;
    loop {
        if let Some(asked) = Asked::receive_rtu(&mut line).await {
            let reply = script(before, asked);
            before += 1;
            line.write_all(&reply).await.unwrap_or(());
        } else {
            tokio::time::sleep(Duration::from_millis(5)).await;
        }
    }
}

#[tokio::test]
async fn a_serial_line_is_read_and_recovers_from_noise_and_foreign_replies() {
    use tokio_serial::{SerialPort, SerialStream};

    let (master, slave) = SerialStream::pair().unwrap();
    let path = slave.name().unwrap();
    drop(slave);
    tokio::spawn(serve_serial(master, |before, asked| match before {
        4 => vec![0x00, 0xFF, 0x55],
        8 => rtu(&Asked {
            unit_id: 9,
            ..asked
        }
        .honest_body()),
        12 => rtu(&[asked.unit_id, asked.function, 2, 0x12]),
        _ => rtu(&asked.honest_body()),
    }));
    let transport = Transport::Rtu {
        path,
        baud: 115_200,
        parity: Parity::None,
        stop_bits: 1,
    };
    let addresses = [7, 20];
    let points = addresses.map(|address| register(1, address)).to_vec();
    let mut watched = Watched::start(transport, 50, points);
    while watched.figures().requests < 20 {
        watched.next().await;
    }
    watched.readings(2).await;
    watched.assert_only_own_values(&addresses);
    assert!(watched.figures().reconnects >= 3);
    watched.stop().await;
}

#[tokio::test]
async fn an_absent_serial_port_is_named() {
    let transport = Transport::Rtu {
        path: "/dev/no-such-port".to_owned(),
        baud: 9600,
        parity: Parity::Even,
        stop_bits: 1,
    };
    let mut watched = Watched::start(transport, 50, vec![register(1, 7)]);
    let detail = watched.until_link(LinkState::Down).await;
    assert!(detail.contains("/dev/no-such-port"), "{detail}");
    watched.stop().await;
}
