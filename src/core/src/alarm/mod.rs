//! Alarm definitions, the state machine of IEC 62682 / ISA-18.2, and how well the alarms serve those who read them.
//!
//! Owns what an alarm is, which states it may be in, how it moves among them, what keeps it quiet by design, and the
//! figures of alarm performance. It does not know when a condition holds; detection tells it.

mod benchmarks;
mod definitions;
mod identity;
mod machine;
mod operation;
mod parameters;
mod performance;
mod suppression;
mod table;

pub use crate::detect::{AlarmId, Phase};
pub use benchmarks::Benchmark;
pub use definitions::{Definition, Standing, Subject, definition};
pub use identity::{AlarmState, Priority};
pub use machine::{Conduct, Machine, Transition};
pub use operation::{OperationFault, OperatorAction};
pub use parameters::{LONGEST_SHELVING_MIN, Parameters, Settings};
pub use performance::{Change, Frequency, Performance, Source, Watch, performance};
pub use suppression::{Bearing, Circumstances, Follows, Hold, Quiet, Reach, Reason};
pub use table::DEFINITIONS;
