//! Misbehaviour over Modbus TCP, and of units behind a gateway.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::time::Duration;

use lauter_core::reading::Cause;
use lauter_core::supervisor::LinkState;
use tokio::io::AsyncWriteExt;
use tokio::net::TcpListener;

use super::super::LinkFigures;
use super::super::testing::register;
use super::device::{Act, Asked, listener, serve};
use super::watched::{Watched, is_down, is_value, reading_of};
use crate::config::model::{ModbusPoint, Table, Transport};

#[tokio::test]
async fn an_honest_device_is_read_with_functions_01_to_04_only() {
    let (listener, address) = listener().await;
    let log = serve(listener, |_, asked| {
        let body = if asked.function <= 2 {
            vec![asked.unit_id, asked.function, 1, 0x01]
        } else {
            asked.honest_body()
        };
        Act::Send(asked.tcp(&body))
    });
    let tables = [Table::Input, Table::Holding, Table::Discrete, Table::Coil];
    let points = tables
        .map(|table| ModbusPoint {
            table,
            ..register(1, 5)
        })
        .to_vec();
    let mut watched = Watched::tcp(&address, points);
    watched.until_link(LinkState::Up).await;
    for (instrument, value) in [1005.0, 1005.0, 1.0, 1.0].into_iter().enumerate() {
        watched.until_value(instrument, value).await;
    }
    watched.readings(20).await;
    assert_eq!(watched.count(is_down), 0);
    let mut functions: Vec<u8> = log.lock().unwrap().iter().map(|a| a.function).collect();
    functions.sort_unstable();
    functions.dedup();
    assert_eq!(functions, [1, 2, 3, 4]);
    let figures = watched.figures();
    assert_eq!(figures.state, Some(LinkState::Up));
    assert_eq!(
        (figures.timeouts, figures.faults, figures.reconnects),
        (0, 0, 0)
    );
    watched.stop().await;
}

#[tokio::test]
async fn a_short_reply_breaks_the_connection_and_gives_no_value() {
    let (listener, address) = listener().await;
    serve(listener, |before, asked| {
        let mut body = asked.honest_body();
        if before < 3 {
            body.truncate(body.len() - 2);
            body[2] -= 2;
        }
        Act::Send(asked.tcp(&body))
    });
    let mut watched = Watched::tcp(&address, vec![register(1, 10), register(1, 11)]);
    watched.until_cause(0, Cause::LinkLost).await;
    watched.until_cause(1, Cause::LinkLost).await;
    let detail = watched.until_link(LinkState::Down).await;
    assert!(
        detail.contains(&address) && detail.contains("10 to 11"),
        "{detail}"
    );
    watched.until_link(LinkState::Up).await;
    watched.until_value(1, 1011.0).await;
    watched.assert_only_own_values(&[10, 11]);
    assert_eq!(watched.figures().faults, 3);
    assert_eq!(watched.figures().reconnects, 3);
    watched.stop().await;
}

#[tokio::test]
async fn wrong_functions_units_transactions_and_garbage_are_never_values() {
    let (listener, address) = listener().await;
    serve(listener, |before, asked| {
        let honest = asked.honest_body();
        Act::Send(match before {
            0 => asked.tcp(&[&[asked.unit_id, 0x03], &honest[2..]].concat()),
            1 => asked.tcp(&[&[asked.unit_id + 1], &honest[1..]].concat()),
            2 => {
                let transaction = asked.transaction.wrapping_sub(1);
                Asked {
                    transaction,
                    ..asked
                }
                .tcp(&honest)
            }
            3 => b"HTTP/1.1 400 Bad Request\r\n\r\n".to_vec(),
            4 => vec![0xFF; 300],
            5 => asked.tcp(&[]),
            _ => asked.tcp(&honest),
        })
    });
    let mut watched = Watched::tcp_within(&address, 500, vec![register(1, 7)]);
    watched.until_value(0, 1007.0).await;
    watched.assert_only_own_values(&[7]);
    assert_eq!(watched.count(is_down), 1, "told once");
    assert_eq!(
        watched.count(|a| reading_of(a, 0).is_some_and(|r| r.value == Err(Cause::LinkLost))),
        1,
        "told once"
    );
    let figures = watched.figures();
    assert_eq!(figures.faults + figures.timeouts, 6);
    watched.stop().await;
}

#[tokio::test]
async fn a_reset_connection_is_opened_again() {
    let (listener, address) = listener().await;
    serve(listener, |before, asked| match before % 4 {
        3 => Act::Close,
        _ => Act::Send(asked.tcp(&asked.honest_body())),
    });
    let mut watched = Watched::tcp(&address, vec![register(1, 7)]);
    for _ in 0..3 {
        watched.until_value(0, 1007.0).await;
        watched.until_cause(0, Cause::LinkLost).await;
    }
    watched.until_value(0, 1007.0).await;
    assert_eq!(watched.figures().reconnects, 3);
    assert_eq!(
        watched.count(is_down),
        0,
        "one lost poll is not a lost link"
    );
    watched.stop().await;
}

#[tokio::test]
async fn a_connection_the_device_closes_when_idle_is_opened_again_without_a_word() {
    let (listener, address) = listener().await;
    tokio::spawn(async move {
        // A device that serves one request for each connection.
        while let Ok((mut stream, _)) = listener.accept().await {
            if let Some(asked) = Asked::receive_tcp(&mut stream).await {
                stream
                    .write_all(&asked.tcp(&asked.honest_body()))
                    .await
                    .unwrap();
            }
        }
    });
    let mut watched = Watched::tcp(&address, vec![register(1, 7)]);
    watched.readings(5).await;
    assert_eq!(watched.count(|a| is_value(a, 0, 1007.0)), 5);
    assert!(watched.figures().reconnects >= 4);
    watched.stop().await;
}

#[tokio::test]
async fn a_half_open_device_is_a_lost_link_told_once_and_never_up() {
    let (listener, address) = listener().await;
    serve(listener, |_, _| Act::Ignore);
    let mut watched = Watched::tcp_within(&address, 100, vec![register(3, 7), register(3, 20)]);
    let detail = watched.until_link(LinkState::Down).await;
    assert!(
        detail.contains(&address) && detail.contains("unit 3"),
        "{detail}"
    );
    watched.until_cause_or_seen(0).await;
    watched.until_cause_or_seen(1).await;
    let before = watched.figures().timeouts;
    while watched.figures().timeouts < before + 5 {
        tokio::time::sleep(Duration::from_millis(10)).await;
    }
    assert!(
        watched.arrivals.try_recv().is_err(),
        "everything is told once"
    );
    watched.stop().await;
}

#[tokio::test]
async fn a_late_reply_is_never_the_next_registers_value() {
    let (listener, address) = listener().await;
    let late = Arc::new(AtomicUsize::new(0));
    let counted = Arc::clone(&late);
    tokio::spawn(async move {
        // Every third reply comes after the client has given up.
        let mut turn = 0;
        while let Ok((mut stream, _)) = listener.accept().await {
            while let Some(asked) = Asked::receive_tcp(&mut stream).await {
                turn += 1;
                if turn % 3 == 0 {
                    counted.fetch_add(1, Ordering::Relaxed);
                    tokio::time::sleep(Duration::from_millis(150)).await;
                }
                if stream
                    .write_all(&asked.tcp(&asked.honest_body()))
                    .await
                    .is_err()
                {
                    break;
                }
            }
        }
    });
    let addresses = [7, 20, 33];
    let points = addresses.map(|address| register(1, address)).to_vec();
    let mut watched = Watched::tcp_within(&address, 100, points);
    while late.load(Ordering::Relaxed) < 5 {
        watched.next().await;
    }
    watched.assert_only_own_values(&addresses);
    watched.stop().await;
}

#[tokio::test]
async fn a_device_absent_at_start_is_reported_and_found_when_it_comes() {
    let (absent, address) = listener().await;
    drop(absent);
    let mut watched = Watched::tcp(&address, vec![register(1, 7)]);
    let detail = watched.until_link(LinkState::Down).await;
    assert!(detail.contains(&address), "{detail}");
    watched.until_cause_or_seen(0).await;
    let listener = TcpListener::bind(&address).await.unwrap();
    serve(listener, |_, asked| {
        Act::Send(asked.tcp(&asked.honest_body()))
    });
    watched.until_link(LinkState::Up).await;
    watched.until_value(0, 1007.0).await;
    assert_eq!(watched.count(is_down), 1);
    watched.stop().await;
}

/// A silent unit behind a gateway, once as silence and once as the gateway's exception.
async fn one_dead_unit(dead: impl Fn(Asked) -> Act + Send + Sync + 'static) -> LinkFigures {
    let (listener, address) = listener().await;
    let alive = Arc::new(AtomicBool::new(false));
    let revived = Arc::clone(&alive);
    serve(listener, move |_, asked| {
        if asked.unit_id == 2 && !alive.load(Ordering::Relaxed) {
            dead(asked)
        } else {
            Act::Send(asked.tcp(&asked.honest_body()))
        }
    });
    let mut watched = Watched::tcp_within(
        &address,
        500,
        vec![register(1, 7), register(2, 8), register(2, 30)],
    );
    watched.until_cause(1, Cause::LinkLost).await;
    watched.until_cause_or_seen(2).await;
    for _ in 0..40 {
        watched.until_value(0, 1007.0).await;
    }
    assert_eq!(watched.count(is_down), 0, "the other unit answers");
    revived.store(true, Ordering::Relaxed);
    watched.until_value(1, 1008.0).await;
    watched.until_value(2, 1030.0).await;
    let figures = watched.figures();
    watched.stop().await;
    figures
}

#[tokio::test]
async fn a_silent_unit_behind_a_gateway_leaves_the_others_their_readings() {
    let figures = one_dead_unit(|_| Act::Ignore).await;
    assert!(figures.timeouts > 0 && figures.skipped > 0, "{figures:?}");
}

#[tokio::test]
async fn a_gateways_exception_0b_counts_as_silence_of_the_unit_and_keeps_the_connection() {
    let figures = one_dead_unit(|asked| Act::Send(asked.tcp(&asked.exception_body(0x0B)))).await;
    assert!(figures.exceptions > 0, "{figures:?}");
    assert_eq!(figures.reconnects, 0);
}

#[tokio::test]
async fn shutdown_is_prompt_whatever_the_link_is_waiting_for() {
    let (silent, silent_address) = listener().await;
    serve(silent, |_, _| Act::Ignore);
    let patient = Transport::Tcp(silent_address);
    let mut waiting = Watched::start(patient, 3_600_000, vec![register(1, 7)]);
    while waiting.figures().requests == 0 {
        tokio::time::sleep(Duration::from_millis(5)).await;
    }
    assert!(waiting.arrivals.try_recv().is_err());
    // The reply would be awaited for an hour; `stop` gives up, and fails, long before.
    waiting.stop().await;
}
