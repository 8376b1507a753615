//! Publishes what the tun's supervisor says to an MQTT broker.
//!
//! Owns one connection at a time and the promise of the outbox: a row is reported as acknowledged only after the
//! broker's acknowledgement, and is published again, in order, on every new connection until then. It knows
//! neither the store nor what a message means; `topics` turns outputs into messages, `desk` feeds the connection,
//! `window` keeps the rows.
//!
//! While connected, two futures run side by side in this task: one does nothing but drive the event loop, the
//! other feeds it. Were they one, a full queue of requests would wait for itself. When either ends the connection
//! is over and both are dropped, with everything the library remembered.

mod desk;
pub mod health;
pub mod message;
pub mod overview;
pub mod pace;
pub mod topics;
mod window;

use std::pin::pin;
use std::sync::Arc;
use std::time::Duration;

use rumqttc::{AsyncClient, Event, EventLoop, LastWill, Packet, QoS};
use tokio::sync::{mpsc, watch};
use tokio::task::JoinHandle;
use tokio::time::{sleep, timeout};
use tokio_util::sync::CancellationToken;

use self::desk::{Desk, options};
use self::health::MqttPublishState;
use self::message::{IN_FLIGHT, Inlet, LIVE_BOUND, Message, Receipt};
use self::topics::{Stamp, Topics};
use crate::broker::{self, BackOff, Fault, Line, classify};
use crate::clock::Clock;
use crate::config::model::{Configuration, Mqtt};

/// How long an orderly end may take: what waits is sent, then `online: false`. Rows that do not make it stay in the
/// store.
const FLUSH_LIMIT: Duration = Duration::from_secs(1);

/// The part of it for what waits; the rest is for `online: false`.
const FLUSH_ROWS_LIMIT: Duration = Duration::from_millis(700);

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
    let desk = Desk::new(inlet, receipts, state);
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
    tracing::info!(
        "MQTT: publishing to {}:{}",
        connector.mqtt.host,
        connector.mqtt.port
    );
    desk.connected();
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
        fault = desk.feed(&client) => fault,
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
    let _ = timeout(FLUSH_ROWS_LIMIT, desk.flush(client)).await;
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
