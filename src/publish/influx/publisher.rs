//! The delivery loop: sends batches, and acts on the verdict.
//!
//! Owns the order of rows (first in, first sent), how long a call may take, and what is acknowledged: a row is
//! acknowledged when the server has taken it or when the server refuses it alone. Rows that were neither when
//! the publisher stops still wait in the outbox. A repeat does no harm: a point with the same series and time
//! replaces itself.
//!
//! One request is under way at a time, or a row could overtake another that has to be sent again. The next batch is
//! gathered while the answer is awaited, so that the server need not wait for it.

use std::time::Duration;

use tokio::sync::{mpsc, watch};
use tokio::time::{sleep, timeout};
use tokio_util::sync::CancellationToken;

use super::batch::Batch;
use super::endpoint::{Endpoint, EndpointError};
use super::health::{Health, SetAside, State};
use super::parameters::DeliveryParameters;
use super::verdict::{Verdict, judge};
use super::waiting::{Feed, Gatherer, ROWS_BOUND, ends};
use crate::config::model::Influx;

/// Receipts that may wait for the runtime. When it does not take them, delivery waits.
pub const ACKNOWLEDGEMENTS_BOUND: usize = 64;

/// What became of rows.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Receipt {
    /// The server has them: they can be deleted.
    Delivered(Vec<i64>),
    /// The server would not take this one, alone: it is to be set aside, or it would be sent for ever.
    SetAside { id: i64, reason: String },
}

/// Delivers rows until it is told to stop.
#[derive(Debug)]
pub struct Publisher {
    gatherer: Gatherer,
    courier: Courier,
}

/// Brings batches to the server.
#[derive(Debug)]
struct Courier {
    endpoint: Endpoint,
    parameters: DeliveryParameters,
    timeout: Duration,
    /// As many rows as a request may have, as far as the server has shown.
    batch: usize,
    /// As many as it may have by the settings.
    full_batch: usize,
    acknowledged: mpsc::Sender<Receipt>,
    health: watch::Sender<Health>,
    /// Requests that failed in a row.
    failures: u32,
    /// Points refused alone since one was taken.
    refused_alone: u32,
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
    let (acknowledged, acknowledgements) = mpsc::channel(ACKNOWLEDGEMENTS_BOUND);
    let (health, shown) = watch::channel(Health::default());
    let full_batch = settings.batch.clamp(1, ROWS_BOUND);
    let (feed, gatherer) = ends(full_batch, settings.every);
    let publisher = Publisher {
        gatherer,
        courier: Courier {
            endpoint,
            parameters,
            timeout: settings.timeout,
            batch: full_batch,
            full_batch,
            acknowledged,
            health,
            failures: 0,
            refused_alone: 0,
        },
    };
    Ok((feed, publisher, acknowledgements, shown))
}

/// The runtime no longer takes acknowledgements.
struct Ended;

impl Publisher {
    /// Delivers until `stop`, or until every feed and the acknowledgements' receiver are gone.
    pub async fn run(self, stop: CancellationToken) {
        let _ = stop.run_until_cancelled(self.deliver()).await;
    }

    async fn deliver(mut self) -> Result<(), Ended> {
        let mut next = self.gatherer.next().await;
        while let Some(batch) = next {
            let gathering = async { Ok(self.gatherer.next().await) };
            ((), next) = tokio::try_join!(self.courier.deliver(batch), gathering)?;
        }
        Ok(())
    }
}

impl Courier {
    async fn deliver(&mut self, batch: Batch) -> Result<(), Ended> {
        let mut pieces = vec![batch];
        while let Some(mut piece) = pieces.pop() {
            if piece.len() > self.batch {
                pieces.push(piece.split_off(self.batch));
            }
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

    async fn send(&self, piece: &Batch) -> Verdict {
        let Endpoint {
            client,
            organisation,
            bucket,
        } = &self.endpoint;
        let call = client.write_line_protocol(organisation, bucket, piece.body());
        match timeout(self.timeout, call).await {
            Ok(result) => judge(&result),
            Err(_) => Verdict::Later {
                reason: format!("no answer within {} s", self.timeout.as_secs_f64()),
                throttled: false,
            },
        }
    }

    async fn delivered(&mut self, piece: Batch) -> Result<(), Ended> {
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
        self.tell(Receipt::Delivered(piece.ids().collect())).await
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
        mut piece: Batch,
        reason: &str,
        too_large: bool,
        pieces: &mut Vec<Batch>,
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
        let body = piece.body();
        let line = String::from_utf8_lossy(&body);
        for id in piece.ids() {
            let aside = SetAside {
                id,
                line: self.shorten(line.trim_end()),
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
            self.tell(Receipt::SetAside { id, reason }).await?;
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
