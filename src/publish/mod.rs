//! Publishers: MQTT and InfluxDB.

pub mod influx;
