//! What the supervisor tells the world, in the shapes other programs rely on.
//!
//! Owns the fields and their order; the shell only wraps them (time, sequence number, topic, row). Numbers are
//! rounded here, once, so that every consumer shows the same figure.

use serde::{Deserialize, Serialize};

pub use crate::detect::Phase;

use crate::profile::BrewLesson;
use crate::projection::{Crossing, Stop, StopCause};
use crate::reading::{Cause, Moment, Status};
use crate::units::Unit;

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct ProjectionLine {
    pub elapsed_s: f64,
    pub kettle_volume_l: f64,
    pub kettle_gravity_p: Option<f64>,
    pub kettle_gravity_se_p: Option<f64>,
    pub target: Option<Crossing>,
    pub gravity_floor: Option<Crossing>,
    pub ph_ceiling: Option<Crossing>,
    pub stop: Option<Stop>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct AlarmLine {
    pub elapsed_s: f64,
    pub alarm: crate::alarm::AlarmId,
    pub instrument: Option<String>,
    pub from: crate::alarm::AlarmState,
    pub to: crate::alarm::AlarmState,
    pub priority: crate::alarm::Priority,
    pub message: String,
    pub advice: String,
    /// Named numbers behind the alarm, unit last in each name.
    pub evidence: std::collections::BTreeMap<String, f64>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct TableLine {
    pub elapsed_s: f64,
    pub runnings_gravity_p: Option<f64>,
    pub runnings_ph: Option<f64>,
    pub kettle_volume_l: f64,
    pub kettle_gravity_p: Option<f64>,
    pub flow_l_min: Option<f64>,
    pub pressure_drop_kpa: Option<f64>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct SummaryLine {
    pub stop_volume_l: Option<f64>,
    pub stop_elapsed_s: Option<f64>,
    pub stop_cause: StopCause,
    pub kettle_gravity_p: Option<f64>,
    pub extract_kg: Option<f64>,
    pub brew_length_l_per_kg: Option<f64>,
    pub readings: u64,
    pub rejected: u64,
}

/// A line of the replay's output and of the record.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum Line {
    Projection(ProjectionLine),
    Alarm(AlarmLine),
    Table(TableLine),
    Summary(SummaryLine),
}

/// A reading after conditioning.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct ConditionedReading {
    pub instrument: String,
    /// Filtered value in `unit`; null when there is none.
    pub value: Option<f64>,
    pub unit: Unit,
    pub standard_error: Option<f64>,
    pub rate_per_min: Option<f64>,
    pub status: Status,
    /// Why there is no value, or why the last raw reading was not used.
    pub cause: Option<Cause>,
    /// The reading as it came, in the instrument's own unit.
    pub raw: Option<f64>,
    /// The same in `unit`, with its zero and before any correction; null when it could not be taken.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub measured: Option<f64>,
    /// The same with the correction in force, unfiltered.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub corrected: Option<f64>,
    /// Version of the correction in force.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub correction: Option<u32>,
}

/// The state of the run-off now.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct RunoffState {
    pub elapsed_s: f64,
    pub brew: String,
    pub phase: Phase,
    pub runnings_gravity_p: Option<f64>,
    pub runnings_gravity_se_p: Option<f64>,
    pub runnings_ph: Option<f64>,
    pub runnings_temperature_c: Option<f64>,
    pub flow_l_min: Option<f64>,
    pub pressure_drop_kpa: Option<f64>,
    pub kettle_volume_l: f64,
    pub kettle_gravity_p: Option<f64>,
    pub kettle_gravity_se_p: Option<f64>,
    pub extract_kg: Option<f64>,
    /// None while the kettle is empty.
    pub if_stopped_now: Option<IfStopped>,
}

/// What the kettle would need if the run-off were stopped now.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct IfStopped {
    /// Liquor that brings the kettle down to its target, as far as there is room for it, L.
    pub top_up_l: f64,
    /// Kettle volume with it, L.
    pub final_volume_l: f64,
    /// Share of the kettle's mass to boil off where it is below the target, %.
    pub boil_off_percent: f64,
    pub brew_length_l_per_kg: f64,
}

/// Something that happened and belongs in the record: brew started, phase changed, sample taken.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Occurrence {
    pub elapsed_s: Option<f64>,
    pub event: String,
    pub text: String,
}

/// Everything `poll_output` can return.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub enum Output {
    Line(Line),
    /// An alarm that stands as it did, with its text of now: for those who show it, not for the record of changes.
    Renewed(AlarmLine),
    Reading(ConditionedReading),
    Runoff(RunoffState),
    Occurrence(Occurrence),
    /// What a finished brew teaches about its tun, for the keeper of its profile. Once, at the end.
    Lesson(Box<BrewLesson>),
}

/// An output with the moment it belongs to.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Dated {
    pub at: Moment,
    pub output: Output,
}
