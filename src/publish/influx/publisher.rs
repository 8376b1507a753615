//! The delivery loop: gathers rows, sends them, and acts on the verdict.
//!
//! Owns the order of rows (first in, first sent), how long a call may take, and what is acknowledged: a row is
//! acknowledged when the server has taken it or when the server refuses it alone. Rows that were neither when
//! the publisher stops still wait in the outbox. A repeat does no harm: a point with the same series and time
//! replaces itself.

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;

use tokio::sync::{mpsc, watch};
use tokio::time::{sleep, timeout};
use tokio_util::sync::CancellationToken;

use super::endpoint::{Endpoint, EndpointError};
use super::health::{Health, SetAside, State};
use super::parameters::DeliveryParameters;
use super::verdict::{Verdict, judge};
use crate::config::model::Influx;

/// Rows that may wait in memory; the others wait in the outbox. A minute of twelve instruments every second,
/// several times over.
pub const ROWS_BOUND: usize = 4096;

/// Receipts that may wait for the runtime. When it does not take them, delivery waits.
pub const ACKNOWLEDGEMENTS_BOUND: usize = 64;

/// A point as a line of line protocol, with its id in the outbox.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Row {
    pub id: i64,
    pub line: String,
}

/// What became of rows.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Receipt {
    /// The server has them: they can be deleted.
    Delivered(Vec<i64>),
    /// The server would not take this one, alone: it is to be set aside, or it would be sent for ever.
    SetAside { id: i64, reason: String },
}

/// The runtime's end: rows go in here.
#[derive(Clone, Debug)]
pub struct Feed {
    rows: mpsc::Sender<Row>,
    refused: Arc<AtomicU64>,
}

impl Feed {
    /// Hands a row over without waiting. A full channel gives it back and counts; it is still in the outbox.
    pub fn put(&self, row: Row) -> Result<(), Row> {
        self.rows.try_send(row).map_err(|error| {
            self.refused.fetch_add(1, Ordering::Relaxed);
            error.into_inner()
        })
    }

    /// Waits for room. Gives the row back when the publisher has ended.
    pub async fn send(&self, row: Row) -> Result<(), Row> {
        self.rows.send(row).await.map_err(|error| error.0)
    }

    /// Rows given back by `put`.
    pub fn refused(&self) -> u64 {
        self.refused.load(Ordering::Relaxed)
    }
}

/// Delivers rows until it is told to stop.
#[derive(Debug)]
pub struct Publisher {
    endpoint: Endpoint,
    parameters: DeliveryParameters,
    timeout: Duration,
    every: Duration,
    batch: usize,
    rows: mpsc::Receiver<Row>,
    acknowledged: mpsc::Sender<Receipt>,
    health: watch::Sender<Health>,
    /// Requests that failed in a row.
    failures: u32,
    /// Points refused alone since one was taken.
    refused_alone: u32,
    /// As many rows as a request may have by the settings.
    full_batch: usize,
}

/// The ends of a new publisher: rows in, the publisher to run, receipts out, and its health.
pub type Ends = (
    Feed,
    Publisher,
    mpsc::Receiver<Receipt>,
    watch::Receiver<Health>,
);

/// Checks the settings and makes a publisher. Nothing is sent before `Publisher::run`.
pub fn connect(settings: &Influx, parameters: DeliveryParameters) -> Result<Ends, EndpointError> {
    let endpoint = Endpoint::new(settings)?;
    let (feed, rows) = mpsc::channel(ROWS_BOUND);
    let (acknowledged, acknowledgements) = mpsc::channel(ACKNOWLEDGEMENTS_BOUND);
    let (health, shown) = watch::channel(Health::default());
    let publisher = Publisher {
        endpoint,
        parameters,
        timeout: settings.timeout,
        every: settings.every,
        batch: settings.batch.clamp(1, ROWS_BOUND),
        rows,
        acknowledged,
        health,
        failures: 0,
        refused_alone: 0,
        full_batch: settings.batch.clamp(1, ROWS_BOUND),
    };
    let feed = Feed {
        rows: feed,
        refused: Arc::default(),
    };
    Ok((feed, publisher, acknowledgements, shown))
}

/// The runtime no longer takes acknowledgements.
struct Ended;

impl Publisher {
    /// Delivers until `stop`, or until every feed and the acknowledgements' receiver are gone.
    pub async fn run(mut self, stop: CancellationToken) {
        let _ = stop.run_until_cancelled(self.deliver()).await;
    }

    async fn deliver(&mut self) -> Result<(), Ended> {
        while let Some(batch) = self.gather().await {
            self.deliver_batch(batch).await?;
        }
        Ok(())
    }

    /// Rows for one request: as many as fit, or what has come within `every`.
    async fn gather(&mut self) -> Option<Vec<Row>> {
        let mut batch = vec![self.rows.recv().await?];
        let pause = sleep(self.every);
        tokio::pin!(pause);
        while batch.len() < self.batch {
            let room = self.batch - batch.len();
            tokio::select! {
                () = &mut pause => break,
                count = self.rows.recv_many(&mut batch, room) => if count == 0 { break },
            }
        }
        Some(batch)
    }

    async fn deliver_batch(&mut self, batch: Vec<Row>) -> Result<(), Ended> {
        let mut pieces = vec![batch];
        while let Some(piece) = pieces.pop() {
            match self.send(&piece).await {
                Verdict::Delivered => self.delivered(piece).await?,
                Verdict::Later { reason, throttled } => {
                    let least = if throttled {
                        self.parameters.throttled_wait
                    } else {
                        Duration::ZERO
                    };
                    let reason = self.shorten(&reason);
                    self.failed(State::Retrying { reason }, least).await;
                    pieces.push(piece);
                }
                Verdict::Refused { reason } => {
                    let reason = self.shorten(&reason);
                    let least = self.parameters.refused_wait;
                    self.failed(State::Refused { reason }, least).await;
                    pieces.push(piece);
                }
                Verdict::Divide { reason, too_large } => {
                    self.failures = 0;
                    self.divide(piece, &reason, too_large, &mut pieces).await?;
                }
            }
        }
        Ok(())
    }

    async fn send(&self, piece: &[Row]) -> Verdict {
        let mut body = String::new();
        for row in piece {
            body.push_str(&row.line);
            body.push('\n');
        }
        let Endpoint {
            client,
            organisation,
            bucket,
        } = &self.endpoint;
        let call = client.write_line_protocol(organisation, bucket, body);
        match timeout(self.timeout, call).await {
            Ok(result) => judge(&result),
            Err(_) => Verdict::Later {
                reason: format!("no answer within {} s", self.timeout.as_secs_f64()),
                throttled: false,
            },
        }
    }

    async fn delivered(&mut self, piece: Vec<Row>) -> Result<(), Ended> {
        self.failures = 0;
        if self.refuses_all() {
            // What made the pieces small was the server's trouble.
            self.batch = self.full_batch;
        }
        self.refused_alone = 0;
        self.health.send_modify(|health| {
            health.state = State::Delivering;
            health.delivered += piece.len() as u64;
        });
        self.tell(Receipt::Delivered(piece.iter().map(|row| row.id).collect()))
            .await
    }

    async fn failed(&mut self, state: State, least: Duration) {
        self.failures = self.failures.saturating_add(1);
        // Once for each new trouble, not for each try.
        if self.health.borrow().state != state {
            let reason = match &state {
                State::Retrying { reason } | State::Refused { reason } => reason.as_str(),
                State::Idle | State::Delivering => "",
            };
            tracing::warn!(publisher = "influx", "points are not taken: {reason}");
        }
        self.health.send_modify(|health| {
            health.state = state;
            health.retried += 1;
        });
        let wait = self.parameters.wait(self.failures, least, fastrand::f64());
        sleep(wait).await;
    }

    /// Halves a piece that was refused as a whole; the first half is sent next. A single row is set aside.
    async fn divide(
        &mut self,
        mut piece: Vec<Row>,
        reason: &str,
        too_large: bool,
        pieces: &mut Vec<Vec<Row>>,
    ) -> Result<(), Ended> {
        if piece.len() > 1 {
            let half = piece.len() / 2;
            if too_large {
                self.batch = self.batch.min(half);
            }
            let second = piece.split_off(half);
            pieces.push(second);
            pieces.push(piece);
            return Ok(());
        }
        if self.refuses_all() {
            // Nothing is set aside for a server that takes nothing. Another point is tried next: should it be taken, this
            // one is at fault after all.
            let reason = format!(
                "{}: it takes no point at all; check the server",
                self.shorten(reason)
            );
            let least = self.parameters.refused_wait;
            pieces.insert(0, piece);
            self.failed(State::Refused { reason }, least).await;
            return Ok(());
        }
        self.refused_alone += 1;
        for row in piece {
            let aside = SetAside {
                id: row.id,
                line: self.shorten(&row.line),
                reason: self.shorten(reason),
            };
            tracing::error!(
                publisher = "influx",
                line = aside.line,
                reason = aside.reason,
                "a point is set aside"
            );
            self.health.send_modify(|health| {
                health.set_aside += 1;
                health.last_set_aside = Some(aside);
            });
            let reason = self.shorten(reason);
            self.tell(Receipt::SetAside { id: row.id, reason }).await?;
        }
        Ok(())
    }

    fn refuses_all(&self) -> bool {
        self.refused_alone >= self.parameters.refused_in_a_row
    }

    async fn tell(&self, receipt: Receipt) -> Result<(), Ended> {
        self.acknowledged.send(receipt).await.map_err(|_| Ended)
    }

    fn shorten(&self, text: &str) -> String {
        text.chars()
            .take(self.parameters.shown_characters)
            .collect()
    }
}
