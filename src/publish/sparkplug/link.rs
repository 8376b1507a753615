//! The driving of one connection: it subscribes, and hands on what the broker says.
//!
//! Owns the event loop while the connection lasts. It publishes nothing.

use rumqttc::{AsyncClient, Event, EventLoop, Packet, Publish, QoS, SubscribeReasonCode};
use tokio::sync::mpsc;
use tokio::time::timeout;

use super::node::Node;
use super::payload::Payload;
use super::topics::{Kind, PrimaryHost, Topics, state_of};
use crate::broker::{self, Fault, FaultKind, classify};
use crate::config::model::Mqtt;

/// What the broker said.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Heard {
    /// The connection stands and every subscription is accepted.
    Accepted,
    Rebirth,
    /// Whether the primary host is there.
    PrimaryHost(bool),
}

/// Drives the event loop until the connection is lost.
pub async fn drive(
    client: &AsyncClient,
    event_loop: &mut EventLoop,
    mqtt: &Mqtt,
    topics: &Topics,
    primary_host: Option<String>,
    heard: mpsc::Sender<Heard>,
) -> Fault {
    let mut ear = Ear {
        commands: topics.node(Kind::NodeCommand),
        device_commands: topics.device_commands(),
        state: primary_host.map(|host| state_of(&host)),
        host: PrimaryHost::default(),
        unanswered: 0,
    };
    let limit = broker::silence_limit(mqtt);
    loop {
        let said = match timeout(limit, event_loop.poll()).await {
            Err(_) => return Fault::transient("the broker does not read what is sent to it"),
            Ok(Err(error)) => return classify(&error, mqtt),
            Ok(Ok(Event::Incoming(Packet::ConnAck(_)))) => {
                if let Err(fault) = ear.subscribe(client) {
                    return fault;
                }
                None
            }
            Ok(Ok(Event::Incoming(Packet::SubAck(answer)))) => {
                if answer.return_codes.contains(&SubscribeReasonCode::Failure) {
                    return ear.refused();
                }
                ear.unanswered = ear.unanswered.saturating_sub(1);
                (ear.unanswered == 0).then_some(Heard::Accepted)
            }
            Ok(Ok(Event::Incoming(Packet::Publish(publish)))) => ear.hear(&publish),
            Ok(Ok(_)) => None,
        };
        if let Some(said) = said
            && heard.send(said).await.is_err()
        {
            return Fault::transient("the connection has ended");
        }
    }
}

struct Ear {
    commands: String,
    device_commands: String,
    state: Option<String>,
    host: PrimaryHost,
    /// Subscriptions that the broker has not answered.
    unanswered: usize,
}

impl Ear {
    fn subscribe(&mut self, client: &AsyncClient) -> Result<(), Fault> {
        let filters = [&self.commands, &self.device_commands];
        for filter in filters.into_iter().chain(&self.state) {
            // The queue of requests is still empty.
            client
                .try_subscribe(filter.clone(), QoS::AtLeastOnce)
                .map_err(|error| Fault::transient(error.to_string()))?;
            self.unanswered += 1;
        }
        Ok(())
    }

    fn refused(&self) -> Fault {
        let state = self.state.as_deref().unwrap_or_default();
        Fault {
            kind: FaultKind::Unauthorised,
            detail: format!(
                "the broker refuses the subscription to {}, {} or {state}; check its access list for this user",
                self.commands, self.device_commands
            ),
        }
    }

    fn hear(&mut self, publish: &Publish) -> Option<Heard> {
        let topic = String::from_utf8_lossy(&publish.topic);
        if self.state.as_deref() == Some(&*topic) {
            return self.host.told(&publish.payload).map(Heard::PrimaryHost);
        }
        if publish.retain {
            tracing::warn!(%topic, "Sparkplug: a command that the broker has kept is not carried out");
            return None;
        }
        if topic != self.commands {
            tracing::warn!(%topic, "Sparkplug: lauterd takes no commands for devices");
            return None;
        }
        let Some(payload) = Payload::from_bytes(&publish.payload) else {
            tracing::warn!(%topic, "Sparkplug: a command is no Sparkplug B payload");
            return None;
        };
        Node::asks_for_rebirth(&payload).then_some(Heard::Rebirth)
    }
}
