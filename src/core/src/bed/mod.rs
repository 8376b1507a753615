//! The grain bed: its resistance, its course, and the headroom to the limit.

mod resistance;

pub use resistance::{Bed, Flowing, Parameters};
