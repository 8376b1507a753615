//! The one engine: events and a time in, outputs out.

mod event;
mod output;

pub use crate::projection::{Band, Crossing, Stop, StopCause};
pub use event::{Event, LinkState, OperatorAction, Place, Sample};
pub use output::{
    AlarmLine, ConditionedReading, Dated, Line, Occurrence, Output, Phase, ProjectionLine,
    RunoffState, SummaryLine, TableLine,
};
