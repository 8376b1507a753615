//! Instruments that publish to an MQTT broker.
//!
//! Owns the one connection that listens to all of them, and the link's state as the runtime sees it. What a
//! payload means is in `payload`, when it was measured in `dating`, who wanted it in `points`. It never
//! publishes, and never writes to an instrument.
//!
//! The session is clean, so every acceptance is without a session and every acceptance subscribes anew. A
//! subscription at QoS 1 still lets the broker repeat what a broken write lost on a standing connection.

mod dating;
mod health;
pub mod payload;
mod points;

use std::sync::Arc;
use std::time::Duration;

use lauter_core::reading::Moment;
use lauter_core::supervisor::LinkState;
use rumqttc::{
    AsyncClient, Event, EventLoop, Packet, Publish, QoS, SubAck, SubscribeFilter,
    SubscribeReasonCode,
};
use tokio::task::JoinHandle;
use tokio::time::{sleep, timeout};
use tokio_util::sync::CancellationToken;

use self::points::{Points, Received};
use super::{Arrival, Intake};
use crate::broker::{self, BackOff, Fault, Line, classify};
use crate::clock::Clock;
use crate::config::model::{Configuration, Mqtt};
use crate::tap::Passed;

pub use self::health::{BadPayload, MqttIngestHealth, MqttIngestState, TopicState};

/// Name of the link in arrivals, alarms and `Instrument::link`.
pub const LINK: &str = "mqtt";

/// Subscriptions are the only requests.
const REQUESTS_BOUND: usize = 4;

/// How long a leaving listener waits for its goodbye to be sent.
const GOODBYE_LIMIT: Duration = Duration::from_millis(250);

/// Starts listening; None when no instrument reads from MQTT or no broker is configured.
pub fn start(
    configuration: &Configuration,
    intake: Intake,
    clock: Clock,
    stop: CancellationToken,
) -> Option<(JoinHandle<()>, Arc<MqttIngestHealth>)> {
    let mqtt = configuration.mqtt.clone()?;
    let points = Points::of(configuration);
    if points.is_empty() {
        return None;
    }
    let health = Arc::<MqttIngestHealth>::default();
    health.update(|state| {
        for topic in points.topics() {
            state.topic(&topic);
        }
    });
    let listener = Listener {
        mqtt,
        points,
        intake,
        clock,
        health: Arc::clone(&health),
        announced: None,
    };
    Some((tokio::spawn(listener.run(stop)), health))
}

struct Listener {
    mqtt: Mqtt,
    points: Points,
    intake: Intake,
    clock: Clock,
    health: Arc<MqttIngestHealth>,
    /// The link's state as the runtime was last told.
    announced: Option<LinkState>,
}

/// How a connection ended.
enum Ending {
    Stopped,
    Lost { fault: Fault, lasted_s: f64 },
}

impl Listener {
    async fn run(mut self, stop: CancellationToken) {
        let mut back_off = BackOff::default();
        while let Ending::Lost { fault, lasted_s } = self.listen(&stop).await {
            let wait = back_off.after(lasted_s);
            self.lost(fault);
            tokio::select! {
                biased;
                () = stop.cancelled() => return,
                () = sleep(wait) => {}
            }
        }
    }

    /// One connection, from the attempt to its end.
    async fn listen(&mut self, stop: &CancellationToken) -> Ending {
        let line = Line {
            client_id: format!("{}-instruments", self.mqtt.client_id),
            last_will: None,
            requests: REQUESTS_BOUND,
            in_flight: 1,
        };
        let (client, mut event_loop) = match broker::open(&self.mqtt, line).await {
            Ok(pair) => pair,
            Err(error) => {
                let fault = error.into();
                return Ending::Lost {
                    fault,
                    lasted_s: 0.0,
                };
            }
        };
        let mut accepted: Option<Moment> = None;
        let fault = loop {
            let polled = tokio::select! {
                biased;
                () = stop.cancelled() => {
                    goodbye(&client, &mut event_loop).await;
                    return Ending::Stopped;
                }
                polled = timeout(broker::silence_limit(&self.mqtt), event_loop.poll()) => polled,
            };
            match polled {
                Err(_) => break Fault::transient("the broker does not read what is sent to it"),
                Ok(Err(error)) => break classify(&error, &self.mqtt),
                Ok(Ok(Event::Incoming(Packet::ConnAck(_)))) => {
                    accepted = Some(self.clock.now());
                    self.health.update(|state| state.connections += 1);
                    if let Some(fault) = self.subscribe(&client) {
                        break fault;
                    }
                }
                Ok(Ok(Event::Incoming(Packet::SubAck(answer)))) => self.subscribed(&answer),
                Ok(Ok(Event::Incoming(Packet::Publish(publish)))) => self.take(&publish),
                Ok(Ok(_)) => {}
            }
        };
        let lasted_s = accepted.map_or(0.0, |accepted| self.clock.now().since(accepted));
        Ending::Lost { fault, lasted_s }
    }

    /// Does not wait: the queue of requests is empty after an acceptance, and waiting here would keep the event
    /// loop from ever emptying it.
    fn subscribe(&self, client: &AsyncClient) -> Option<Fault> {
        let filters = self
            .points
            .topics()
            .into_iter()
            .map(|topic| SubscribeFilter::new(topic, QoS::AtLeastOnce));
        let refused = client.try_subscribe_many(filters).err()?;
        Some(Fault {
            kind: broker::FaultKind::Configuration,
            detail: format!("the topics cannot be subscribed to ({refused}); check `topic`"),
        })
    }

    /// The answer's codes stand in the order of the topics.
    fn subscribed(&mut self, answer: &SubAck) {
        let mut heard = 0;
        for (topic, code) in self.points.topics().iter().zip(&answer.return_codes) {
            let refused = *code == SubscribeReasonCode::Failure;
            self.health
                .update(|state| state.topic(topic).refused = refused);
            if refused {
                tracing::warn!(%topic, "the broker refuses the subscription; check its access list for this user");
                self.points
                    .lose(Some(topic), &self.intake, self.clock.now());
            } else {
                heard += 1;
            }
        }
        if heard > 0 {
            self.found();
        } else {
            self.lost(Fault {
                kind: broker::FaultKind::Unauthorised,
                detail:
                    "the broker refuses every subscription; check its access list for this user"
                        .to_owned(),
            });
        }
    }

    fn take(&mut self, publish: &Publish) {
        let Ok(topic) = std::str::from_utf8(&publish.topic) else {
            return;
        };
        if let Some(tap) = self.intake.tap() {
            let passed = Passed::Message {
                topic: topic.to_owned(),
                payload: publish.payload.to_vec(),
                retained: publish.retain,
            };
            tap.tell(LINK, passed);
        }
        let received = Received {
            topic,
            payload: &publish.payload,
            retained: publish.retain,
        };
        self.points
            .take(received, &self.intake, &self.clock, &self.health);
    }

    fn found(&mut self) {
        let detail = format!("connected to {}:{}", self.mqtt.host, self.mqtt.port);
        self.health.update(|state| {
            state.connected = true;
            state.fault = None;
        });
        if self.announced != Some(LinkState::Up) {
            tracing::info!("instruments: {detail}");
            self.announce(LinkState::Up, detail);
        }
    }

    /// Tells the runtime once, at the first failure; a changed reason is logged, a repeated one is not.
    fn lost(&mut self, fault: Fault) {
        let known = self.health.snapshot().fault.as_ref() == Some(&fault);
        if !known && fault.needs_a_person() {
            tracing::error!("instruments: {}", fault.detail);
        } else if !known {
            tracing::warn!("instruments: {}", fault.detail);
        }
        let detail = fault.detail.clone();
        self.health.update(|state| {
            state.connected = false;
            state.fault = Some(fault);
        });
        if self.announced != Some(LinkState::Down) {
            self.announce(LinkState::Down, detail);
            self.points.lose(None, &self.intake, self.clock.now());
        }
    }

    fn announce(&mut self, state: LinkState, detail: String) {
        self.announced = Some(state);
        self.intake.put(Arrival::Link {
            name: LINK.to_owned(),
            state,
            detail,
        });
    }
}

/// Takes leave properly, so that the broker does not log a broken connection.
async fn goodbye(client: &AsyncClient, event_loop: &mut EventLoop) {
    if client.try_disconnect_now().is_err() {
        return;
    }
    let drain = async { while event_loop.poll().await.is_ok() {} };
    // A broker that does not take the goodbye in time sees the connection close.
    let _ = timeout(GOODBYE_LIMIT, drain).await;
}
