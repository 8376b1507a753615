//! Alarm definitions and the state machine of IEC 62682 / ISA-18.2.

mod identity;

pub use identity::{AlarmId, AlarmState, Priority};
