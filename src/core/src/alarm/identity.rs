//! The names of alarms, their states and their priorities, as other programs see them.

use serde::{Deserialize, Serialize};

#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum AlarmId {
    Channelling,
    BedCompaction,
    StuckBed,
    GravityFloor,
    PhCeiling,
    TanninLimitAhead,
    StopPointAhead,
    StopPointReached,
    KettleHighLevel,
    RunoffTooFast,
    RunoffTooSlow,
    TurbidRunnings,
    InstrumentFault,
    InstrumentsDisagree,
    LinkLost,
    DeliveryDelayed,
}

impl AlarmId {
    pub const ALL: [Self; 16] = [
        Self::Channelling,
        Self::BedCompaction,
        Self::StuckBed,
        Self::GravityFloor,
        Self::PhCeiling,
        Self::TanninLimitAhead,
        Self::StopPointAhead,
        Self::StopPointReached,
        Self::KettleHighLevel,
        Self::RunoffTooFast,
        Self::RunoffTooSlow,
        Self::TurbidRunnings,
        Self::InstrumentFault,
        Self::InstrumentsDisagree,
        Self::LinkLost,
        Self::DeliveryDelayed,
    ];

    /// The identifier as it stands in configuration, topics and records.
    pub fn name(self) -> &'static str {
        match self {
            Self::Channelling => "channelling",
            Self::BedCompaction => "bed-compaction",
            Self::StuckBed => "stuck-bed",
            Self::GravityFloor => "gravity-floor",
            Self::PhCeiling => "ph-ceiling",
            Self::TanninLimitAhead => "tannin-limit-ahead",
            Self::StopPointAhead => "stop-point-ahead",
            Self::StopPointReached => "stop-point-reached",
            Self::KettleHighLevel => "kettle-high-level",
            Self::RunoffTooFast => "runoff-too-fast",
            Self::RunoffTooSlow => "runoff-too-slow",
            Self::TurbidRunnings => "turbid-runnings",
            Self::InstrumentFault => "instrument-fault",
            Self::InstrumentsDisagree => "instruments-disagree",
            Self::LinkLost => "link-lost",
            Self::DeliveryDelayed => "delivery-delayed",
        }
    }
}

/// The states of IEC 62682 / ISA-18.2.
#[derive(
    Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize,
)]
#[serde(rename_all = "kebab-case")]
pub enum AlarmState {
    #[default]
    Normal,
    Unacknowledged,
    Acknowledged,
    ReturnedUnacknowledged,
    Shelved,
    Suppressed,
    OutOfService,
}

/// ISA-18.2 asks for few priorities, set by consequence and time to respond.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum Priority {
    Low,
    Medium,
    High,
    Critical,
}
