//! A listener at the broker, as any other system would be one.
//!
//! Owns one connection, its subscriptions and the queue of what was heard. It can put a retained notice on a topic of
//! its own, for the alarm test; listening alone publishes nothing. Must not know what a message means.

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;

use rumqttc::{
    AsyncClient, Event, EventLoop, Packet, PublishOptions, QoS, SubscribeFilter,
    SubscribeReasonCode,
};
use tokio::sync::{mpsc, watch};
use tokio_util::sync::CancellationToken;

use crate::broker::{self, BackOff, Line};
use crate::config::model::Mqtt;

/// Messages that may wait to be looked at; more are dropped and counted.
const HEARD_BOUND: usize = 8192;

/// Requests that may wait for the connection.
const REQUESTS_BOUND: usize = 64;

/// How long the broker may take to accept connection and subscriptions, and a notice. Own choice.
const ACCEPT_LIMIT: Duration = Duration::from_secs(10);

/// One message.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Heard {
    pub topic: String,
    pub payload: Vec<u8>,
    /// The broker remembered it; it was not sent now.
    pub retained: bool,
}

/// How the connection stands.
#[derive(Clone, Debug, PartialEq, Eq)]
enum Standing {
    Connecting,
    Listening,
    /// Why it does not listen, in words for the engineer.
    Failed(String),
}

/// An open listener. Dropping it closes the connection.
#[derive(Debug)]
pub struct Hearing {
    client: AsyncClient,
    heard: mpsc::Receiver<Heard>,
    missed: Arc<AtomicU64>,
    stop: CancellationToken,
}

impl Hearing {
    /// Connects and subscribes; an error says why the broker does not let it listen.
    pub async fn open(mqtt: &Mqtt, client_id: &str, filters: &[String]) -> Result<Self, String> {
        let line = Line {
            client_id: client_id.to_owned(),
            last_will: None,
            requests: REQUESTS_BOUND,
            in_flight: 16,
        };
        let (client, event_loop) = broker::open(mqtt, line)
            .await
            .map_err(|error| error.to_string())?;
        let (heard_in, heard) = mpsc::channel(HEARD_BOUND);
        let (standing_in, mut standing) = watch::channel(Standing::Connecting);
        let hearing = Self {
            client: client.clone(),
            heard,
            missed: Arc::default(),
            stop: CancellationToken::new(),
        };
        let listener = Listener {
            mqtt: mqtt.clone(),
            client,
            filters: filters.to_vec(),
            heard: heard_in,
            missed: Arc::clone(&hearing.missed),
            standing: standing_in,
        };
        let stop = hearing.stop.clone();
        tokio::spawn(async move {
            stop.run_until_cancelled(listener.run(event_loop)).await;
        });
        let settled = standing.wait_for(|standing| *standing != Standing::Connecting);
        match tokio::time::timeout(ACCEPT_LIMIT, settled).await {
            Ok(Ok(standing)) => match &*standing {
                Standing::Failed(why) => Err(why.clone()),
                _ => Ok(hearing),
            },
            _ => Err(format!(
                "{}:{}: no answer within {} s; check host, port and the network",
                mqtt.host,
                mqtt.port,
                ACCEPT_LIMIT.as_secs()
            )),
        }
    }

    /// The next message; waits for it.
    pub async fn next(&mut self) -> Option<Heard> {
        self.heard.recv().await
    }

    /// Messages that found no room.
    pub fn missed(&self) -> u64 {
        self.missed.load(Ordering::Relaxed)
    }

    /// Puts a retained message and waits until the broker has it; an empty one takes it away.
    pub async fn retain(&self, topic: &str, payload: &str) -> Result<(), String> {
        let options = PublishOptions::new(QoS::AtLeastOnce).retain(true);
        let put = async {
            let notice = self
                .client
                .publish_tracked(topic, payload.to_owned(), options)
                .await
                .map_err(|error| error.to_string())?;
            notice
                .wait_async()
                .await
                .map(|_| ())
                .map_err(|error| error.to_string())
        };
        tokio::time::timeout(ACCEPT_LIMIT, put)
            .await
            .unwrap_or_else(|_| Err("the broker does not acknowledge it".to_owned()))
    }
}

impl Drop for Hearing {
    fn drop(&mut self) {
        self.stop.cancel();
    }
}

struct Listener {
    mqtt: Mqtt,
    client: AsyncClient,
    filters: Vec<String>,
    heard: mpsc::Sender<Heard>,
    missed: Arc<AtomicU64>,
    standing: watch::Sender<Standing>,
}

impl Listener {
    async fn run(self, mut event_loop: EventLoop) {
        let mut back_off = BackOff::default();
        loop {
            match event_loop.poll().await {
                Ok(Event::Incoming(Packet::ConnAck(_))) => self.subscribe(),
                Ok(Event::Incoming(Packet::SubAck(answer))) => {
                    let refused = answer
                        .return_codes
                        .iter()
                        .all(|code| *code == SubscribeReasonCode::Failure);
                    self.standing.send_replace(if refused {
                        Standing::Failed(
                            "the broker refuses the subscription; check its access list for this user".to_owned(),
                        )
                    } else {
                        Standing::Listening
                    });
                }
                Ok(Event::Incoming(Packet::Publish(publish))) => {
                    let heard = Heard {
                        topic: String::from_utf8_lossy(&publish.topic).into_owned(),
                        payload: publish.payload.to_vec(),
                        retained: publish.retain,
                    };
                    if self.heard.try_send(heard).is_err() {
                        self.missed.fetch_add(1, Ordering::Relaxed);
                    }
                }
                Ok(_) => {}
                Err(error) => {
                    let fault = broker::classify(&error, &self.mqtt);
                    // Who has listened once tries again; who never could is told why.
                    self.standing.send_if_modified(|standing| {
                        let first = *standing == Standing::Connecting;
                        if first {
                            *standing = Standing::Failed(fault.detail.clone());
                        }
                        first
                    });
                    tokio::time::sleep(back_off.after(0.0)).await;
                }
            }
        }
    }

    fn subscribe(&self) {
        let filters = self
            .filters
            .iter()
            .map(|filter| SubscribeFilter::new(filter.clone(), QoS::AtLeastOnce));
        if let Err(error) = self.client.try_subscribe_many(filters) {
            self.standing
                .send_replace(Standing::Failed(format!("cannot subscribe: {error}")));
        }
    }
}
