//! Stop-point, limits, top-up liquor, all with bands.
//!
//! Owns the carrying forward of kettle gravity from what is believed now, and the rule that chooses among the
//! target, the tannin limits and the kettle's capacity. It advises and knows nothing of alarms.

mod along;
mod answer;
mod course;
mod draws;
mod ensemble;
mod fan;
mod plan;
mod stop;

pub use answer::{Band, Crossing, Stop, StopCause};
pub use draws::Draws;
pub use ensemble::{Crossings, EarlyLimit, Limits, Situation, crossings};
pub use fan::{FanPoint, fan};
pub use plan::{PhBasis, Plan, PlanFault};
pub use stop::{StopRule, boil_off_share, top_up_l};
