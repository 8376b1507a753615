//! Publishers: MQTT and InfluxDB.

pub mod mqtt;
