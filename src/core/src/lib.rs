//! The computations of lauterd: events and a time in, outputs out.
//!
//! Nothing here reads a clock, a file, a socket or the environment, and nothing starts a thread, so that a
//! recorded run-off gives the same answers as the live one. Modules are listed in the order of their
//! imports: each may use only those above it.

pub mod alarm;
pub mod bed;
pub mod calibration;
pub mod conditioning;
pub mod detect;
pub mod kettle;
pub mod profile;
pub mod projection;
pub mod reading;
pub mod supervisor;
pub mod units;
pub mod washout;
