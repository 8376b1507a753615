//! An alarm's present state, told anew to a broker that may retain another.
//!
//! Owns its form: the line as it was told last, without a change (`from` and `to` alike), under a number of its own.

use jiff::Timestamp;
use lauter_core::supervisor::{AlarmLine, Output};

use super::Publishers;
use crate::publish::mqtt::topics::Stamp;
use crate::store::{MessageClass, NewMessage, Publisher};

impl Publishers {
    /// Whether there is a broker that retains alarms.
    pub fn retains_alarms(&self) -> bool {
        self.mqtt.is_some()
    }

    /// The row for the store. None without a broker.
    pub fn told_anew(&self, mut line: AlarmLine, time: Timestamp) -> Option<NewMessage> {
        let side = self.mqtt.as_ref()?;
        line.from = line.to;
        let stamp = Stamp {
            time,
            seq: self.sequence.next(),
        };
        let message = side.topics.message(&Output::Renewed(line), stamp)?;
        Some(NewMessage {
            publisher: Publisher::Mqtt,
            class: MessageClass::Record,
            topic: message.topic,
            payload: String::from_utf8_lossy(&message.payload).into_owned(),
            retain: message.retain,
            created: time,
        })
    }
}
