//! The names of what can be found wrong, as other programs see them.
//!
//! Owns the identifiers alone. They stand here because detection speaks of them first; the alarm table and the
//! state machine, which come after it, are keyed by them.

use serde::{Deserialize, Serialize};

/// Names a condition and the alarm that announces it.
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
