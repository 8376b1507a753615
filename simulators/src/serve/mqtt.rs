//! Instruments that publish over MQTT.
//!
//! One message a tick for each topic with a new sample. Instruments that share a topic share its JSON object.

use std::collections::BTreeMap;
use std::sync::Arc;

use serde_json::Value;

use super::publishing::Connection;
use super::servers::{Shared, Shown};
use crate::instrument::MQTT_LINK;
use crate::scenario::{Instrument, Mqtt, MqttPoint};

/// One topic and the instruments on it.
#[derive(Debug, Default)]
struct Topic {
    members: Vec<(usize, MqttPoint)>,
    last_sample_s: Vec<Option<f64>>,
}

impl Topic {
    /// Whether a member has been sampled since the last message; remembers the samples.
    fn is_new(&mut self, shown: &Shown) -> bool {
        let samples: Vec<Option<f64>> = self
            .members
            .iter()
            .map(|(index, _)| &shown.readings[*index])
            .map(|reading| reading.value.map(|_| reading.sampled_s))
            .collect();
        let new = samples != self.last_sample_s && samples.iter().any(Option::is_some);
        self.last_sample_s = samples;
        new
    }

    /// A plain number without a pointer, otherwise an object with every member's value and time.
    fn payload(&self, shown: &Shown, time: &str) -> Option<String> {
        let mut object = Value::Null;
        for (index, point) in &self.members {
            let value = shown.readings[*index].value;
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
pub async fn publish(name: String, instruments: Vec<Instrument>, broker: Mqtt, shared: Shared) {
    let mut topics: BTreeMap<String, Topic> = BTreeMap::new();
    for (index, keys) in instruments.iter().enumerate() {
        if let Some(point) = &keys.mqtt {
            let topic = topics.entry(point.topic.clone()).or_default();
            topic.members.push((index, point.clone()));
        }
    }
    let mut states = shared.shown.clone();
    let mut connection: Option<Connection> = None;
    loop {
        tokio::select! {
            () = shared.stop.cancelled() => return,
            changed = states.changed() => if changed.is_err() { return },
        }
        let shown: Arc<Shown> = states.borrow_and_update().clone();
        if !shown.link_is_up(MQTT_LINK) {
            connection = None;
            continue;
        }
        let connection = connection.get_or_insert_with(|| Connection::open(&name, &broker));
        let time = jiff::Timestamp::now().to_string();
        for (place, topic) in &mut topics {
            if topic.is_new(&shown)
                && let Some(payload) = topic.payload(&shown, &time)
            {
                connection.put(place, payload, false);
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
