//! Quantities and every unit conversion of the program.
//!
//! Owns density–temperature–°P–SG, refractive °Bx, viscosity, the pH temperature shift, pressure, flow and
//! the brewing arithmetic, each with its published source. It knows nothing of instruments, time or brews,
//! so that one formula stands in one place and can be checked against its table.

mod current_loop;
mod density;
mod gravity;
mod range;
mod refractive;
mod specific_gravity;
mod unit;
mod viscosity;
mod water;

pub use current_loop::{
    LOOP_FAILURE_HIGH_MA, LOOP_FAILURE_LOW_MA, LOOP_RANGE_HIGH_MA, LOOP_RANGE_LOW_MA, LoopState,
    loop_state, loop_to_span, span_to_loop,
};
pub use density::{
    GRAVITY_HIGH_P, GRAVITY_LOW_P, gravity_from_density_p, wort_density_kg_m3,
    wort_density_slope_kg_m3_per_p,
};
pub use gravity::{ConversionError, gravity_from_p, gravity_to_p};
pub use range::OutsideRange;
pub use refractive::{
    brix_from_gravity_p, brix_from_refractive_index, gravity_from_brix_p,
    refractive_index_from_brix,
};
pub use specific_gravity::{
    apparent_specific_gravity_from_gravity, gravity_from_apparent_specific_gravity_p,
    gravity_from_vacuum_specific_gravity_p, vacuum_specific_gravity_from_gravity,
    weight_in_air_kg_m3,
};
pub use unit::{Dimension, Unit};
pub use viscosity::wort_viscosity_mpa_s;
pub use water::{water_density_kg_m3, water_viscosity_mpa_s};
