//! The process: wort from the mash through bed, pipe and meters to the kettle.
//!
//! Extract and water are conserved as masses. Inside the tun volumes are additive (see [`wort`]), so that a
//! cell of fixed volume needs only its extract to be known; the meters see the density of the published tables.

pub mod bed;
pub mod brewhouse;
pub mod column;
pub mod flow;
pub mod kettle;
pub mod lane;
pub mod packing;
pub mod pipe;
pub mod truth;
pub mod tun;
pub mod turbidity;
pub mod wort;

pub use brewhouse::Brewhouse;
pub use truth::{Crossing, Crossings, Truth};
