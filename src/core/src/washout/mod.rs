//! The washing of the bed: how the gravity of the runnings falls as liquor displaces wort.
//!
//! Owns the curve of runnings gravity over run-off volume. Must not know alarms or instruments.

pub mod theory;
