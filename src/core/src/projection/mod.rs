//! Stop-point, limits, top-up liquor, all with bands.

mod plan;

pub use plan::{PhBasis, Plan, PlanFault};
