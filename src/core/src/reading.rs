//! A value, or the cause why there is none; its time, its status, and the instrument that gave it.
//!
//! Owns the vocabulary in which readings travel from the shell into the core. Missing data is a value with a
//! cause and never NaN, so that every consumer has to say what it does without the value. Must not know
//! protocols: a register or a topic is the shell's concern.

use serde::{Deserialize, Serialize};

use crate::units::{Dimension, Unit, loop_to_span};

/// A point on the shell's monotone time axis, µs. The core never asks for it: it is always an argument.
#[derive(
    Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize,
)]
#[serde(transparent)]
pub struct Moment(pub i64);

impl Moment {
    pub const ZERO: Self = Self(0);

    /// The moment `seconds` after the axis' zero, to the nearest microsecond.
    pub fn from_seconds(seconds: f64) -> Self {
        Self((seconds * 1e6).round() as i64)
    }

    pub fn seconds(self) -> f64 {
        self.0 as f64 / 1e6
    }

    /// Seconds from `earlier` to this moment; negative when `earlier` is later.
    pub fn since(self, earlier: Self) -> f64 {
        (self.0 - earlier.0) as f64 / 1e6
    }

    #[must_use]
    pub fn plus_seconds(self, seconds: f64) -> Self {
        Self(self.0 + (seconds * 1e6).round() as i64)
    }

    /// The first moment after this one.
    #[must_use]
    pub fn next(self) -> Self {
        Self(self.0 + 1)
    }
}

/// What an instrument measures, in the words of the configuration.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum Measures {
    RunningsGravity,
    RunningsTemperature,
    RunningsPh,
    RunningsTurbidity,
    RunoffFlow,
    RunoffTotal,
    SpargeFlow,
    KettleVolume,
    KettleGravity,
    KettleTemperature,
    BedPressureDrop,
    RakeRunning,
    PumpRunning,
    /// Wort goes back to the tun, not to the kettle.
    Recirculating,
}

impl Measures {
    pub const ALL: [Self; 14] = [
        Self::RunningsGravity,
        Self::RunningsTemperature,
        Self::RunningsPh,
        Self::RunningsTurbidity,
        Self::RunoffFlow,
        Self::RunoffTotal,
        Self::SpargeFlow,
        Self::KettleVolume,
        Self::KettleGravity,
        Self::KettleTemperature,
        Self::BedPressureDrop,
        Self::RakeRunning,
        Self::PumpRunning,
        Self::Recirculating,
    ];

    pub fn dimension(self) -> Dimension {
        match self {
            Self::RunningsGravity | Self::KettleGravity => Dimension::Gravity,
            Self::RunningsTemperature | Self::KettleTemperature => Dimension::Temperature,
            Self::RunningsPh => Dimension::Ph,
            Self::RunningsTurbidity => Dimension::Turbidity,
            Self::RunoffFlow | Self::SpargeFlow => Dimension::Flow,
            Self::RunoffTotal | Self::KettleVolume => Dimension::Volume,
            Self::BedPressureDrop => Dimension::Pressure,
            Self::RakeRunning | Self::PumpRunning | Self::Recirculating => Dimension::Switch,
        }
    }
}

/// Instrument status after NAMUR NE 107, plus `good`.
#[derive(
    Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize,
)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum Status {
    #[default]
    Good,
    MaintenanceRequired,
    OutOfSpecification,
    FunctionCheck,
    Failure,
}

/// Why there is no value.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum Cause {
    /// Nothing has been received from this instrument yet.
    NeverRead,
    /// The last reading is older than the instrument's `stale_after_s`.
    Stale,
    /// The link or broker that carries it is down.
    LinkLost,
    /// The device answered with an exception, a wrong word count or another function.
    DeviceError,
    /// A payload or cell that is not a number, or lacks the pointer's member.
    BadPayload,
    /// A number that is not finite.
    NotFinite,
    /// Outside the instrument's physical limits `low`..`high`.
    OutsideLimits,
    /// NE 43: current below 3.6 mA.
    LoopBelowRange,
    /// NE 43: current above 21 mA.
    LoopAboveRange,
    /// NE 107 failure reported by the instrument.
    DeviceFailure,
    /// NE 107 function check: the instrument is being tested and its value is not the process.
    FunctionCheck,
    /// The value has not moved although the process must have moved it.
    Stuck,
    /// A lone outlier against its neighbours (a gas bubble, a burst of noise).
    Spike,
    /// The value has jumped from one reading to the next although the process cannot.
    Jumped,
    /// The instrument that compensates this one has no value.
    MissingCompensation,
}

impl Cause {
    pub const ALL: [Self; 15] = [
        Self::NeverRead,
        Self::Stale,
        Self::LinkLost,
        Self::DeviceError,
        Self::BadPayload,
        Self::NotFinite,
        Self::OutsideLimits,
        Self::LoopBelowRange,
        Self::LoopAboveRange,
        Self::DeviceFailure,
        Self::FunctionCheck,
        Self::Stuck,
        Self::Spike,
        Self::Jumped,
        Self::MissingCompensation,
    ];
}

/// A switch's value: instruments send 0/1, some as 0.0000/1.0000.
pub fn switch_is_on(value: f64) -> bool {
    value >= 0.5
}

/// One reading as it enters the core: in the instrument's own unit, or the cause of its absence.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Reading {
    pub value: Result<f64, Cause>,
    pub status: Status,
    /// When it was measured (the instrument's own time if it has one, else its arrival).
    pub at: Moment,
}

/// A current loop's span: the value at 4 mA and at 20 mA, in `unit`.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct Span {
    pub unit: Unit,
    pub at_4_ma: f64,
    pub at_20_ma: f64,
}

/// An instrument as the core knows it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Instrument {
    pub id: String,
    pub measures: Measures,
    pub unit: Unit,
    /// Present exactly when `unit` is mA.
    pub span: Option<Span>,
    /// Index of the instrument that compensates this one's temperature.
    pub temperature: Option<usize>,
    /// Physical limits in `unit`; outside is a fault, not a value. Absent for switches.
    pub low: Option<f64>,
    pub high: Option<f64>,
    pub stale_after_s: f64,
    /// Reading of a pressure drop with the bed at rest, in `unit`; subtracted from every value.
    pub zero: f64,
    /// Name of the Modbus link or "mqtt" that carries it; none in replay.
    pub link: Option<String>,
}

impl Instrument {
    /// Unit of its values: its own, or its span's for a current loop.
    pub fn reads_in(&self) -> Unit {
        self.span.map_or(self.unit, |span| span.unit)
    }

    /// Its physical limits in that unit, with its zero; none for a switch.
    pub fn limits(&self) -> Option<(f64, f64)> {
        let ends = [self.low? - self.zero, self.high? - self.zero];
        let Some(span) = self.span else {
            return Some((ends[0], ends[1]));
        };
        let ends = ends.map(|current_ma| loop_to_span(current_ma, span.at_4_ma, span.at_20_ma));
        Some((ends[0].min(ends[1]), ends[0].max(ends[1])))
    }

    /// What it is set to measure, in that unit: the span of a current loop, whose limits reach beyond it (NAMUR NE 43);
    /// else its limits. None for a switch.
    pub fn range(&self) -> Option<(f64, f64)> {
        match self.span {
            Some(span) => {
                let (one, other) = (span.at_4_ma, span.at_20_ma);
                Some((one.min(other), one.max(other)))
            }
            None => self.limits(),
        }
    }
}
