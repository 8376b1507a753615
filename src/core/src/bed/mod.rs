//! The grain bed: its resistance, its course, and the headroom to the limit.

pub mod porous_media;
mod resistance;

pub use resistance::{Bed, Flowing, Parameters};
