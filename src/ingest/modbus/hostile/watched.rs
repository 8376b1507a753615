//! A running link, and everything it has handed over so far.

use std::time::Duration;

use lauter_core::reading::{Cause, Reading};
use lauter_core::supervisor::LinkState;
use tokio::sync::mpsc::Receiver;
use tokio_util::sync::CancellationToken;

use super::super::testing::{instruments, link};
use super::super::{LinkFigures, Parameters, Polling, start_links};
use crate::clock::{Clock, Start};
use crate::config::model::{ModbusPoint, Transport};
use crate::ingest::{Arrival, Intake};

pub(super) const PATIENCE: Duration = Duration::from_secs(30);

pub(super) fn quick() -> Parameters {
    Parameters {
        backoff_first: Duration::from_millis(5),
        backoff_most: Duration::from_millis(20),
        rest_first: Duration::from_millis(200),
        rest_most: Duration::from_millis(400),
        ..Parameters::default()
    }
}

/// One running link and everything it has handed over so far.
pub(super) struct Watched {
    pub(super) polling: Polling,
    pub(super) arrivals: Receiver<Arrival>,
    pub(super) seen: Vec<Arrival>,
    pub(super) stop: CancellationToken,
}

impl Watched {
    pub(super) fn start(transport: Transport, timeout_ms: u64, points: Vec<ModbusPoint>) -> Self {
        Self::driven(quick(), transport, timeout_ms, points)
    }

    pub(super) fn driven(
        parameters: Parameters,
        transport: Transport,
        timeout_ms: u64,
        points: Vec<ModbusPoint>,
    ) -> Self {
        let (intake, arrivals) = Intake::channel();
        let stop = CancellationToken::new();
        let polling = start_links(
            &[link(transport, timeout_ms)],
            &instruments(points),
            &intake,
            Clock::start(&Start::default()),
            parameters,
            &stop,
        );
        Self {
            polling,
            arrivals,
            seen: Vec::new(),
            stop,
        }
    }

    /// With a timeout that a loaded machine does not reach.
    pub(super) fn tcp(address: &str, points: Vec<ModbusPoint>) -> Self {
        Self::tcp_within(address, 10_000, points)
    }

    pub(super) fn tcp_within(address: &str, timeout_ms: u64, points: Vec<ModbusPoint>) -> Self {
        Self::start(Transport::Tcp(address.to_owned()), timeout_ms, points)
    }

    pub(super) async fn next(&mut self) -> Arrival {
        let arrival = tokio::time::timeout(PATIENCE, self.arrivals.recv())
            .await
            .unwrap_or_else(|_| panic!("nothing arrived; so far {:?}", self.seen))
            .unwrap();
        self.seen.push(arrival.clone());
        arrival
    }

    pub(super) async fn until(&mut self, wanted: impl Fn(&Arrival) -> bool) -> Arrival {
        loop {
            let arrival = self.next().await;
            if wanted(&arrival) {
                return arrival;
            }
        }
    }

    pub(super) async fn until_value(&mut self, instrument: usize, value: f64) {
        self.until(|arrival| is_value(arrival, instrument, value))
            .await;
    }

    pub(super) async fn until_cause(&mut self, instrument: usize, cause: Cause) -> Reading {
        let wanted = |arrival: &Arrival| {
            reading_of(arrival, instrument).is_some_and(|reading| reading.value == Err(cause))
        };
        match self.until(wanted).await {
            Arrival::Reading { reading, .. } => reading,
            Arrival::Link { .. } => unreachable!("a reading was asked for"),
        }
    }

    pub(super) async fn until_link(&mut self, wanted: LinkState) -> String {
        let is_wanted = |a: &Arrival| matches!(a, Arrival::Link { state, .. } if *state == wanted);
        match self.until(is_wanted).await {
            Arrival::Link { detail, .. } => detail,
            Arrival::Reading { .. } => unreachable!("a link state was asked for"),
        }
    }

    /// Waits until `count` more readings have come.
    pub(super) async fn readings(&mut self, count: usize) {
        for _ in 0..count {
            self.until(|arrival| matches!(arrival, Arrival::Reading { .. }))
                .await;
        }
    }

    pub(super) fn count(&self, wanted: impl Fn(&Arrival) -> bool) -> usize {
        self.seen.iter().filter(|arrival| wanted(arrival)).count()
    }

    pub(super) fn figures(&self) -> LinkFigures {
        self.polling.links[0].figures()
    }

    /// Every number that came for an instrument of `register(_, address)` was that register's own.
    pub(super) fn assert_only_own_values(&self, addresses: &[u16]) {
        for (instrument, address) in addresses.iter().enumerate() {
            for arrival in &self.seen {
                if let Some(Ok(value)) = reading_of(arrival, instrument).map(|r| r.value) {
                    let own = f64::from(1000 + address).to_bits();
                    assert_eq!(value.to_bits(), own, "a foreign value: {arrival:?}");
                }
            }
        }
    }

    pub(super) async fn stop(self) {
        self.stop.cancel();
        for task in self.polling.tasks {
            let end = tokio::time::timeout(PATIENCE, task).await.unwrap();
            assert!(end.is_err_and(|end| end.is_cancelled()), "ended by itself");
        }
    }
}

pub(super) fn reading_of(arrival: &Arrival, wanted: usize) -> Option<Reading> {
    match arrival {
        Arrival::Reading {
            instrument,
            reading,
        } if *instrument == wanted => Some(*reading),
        _ => None,
    }
}

pub(super) fn is_value(arrival: &Arrival, instrument: usize, value: f64) -> bool {
    reading_of(arrival, instrument).is_some_and(|reading| reading.value == Ok(value))
}

pub(super) fn is_down(arrival: &Arrival) -> bool {
    matches!(
        arrival,
        Arrival::Link {
            state: LinkState::Down,
            ..
        }
    )
}

impl Watched {
    /// Waits for the loss of an instrument unless it has been told already.
    pub(super) async fn until_cause_or_seen(&mut self, instrument: usize) {
        let lost = |arrival: &Arrival| {
            reading_of(arrival, instrument).is_some_and(|r| r.value == Err(Cause::LinkLost))
        };
        if self.count(lost) == 0 {
            self.until(lost).await;
        }
    }
}
