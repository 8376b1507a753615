//! A connection to a broker for instruments that publish.
//!
//! The client's event loop runs in its own task and publishing never waits for it: what a stalled broker does not take
//! is lost, as with the instruments it stands for.

use std::time::Duration;

use rumqttc::{AsyncClient, EventLoop, MqttOptions, PublishOptions, QoS};
use tokio_util::sync::CancellationToken;

use crate::scenario::Mqtt;

/// Messages that may wait for the broker.
const WAITING_MESSAGES: usize = 256;

/// Pause between failed attempts to connect.
const RETRY_AFTER: Duration = Duration::from_secs(1);

/// A client and the task that drives it; dropped, the connection breaks as that of a device without power.
#[derive(Debug)]
pub struct Connection {
    client: AsyncClient,
    stop: CancellationToken,
}

impl Connection {
    pub fn open(name: &str, broker: &Mqtt) -> Self {
        // Two simulators on one broker must not push each other off.
        let client_id = format!("simulated-{name}-{}", std::process::id());
        let mut options = MqttOptions::new(client_id, (broker.host.clone(), broker.port));
        options.set_keep_alive(10);
        let (client, events) = AsyncClient::builder(options)
            .capacity(WAITING_MESSAGES)
            .build();
        let stop = CancellationToken::new();
        tokio::spawn(drive(events, stop.clone()));
        Self { client, stop }
    }

    /// Hands a message over, if there is room for it.
    pub fn put(&self, topic: &str, payload: impl Into<Vec<u8>>, retain: bool) {
        let options = PublishOptions::new(QoS::AtMostOnce).retain(retain);
        let put = self
            .client
            .try_publish(topic.to_owned(), payload.into(), options);
        if let Err(error) = put {
            tracing::debug!("{topic}: {error}");
        }
    }
}

impl Drop for Connection {
    fn drop(&mut self) {
        self.stop.cancel();
    }
}

async fn drive(mut events: EventLoop, stop: CancellationToken) {
    loop {
        let polled = tokio::select! {
            () = stop.cancelled() => return,
            polled = events.poll() => polled,
        };
        if let Err(error) = polled {
            tracing::warn!("broker: {error}; trying again");
            tokio::select! {
                () = stop.cancelled() => return,
                () = tokio::time::sleep(RETRY_AFTER) => {}
            }
        }
    }
}
