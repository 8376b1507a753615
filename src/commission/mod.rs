//! What helps an engineer to set instruments up and to prove that they work.
//!
//! Owns what registers and payloads may stand for, what is usual for a quantity, a listener at the broker, and the
//! sheet of an acceptance. It reads and listens; nothing here writes to an instrument.

pub mod candidates;
pub mod expected;
pub mod hearing;
pub mod payloads;
pub mod plausible;
pub mod sheet;
