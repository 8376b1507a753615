//! The configuration after it has been read, completed with defaults and found right.
//!
//! Owns the shapes the rest of the shell works with. Nothing here is optional that the service needs to run,
//! so no consumer repeats a default.

use std::collections::BTreeMap;
use std::net::SocketAddr;
use std::path::PathBuf;
use std::time::Duration;

use lauter_core::alarm::{AlarmId, Priority};
use lauter_core::reading::{Instrument, Status};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

pub use super::tables::{DecimalMark, GravityUnit, Language, VolumeUnit};

/// One tun's configuration: one file.
#[derive(Clone, Debug)]
pub struct Configuration {
    pub file: PathBuf,
    pub site: String,
    pub tun: Tun,
    pub kettle: Kettle,
    /// Same order as in the file; an instrument's index here is its index in the core.
    pub instruments: Vec<ConfiguredInstrument>,
    pub modbus_links: Vec<ModbusLink>,
    pub store: Store,
    pub web: Web,
    pub mqtt: Option<Mqtt>,
    pub influx: Option<Influx>,
    pub alarms: BTreeMap<AlarmId, AlarmSettings>,
    pub watch: Watch,
    pub projection: Projection,
}

#[derive(Clone, Debug)]
pub struct Tun {
    pub name: String,
    pub bed_area_m2: f64,
    pub pipe_volume_l: f64,
    pub pressure_drop_limit_kpa: f64,
}

#[derive(Clone, Debug)]
pub struct Kettle {
    pub capacity_l: f64,
    pub heel_l: f64,
    /// Ascending in reading: (reading in the level instrument's unit, volume in L). Empty: the unit decides.
    pub strapping: Vec<(f64, f64)>,
}

#[derive(Clone, Debug)]
pub struct ConfiguredInstrument {
    pub instrument: Instrument,
    pub source: Source,
}

/// Where an instrument's readings come from.
#[derive(Clone, Debug)]
pub enum Source {
    Modbus(ModbusPoint),
    Mqtt(MqttPoint),
    /// Replay only.
    Recorded,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Table {
    Input,
    Holding,
    Discrete,
    Coil,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum ValueType {
    U16,
    I16,
    U32,
    I32,
    F32,
    U64,
    I64,
    F64,
    Bit,
}

/// Order of the bytes of a 32-bit value on the wire; 64-bit values extend it the same way (ABCDEFGH,
/// GHEFCDAB, BADCFEHG, HGFEDCBA).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "UPPERCASE")]
pub enum ByteOrder {
    Abcd,
    Cdab,
    Badc,
    Dcba,
}

#[derive(Clone, Debug)]
pub struct ModbusPoint {
    /// Index into `Configuration::modbus_links`.
    pub link: usize,
    pub unit_id: u8,
    pub table: Table,
    /// Zero-based protocol address.
    pub address: u16,
    pub value_type: ValueType,
    pub byte_order: ByteOrder,
    pub scale: f64,
    pub offset: f64,
    pub every: Duration,
    pub status: Option<StatusRegister>,
}

/// A 16-bit register (same unit and table) whose bits stand for NE 107 classes; the worst set bit counts.
#[derive(Clone, Debug)]
pub struct StatusRegister {
    pub address: u16,
    /// Bit number 0–15 and its class.
    pub bits: Vec<(u8, Status)>,
}

#[derive(Clone, Debug)]
pub struct MqttPoint {
    pub topic: String,
    /// JSON Pointer (RFC 6901); without it the payload is a plain number.
    pub pointer: Option<String>,
    /// JSON Pointer to the instrument's own timestamp (RFC 3339, or seconds or milliseconds since 1970).
    pub time_pointer: Option<String>,
}

#[derive(Clone, Debug)]
pub struct ModbusLink {
    pub name: String,
    pub transport: Transport,
    pub timeout: Duration,
}

#[derive(Clone, Debug)]
pub enum Transport {
    /// host:port
    Tcp(String),
    /// host:port of a gateway that passes RTU frames through
    RtuOverTcp(String),
    Rtu {
        path: String,
        baud: u32,
        parity: Parity,
        stop_bits: u8,
    },
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Parity {
    None,
    Even,
    Odd,
}

#[derive(Clone, Debug)]
pub struct Store {
    pub directory: PathBuf,
    /// Raw and conditioned readings older than this are removed; brews, tables, alarms and samples stay.
    pub keep_readings_days: f64,
    /// Whole brews older than this are removed; None keeps them.
    pub keep_brews_days: Option<f64>,
}

#[derive(Clone, Debug)]
pub struct Web {
    pub enabled: bool,
    pub listen: SocketAddr,
    /// The name people reach it by, beside its addresses.
    pub host_name: Option<String>,
    /// Users and tokens; None: nobody signs in.
    pub users_file: Option<PathBuf>,
    /// None: connections are not encrypted.
    pub certificate: Option<Certificate>,
    /// How long a person stays signed in.
    pub session: Duration,
    /// The same for somebody who may only watch.
    pub watch_session: Duration,
    pub display: Display,
}

/// What the page proves its identity with.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Certificate {
    /// PEM, the certificate first.
    pub chain: PathBuf,
    /// PEM in PKCS #8 form.
    pub key: PathBuf,
}

/// How the page and the report speak: language, units, decimal mark.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Display {
    pub language: Language,
    pub gravity: GravityUnit,
    pub volume: VolumeUnit,
    pub decimal: DecimalMark,
}

/// Broker for publishing and for instruments that read from MQTT.
#[derive(Clone, Debug)]
pub struct Mqtt {
    pub host: String,
    pub port: u16,
    pub client_id: String,
    pub username: Option<String>,
    /// Already read from its file or credential.
    pub password: Option<Secret>,
    pub tls: bool,
    /// PEM file of the authority that signed the broker's certificate; None uses the system's.
    pub ca_file: Option<PathBuf>,
    pub keep_alive: Duration,
    /// False: only subscribe to instruments.
    pub publish: bool,
    /// Least seconds between two `reading` messages of one instrument.
    pub reading_every: Duration,
    /// Whether commands are taken from the broker.
    pub commands: bool,
}

#[derive(Clone, Debug)]
pub struct Influx {
    pub url: String,
    pub organisation: String,
    pub bucket: String,
    pub token: Option<Secret>,
    pub timeout: Duration,
    /// Points are sent at least this often.
    pub every: Duration,
    /// Largest number of points in one request.
    pub batch: usize,
}

/// A password or token. Never shown by `Debug`.
#[derive(Clone, PartialEq, Eq)]
pub struct Secret(pub String);

impl std::fmt::Debug for Secret {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("(secret)")
    }
}

/// What `[alarms.<alarm>]` changes; None leaves the definition's own value.
#[derive(Clone, Debug, Default)]
pub struct AlarmSettings {
    pub enabled: Option<bool>,
    pub priority: Option<Priority>,
    pub on_delay_s: Option<f64>,
    pub off_delay_s: Option<f64>,
    /// The threshold, in the alarm's own unit (see `docs/alarms.md`).
    pub limit: Option<f64>,
    pub deadband: Option<f64>,
    pub longest_shelving_min: Option<f64>,
}

#[derive(Clone, Debug)]
pub struct Watch {
    pub table_every_s: f64,
    /// How often the run-off state is published.
    pub runoff_every_s: f64,
    /// How often a conditioned reading is put out, per instrument.
    pub reading_every_s: f64,
    /// Flow below this counts as none.
    pub no_flow_l_min: f64,
    /// Temperature of runnings and kettle where no instrument tells.
    pub assumed_temperature_c: f64,
    /// Refractometer reading over true gravity.
    pub wort_factor: f64,
}

#[derive(Clone, Debug)]
pub struct Projection {
    pub every_s: f64,
    /// `stop-point-ahead` comes this long before.
    pub stop_ahead_s: f64,
    /// `tannin-limit-ahead` comes this long before.
    pub limit_ahead_s: f64,
    /// Temperature of the top-up liquor.
    pub top_up_temperature_c: f64,
}
