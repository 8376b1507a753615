//! What can be said about the instruments' broker connection at any moment.
//!
//! Owns the counts and the last bad payloads; the task writes, everyone else takes a copy. It decides nothing.

use std::collections::BTreeMap;
use std::sync::{Mutex, MutexGuard, PoisonError};

use crate::broker::Fault;

/// Shared between the adapter and whoever shows its state.
#[derive(Debug, Default)]
pub struct MqttIngestHealth {
    state: Mutex<MqttIngestState>,
}

/// Counts since the start.
#[derive(Clone, Debug, Default, PartialEq, Eq, serde::Serialize)]
pub struct MqttIngestState {
    /// The broker has accepted the connection and at least one subscription.
    pub connected: bool,
    /// Why there is no connection; none while there is one.
    pub fault: Option<Fault>,
    /// Connections the broker accepted.
    pub connections: u64,
    /// Readings with a value handed to the runtime.
    pub readings: u64,
    /// Retained messages that were no reading: old values of unknown age.
    pub retained_ignored: u64,
    /// Readings dated at their arrival because their own time could not be believed.
    pub own_times_refused: u64,
    /// By the topic in the configuration.
    pub topics: BTreeMap<String, TopicState>,
}

#[derive(Clone, Debug, Default, PartialEq, Eq, serde::Serialize)]
pub struct TopicState {
    pub messages: u64,
    /// Payloads without a usable value, counted for each instrument that wanted one.
    pub bad_payloads: u64,
    /// The first printable characters of the last bad payload, and what is wrong with it.
    pub last_bad: Option<BadPayload>,
    /// The broker refuses the subscription: its access list does not let this user read the topic.
    pub refused: bool,
}

#[derive(Clone, Debug, PartialEq, Eq, serde::Serialize)]
pub struct BadPayload {
    pub excerpt: String,
    pub error: String,
}

impl MqttIngestHealth {
    pub fn snapshot(&self) -> MqttIngestState {
        self.lock().clone()
    }

    pub(super) fn update(&self, change: impl FnOnce(&mut MqttIngestState)) {
        change(&mut self.lock());
    }

    /// Counts stay usable even if a thread panicked while it held them.
    fn lock(&self) -> MutexGuard<'_, MqttIngestState> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl MqttIngestState {
    pub(super) fn topic(&mut self, topic: &str) -> &mut TopicState {
        self.topics.entry(topic.to_owned()).or_default()
    }
}
