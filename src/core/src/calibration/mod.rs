//! Loop checks and corrections: applied values against readings, and what is made of a reading afterwards.
//!
//! Owns the evaluation of a check (error, hysteresis, repeatability, uncertainty, verdict), the finding of a correction
//! from applied values, and its arithmetic. It knows no dates, no people and no record: when a check is due and who made
//! it is the shell's. Nothing here is ever written to an instrument.

mod applied;
mod correction;
mod evaluation;
mod loop_check;
mod parameters;
#[cfg(test)]
mod tests;
mod uncertainty;

pub use applied::{Applied, ReferenceError};
pub use correction::{
    Correction, CorrectionFault, MeasuredPoint, Method, POINTS_BOUND, Rule, Subject,
};
pub use evaluation::{Evaluation, Level, Series, Verdict, evaluate};
pub use loop_check::{CheckFault, Direction, LoopCheck, Point, Reference};
pub use parameters::Parameters;
pub use uncertainty::{Component, Source, Uncertainty, combine, coverage_factor};
