//! Publishers: MQTT and InfluxDB.

pub mod mqtt;
pub mod influx;
