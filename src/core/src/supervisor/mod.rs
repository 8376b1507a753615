//! The one engine: events and a time in, outputs out.

mod event;
mod output;

pub use event::{Event, LinkState, OperatorAction, Place, Sample};
pub use output::{
    AlarmLine, Band, ConditionedReading, Crossing, Dated, Line, Occurrence, Output, Phase,
    ProjectionLine, RunoffState, Stop, StopCause, SummaryLine, TableLine,
};
