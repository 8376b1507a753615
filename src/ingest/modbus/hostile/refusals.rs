//! Devices that refuse a read of several points together.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::time::Duration;

use lauter_core::reading::{Cause, Status};
use lauter_core::supervisor::LinkState;

use super::super::Parameters;
use super::super::testing::register;
use super::device::{Act, listener, serve};
use super::watched::{Watched, is_down, quick};
use crate::config::model::Transport;

#[tokio::test]
async fn a_bad_address_in_a_merged_read_does_not_cost_its_neighbours() {
    let (listener, address) = listener().await;
    let log = serve(listener, |_, asked| {
        let covers_bad = (asked.address..asked.address + asked.quantity).contains(&101);
        Act::Send(if covers_bad {
            asked.tcp(&asked.exception_body(0x02))
        } else {
            asked.tcp(&asked.honest_body())
        })
    });
    let addresses = [100, 101, 102];
    let points = addresses.map(|address| register(1, address)).to_vec();
    let mut watched = Watched::tcp(&address, points);
    watched.until_value(0, 1100.0).await;
    watched.until_value(2, 1102.0).await;
    let refused = watched.until_cause(1, Cause::DeviceError).await;
    assert_eq!(refused.status, Status::Failure);
    watched.readings(15).await;
    let merged = log
        .lock()
        .unwrap()
        .iter()
        .filter(|a| a.quantity == 3)
        .count();
    assert_eq!(merged, 1, "the split is remembered");
    assert_eq!(watched.count(is_down), 0);
    assert_eq!(
        watched.figures().reconnects,
        0,
        "an exception keeps the connection"
    );
    watched.stop().await;
}

/// A device that is being set up refuses what it gives a minute later.
#[tokio::test]
async fn points_are_read_together_again_once_the_device_gives_them_and_none_is_missed_meanwhile() {
    let (listener, address) = listener().await;
    let (refused, given) = (Arc::new(AtomicUsize::new(0)), Arc::new(AtomicUsize::new(0)));
    let counts = (Arc::clone(&refused), Arc::clone(&given));
    serve(listener, move |_, asked| {
        let merged = asked.quantity == 2;
        if merged && refused.load(Ordering::Relaxed) < 3 {
            refused.fetch_add(1, Ordering::Relaxed);
            return Act::Send(asked.tcp(&asked.exception_body(0x03)));
        }
        given.fetch_add(usize::from(merged), Ordering::Relaxed);
        Act::Send(asked.tcp(&asked.honest_body()))
    });
    let soon = Parameters {
        apart_first: Duration::from_millis(50),
        apart_most: Duration::from_millis(100),
        ..quick()
    };
    let points = vec![register(1, 10), register(1, 11)];
    let mut watched = Watched::driven(soon, Transport::Tcp(address), 10_000, points);
    while counts.1.load(Ordering::Relaxed) < 2 {
        watched.next().await;
    }
    assert_eq!(counts.0.load(Ordering::Relaxed), 3);
    watched.readings(4).await;
    watched.assert_only_own_values(&[10, 11]);
    let failed = watched.count(|arrival| {
        (0..2).any(|index| {
            super::watched::reading_of(arrival, index).is_some_and(|reading| reading.value.is_err())
        })
    });
    assert_eq!(failed, 0, "a refusal of the whole costs no reading");
    watched.stop().await;
}

#[tokio::test]
async fn after_a_lost_link_points_are_read_together_at_once() {
    let (listener, address) = listener().await;
    let exchanged = Arc::new(AtomicBool::new(false));
    let gone = Arc::new(AtomicBool::new(false));
    let (is_exchanged, is_gone) = (Arc::clone(&exchanged), Arc::clone(&gone));
    let log = serve(listener, move |_, asked| {
        if is_gone.load(Ordering::Relaxed) {
            return Act::Close;
        }
        let refuses = asked.quantity == 2 && !is_exchanged.load(Ordering::Relaxed);
        Act::Send(if refuses {
            asked.tcp(&asked.exception_body(0x02))
        } else {
            asked.tcp(&asked.honest_body())
        })
    });
    let points = vec![register(1, 10), register(1, 11)];
    let mut watched = Watched::tcp(&address, points);
    watched.until_value(1, 1011.0).await;
    gone.store(true, Ordering::Relaxed);
    watched.until_link(LinkState::Down).await;
    exchanged.store(true, Ordering::Relaxed);
    gone.store(false, Ordering::Relaxed);
    watched.until_link(LinkState::Up).await;
    watched.until_value(1, 1011.0).await;
    let asked = log.lock().unwrap().clone();
    assert_eq!(
        asked.last().map(|asked| asked.quantity),
        Some(2),
        "{asked:?}"
    );
    watched.stop().await;
}

/// A device that calibrates itself says for a while that it is busy.
#[tokio::test]
async fn a_busy_device_is_no_lost_link_and_is_believed_as_soon_as_it_has_time() {
    let (listener, address) = listener().await;
    serve(listener, |before, asked| {
        Act::Send(match before {
            0..4 => asked.tcp(&asked.exception_body(0x06)),
            4..6 => asked.tcp(&asked.exception_body(0x05)),
            _ => asked.tcp(&asked.honest_body()),
        })
    });
    let mut watched = Watched::tcp(&address, vec![register(1, 7)]);
    watched.until_cause(0, Cause::DeviceError).await;
    watched.until_value(0, 1007.0).await;
    assert_eq!(watched.count(is_down), 0);
    let figures = watched.figures();
    assert_eq!(
        (figures.exceptions, figures.reconnects, figures.faults),
        (6, 0, 0)
    );
    watched.stop().await;
}
