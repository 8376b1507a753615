//! Quantities and every unit conversion of the program.
//!
//! Owns density–temperature–°P–SG, refractive °Bx, viscosity, the pH temperature shift, pressure, flow and
//! the brewing arithmetic, each with its published source. It knows nothing of instruments, time or brews,
//! so that one formula stands in one place and can be checked against its table.

mod brewing;
mod buffer;
mod current_loop;
mod density;
mod gravity;
mod ph;
mod range;
#[cfg(test)]
mod reference_tables;
mod refractive;
mod specific_gravity;
mod unit;
mod viscosity;
mod water;

pub use brewing::{
    BalanceError, TopUp, Wort, brew_length_l_per_kg, cooling_contraction, extract_kg_per_hl,
    extract_lb_per_us_barrel, extract_yield_percent, mix, runoff_flow_l_min, stop_volume_shift_l,
    top_up,
};
pub use buffer::Buffer;
pub use current_loop::{
    LOOP_FAILURE_HIGH_MA, LOOP_FAILURE_LOW_MA, LOOP_RANGE_HIGH_MA, LOOP_RANGE_LOW_MA, LoopState,
    loop_state, loop_to_span, span_to_loop,
};
pub use density::{
    GRAVITY_HIGH_P, GRAVITY_LOW_P, gravity_from_density_p, wort_density_kg_m3,
    wort_density_slope_kg_m3_per_p,
};
pub use gravity::{ConversionError, gravity_from_p, gravity_to_p};
pub use ph::{nernst_slope_mv_per_ph, ph_at_room, ph_in_process};
pub use range::{OutsideRange, outside_ranges};
pub use refractive::{
    brix_at_20_c, brix_from_gravity_p, brix_from_refractive_index, gravity_from_brix_p,
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
