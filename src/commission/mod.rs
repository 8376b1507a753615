//! What helps an engineer to set instruments up.
//!
//! Pure: it is given what was read and says what it may mean.

pub mod candidates;
