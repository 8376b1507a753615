//! Publishers: MQTT and InfluxDB.
