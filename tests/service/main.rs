//! The whole program at work: `lauterd run` and the service inside it, watching a simulated brewhouse over real
//! Modbus and MQTT, with a real broker and real databases.
//!
//! Owns what only the whole can show: what arrives outside, that live and replayed runs agree, how the service
//! ends, and what it does after it was killed. Absent peers are skipped with a notice; with `LAUTERD_PEERS=1` their
//! absence is a failure.

mod agreement;
mod alarms;
mod beginnings;
mod brewhouse;
mod clocks;
mod commands;
mod commissioning;
mod corrected;
mod damaged;
mod databases;
mod disk;
mod endings;
mod endurance;
mod fleet;
mod http;
mod in_memory;
mod interface;
mod kills;
#[allow(dead_code, reason = "shared with the tests of the MQTT adapters")]
#[path = "../mosquitto/mod.rs"]
mod mosquitto;
mod outages;
mod owed;
mod peer;
mod played;
mod probing;
mod program;
mod published;
mod queries;
mod read_only;
mod reload;
mod restart;
mod sparkplug;
mod standstill;
mod unreadable;
