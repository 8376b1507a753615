//! The edge node and its devices as a receiver knows them: what was born, what has changed, what is late.
//!
//! Owns the rules of the Eclipse Sparkplug specification 3.0.0 for an edge node: `seq`, `bdSeq`, aliases, what stands in
//! a birth, data by change, deaths, and values of the past. Pure: it takes what is told and gives messages; it knows no
//! connection and no clock.

mod known;

use std::collections::{BTreeMap, BTreeSet, VecDeque};

use self::known::Known;
use super::metrics::Told;
use super::payload::{Datatype, Metric, Payload, Value};
use super::topics::{Kind, Topics};

/// The metric by which a receiver asks for all births anew.
pub const REBIRTH: &str = "Node Control/Rebirth";
const BD_SEQ: &str = "bdSeq";
/// Changes that were given up while there was no connection, because too many waited.
const CHANGES_LOST: &str = "changes_lost";

/// Changes kept while there is no connection; the oldest go first. Some hours of one tun at its usual pace.
pub const HISTORY_BOUND: usize = 50_000;

/// Metrics of the past in one message: some 10 KiB.
const HISTORY_IN_ONE: usize = 200;

/// A message as it is published.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Message {
    pub topic: String,
    pub payload: Vec<u8>,
}

#[derive(Debug)]
struct Device {
    name: String,
    metrics: BTreeMap<String, Known>,
    /// It says something; without that it is dead to receivers.
    alive: bool,
    /// The receiver knows it in this session.
    born: bool,
    /// Names whose values the receiver does not know yet.
    changed: BTreeSet<String>,
    /// How often the node was asked since it last said something.
    silent_rounds: u32,
}

#[derive(Debug)]
struct Past {
    device: usize,
    metric: Metric,
}

/// One edge node.
#[derive(Debug)]
pub struct Node {
    topics: Topics,
    /// Text metrics of the node itself.
    about: Vec<(&'static str, String)>,
    devices: Vec<Device>,
    next_alias: u64,
    seq: u8,
    bd_seq: u8,
    born: bool,
    history: VecDeque<Past>,
    lost: u64,
    lost_sent: u64,
}

/// A device and every metric it is known to have.
#[derive(Clone, Debug)]
pub struct Declared {
    pub name: String,
    pub metrics: Vec<Told>,
}

const LOST_ALIAS: u64 = 1;
const REBIRTH_ALIAS: u64 = 2;
const FIRST_ALIAS: u64 = 10;

impl Node {
    pub fn new(topics: Topics, about: Vec<(&'static str, String)>, devices: Vec<Declared>) -> Self {
        let mut node = Self {
            topics,
            about,
            devices: Vec::new(),
            next_alias: FIRST_ALIAS,
            seq: 0,
            bd_seq: 0,
            born: false,
            history: VecDeque::new(),
            lost: 0,
            lost_sent: 0,
        };
        for declared in devices {
            let mut metrics = BTreeMap::new();
            for told in declared.metrics {
                let alias = node.alias();
                metrics.insert(told.name.clone(), Known::of(alias, told));
            }
            node.devices.push(Device {
                name: declared.name,
                metrics,
                alive: false,
                born: false,
                changed: BTreeSet::new(),
                silent_rounds: 0,
            });
        }
        node
    }

    fn alias(&mut self) -> u64 {
        let alias = self.next_alias;
        self.next_alias += 1;
        alias
    }

    pub fn is_born(&self) -> bool {
        self.born
    }

    /// A connection with this number is to be made: its last will, which says when the node has gone.
    pub fn connecting(&mut self, bd_seq: u8, now_ms: u64) -> Message {
        self.lost_connection();
        self.bd_seq = bd_seq;
        self.death(now_ms)
    }

    /// Nobody can be told anything until the next births.
    pub fn lost_connection(&mut self) {
        self.born = false;
        for device in &mut self.devices {
            device.born = false;
            device.changed.clear();
        }
    }

    /// The node's death: no `seq`, and `bdSeq` alone.
    pub fn death(&self, now_ms: u64) -> Message {
        let payload = Payload {
            timestamp: Some(now_ms),
            metrics: vec![self.bd_seq_metric(None)],
            seq: None,
        };
        Message {
            topic: self.topics.node(Kind::NodeDeath),
            payload: payload.to_bytes(),
        }
    }

    fn bd_seq_metric(&self, at_ms: Option<u64>) -> Metric {
        Metric {
            name: Some(BD_SEQ.to_owned()),
            timestamp: at_ms,
            datatype: Some(Datatype::Int64 as u32),
            value: Some(Value::Long(self.bd_seq.into())),
            ..Metric::default()
        }
    }

    /// Takes what a device said. What changed is sent with `news`, or kept as past while there is no connection.
    pub fn take(&mut self, index: usize, told: Vec<Told>) {
        for told in told {
            self.take_one(index, told);
        }
        let device = &mut self.devices[index];
        device.alive = true;
        device.silent_rounds = 0;
    }

    fn take_one(&mut self, index: usize, told: Told) {
        let name = told.name.clone();
        if !self.devices[index].metrics.contains_key(&name) {
            // A receiver takes only metrics of the birth, so that the device is born again with this one.
            let known = Known::of(self.alias(), told);
            let device = &mut self.devices[index];
            device.metrics.insert(name, known);
            device.born = false;
            return;
        }
        let device = &mut self.devices[index];
        let Some(known) = device.metrics.get_mut(&name) else {
            return;
        };
        if known.told.says_the_same(&told) {
            return;
        }
        known.told = told;
        if self.born && device.born {
            device.changed.insert(name);
        } else if !self.born {
            let mut metric = known.data(true);
            metric.is_historical = Some(true);
            if self.history.len() == HISTORY_BOUND {
                self.history.pop_front();
                self.lost += 1;
            }
            self.history.push_back(Past {
                device: index,
                metric,
            });
        }
    }

    /// All births, the node's first, and then what happened while nobody could be told.
    pub fn births(&mut self, now_ms: u64) -> Vec<Message> {
        self.seq = 0;
        self.born = true;
        self.lost_sent = self.lost;
        let mut messages = vec![self.node_birth(now_ms)];
        for index in 0..self.devices.len() {
            self.devices[index].born = false;
            if self.devices[index].alive {
                messages.push(self.device_birth(index, now_ms));
            }
        }
        messages.extend(self.past(now_ms));
        messages
    }

    /// What receivers do not know yet.
    pub fn news(&mut self, now_ms: u64) -> Vec<Message> {
        let mut messages = Vec::new();
        if !self.born {
            return messages;
        }
        for index in 0..self.devices.len() {
            let device = &self.devices[index];
            if device.alive && !device.born {
                messages.push(self.device_birth(index, now_ms));
            } else if device.alive && !device.changed.is_empty() {
                messages.push(self.device_data(index, now_ms));
            }
        }
        if self.lost != self.lost_sent {
            self.lost_sent = self.lost;
            let metrics = vec![Metric {
                name: None,
                datatype: None,
                ..self.lost_metric(now_ms)
            }];
            messages.push(self.message(self.topics.node(Kind::NodeData), now_ms, metrics));
        }
        messages
    }

    /// One more round without a word from a device; after `limit` of them it is dead to receivers.
    pub fn round(&mut self, limit: u32, now_ms: u64) -> Vec<Message> {
        let mut messages = Vec::new();
        for index in 0..self.devices.len() {
            let device = &mut self.devices[index];
            device.silent_rounds = device.silent_rounds.saturating_add(1);
            if !device.alive || device.silent_rounds < limit {
                continue;
            }
            device.alive = false;
            let was_known = std::mem::take(&mut device.born);
            device.changed.clear();
            if self.born && was_known {
                let topic = self.topics.device(Kind::DeviceDeath, &device.name);
                messages.push(self.message(topic, now_ms, Vec::new()));
            }
        }
        messages
    }

    /// Whether a command asks for all births anew; it may name the metric or its alias.
    pub fn asks_for_rebirth(payload: &Payload) -> bool {
        payload.metrics.iter().any(|metric| {
            let named = metric.name.as_deref() == Some(REBIRTH)
                || metric.name.is_none() && metric.alias == Some(REBIRTH_ALIAS);
            named && metric.value == Some(Value::Boolean(true))
        })
    }

    fn node_birth(&mut self, now_ms: u64) -> Message {
        let mut metrics = vec![
            self.bd_seq_metric(Some(now_ms)),
            Metric {
                name: Some(REBIRTH.to_owned()),
                alias: Some(REBIRTH_ALIAS),
                timestamp: Some(now_ms),
                datatype: Some(Datatype::Boolean as u32),
                value: Some(Value::Boolean(false)),
                ..Metric::default()
            },
            self.lost_metric(now_ms),
        ];
        let about = self.about.clone();
        metrics.extend(
            about
                .into_iter()
                .enumerate()
                .map(|(index, (name, text))| Metric {
                    name: Some(name.to_owned()),
                    alias: Some(REBIRTH_ALIAS + 1 + index as u64),
                    timestamp: Some(now_ms),
                    datatype: Some(Datatype::Text as u32),
                    value: Some(Value::Text(text)),
                    ..Metric::default()
                }),
        );
        self.message(self.topics.node(Kind::NodeBirth), now_ms, metrics)
    }

    fn lost_metric(&self, now_ms: u64) -> Metric {
        Metric {
            name: Some(CHANGES_LOST.to_owned()),
            alias: Some(LOST_ALIAS),
            timestamp: Some(now_ms),
            datatype: Some(Datatype::UInt64 as u32),
            value: Some(Value::Long(self.lost)),
            ..Metric::default()
        }
    }

    fn device_birth(&mut self, index: usize, now_ms: u64) -> Message {
        let device = &mut self.devices[index];
        device.born = true;
        device.changed.clear();
        let metrics = device.metrics.values_mut().map(Known::birth).collect();
        let topic = self.topics.device(Kind::DeviceBirth, &device.name);
        self.message(topic, now_ms, metrics)
    }

    fn device_data(&mut self, index: usize, now_ms: u64) -> Message {
        let device = &mut self.devices[index];
        let mut metrics = Vec::new();
        for name in std::mem::take(&mut device.changed) {
            if let Some(known) = device.metrics.get_mut(&name) {
                let quality_changed = known.quality_sent != known.told.quality;
                metrics.push(known.data(quality_changed));
                known.quality_sent = known.told.quality;
            }
        }
        let topic = self.topics.device(Kind::DeviceData, &device.name);
        self.message(topic, now_ms, metrics)
    }

    /// In the order in which it happened, for each device that is there to have a past.
    fn past(&mut self, now_ms: u64) -> Vec<Message> {
        let mut messages = Vec::new();
        let mut waiting: BTreeMap<usize, Vec<Metric>> = BTreeMap::new();
        for Past { device, metric } in std::mem::take(&mut self.history) {
            if !self.devices[device].born {
                continue;
            }
            let metrics = waiting.entry(device).or_default();
            metrics.push(metric);
            if metrics.len() == HISTORY_IN_ONE {
                let metrics = std::mem::take(metrics);
                messages.push(self.past_of(device, now_ms, metrics));
            }
        }
        for (device, metrics) in waiting {
            if !metrics.is_empty() {
                messages.push(self.past_of(device, now_ms, metrics));
            }
        }
        messages
    }

    fn past_of(&mut self, device: usize, now_ms: u64, metrics: Vec<Metric>) -> Message {
        let name = &self.devices[device].name;
        let topic = self.topics.device(Kind::DeviceData, name);
        self.message(topic, now_ms, metrics)
    }

    /// Every message of a session bears the number after the one before it, and after 255 comes 0.
    fn message(&mut self, topic: String, now_ms: u64, metrics: Vec<Metric>) -> Message {
        let seq = self.seq;
        self.seq = seq.wrapping_add(1);
        let payload = Payload {
            timestamp: Some(now_ms),
            metrics,
            seq: Some(seq.into()),
        };
        Message {
            topic,
            payload: payload.to_bytes(),
        }
    }
}

#[cfg(test)]
mod tests;
