//! Which topic an output goes to, and as what JSON.
//!
//! Owns the published contract: the names below `lauterd/<site>/<tun>/` and the fields of each message. It is pure;
//! time and sequence number are arguments, so that a stored row and its repeat are byte for byte the same.
//!
//! `seq` grows with every message of a tun. A receiver that drops repeats compares it per topic: the last will
//! bears a number given when the connection was made, and appears later than greater ones on other topics.

use jiff::Timestamp;
use lauter_core::reading::{Cause, Status};
use lauter_core::supervisor::{AlarmLine, ConditionedReading, Line, Output};
use lauter_core::units::Unit;
use serde::Serialize;

use super::message::{Message, Quality};

/// The topics of one tun.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Topics {
    prefix: String,
}

/// What every payload begins with.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stamp {
    pub time: Timestamp,
    pub seq: u64,
}

impl Topics {
    pub fn new(site: &str, tun: &str) -> Self {
        Self {
            prefix: format!("lauterd/{}/{}", level(site), level(tun)),
        }
    }

    pub fn online(&self) -> String {
        format!("{}/online", self.prefix)
    }

    pub fn overview(&self) -> String {
        format!("{}/overview", self.prefix)
    }

    /// Where commands are listened to: one level below stands for each.
    pub fn commands(&self) -> String {
        format!("{}/command/+", self.prefix)
    }

    /// Where the reply to a command goes.
    pub fn reply(&self, id: &str) -> String {
        format!("{}/reply/{}", self.prefix, level(id))
    }

    /// Whether the program is there. The last will is `online: false` with the time of the connection it belongs to:
    /// a broker cannot put in when it broke.
    pub fn online_message(&self, online: bool, stamp: Stamp) -> Message {
        #[derive(Serialize)]
        struct Online {
            online: bool,
        }
        Message {
            row: None,
            topic: self.online(),
            payload: payload(stamp, &Online { online }),
            quality: Quality::AtLeastOnce,
            retain: true,
        }
    }

    /// The message of one output; None for what stays in the house. Only those at least once need a row in the
    /// outbox.
    pub fn message(&self, output: &Output, stamp: Stamp) -> Option<Message> {
        Some(match output {
            Output::Reading(reading) => self.live(
                &format!("reading/{}", level(&reading.instrument)),
                payload(stamp, &ReadingBody::of(reading)),
            ),
            Output::Runoff(runoff) => self.live("runoff", payload(stamp, runoff)),
            Output::Line(Line::Projection(line)) => self.live("projection", payload(stamp, line)),
            Output::Line(Line::Alarm(line)) | Output::Renewed(line) => {
                self.alarm(line, payload(stamp, line))
            }
            Output::Line(Line::Table(line)) => self.event(stamp, "table", line),
            Output::Line(Line::Summary(line)) => self.event(stamp, "summary", line),
            // It has a field `event` of its own.
            Output::Occurrence(occurrence) => {
                self.message_at_least_once("event", payload(stamp, occurrence), false)
            }
            Output::Lesson(_) => return None,
        })
    }

    fn live(&self, below: &str, payload: Vec<u8>) -> Message {
        Message {
            row: None,
            topic: format!("{}/{below}", self.prefix),
            payload,
            quality: Quality::AtMostOnce,
            retain: false,
        }
    }

    /// Retained in every state, so that a late subscriber also sees that an alarm is normal again.
    fn alarm(&self, line: &AlarmLine, payload: Vec<u8>) -> Message {
        let below = match &line.instrument {
            Some(instrument) => format!("alarm/{}/{}", line.alarm.name(), level(instrument)),
            None => format!("alarm/{}", line.alarm.name()),
        };
        self.message_at_least_once(&below, payload, true)
    }

    fn event(&self, stamp: Stamp, event: &'static str, body: &impl Serialize) -> Message {
        #[derive(Serialize)]
        struct Named<'a, T> {
            event: &'static str,
            #[serde(flatten)]
            body: &'a T,
        }
        self.message_at_least_once("event", payload(stamp, &Named { event, body }), false)
    }

    fn message_at_least_once(&self, below: &str, payload: Vec<u8>, retain: bool) -> Message {
        Message {
            row: None,
            topic: format!("{}/{below}", self.prefix),
            payload,
            quality: Quality::AtLeastOnce,
            retain,
        }
    }
}

/// The fields of `reading/<instrument>`.
#[derive(Serialize)]
struct ReadingBody {
    value: Option<f64>,
    unit: Unit,
    standard_error: Option<f64>,
    rate_per_min: Option<f64>,
    status: Status,
    cause: Option<Cause>,
}

impl ReadingBody {
    fn of(reading: &ConditionedReading) -> Self {
        Self {
            value: reading.value,
            unit: reading.unit,
            standard_error: reading.standard_error,
            rate_per_min: reading.rate_per_min,
            status: reading.status,
            cause: reading.cause,
        }
    }
}

/// RFC 3339 in UTC to the millisecond.
pub fn time_text(time: Timestamp) -> String {
    format!("{time:.3}")
}

pub(super) fn payload(stamp: Stamp, body: &impl Serialize) -> Vec<u8> {
    #[derive(Serialize)]
    struct Stamped<'a, T> {
        time: String,
        seq: u64,
        #[serde(flatten)]
        body: &'a T,
    }
    let stamped = Stamped {
        time: time_text(stamp.time),
        seq: stamp.seq,
        body,
    };
    // All bodies are structs with text keys, and a number that is not finite is written as null.
    serde_json::to_vec(&stamped).unwrap_or_default()
}

/// A name as one topic level: what MQTT gives a meaning to becomes '-'.
fn level(name: &str) -> String {
    name.chars()
        .map(|character| match character {
            '/' | '+' | '#' => '-',
            character if character.is_control() => '-',
            character => character,
        })
        .collect()
}

#[cfg(test)]
mod tests;
