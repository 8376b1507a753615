//! Publishers: MQTT, Sparkplug B and InfluxDB.

pub mod influx;
pub mod mqtt;
pub mod sparkplug;
