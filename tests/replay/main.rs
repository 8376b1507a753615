//! `lauterd replay` on runs that the simulator recorded: the real program, real files.
//!
//! Owns what other programs rely on in its output, the forms a recording may take, and that the answers do not
//! depend on the form. How good the answers are is judged elsewhere, on many brews; here one truth each keeps
//! the forms honest.

mod answers;
mod corrections;
mod folder;
mod forms;
mod gaps;
mod kept;
mod recorded;
mod samples;
mod shape;
mod table;
mod taught;
mod units;
