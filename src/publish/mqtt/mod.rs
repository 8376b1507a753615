//! Publishes what the tun's supervisor says to an MQTT broker.
//!
//! Owns one connection at a time and the promise of the outbox: a row is reported as acknowledged only after the
//! broker's acknowledgement, and is published again, in order, on every new connection until then. It knows
//! neither the store nor what a message means; `topics` turns outputs into messages, `window` keeps the rows.
//!
//! While connected, two futures run side by side in this task: one does nothing but drive the event loop, the
//! other feeds it. Were they one, a full queue of requests would wait for itself. When either ends the connection
//! is over and both are dropped, with everything the library remembered.

pub mod health;
pub mod message;
pub mod pace;
pub mod topics;
mod window;

use std::future::Future;
use std::pin::{Pin, pin};
use std::sync::Arc;
use std::time::Duration;

use futures::FutureExt;
use futures::StreamExt;
use futures::stream::FuturesOrdered;
use rumqttc::{
    AsyncClient, ClientError, Event, EventLoop, LastWill, Packet, PublishNoticeError,
    PublishOptions, PublishResult, QoS,
};
use tokio::sync::mpsc::OwnedPermit;
use tokio::sync::mpsc::error::TrySendError;
use tokio::sync::{mpsc, watch};
use tokio::task::JoinHandle;
use tokio::time::{sleep, timeout};
use tokio_util::sync::CancellationToken;

use self::health::MqttPublishState;
use self::message::{IN_FLIGHT, Inlet, LIVE_BOUND, Message, Quality, Receipt};
use self::topics::{Stamp, Topics};
use self::window::Window;
use crate::broker::{self, BackOff, Fault, Line, PARAMETERS, classify};
use crate::clock::Clock;
use crate::config::model::{Configuration, Mqtt};

/// How long an orderly end may take: what waits is sent, then `online: false`. Rows that do not make it stay in the
/// store.
const FLUSH_LIMIT: Duration = Duration::from_secs(1);

/// The part of it for what waits; the rest is for `online: false`.
const FLUSH_ROWS_LIMIT: Duration = Duration::from_millis(700);

/// Room that topic and header may take in a packet besides the payload, bytes.
const PACKET_OVERHEAD_BYTES: usize = 64 * 1024;

/// Gives the next sequence number of the tun. Numbers are never given twice, also not after a restart.
pub type Sequence = Arc<dyn Fn() -> u64 + Send + Sync>;

/// The running publisher.
#[derive(Debug)]
pub struct Publisher {
    pub task: JoinHandle<()>,
    pub health: watch::Receiver<MqttPublishState>,
}

/// Starts publishing; None when no broker is configured or `mqtt.publish` is false. `receipts` should be a channel of
/// `RECEIPTS_BOUND`.
pub fn start(
    configuration: &Configuration,
    inlet: Inlet,
    receipts: mpsc::Sender<Receipt>,
    sequence: Sequence,
    clock: Clock,
    stop: CancellationToken,
) -> Option<Publisher> {
    let mqtt = configuration.mqtt.clone().filter(|mqtt| mqtt.publish)?;
    let (state, health) = watch::channel(MqttPublishState::default());
    let connector = Connector {
        mqtt,
        topics: Topics::new(&configuration.site, &configuration.tun.name),
        sequence,
        clock,
    };
    let desk = Desk {
        inlet,
        window: Window::with_limit(IN_FLIGHT),
        notices: FuturesOrdered::new(),
        receipts,
        state,
    };
    let task = tokio::spawn(run(connector, desk, stop));
    Some(Publisher { task, health })
}

/// What a connection is made from; it never changes.
struct Connector {
    mqtt: Mqtt,
    topics: Topics,
    sequence: Sequence,
    clock: Clock,
}

/// What outlives a connection: the lanes and the window.
struct Desk {
    inlet: Inlet,
    window: Window,
    /// One for each row under way, in the same order.
    notices: FuturesOrdered<Notice>,
    receipts: mpsc::Sender<Receipt>,
    state: watch::Sender<MqttPublishState>,
}

type Notice =
    Pin<Box<dyn Future<Output = Result<PublishResult, PublishNoticeError>> + Send + Sync>>;

/// How a connection ended.
enum Ending {
    Stopped,
    Lost { fault: Fault, lasted_s: f64 },
}

async fn run(connector: Connector, mut desk: Desk, stop: CancellationToken) {
    let mut back_off = BackOff::default();
    loop {
        match connection(&connector, &mut desk, &stop).await {
            Ending::Stopped => return,
            Ending::Lost { fault, lasted_s } => {
                desk.connection_lost(fault);
                let wait = back_off.after(lasted_s);
                tokio::select! {
                    biased;
                    () = stop.cancelled() => return,
                    () = sleep(wait) => {}
                    () = desk.drop_live() => {}
                }
            }
        }
    }
}

/// One connection, from the attempt to its end.
async fn connection(connector: &Connector, desk: &mut Desk, stop: &CancellationToken) -> Ending {
    // The last will must come after `online: true` in the order of numbers, or a receiver would take it for a
    // repeat.
    let seq_online = (connector.sequence)();
    let (client, mut event_loop) = match connector.open().await {
        Ok(pair) => pair,
        Err(fault) => {
            return Ending::Lost {
                fault,
                lasted_s: 0.0,
            };
        }
    };
    tokio::select! {
        biased;
        () = stop.cancelled() => return Ending::Stopped,
        accepted = accepted(&mut event_loop, connector) => if let Err(fault) = accepted {
            return Ending::Lost { fault, lasted_s: 0.0 };
        },
        () = desk.drop_live() => {}
    }
    let since = connector.clock.now();
    desk.connected(&connector.mqtt);
    let online = connector.online(true, seq_online);
    // The queue of requests is still empty.
    if let Err(error) = client.try_publish(
        online.topic.clone(),
        online.payload.clone(),
        options(&online),
    ) {
        tracing::error!("MQTT: `online` cannot be published: {error}");
    }
    let mut drive = pin!(drive(&mut event_loop, connector));
    let fault = tokio::select! {
        biased;
        () = stop.cancelled() => {
            let farewell = farewell(&client, desk, connector);
            // Whichever of the two ends first: after it there is nothing left to do.
            let _ = timeout(FLUSH_LIMIT, async {
                tokio::select! { _ = &mut drive => {}, () = farewell => {} }
            })
            .await;
            desk.settle_ready();
            return Ending::Stopped;
        }
        fault = &mut drive => fault,
        fault = desk.feed(&client, Until::Lost) => fault,
    };
    Ending::Lost {
        fault,
        lasted_s: connector.clock.now().since(since),
    }
}

impl Connector {
    async fn open(&self) -> Result<(AsyncClient, EventLoop), Fault> {
        let will = self.online(false, (self.sequence)());
        let line = Line {
            client_id: self.mqtt.client_id.clone(),
            last_will: Some(LastWill::new(
                will.topic,
                will.payload,
                QoS::AtLeastOnce,
                true,
            )),
            requests: IN_FLIGHT + LIVE_BOUND,
            in_flight: (IN_FLIGHT + 2) as u16,
        };
        Ok(broker::open(&self.mqtt, line).await?)
    }

    fn online(&self, online: bool, seq: u64) -> Message {
        let time = self.clock.wall(self.clock.now());
        self.topics.online_message(online, Stamp { time, seq })
    }
}

/// The first poll connects.
async fn accepted(event_loop: &mut EventLoop, connector: &Connector) -> Result<(), Fault> {
    loop {
        match event_loop.poll().await {
            Ok(Event::Incoming(Packet::ConnAck(_))) => return Ok(()),
            Ok(_) => {}
            Err(error) => return Err(classify(&error, &connector.mqtt)),
        }
    }
}

/// Does nothing but drive the event loop, until the connection is lost.
async fn drive(event_loop: &mut EventLoop, connector: &Connector) -> Fault {
    let limit = broker::silence_limit(&connector.mqtt);
    loop {
        match timeout(limit, event_loop.poll()).await {
            Ok(Ok(_)) => {}
            Ok(Err(error)) => return classify(&error, &connector.mqtt),
            Err(_) => return Fault::transient("the broker does not read what is sent to it"),
        }
    }
}

/// Sends what waits, says `online: false` and takes leave. Without an acknowledgement of the former the connection is
/// closed without the latter, so that the broker publishes the last will.
async fn farewell(client: &AsyncClient, desk: &mut Desk, connector: &Connector) {
    // What is left after the limit stays in the store.
    let _ = timeout(FLUSH_ROWS_LIMIT, desk.feed(client, Until::Empty)).await;
    let offline = connector.online(false, (connector.sequence)());
    let options = options(&offline);
    let said = match client
        .publish_tracked(offline.topic, offline.payload, options)
        .await
    {
        Ok(notice) => notice.wait_async().await.is_ok(),
        Err(_) => false,
    };
    if said && client.try_disconnect_now().is_ok() {
        // The driver ends when the goodbye is sent.
        std::future::pending::<()>().await;
    }
}

fn options(message: &Message) -> PublishOptions {
    let quality = match message.quality {
        Quality::AtMostOnce => QoS::AtMostOnce,
        Quality::AtLeastOnce => QoS::AtLeastOnce,
    };
    PublishOptions::new(quality).retain(message.retain)
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Until {
    /// For as long as the connection stands.
    Lost,
    /// Until every lane and the window are empty.
    Empty,
}

impl Desk {
    /// Feeds the connection. Every wait in here may be abandoned at any time: a row is in the window before it is
    /// published and until it is acknowledged.
    async fn feed(&mut self, client: &AsyncClient, until: Until) -> Fault {
        loop {
            if !self.publish_rows(client).await {
                return Fault::transient("the connection has ended");
            }
            if until == Until::Empty && self.window.is_empty() && self.inlet.is_empty() {
                return Fault::transient("everything is sent");
            }
            tokio::select! {
                (room, result) = next_notice(&self.receipts, &mut self.notices) => match result {
                    Ok(_) => self.acknowledged(room),
                    Err(error) => return Fault::transient(error.to_string()),
                },
                row = message::next(&mut self.inlet.rows), if self.window.has_room() => {
                    self.window.hold(row);
                }
                live = message::next(&mut self.inlet.live) => self.publish_live(client, live),
            }
        }
    }

    /// Publishes the rows that are not under way; false when the connection has ended.
    async fn publish_rows(&mut self, client: &AsyncClient) -> bool {
        while let Some(row) = self.window.next_to_publish() {
            let too_large =
                row.payload.len() + PACKET_OVERHEAD_BYTES > PARAMETERS.packet_limit_bytes;
            if too_large {
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
    }

    fn publish_live(&self, client: &AsyncClient, message: Message) {
        let options = options(&message);
        let sent = client.try_publish(message.topic, message.payload, options);
        self.state.send_modify(|state| match sent {
            Ok(()) => state.published += 1,
            Err(_) => state.dropped += 1,
        });
    }

    /// Empties the live lane for as long as there is no connection. Never ends.
    async fn drop_live(&mut self) {
        loop {
            self.inlet.next_live().await;
            self.state.send_modify(|state| state.dropped += 1);
        }
    }

    fn connected(&self, mqtt: &Mqtt) {
        tracing::info!("MQTT: publishing to {}:{}", mqtt.host, mqtt.port);
        self.state.send_modify(|state| {
            state.connected = true;
            state.fault = None;
            state.connections += 1;
        });
    }

    /// Acknowledgements that came before the end still count; all other rows will be published again.
    fn connection_lost(&mut self, fault: Fault) {
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
    fn settle_ready(&mut self) {
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
