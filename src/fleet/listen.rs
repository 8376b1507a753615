//! The connection that listens to every tun behind a broker.
//!
//! Owns its subscriptions and its repair. It publishes nothing; its session is clean, since the broker gives what is
//! retained anew with each subscription.

use std::time::Duration;

use rumqttc::{Event, Packet, QoS, SubscribeReasonCode};
use tokio::sync::watch;
use tokio::task::JoinHandle;
use tokio::time::{sleep, timeout};
use tokio_util::sync::CancellationToken;

use super::{FILTERS, Fleet};
use crate::broker::{self, BackOff, Fault, FaultKind, Line, classify};
use crate::clock::wall_now;
use crate::config::model::Mqtt;

/// The subscriptions, and room for pings.
const REQUESTS_BOUND: usize = 16;
/// A connection that brought a message counts as having lasted.
const LASTED_S: f64 = 60.0;
const GOODBYE_LIMIT: Duration = Duration::from_millis(250);

/// The list as it grows.
pub type Listening = watch::Receiver<Fleet>;

/// Starts listening. The client id is given a name of its own beside the tun's.
pub fn start(mut mqtt: Mqtt, stop: CancellationToken) -> (JoinHandle<()>, Listening) {
    mqtt.client_id = format!("{}-fleet", mqtt.client_id);
    let (fleet, listening) = watch::channel(Fleet::default());
    (tokio::spawn(run(mqtt, fleet, stop)), listening)
}

async fn run(mqtt: Mqtt, fleet: watch::Sender<Fleet>, stop: CancellationToken) {
    let mut back_off = BackOff::default();
    let mut told: Option<Fault> = None;
    loop {
        let Some((fault, heard)) = listen(&mqtt, &fleet, &stop).await else {
            return;
        };
        fleet.send_modify(|fleet| fleet.connected = false);
        if told.as_ref() != Some(&fault) {
            tracing::warn!("the page of all tuns: {}", fault.detail);
            told = Some(fault);
        }
        let wait = back_off.after(if heard { LASTED_S } else { 0.0 });
        tokio::select! {
            biased;
            () = stop.cancelled() => return,
            () = sleep(wait) => {}
        }
    }
}

/// One connection: why it ended and whether it brought anything, or None when it was to stop.
async fn listen(
    mqtt: &Mqtt,
    fleet: &watch::Sender<Fleet>,
    stop: &CancellationToken,
) -> Option<(Fault, bool)> {
    let line = Line {
        client_id: mqtt.client_id.clone(),
        last_will: None,
        requests: REQUESTS_BOUND,
        in_flight: REQUESTS_BOUND as u16,
    };
    let (client, mut event_loop) = match broker::open(mqtt, line).await {
        Ok(pair) => pair,
        Err(error) => return Some((error.into(), false)),
    };
    let limit = broker::silence_limit(mqtt);
    let mut heard = false;
    loop {
        let polled = tokio::select! {
            biased;
            () = stop.cancelled() => break,
            polled = timeout(limit, event_loop.poll()) => polled,
        };
        let fault = match polled {
            Err(_) => Fault::transient("the broker does not answer"),
            Ok(Err(error)) => classify(&error, mqtt),
            Ok(Ok(Event::Incoming(Packet::ConnAck(_)))) => {
                // The queue of requests is still empty.
                let asked = FILTERS
                    .into_iter()
                    .try_for_each(|filter| client.try_subscribe(filter, QoS::AtLeastOnce));
                match asked {
                    Ok(()) => continue,
                    Err(error) => Fault::transient(error.to_string()),
                }
            }
            Ok(Ok(Event::Incoming(Packet::SubAck(answer)))) => {
                if !answer.return_codes.contains(&SubscribeReasonCode::Failure) {
                    fleet.send_modify(|fleet| fleet.connected = true);
                    continue;
                }
                Fault {
                    kind: FaultKind::Unauthorised,
                    detail: format!(
                        "the broker refuses the subscription to {}; check its access list for this user",
                        FILTERS.join(", ")
                    ),
                }
            }
            Ok(Ok(Event::Incoming(Packet::Publish(publish)))) => {
                heard = true;
                let topic = String::from_utf8_lossy(&publish.topic);
                fleet.send_modify(|fleet| {
                    let refused = fleet.refused;
                    fleet.hear(&topic, &publish.payload, publish.retain, wall_now());
                    if refused == 0 && fleet.refused > 0 {
                        tracing::warn!(
                            %topic,
                            "the page of all tuns: a message is not what lauterd publishes, or there are too many tuns; \
                             this and further ones are left out"
                        );
                    }
                });
                continue;
            }
            Ok(Ok(_)) => continue,
        };
        return Some((fault, heard));
    }
    if client.try_disconnect_now().is_ok() {
        let drain = async { while event_loop.poll().await.is_ok() {} };
        // A broker that does not take the goodbye in time sees the connection close.
        let _ = timeout(GOODBYE_LIMIT, drain).await;
    }
    None
}
