//! Instruments that publish over MQTT.
//!
//! One message a tick for each topic with a new sample. Instruments that share a topic share its JSON object. The
//! client's event loop runs in its own task and publishing never waits for it: what a stalled broker does not take
//! is lost, as with the instruments it stands for.

use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::Duration;

use rumqttc::{AsyncClient, EventLoop, MqttOptions, PublishOptions, QoS};
use serde_json::Value;
use tokio_util::sync::CancellationToken;

use super::{Shared, Snapshot};
use crate::instrument::MQTT_LINK;
use crate::scenario::{Mqtt, MqttPoint, Scenario};

/// Messages that may wait for the broker.
const WAITING_MESSAGES: usize = 256;

/// Pause between failed attempts to connect.
const RETRY_AFTER: Duration = Duration::from_secs(1);

/// One topic and the instruments on it.
#[derive(Debug, Default)]
struct Topic {
    members: Vec<(usize, MqttPoint)>,
    last_sample_s: Vec<Option<f64>>,
}

impl Topic {
    /// Whether a member has been sampled since the last message; remembers the samples.
    fn is_new(&mut self, snapshot: &Snapshot) -> bool {
        let samples: Vec<Option<f64>> = self
            .members
            .iter()
            .map(|(index, _)| &snapshot.readings[*index])
            .map(|reading| reading.value.map(|_| reading.sampled_s))
            .collect();
        let new = samples != self.last_sample_s && samples.iter().any(Option::is_some);
        self.last_sample_s = samples;
        new
    }

    /// A plain number without a pointer, otherwise an object with every member's value and time.
    fn payload(&self, snapshot: &Snapshot, time: &str) -> Option<String> {
        let mut object = Value::Null;
        for (index, point) in &self.members {
            let value = snapshot.readings[*index].value;
            let Some(pointer) = &point.pointer else {
                return value.map(|number| number.to_string());
            };
            place(&mut object, pointer, value.map_or(Value::Null, Value::from));
            if let Some(pointer) = &point.time_pointer {
                place(&mut object, pointer, Value::from(time));
            }
        }
        Some(object.to_string())
    }
}

/// Puts a value where a JSON Pointer (RFC 6901) points, making the objects on the way.
fn place(root: &mut Value, pointer: &str, value: Value) {
    let mut here = root;
    for part in pointer.split('/').skip(1) {
        let name = part.replace("~1", "/").replace("~0", "~");
        if !here.is_object() {
            *here = Value::Object(serde_json::Map::new());
        }
        here = &mut here[name];
    }
    *here = value;
}

/// Publishes until stopped.
pub async fn publish(scenario: Scenario, broker: Mqtt, shared: Shared) {
    let mut topics: BTreeMap<String, Topic> = BTreeMap::new();
    for (index, keys) in scenario.instruments.iter().enumerate() {
        if let Some(point) = &keys.mqtt {
            let topic = topics.entry(point.topic.clone()).or_default();
            topic.members.push((index, point.clone()));
        }
    }
    let mut snapshots = shared.snapshots.clone();
    let mut connection: Option<Connection> = None;
    loop {
        tokio::select! {
            () = shared.stop.cancelled() => return,
            changed = snapshots.changed() => if changed.is_err() { return },
        }
        let snapshot: Arc<Snapshot> = snapshots.borrow_and_update().clone();
        if !snapshot.link_is_up(MQTT_LINK) {
            connection = None;
            continue;
        }
        let client = &connection
            .get_or_insert_with(|| Connection::open(&scenario, &broker))
            .client;
        let time = jiff::Timestamp::now().to_string();
        for (name, topic) in &mut topics {
            if topic.is_new(&snapshot)
                && let Some(payload) = topic.payload(&snapshot, &time)
                && let Err(error) =
                    client.try_publish(name.clone(), payload, PublishOptions::new(QoS::AtMostOnce))
            {
                tracing::debug!("{name}: {error}");
            }
        }
    }
}

/// A client and the task that drives it; dropped, the connection breaks as that of a device without power.
struct Connection {
    client: AsyncClient,
    stop: CancellationToken,
}

impl Connection {
    fn open(scenario: &Scenario, broker: &Mqtt) -> Self {
        // Two simulators on one broker must not push each other off.
        let name = format!("simulated-{}-{}", scenario.name, std::process::id());
        let mut options = MqttOptions::new(name, (broker.host.clone(), broker.port));
        options.set_keep_alive(10);
        let (client, events) = AsyncClient::builder(options)
            .capacity(WAITING_MESSAGES)
            .build();
        let stop = CancellationToken::new();
        tokio::spawn(drive(events, stop.clone()));
        Self { client, stop }
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

#[cfg(test)]
mod tests {
    use super::place;
    use serde_json::{Value, json};

    #[test]
    fn pointers_make_the_objects_on_their_way() {
        let mut object = Value::Null;
        place(&mut object, "/gravity/value", json!(12.5));
        place(&mut object, "/gravity/unit~1scale", json!("degP"));
        place(&mut object, "/time", json!("now"));
        let expected = json!({"gravity": {"value": 12.5, "unit/scale": "degP"}, "time": "now"});
        assert_eq!(object, expected);
        assert_eq!(object.pointer("/gravity/unit~1scale"), Some(&json!("degP")));
    }
}
