//! The task that polls one link.
//!
//! Owns the connection: when it is opened, dropped and opened again, and what is reported about it. A link
//! is up when something on it answers, not when a connection opens: a hung device accepts connections
//! too. Whom to ask when is the schedule's business, what an answer means the delivery's.

use std::collections::BTreeMap;
use std::sync::Arc;

use lauter_core::reading::Moment;
use lauter_core::supervisor::LinkState;
use tokio::time::Instant;
use tokio_modbus::ExceptionCode;
use tracing::{debug, info, warn};

use crate::clock::Clock;
use crate::config::model::{ModbusLink, ModbusPoint};
use crate::ingest::{Arrival, Intake};

use super::delivery::Delivery;
use super::exchange::{Answer, Connection};
use super::fault::{Fault, refusal};
use super::health::LinkHealth;
use super::parameters::Parameters;
use super::plan::{Range, Read, plan};
use super::schedule::Schedule;
use super::transport;

pub(super) struct Link {
    settings: ModbusLink,
    /// Instrument index and id, for messages.
    names: Vec<(usize, String)>,
    schedule: Schedule,
    delivery: Delivery,
    intake: Intake,
    clock: Clock,
    parameters: Parameters,
    health: Arc<LinkHealth>,
    connection: Option<Connection>,
    opened_before: bool,
    /// Failures in a row since anything on the link last answered.
    failures: u32,
    state: Option<LinkState>,
    /// The exception last answered to a range, by unit and table, so that only a change is logged.
    refused: BTreeMap<(u8, u8, Range), u8>,
}

/// A point, with the index and the id of its instrument.
pub(super) type NamedPoint = (usize, String, ModbusPoint);

impl Link {
    pub fn new(
        settings: ModbusLink,
        points: Vec<NamedPoint>,
        intake: Intake,
        clock: Clock,
        parameters: Parameters,
        health: Arc<LinkHealth>,
    ) -> Self {
        let indexed: Vec<_> = points.iter().map(|(index, _, p)| (*index, p)).collect();
        let reads = plan(&indexed, &parameters);
        debug!(
            link = settings.name,
            points = points.len(),
            reads = reads.len(),
            "Modbus link planned"
        );
        let names = points.iter().map(|(i, id, _)| (*i, id.clone())).collect();
        let points = points.into_iter().map(|(i, _, point)| (i, point)).collect();
        Self {
            schedule: Schedule::new(reads, clock.now(), parameters),
            delivery: Delivery::new(points, intake.clone()),
            settings,
            names,
            intake,
            clock,
            parameters,
            health,
            connection: None,
            opened_before: false,
            failures: 0,
            state: None,
            refused: BTreeMap::new(),
        }
    }

    /// Polls for ever. Dropping the future closes the connection; a read cut short harms nothing.
    pub async fn run(mut self) {
        let mut now = self.clock.now();
        loop {
            self.schedule.join_again(now);
            let Some((index, due)) = self.schedule.next() else {
                return;
            };
            let Some(mut connection) = self.connection.take() else {
                self.open().await;
                now = self.clock.now();
                continue;
            };
            // A timer costs more than a short answer takes, and what is late needs none.
            if due > now {
                connection.rest();
                tokio::time::sleep_until(Instant::from_std(self.clock.instant_of(due))).await;
                now = self.clock.now();
            }
            now = self.poll(index, connection, now).await;
        }
    }

    async fn open(&mut self) {
        if self.failures > 0 {
            let pause = self.parameters.backoff(self.failures, fastrand::f64());
            tokio::time::sleep(pause).await;
        }
        match transport::open(&self.settings, &self.parameters, self.intake.tap()).await {
            Ok(connection) => {
                self.connection = Some(connection);
                if self.opened_before {
                    self.health.reconnects.add(1);
                }
                if self.state == Some(LinkState::Down) {
                    self.schedule.join_all_soon();
                }
                self.opened_before = true;
            }
            Err(fault) => {
                self.failures = self.failures.saturating_add(1);
                self.down(&fault.to_string());
            }
        }
    }

    /// Asks one read and keeps the connection only if it may be used again. Gives the time at which it was over.
    async fn poll(&mut self, index: usize, mut connection: Connection, now: Moment) -> Moment {
        let (step, missed) = self.schedule.take(index, now);
        self.health.skipped.add(missed);
        self.health.requests.add(1);
        let read = Arc::clone(&self.schedule.slot(index).read);
        let answer = connection.read(&read).await;
        let at = self.clock.now();
        match answer {
            Ok(Answer::Payload(payload)) => {
                self.connection = Some(connection);
                self.heard(index, &read);
                self.note_given(index, &read);
                self.delivery.answered(&read, &payload, step, at);
            }
            Ok(Answer::Exception(exception)) => {
                self.connection = Some(connection);
                self.health.exceptions.add(1);
                self.refused(index, &read, step, exception, at);
            }
            // A device may close a connection it finds idle; that is no failure of the unit.
            Err(Fault::ClosedWhileIdle) if connection.has_answered() => {
                debug!(
                    link = self.settings.name,
                    "the other end closed the idle connection"
                );
                self.schedule.put_back(index, step);
            }
            Err(fault) => {
                if matches!(fault, Fault::NoAnswer { .. }) {
                    self.health.timeouts.add(1);
                } else {
                    self.health.faults.add(1);
                }
                self.unanswered(index, &read, &fault.to_string(), at);
            }
        }
        at
    }

    fn refused(
        &mut self,
        index: usize,
        read: &Read,
        step: Moment,
        exception: ExceptionCode,
        at: Moment,
    ) {
        match exception {
            // The gateway speaks for a device that does not.
            ExceptionCode::GatewayPathUnavailable | ExceptionCode::GatewayTargetDevice => {
                let reason = format!(
                    "the gateway has no answer from unit {} to a read of {read}: {}",
                    read.unit_id,
                    refusal(exception)
                );
                self.unanswered(index, read, &reason, at);
            }
            // One bad address, or a device that allows only short reads.
            ExceptionCode::IllegalDataAddress | ExceptionCode::IllegalDataValue
                if read.is_merged() =>
            {
                self.heard(index, read);
                if self.schedule.split(index, step, at) {
                    warn!(
                        link = self.settings.name,
                        unit = read.unit_id,
                        "the device refuses a read of {read} together: {}; its points are read one by one, and the whole is \
                         tried again after {} s",
                        refusal(exception),
                        self.parameters.apart_first.as_secs()
                    );
                }
            }
            _ => {
                self.heard(index, read);
                self.note_refused(read, exception);
                self.delivery.refused(read, step, at);
            }
        }
    }

    /// Warns when a read begins to be refused, or is refused for another reason, and not at every poll.
    fn note_refused(&mut self, read: &Read, exception: ExceptionCode) {
        let code = u8::from(exception);
        let key = (read.unit_id, read.table as u8, read.range);
        if self.refused.insert(key, code) == Some(code) {
            return;
        }
        warn!(
            link = self.settings.name,
            unit = read.unit_id,
            instruments = self.names_of(read),
            "the device refuses a read of {read}: {}",
            refusal(exception)
        );
    }

    /// Says when what was refused is given again, be it by itself or in a merged read.
    fn note_given(&mut self, index: usize, read: &Read) {
        if self.schedule.given(index) {
            info!(
                link = self.settings.name,
                unit = read.unit_id,
                "the device gives {read} together again"
            );
        }
        if self.refused.is_empty() {
            return;
        }
        let mut again = false;
        for range in read.items.iter().map(|item| item.range) {
            let key = (read.unit_id, read.table as u8, range);
            again |= self.refused.remove(&key).is_some();
        }
        if again {
            info!(
                link = self.settings.name,
                unit = read.unit_id,
                instruments = self.names_of(read),
                "the device answers a read of {read} again"
            );
        }
    }

    fn names_of(&self, read: &Read) -> String {
        let is_in = |index: usize| read.items.iter().any(|item| item.instrument == index);
        let names = self.names.iter().filter(|(index, _)| is_in(*index));
        names
            .map(|(_, id)| id.as_str())
            .collect::<Vec<_>>()
            .join(", ")
    }

    /// Something on the link has answered.
    fn heard(&mut self, index: usize, read: &Read) {
        self.failures = 0;
        if self.schedule.answered(index) && self.state == Some(LinkState::Up) {
            info!(
                link = self.settings.name,
                unit = read.unit_id,
                "the unit answers again"
            );
        }
        if self.state != Some(LinkState::Up) {
            let place = transport::place(&self.settings.transport);
            let detail = format!("{place}: unit {} answers", read.unit_id);
            info!(link = self.settings.name, "Modbus link up; {detail}");
            self.tell(LinkState::Up, detail);
        }
    }

    /// A read got no answer that could be believed.
    fn unanswered(&mut self, index: usize, read: &Read, reason: &str, at: Moment) {
        self.failures = self.failures.saturating_add(1);
        debug!(link = self.settings.name, "{reason}");
        let consequence = self.schedule.failed(index, at);
        self.delivery
            .lost(read.items.iter().map(|item| item.instrument), at);
        if consequence.unit_fell_silent {
            self.delivery
                .lost(self.schedule.instruments_of(read.unit_id), at);
        }
        if consequence.nothing_answers {
            let place = transport::place(&self.settings.transport);
            self.down(&format!("{place}: {reason}"));
        } else if consequence.unit_fell_silent {
            warn!(
                link = self.settings.name,
                unit = read.unit_id,
                "{reason}; the unit is asked less often until it answers"
            );
        }
    }

    fn down(&mut self, reason: &str) {
        self.schedule.silence_all();
        self.delivery.all_lost(self.clock.now());
        if self.state == Some(LinkState::Down) {
            debug!(link = self.settings.name, "{reason}");
            return;
        }
        warn!(link = self.settings.name, "Modbus link down; {reason}");
        self.tell(LinkState::Down, reason.to_owned());
    }

    fn tell(&mut self, state: LinkState, detail: String) {
        self.state = Some(state);
        self.health.stands(state, &detail);
        self.intake.put(Arrival::Link {
            name: self.settings.name.clone(),
            state,
            detail,
        });
    }
}
