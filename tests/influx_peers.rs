//! The InfluxDB publisher against a scripted server and against two real ones.
//!
//! The real ones are Debian's `influxdb` 1.6, whose parser is strict and so proves the lines, and Debian's
//! `victoria-metrics`, which takes anything and so proves only the v2 write call. Absent peers are skipped with
//! a notice; with `LAUTERD_PEERS=1` their absence is a failure.

#[path = "influx/http.rs"]
mod http;
#[path = "influx/peers.rs"]
mod peers;
#[path = "influx/script.rs"]
mod script;
#[path = "influx/scripted.rs"]
mod scripted;
