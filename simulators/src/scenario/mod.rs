//! A scenario: one brewhouse, one brew, what happens during it, and the instruments that watch.
//!
//! Owns the file format and its defaults. `check` finds what is physically impossible, `draw` invents
//! brewhouses for seeded studies. Must not know how any of it is simulated.

mod check;
pub mod disturbance;
pub mod draw;
mod draw_family;
mod draw_instruments;
mod instruments;
mod process;
mod ranges;

use serde::{Deserialize, Serialize};

use crate::fault::Fault;
pub use disturbance::Disturbance;
pub use instruments::{
    Bubbles, ByteOrder, Dropouts, Influx, Instrument, ModbusLink, ModbusPoint, Mqtt, MqttPoint,
    Parity, Span, StatusRegister, Table, ValueType,
};
pub use process::{Bed, Kettle, Plan, Run, Setpoint, Sparge, SpargeMode, Tun, Wort};

/// One simulated brewhouse and brew.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Scenario {
    /// File name of the scenario without its ending; names the brewhouse's `lauterd` files.
    pub name: String,
    /// Site in the `lauterd` configuration.
    #[serde(default = "default_site")]
    pub site: String,
    /// Seed of the run when none is given.
    #[serde(default = "default_seed")]
    pub seed: u64,
    /// Address of `lauterd`'s page.
    #[serde(default = "default_web_listen")]
    pub web_listen: String,
    /// The brewer's plan, as in a `lauterd` plan file.
    pub plan: Plan,
    pub tun: Tun,
    #[serde(default)]
    pub bed: Bed,
    #[serde(default)]
    pub sparge: Sparge,
    pub kettle: Kettle,
    #[serde(default)]
    pub wort: Wort,
    #[serde(default)]
    pub run: Run,
    /// What happens, and when.
    #[serde(default, rename = "event", skip_serializing_if = "Vec::is_empty")]
    pub events: Vec<Event>,
    #[serde(default, rename = "instrument")]
    pub instruments: Vec<Instrument>,
    #[serde(default, rename = "modbus_link", skip_serializing_if = "Vec::is_empty")]
    pub modbus_links: Vec<ModbusLink>,
    /// Broker of the instruments that publish over MQTT; `lauterd` publishes there too.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mqtt: Option<Mqtt>,
    /// Time-series database that `lauterd` writes to; nothing is simulated for it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub influx: Option<Influx>,
}

/// Something that happens at a moment of the run.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Event {
    /// Seconds after the start of the run.
    pub at_s: f64,
    /// For example `what = { channel = { share = 0.4, over_s = 120 } }`.
    pub what: Fault,
}

/// What is wrong with a scenario.
#[derive(Debug, thiserror::Error)]
pub enum ScenarioError {
    /// Not TOML, an unknown key, a missing key or a value of the wrong kind. The text names line and key.
    #[error("{0}")]
    Syntax(Box<toml::de::Error>),
    /// Every value that cannot be, all at once.
    #[error("{}", .0.iter().map(ToString::to_string).collect::<Vec<_>>().join("\n"))]
    Values(Vec<ScenarioFault>),
}

/// One impossible value.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ScenarioFault {
    /// Path of the key, for example `bed.peclet` or `instrument[3].modbus.link`.
    pub key: String,
    /// Line of the file, when the scenario came from one and the key stands in it.
    pub line: Option<usize>,
    pub message: String,
}

impl std::fmt::Display for ScenarioFault {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self.line {
            Some(line) => write!(f, "line {line}: {}: {}", self.key, self.message),
            None => write!(f, "{}: {}", self.key, self.message),
        }
    }
}

impl Scenario {
    /// Reads and checks a scenario. Errors name key and line.
    pub fn from_toml(text: &str) -> Result<Self, ScenarioError> {
        let scenario: Self =
            toml::from_str(text).map_err(|error| ScenarioError::Syntax(Box::new(error)))?;
        let mut faults = check::faults(&scenario);
        if faults.is_empty() {
            return Ok(scenario);
        }
        for fault in &mut faults {
            fault.line = check::line_of(text, &fault.key);
        }
        Err(ScenarioError::Values(faults))
    }

    /// The scenario of the demonstration: a calm brew in which a channel opens at mid sparge and is raked shut.
    pub fn demonstration() -> Self {
        Self::from_toml(include_str!("../../scenarios/orchard-ale-channel.toml"))
            .expect("a test reads every scenario of ours")
    }

    /// Everything impossible in this scenario; empty when it can be run.
    pub fn faults(&self) -> Vec<ScenarioFault> {
        check::faults(self)
    }

    /// The scenario as a file with every key.
    pub fn to_toml(&self) -> String {
        toml::to_string_pretty(self).expect("a scenario holds only tables, numbers and strings")
    }

    /// A plausible ordinary brew: no fault of process or instruments. See [`draw`].
    pub fn draw(seed: u64) -> Self {
        draw::ordinary(seed)
    }

    /// The brew with this number (from 0) on the tun of [`Scenario::draw`]: the same brewhouse, bed and instruments
    /// with another recipe.
    pub fn draw_brew(tun_seed: u64, number: u32) -> Self {
        draw_family::brew(tun_seed, number)
    }

    /// The brew of [`Scenario::draw`] with one thing going wrong at a random moment.
    /// None where the brewhouse lacks what the fault needs.
    pub fn draw_disturbed(seed: u64, disturbance: Disturbance) -> Option<Self> {
        disturbance::disturbed(seed, disturbance)
    }
}

fn default_site() -> String {
    "simulated".to_owned()
}

fn default_seed() -> u64 {
    1
}

fn default_web_listen() -> String {
    "127.0.0.1:8320".to_owned()
}
