//! What outlives a connection: the lanes, the unacknowledged rows, and the receipts.
//!
//! Owns the feeding of one connection after the other. It never drives an event loop and never decides when to
//! connect. Every wait in here may be abandoned at any point: a row is in the window before it is published and
//! until it is acknowledged.
//!
//! A broker may forget what it retains: one that keeps nothing on its disk does at every restart. So each new connection
//! begins with the last acknowledged message of every retained topic, byte for byte, unless a newer one waits.

use std::collections::BTreeMap;
use std::future::Future;
use std::pin::Pin;

use futures::FutureExt;
use futures::StreamExt;
use futures::stream::FuturesOrdered;
use rumqttc::{AsyncClient, ClientError, PublishNoticeError, PublishOptions, PublishResult, QoS};
use tokio::sync::mpsc::OwnedPermit;
use tokio::sync::mpsc::error::TrySendError;
use tokio::sync::{mpsc, watch};

use super::health::MqttPublishState;
use super::message::{self, IN_FLIGHT, Inlet, Message, Quality, Receipt};
use super::window::Window;
use crate::broker::{Fault, PARAMETERS};

/// Room that topic and header may take in a packet besides the payload, bytes.
const PACKET_OVERHEAD_BYTES: usize = 64 * 1024;

/// The publisher's state between and during connections.
pub struct Desk {
    inlet: Inlet,
    window: Window,
    /// One for each row under way, in the same order.
    notices: FuturesOrdered<Notice>,
    /// The last message of each topic that the broker has acknowledged and should still have: as many as there are alarms.
    retained: BTreeMap<String, Message>,
    receipts: mpsc::Sender<Receipt>,
    state: watch::Sender<MqttPublishState>,
}

type Notice =
    Pin<Box<dyn Future<Output = Result<PublishResult, PublishNoticeError>> + Send + Sync>>;

pub fn options(message: &Message) -> PublishOptions {
    let quality = match message.quality {
        Quality::AtMostOnce => QoS::AtMostOnce,
        Quality::AtLeastOnce => QoS::AtLeastOnce,
    };
    PublishOptions::new(quality).retain(message.retain)
}

/// A larger packet would cost the connection, and be the first one on the next.
fn fits(message: &Message) -> bool {
    message.payload.len() + PACKET_OVERHEAD_BYTES <= PARAMETERS.packet_limit_bytes
}

impl Desk {
    pub fn new(
        inlet: Inlet,
        receipts: mpsc::Sender<Receipt>,
        state: watch::Sender<MqttPublishState>,
    ) -> Self {
        Self {
            inlet,
            window: Window::with_limit(IN_FLIGHT),
            notices: FuturesOrdered::new(),
            retained: BTreeMap::new(),
            receipts,
            state,
        }
    }

    /// Feeds the connection until it is lost.
    pub async fn feed(&mut self, client: &AsyncClient) -> Fault {
        loop {
            if !self.publish_rows(client).await {
                return Fault::transient("the connection has ended");
            }
            if let Err(fault) = self.next(client).await {
                return fault;
            }
        }
    }

    /// Feeds the connection until nothing waits and nothing is under way, or until it is lost.
    pub async fn flush(&mut self, client: &AsyncClient) {
        while self.publish_rows(client).await {
            let done = self.window.is_empty() && self.inlet.is_empty();
            if done || self.next(client).await.is_err() {
                return;
            }
        }
    }

    /// Takes whatever comes first: an acknowledgement, a row, or a live message.
    async fn next(&mut self, client: &AsyncClient) -> Result<(), Fault> {
        tokio::select! {
            (room, result) = next_notice(&self.receipts, &mut self.notices) => match result {
                Ok(_) => self.acknowledged(room),
                Err(error) => return Err(Fault::transient(error.to_string())),
            },
            row = message::next(&mut self.inlet.rows), if self.window.has_room() => {
                self.window.hold(row);
            }
            live = message::next(&mut self.inlet.live) => self.publish_live(client, live),
        }
        Ok(())
    }

    /// Publishes the rows that are not under way; false when the connection has ended.
    async fn publish_rows(&mut self, client: &AsyncClient) -> bool {
        while let Some(row) = self.window.next_to_publish() {
            if !fits(row) {
                self.set_aside("it is too large").await;
                continue;
            }
            let published = client
                .publish_tracked(row.topic.clone(), row.payload.clone(), options(row))
                .await;
            match published {
                Ok(notice) => {
                    self.window.mark_published();
                    self.notices.push_back(Box::pin(notice.wait_async()));
                    let in_flight = self.window.in_flight();
                    self.state.send_modify(|state| {
                        state.published += 1;
                        state.in_flight = in_flight;
                    });
                }
                Err(ClientError::InvalidRequest(_)) => {
                    self.set_aside("its topic is not valid").await;
                }
                Err(_) => return false,
            }
        }
        true
    }

    async fn set_aside(&mut self, reason: &str) {
        let room = self.receipts.clone().reserve_owned().await.ok();
        let Some(message) = self.window.set_aside() else {
            return;
        };
        tracing::error!(
            topic = %message.topic, row = message.row,
            "MQTT: a message cannot be published: {reason}"
        );
        self.state.send_modify(|state| state.unpublishable += 1);
        report(room, message.row.map(Receipt::Unpublishable));
    }

    fn acknowledged(&mut self, room: Option<OwnedPermit<Receipt>>) {
        let Some(message) = self.window.acknowledge() else {
            return;
        };
        let in_flight = self.window.in_flight();
        self.state.send_modify(|state| {
            state.acknowledged += 1;
            state.in_flight = in_flight;
        });
        report(room, message.row.map(Receipt::Acknowledged));
        if message.retain {
            let message = Message {
                row: None,
                ..message
            };
            self.retained.insert(message.topic.clone(), message);
        }
    }

    fn publish_live(&self, client: &AsyncClient, message: Message) {
        let options = options(&message);
        let sent = fits(&message)
            && client
                .try_publish(message.topic, message.payload, options)
                .is_ok();
        self.state.send_modify(|state| {
            if sent {
                state.published += 1;
            } else {
                state.dropped += 1;
            }
        });
    }

    /// Empties the live lane for as long as there is no connection. Never ends.
    pub async fn drop_live(&mut self) {
        loop {
            self.inlet.next_live().await;
            self.state.send_modify(|state| state.dropped += 1);
        }
    }

    pub fn connected(&mut self) {
        for message in self.retained.values() {
            if !self.window.holds(&message.topic) {
                self.window.repeat(message.clone());
            }
        }
        self.state.send_modify(|state| {
            state.connected = true;
            state.fault = None;
            state.connections += 1;
        });
    }

    /// Acknowledgements that came before the end still count; all other rows will be published again.
    pub fn connection_lost(&mut self, fault: Fault) {
        self.settle_ready();
        let again = self.window.connection_lost();
        let known = self.state.borrow().fault.as_ref() == Some(&fault);
        if !known && fault.needs_a_person() {
            tracing::error!("MQTT: {}", fault.detail);
        } else if !known {
            tracing::warn!(rows_to_repeat = again, "MQTT: {}", fault.detail);
        }
        self.state.send_modify(|state| {
            state.connected = false;
            state.fault = Some(fault);
            state.in_flight = 0;
            if again > 0 {
                state.resets += 1;
                state.repeated += again as u64;
            }
        });
    }

    /// Takes the acknowledgements that are already there, and forgets all other notices: their rows are published
    /// again on the next connection.
    pub fn settle_ready(&mut self) {
        loop {
            let room = match self.receipts.clone().try_reserve_owned() {
                Ok(room) => Some(room),
                Err(TrySendError::Closed(_)) => None,
                Err(TrySendError::Full(_)) => break,
            };
            match self.notices.next().now_or_never() {
                Some(Some(Ok(_))) => self.acknowledged(room),
                _ => break,
            }
        }
        self.notices = FuturesOrdered::new();
    }
}

/// The next acknowledgement, once there is room to report it; None for room when nobody listens any more. Waits
/// for ever while nothing is under way. Abandoning the wait loses nothing.
async fn next_notice(
    receipts: &mpsc::Sender<Receipt>,
    notices: &mut FuturesOrdered<Notice>,
) -> (
    Option<OwnedPermit<Receipt>>,
    Result<PublishResult, PublishNoticeError>,
) {
    let room = receipts.clone().reserve_owned().await.ok();
    match notices.next().await {
        Some(result) => (room, result),
        None => std::future::pending().await,
    }
}

/// Nobody listens only when the program ends; the row then stays in the store and is published again.
fn report(room: Option<OwnedPermit<Receipt>>, receipt: Option<Receipt>) {
    if let (Some(room), Some(receipt)) = (room, receipt) {
        room.send(receipt);
    }
}
