//! Publishers: MQTT and InfluxDB.

pub mod influx;
pub mod mqtt;
