//! The record against real files: what is kept, in which order, and what survives a killed process.

#[path = "store/calibration.rs"]
mod calibration;
#[path = "store/copies.rs"]
mod copies;
#[path = "store/damage.rs"]
mod damage;
#[path = "store/delivery.rs"]
mod delivery;
#[path = "store/export.rs"]
mod export;
#[path = "store/fixtures.rs"]
mod fixtures;
#[path = "store/in_place.rs"]
mod in_place;
#[path = "store/opening.rs"]
mod opening;
#[path = "store/packing.rs"]
mod packing;
#[path = "store/process.rs"]
mod process;
#[path = "store/record.rs"]
mod record;
#[path = "store/retention.rs"]
mod retention;
#[path = "store/waiting.rs"]
mod waiting;
