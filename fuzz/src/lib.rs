//! The targets of fuzzing; the binaries beside it only call them.

pub mod targets;
