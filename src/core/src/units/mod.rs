//! Quantities and every unit conversion of the program.
//!
//! Owns density–temperature–°P–SG, refractive °Bx, viscosity, the pH temperature shift, pressure, flow and
//! the brewing arithmetic, each with its published source. It knows nothing of instruments, time or brews,
//! so that one formula stands in one place and can be checked against its table.

mod unit;

pub use unit::{Dimension, Unit};
