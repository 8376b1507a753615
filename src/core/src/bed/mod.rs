//! The grain bed: what holds the wort back.
//!
//! Owns the physics of flow through the bed. Must not know alarms or instruments.

pub mod porous_media;
