//! What is really so, for those who judge an estimate.

use serde::{Deserialize, Serialize};

/// The true state at one moment. Volumes hot, as metered.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Truth {
    pub elapsed_s: f64,
    /// Runnings at the instruments, after the pipe.
    pub runnings_gravity_p: f64,
    /// pH in the line, hot.
    pub runnings_ph: f64,
    /// pH of the same wort at 20 °C.
    pub runnings_ph_room: f64,
    pub runnings_temperature_c: f64,
    pub turbidity_ebc: f64,
    /// Flow through the meters, to the kettle or back.
    pub flow_l_min: f64,
    /// Everything that passed the meters, L.
    pub metered_volume_l: f64,
    pub sparge_flow_l_min: f64,
    pub kettle_volume_l: f64,
    pub kettle_gravity_p: f64,
    pub kettle_temperature_c: f64,
    /// Extract in the kettle.
    pub extract_kg: f64,
    /// Extract left in tun and pipe.
    pub tun_extract_kg: f64,
    pub pressure_drop_kpa: f64,
    /// Bed resistance at equal viscosity relative to the fresh bed.
    pub relative_resistance: f64,
    /// Share of the flow that the channel takes; 0 without one.
    pub channel_share: f64,
    pub raking: bool,
    pub pump_running: bool,
    pub recirculating: bool,
}

/// Where a limit was crossed.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Crossing {
    pub elapsed_s: f64,
    /// Kettle volume at that moment, L.
    pub volume_l: f64,
}

/// The true crossings; none where it has not happened.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Crossings {
    /// Kettle gravity came down to the target.
    pub target: Option<Crossing>,
    /// Runnings first fell to the gravity floor.
    pub gravity_floor: Option<Crossing>,
    /// Runnings first rose to the pH ceiling, on the plan's basis.
    pub ph_ceiling: Option<Crossing>,
}
