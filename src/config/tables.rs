//! The configuration file as it is written: every table and key, with unit, range, default and meaning.
//!
//! Owns the one description from which the checks, the JSON Schema, the reference page and the environment
//! variables all follow. A key is described by its Rust type and its `schemars` attributes; `shape` checks a
//! file against them and fills in the defaults. Every field is optional here, because whatever is missing or
//! wrong has been reported by then and the rest is still to be checked. What several keys mean together is
//! the concern of `resolve`.

mod web;

use std::collections::BTreeMap;

use lauter_core::alarm::{AlarmId, Priority};
use lauter_core::reading::{Measures, Status};
use lauter_core::units::Unit;
use schemars::JsonSchema;
use serde::Deserialize;
use serde_json::Map;

use super::model::{ByteOrder, Parity, Table, ValueType};
pub use web::{DecimalMark, GravityUnit, Language, VolumeUnit, WebTable};

mod services;

pub use services::{InfluxTable, MqttTable, SparkplugTable};

/// Configuration of lauterd for one tun.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RootTable {
    /// Where the tun stands.
    #[schemars(required)]
    pub site: Option<SiteTable>,
    /// The lauter tun.
    #[schemars(required)]
    pub tun: Option<TunTable>,
    /// The kettle that the run-off fills.
    #[schemars(required)]
    pub kettle: Option<KettleTable>,
    /// The instruments, one `[[instrument]]` each; at least one.
    #[schemars(required, length(min = 1))]
    pub instrument: Option<Vec<InstrumentTable>>,
    /// The lines to Modbus devices, one `[[modbus_link]]` each.
    pub modbus_link: Option<Vec<ModbusLinkTable>>,
    /// The record.
    #[schemars(extend("default" = Map::new()))]
    pub store: Option<StoreTable>,
    /// The page for the tun side and its programming interface.
    #[schemars(extend("default" = Map::new()))]
    pub web: Option<WebTable>,
    /// The MQTT broker to publish to and to read instruments from. Without this table there is none.
    pub mqtt: Option<MqttTable>,
    /// Publishes to the same broker as Sparkplug B too. Without this table it does not; needs `[mqtt]`.
    pub sparkplug: Option<SparkplugTable>,
    /// The time-series database to write to. Without this table there is none.
    pub influx: Option<InfluxTable>,
    /// What this tun changes in an alarm's definition, one `[alarms.<alarm>]` each.
    pub alarms: Option<BTreeMap<AlarmId, AlarmTable>>,
    /// What the supervisor puts out, and how often.
    #[schemars(extend("default" = Map::new()))]
    pub watch: Option<WatchTable>,
    /// The projected stop-point.
    #[schemars(extend("default" = Map::new()))]
    pub projection: Option<ProjectionTable>,
}

#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SiteTable {
    /// Name of the site: a level of every MQTT topic, and part of the tun profile's key.
    #[schemars(required, extend("format" = "name"))]
    pub name: Option<String>,
}

#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct TunTable {
    /// Name of the tun: a level of every MQTT topic, and part of the tun profile's key.
    #[schemars(required, extend("format" = "name"))]
    pub name: Option<String>,
    /// Area of the grain bed, m².
    #[schemars(required, range(min = 0.01, max = 500.0))]
    pub bed_area_m2: Option<f64>,
    /// Volume between the grain bed and the runnings instruments, L. It dates what happened in the bed; the
    /// kettle balance does not shift by it.
    #[schemars(range(min = 0.0, max = 10_000.0), extend("default" = 0.0))]
    pub pipe_volume_l: Option<f64>,
    /// Largest pressure drop over the bed that the tun is run at, kPa.
    #[schemars(range(min = 0.05, max = 100.0), extend("default" = 2.5))]
    pub pressure_drop_limit_kpa: Option<f64>,
}

#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct KettleTable {
    /// Volume that the kettle may be filled to, L. A `kettle-volume` in % is a percentage of it.
    #[schemars(required, range(min = 1.0, max = 1_000_000.0))]
    pub capacity_l: Option<f64>,
    /// Liquid in the kettle before run-off, L; less than the capacity.
    #[schemars(range(min = 0.0, max = 1_000_000.0), extend("default" = 0.0))]
    pub heel_l: Option<f64>,
    /// Volume for each reading of the level instrument, ascending, two rows or more. Without it the
    /// instrument's unit decides.
    #[schemars(length(min = 2))]
    pub strapping: Option<Vec<StrappingTable>>,
}

#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct StrappingTable {
    /// Reading of the level instrument, in its own `unit`.
    #[schemars(required)]
    pub reading: Option<f64>,
    /// Volume in the kettle at that reading, L.
    #[schemars(required, range(min = 0.0, max = 1_000_000.0))]
    pub volume_l: Option<f64>,
}

#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct InstrumentTable {
    /// Its name in topics, in messages and at the head of a replayed column.
    #[schemars(required, extend("format" = "identifier"))]
    pub id: Option<String>,
    /// The quantity it measures; one instrument for each quantity.
    #[schemars(required)]
    pub measures: Option<Measures>,
    /// Unit of its readings, one that fits the quantity.
    #[schemars(required)]
    pub unit: Option<Unit>,
    /// What the current stands for; needed with the unit mA, and only then.
    pub span: Option<SpanTable>,
    /// The instrument whose temperature compensates this one: needed with kg/m3, and for pH when a plan's
    /// `ph_basis` is "room".
    #[schemars(extend("format" = "identifier"))]
    pub temperature: Option<String>,
    /// Lowest reading that is physically possible, in `unit`; below it is a fault, not a value. Not needed
    /// for bool.
    pub low: Option<f64>,
    /// Highest reading that is physically possible, in `unit`; above it is a fault, not a value. Not needed
    /// for bool.
    pub high: Option<f64>,
    /// A reading older than this counts as none, s. At least twice the reading period; without this key 10 s,
    /// or ten reading periods if that is longer.
    #[schemars(range(min = 0.5, max = 86_400.0))]
    pub stale_after_s: Option<f64>,
    /// What a pressure drop instrument reads with the bed at rest, kPa; taken off every reading.
    #[schemars(range(min = -100.0, max = 100.0))]
    pub zero_kpa: Option<f64>,
    /// Reads it over Modbus. An instrument with neither `modbus` nor `mqtt` serves replay only.
    pub modbus: Option<ModbusTable>,
    /// Reads it from MQTT.
    pub mqtt: Option<MqttPointTable>,
}

#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SpanTable {
    /// Unit of the two values, one that fits the quantity.
    #[schemars(required)]
    pub unit: Option<Unit>,
    /// Value at 4 mA.
    #[schemars(required)]
    pub at_4_ma: Option<f64>,
    /// Value at 20 mA; other than at 4 mA.
    #[schemars(required)]
    pub at_20_ma: Option<f64>,
}

#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ModbusTable {
    /// Name of the `[[modbus_link]]` it is reached by.
    #[schemars(required, extend("format" = "identifier"))]
    pub link: Option<String>,
    /// Modbus unit identifier: 1 to 247 on a serial line, 0 to 255 over TCP.
    #[schemars(required)]
    pub unit_id: Option<u8>,
    /// Modbus table.
    #[schemars(required)]
    pub table: Option<Table>,
    /// Zero-based protocol address of the first register.
    #[schemars(required)]
    pub address: Option<u16>,
    /// Type of the value; `bit` in the tables discrete and coil, and only there.
    #[schemars(required)]
    pub r#type: Option<ValueType>,
    /// Order of the bytes of a 32-bit value; 64-bit values extend it in the same way.
    #[schemars(extend("default" = "ABCD"))]
    pub byte_order: Option<ByteOrder>,
    /// Reading = register × scale + offset; not 0.
    #[schemars(extend("default" = 1.0))]
    pub scale: Option<f64>,
    /// Added after scaling, in `unit`.
    #[schemars(extend("default" = 0.0))]
    pub offset: Option<f64>,
    /// Reading period, ms.
    #[schemars(range(min = 50, max = 600_000), extend("default" = 1000))]
    pub every_ms: Option<u32>,
    /// A 16-bit register of the same unit and table that tells the instrument's health.
    pub status: Option<StatusTable>,
}

#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct StatusTable {
    /// Zero-based protocol address.
    #[schemars(required)]
    pub address: Option<u16>,
    /// NE 107 class of each bit, "0" (least significant) to "15"; the worst set bit counts.
    #[schemars(required)]
    pub bits: Option<BTreeMap<String, Status>>,
}

#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct MqttPointTable {
    /// Topic it is published on.
    #[schemars(required, extend("format" = "mqtt-topic"))]
    pub topic: Option<String>,
    /// JSON Pointer to the value in the payload; without it the payload is a plain number.
    #[schemars(extend("format" = "json-pointer"))]
    pub pointer: Option<String>,
    /// JSON Pointer to the instrument's own time (RFC 3339, or seconds or milliseconds since 1970).
    #[schemars(extend("format" = "json-pointer"))]
    pub time_pointer: Option<String>,
}

#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ModbusLinkTable {
    /// The name that instruments refer to.
    #[schemars(required, extend("format" = "identifier"))]
    pub name: Option<String>,
    /// Modbus TCP: host:port. Exactly one of `tcp`, `rtu_over_tcp` and `rtu` is given.
    #[schemars(extend("format" = "host-and-port"))]
    pub tcp: Option<String>,
    /// RTU frames through a TCP gateway: host:port.
    #[schemars(extend("format" = "host-and-port"))]
    pub rtu_over_tcp: Option<String>,
    /// Modbus RTU: path of the serial device.
    #[schemars(extend("format" = "path"))]
    pub rtu: Option<String>,
    /// Bits a second, with `rtu` only; without this key 19200 (Modbus over Serial Line V1.02; from memory).
    #[schemars(extend("enum" = [1200, 2400, 4800, 9600, 19200, 38400, 57600, 115_200]))]
    pub baud: Option<u32>,
    /// Parity, with `rtu` only; without this key even (same source).
    pub parity: Option<Parity>,
    /// Stop bits, with `rtu` only; without this key 1, or 2 without parity (same source).
    #[schemars(range(min = 1, max = 2))]
    pub stop_bits: Option<u8>,
    /// How long an answer may take, ms.
    #[schemars(range(min = 20, max = 60_000), extend("default" = 1000))]
    pub timeout_ms: Option<u32>,
}

#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct StoreTable {
    /// Directory of the record. Several tuns may share it.
    #[schemars(extend("format" = "path", "default" = "/var/lib/lauterd"))]
    pub directory: Option<String>,
    /// Raw and conditioned readings older than this are removed, days; brews, tables, alarms and samples stay.
    #[schemars(range(min = 1.0, max = 36_500.0), extend("default" = 400.0))]
    pub keep_readings_days: Option<f64>,
    /// Whole brews older than this are removed, days; without this key they are kept.
    #[schemars(range(min = 1.0, max = 36_500.0))]
    pub keep_brews_days: Option<f64>,
}

/// What is not given stays as the alarm's definition has it.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct AlarmTable {
    /// False takes the alarm out of use.
    pub enabled: Option<bool>,
    /// Priority.
    pub priority: Option<Priority>,
    /// How long the condition must last before the alarm comes, s.
    #[schemars(range(min = 0.0, max = 3600.0))]
    pub on_delay_s: Option<f64>,
    /// How long the condition must be gone before the alarm returns, s.
    #[schemars(range(min = 0.0, max = 3600.0))]
    pub off_delay_s: Option<f64>,
    /// The threshold, in the alarm's own unit (see alarms.md).
    pub limit: Option<f64>,
    /// How far the value must come back behind the threshold, in the alarm's own unit.
    #[schemars(range(min = 0.0))]
    pub deadband: Option<f64>,
    /// How long the alarm may be shelved at most, min (see alarms.md).
    #[schemars(range(min = 1.0, max = 480.0))]
    pub longest_shelving_min: Option<f64>,
}

#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct WatchTable {
    /// Period of the brewer's table, s.
    #[schemars(range(min = 10.0, max = 7200.0), extend("default" = 600.0))]
    pub table_every_s: Option<f64>,
    /// Period at which the state of the run-off is published, s.
    #[schemars(range(min = 0.5, max = 600.0), extend("default" = 5.0))]
    pub runoff_every_s: Option<f64>,
    /// Period at which a conditioned reading is put out, for each instrument, s.
    #[schemars(range(min = 0.1, max = 600.0), extend("default" = 1.0))]
    pub reading_every_s: Option<f64>,
    /// Flow below this counts as none, L/min.
    #[schemars(range(min = 0.001, max = 1000.0), extend("default" = 0.5))]
    pub no_flow_l_min: Option<f64>,
    /// Temperature of runnings and kettle where no instrument tells it, °C.
    #[schemars(range(min = 40.0, max = 100.0), extend("default" = 75.0))]
    pub assumed_temperature_c: Option<f64>,
    /// Refractometer reading over true gravity; the brewery's own (common practice: about 1.04).
    #[schemars(range(min = 0.9, max = 1.2), extend("default" = 1.04))]
    pub wort_factor: Option<f64>,
}

#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ProjectionTable {
    /// Period of the projection, s.
    #[schemars(range(min = 1.0, max = 600.0), extend("default" = 30.0))]
    pub every_s: Option<f64>,
    /// How long before the stop-point `stop-point-ahead` comes, s.
    #[schemars(range(min = 30.0, max = 3600.0), extend("default" = 600.0))]
    pub stop_ahead_s: Option<f64>,
    /// How long before a tannin limit `tannin-limit-ahead` comes, s.
    #[schemars(range(min = 30.0, max = 3600.0), extend("default" = 600.0))]
    pub limit_ahead_s: Option<f64>,
    /// Temperature of the top-up liquor, °C: its volume is counted at this temperature.
    #[schemars(range(min = 1.0, max = 100.0), extend("default" = 75.0))]
    pub top_up_temperature_c: Option<f64>,
}
