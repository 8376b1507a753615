//! The keys of a scenario that describe instruments, how good they are, and where they are read.
//!
//! Register and topic keys are those of the `lauterd` configuration, so that one can be made from the other.

use lauter_core::reading::{Measures, Status};
use lauter_core::units::Unit;
use serde::{Deserialize, Serialize};

/// One instrument. Noise, lag, bias, drift and resolution are in `unit`, or in the span's unit for a loop.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Instrument {
    pub id: String,
    pub measures: Measures,
    pub unit: Unit,
    /// Span of a 4–20 mA loop.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub span: Option<Span>,
    /// Instrument that compensates this one's temperature; only passed on to `lauterd`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub temperature: Option<String>,
    /// Physical limits in `unit`; passed on to `lauterd`, and a value register cannot leave them by noise.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub low: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub high: Option<f64>,
    #[serde(default = "default_stale_after_s")]
    pub stale_after_s: f64,
    /// Sampling interval, s.
    #[serde(default = "default_every_s")]
    pub every_s: f64,
    /// Standard deviation of one sample.
    #[serde(default)]
    pub noise: f64,
    /// First-order lag, s.
    #[serde(default)]
    pub lag_s: f64,
    /// Constant error.
    #[serde(default)]
    pub bias: f64,
    /// Factor on the true value; 1.005 reads half a percent high.
    #[serde(default = "default_gain")]
    pub gain: f64,
    /// Drift per hour.
    #[serde(default)]
    pub drift_per_h: f64,
    /// Smallest step of the display; 0 for none.
    #[serde(default)]
    pub resolution: f64,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub bubbles: Option<Bubbles>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub dropouts: Option<Dropouts>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub modbus: Option<ModbusPoint>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mqtt: Option<MqttPoint>,
}

fn default_stale_after_s() -> f64 {
    10.0
}

fn default_every_s() -> f64 {
    1.0
}

fn default_gain() -> f64 {
    1.0
}

/// A current loop's span, in `unit`.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Span {
    pub unit: Unit,
    pub at_4_ma: f64,
    pub at_20_ma: f64,
}

/// Gas bubbles in a line: readings fall in bursts.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Bubbles {
    /// Bursts in an hour.
    pub per_h: f64,
    /// Mean duration of a burst, s.
    pub burst_s: f64,
    /// Mean fall of a sample within a burst.
    pub depth: f64,
}

/// Moments without an answer.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Dropouts {
    pub per_h: f64,
    /// Mean duration, s.
    pub for_s: f64,
}

#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Table {
    #[default]
    Input,
    Holding,
    Discrete,
    Coil,
}

#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ValueType {
    U16,
    I16,
    U32,
    I32,
    #[default]
    F32,
    U64,
    I64,
    F64,
    Bit,
}

impl ValueType {
    /// Number of 16-bit words; none for a bit.
    pub fn words(self) -> u16 {
        match self {
            Self::Bit => 0,
            Self::U16 | Self::I16 => 1,
            Self::U32 | Self::I32 | Self::F32 => 2,
            Self::U64 | Self::I64 | Self::F64 => 4,
        }
    }
}

#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "UPPERCASE")]
pub enum ByteOrder {
    #[default]
    Abcd,
    Cdab,
    Badc,
    Dcba,
}

/// Where an instrument stands in the register map.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ModbusPoint {
    pub link: String,
    #[serde(default = "default_unit_id")]
    pub unit_id: u8,
    #[serde(default)]
    pub table: Table,
    /// Zero-based protocol address.
    pub address: u16,
    #[serde(default, rename = "type")]
    pub value_type: ValueType,
    #[serde(default)]
    pub byte_order: ByteOrder,
    /// value = raw × scale + offset
    #[serde(default = "default_gain")]
    pub scale: f64,
    #[serde(default)]
    pub offset: f64,
    /// How often `lauterd` is to ask.
    #[serde(default = "default_every_ms")]
    pub every_ms: u32,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub status: Option<StatusRegister>,
}

fn default_unit_id() -> u8 {
    1
}

fn default_every_ms() -> u32 {
    1000
}

/// A 16-bit register whose bits stand for NE 107 classes.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StatusRegister {
    pub address: u16,
    /// Bit number as a key ("0" to "15"), its class as the value.
    pub bits: std::collections::BTreeMap<String, Status>,
}

/// Where an instrument publishes.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MqttPoint {
    pub topic: String,
    /// JSON Pointer of the value; without it the payload is a plain number.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pointer: Option<String>,
    /// JSON Pointer of the time of measurement.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub time_pointer: Option<String>,
}

/// A Modbus server of this brewhouse, seen by `lauterd` as a link. Exactly one of the three transports.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ModbusLink {
    pub name: String,
    /// host:port
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tcp: Option<String>,
    /// host:port of a gateway that passes RTU frames through
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rtu_over_tcp: Option<String>,
    /// Serial device.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rtu: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub baud: Option<u32>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub parity: Option<Parity>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stop_bits: Option<u8>,
    #[serde(default = "default_timeout_ms")]
    pub timeout_ms: u32,
}

fn default_timeout_ms() -> u32 {
    800
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Parity {
    None,
    Even,
    Odd,
}

/// The broker.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Mqtt {
    #[serde(default = "default_host")]
    pub host: String,
    #[serde(default = "default_mqtt_port")]
    pub port: u16,
}

fn default_host() -> String {
    "127.0.0.1".to_owned()
}

fn default_mqtt_port() -> u16 {
    1883
}

/// The time-series database.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Influx {
    pub url: String,
    pub organisation: String,
    pub bucket: String,
}
