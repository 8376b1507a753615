//! A physical brewhouse to try a run-off supervisor on: tun, kettle, instruments and their faults.
//!
//! The model washes a bed of parallel stream tubes whose grain releases its extract slowly; a supervisor's
//! estimator must find the stop-point without knowing any of that. From `lauter-core` only the units and the
//! vocabulary of readings are used, so that a mistake in an estimator cannot hide in the model as well.
//!
//! Everything but [`serve`], [`play`] and [`cli`] is pure: a scenario and a seed give the same run-off, bit for bit, and nothing is
//! shared between two brewhouses, so that studies may run them in parallel.

pub mod built_in;
pub mod cli;
pub mod fault;
pub mod instrument;
pub mod lauterd_files;
pub mod model;
pub mod noise;
pub mod play;
pub mod record;
pub mod scenario;
pub mod serve;
pub mod study;

pub use fault::{Fault, FaultError};
pub use instrument::InstrumentReading;
pub use model::{Brewhouse, Crossing, Crossings, Truth};
pub use scenario::{Scenario, ScenarioError};
