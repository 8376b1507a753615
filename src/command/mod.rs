//! Commands that come from the broker, and the way of their replies.
//!
//! Owns the one connection that listens to a tun's commands. Its session is clean: what was said while there was no
//! connection is lost, since a command that comes late may do harm, and so is one that the broker has kept. Must not
//! know what a command means or who may give it.

use std::pin::pin;
use std::time::Duration;

use rumqttc::{AsyncClient, Event, EventLoop, Packet, Publish, PublishOptions, QoS};
use tokio::sync::mpsc;
use tokio::sync::mpsc::error::TrySendError;
use tokio::task::JoinHandle;
use tokio::time::{sleep, timeout};
use tokio_util::sync::CancellationToken;

use crate::broker::{self, BackOff, Fault, FaultKind, Line, classify};
use crate::clock::Clock;
use crate::config::model::Mqtt;

/// Commands that may wait for the one before them. People and panels give some an hour.
pub const COMMANDS_BOUND: usize = 16;

/// Replies that may wait for the connection.
pub const REPLIES_BOUND: usize = 16;

/// Largest command taken, bytes. The largest is a plan of some hundred bytes.
const COMMAND_BYTES: usize = 64 * 1024;

/// Replies not yet acknowledged, beside the subscription.
const IN_FLIGHT: u16 = 32;

/// How long a leaving listener waits for its goodbye to be sent.
const GOODBYE_LIMIT: Duration = Duration::from_millis(250);

/// A command as it came.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Received {
    /// The last level of its topic.
    pub name: String,
    pub payload: Vec<u8>,
}

/// What goes back.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Reply {
    pub topic: String,
    pub payload: Vec<u8>,
}

/// Starts listening to the topics of `filter`, whose last level is a wildcard.
pub fn start(
    mqtt: Mqtt,
    filter: String,
    commands: mpsc::Sender<Received>,
    replies: mpsc::Receiver<Reply>,
    clock: Clock,
    stop: CancellationToken,
) -> JoinHandle<()> {
    let listener = Listener {
        mqtt,
        filter,
        commands,
        clock,
        told: None,
    };
    tokio::spawn(listener.run(replies, stop))
}

struct Listener {
    mqtt: Mqtt,
    filter: String,
    commands: mpsc::Sender<Received>,
    clock: Clock,
    /// The fault that was logged last.
    told: Option<Fault>,
}

/// How a connection ended.
enum Ending {
    Stopped,
    Lost { fault: Fault, lasted_s: f64 },
}

impl Listener {
    async fn run(mut self, mut replies: mpsc::Receiver<Reply>, stop: CancellationToken) {
        let mut back_off = BackOff::default();
        while let Ending::Lost { fault, lasted_s } = self.listen(&mut replies, &stop).await {
            let wait = back_off.after(lasted_s);
            self.tell(fault);
            tokio::select! {
                biased;
                () = stop.cancelled() => return,
                () = sleep(wait) => {}
            }
            // Who asked before the connection broke has given up.
            while replies.try_recv().is_ok() {}
        }
    }

    /// One connection, from the attempt to its end.
    async fn listen(
        &mut self,
        replies: &mut mpsc::Receiver<Reply>,
        stop: &CancellationToken,
    ) -> Ending {
        let line = Line {
            client_id: format!("{}-commands", self.mqtt.client_id),
            last_will: None,
            requests: REPLIES_BOUND,
            in_flight: IN_FLIGHT,
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
        let began = self.clock.now();
        let ended = {
            let mut drive = pin!(self.drive(&client, &mut event_loop));
            tokio::select! {
                biased;
                () = stop.cancelled() => None,
                fault = &mut drive => Some(fault),
                fault = answer(&client, replies) => Some(fault),
            }
        };
        let Some(fault) = ended else {
            goodbye(&client, &mut event_loop).await;
            return Ending::Stopped;
        };
        Ending::Lost {
            fault,
            lasted_s: self.clock.now().since(began),
        }
    }

    /// Drives the event loop and hands over what comes, until the connection is lost.
    async fn drive(&mut self, client: &AsyncClient, event_loop: &mut EventLoop) -> Fault {
        let limit = broker::silence_limit(&self.mqtt);
        loop {
            match timeout(limit, event_loop.poll()).await {
                Err(_) => return Fault::transient("the broker does not read what is sent to it"),
                Ok(Err(error)) => return classify(&error, &self.mqtt),
                Ok(Ok(Event::Incoming(Packet::ConnAck(_)))) => {
                    // The queue of requests is still empty.
                    if let Err(error) = client.try_subscribe(self.filter.clone(), QoS::AtLeastOnce)
                    {
                        return Fault::transient(error.to_string());
                    }
                }
                Ok(Ok(Event::Incoming(Packet::SubAck(answer)))) => {
                    use rumqttc::SubscribeReasonCode::Failure;
                    if answer.return_codes.contains(&Failure) {
                        return Fault {
                            kind: FaultKind::Unauthorised,
                            detail: format!(
                                "the broker refuses the subscription to {}; check its access list for this user",
                                self.filter
                            ),
                        };
                    }
                    self.told = None;
                    tracing::info!("commands: listening to {}", self.filter);
                }
                Ok(Ok(Event::Incoming(Packet::Publish(publish)))) => self.take(&publish),
                Ok(Ok(_)) => {}
            }
        }
    }

    fn take(&self, publish: &Publish) {
        let topic = String::from_utf8_lossy(&publish.topic);
        let name = topic.rsplit('/').next().unwrap_or_default();
        if publish.retain {
            tracing::warn!(%topic, "a command that the broker has kept is not carried out; publish it without retain");
        } else if publish.payload.len() > COMMAND_BYTES {
            tracing::warn!(%topic, bytes = publish.payload.len(), "a command is too large");
        } else {
            let received = Received {
                name: name.to_owned(),
                payload: publish.payload.to_vec(),
            };
            if let Err(TrySendError::Full(_)) = self.commands.try_send(received) {
                tracing::warn!(%topic, "a command found no room: others wait to be carried out");
            }
        }
    }

    /// Logs a fault once.
    fn tell(&mut self, fault: Fault) {
        if self.told.as_ref() != Some(&fault) {
            if fault.needs_a_person() {
                tracing::error!("commands: {}", fault.detail);
            } else {
                tracing::warn!("commands: {}", fault.detail);
            }
            self.told = Some(fault);
        }
    }
}

/// Publishes replies until the connection has ended.
async fn answer(client: &AsyncClient, replies: &mut mpsc::Receiver<Reply>) -> Fault {
    while let Some(reply) = replies.recv().await {
        let options = PublishOptions::new(QoS::AtLeastOnce);
        if let Err(error) = client.publish(reply.topic, reply.payload, options).await {
            return Fault::transient(error.to_string());
        }
    }
    // Nobody answers any more: the service is stopping.
    std::future::pending().await
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
