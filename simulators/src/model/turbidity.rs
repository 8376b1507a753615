//! Turbidity of the runnings as they leave the bed.
//!
//! Loose solids are carried out with the volume that passes: exponentially at constant flow. Rakes, an opening
//! channel and sudden flow loosen new ones. A packed bed filters better.

use crate::scenario::Wort;

/// Loose solids that the rakes stir up in a second at full strength, EBC.
const RAKED_EBC_PER_S: f64 = 2.5;

/// Solids that a channel tears off when it opens wholly, EBC.
const CHANNEL_EBC: f64 = 150.0;

/// Solids that a rise of the flow by the planned flow tears off, EBC.
const FLOW_RISE_EBC: f64 = 8.0;

#[derive(Clone, Debug)]
pub struct Turbidity {
    clear_ebc: f64,
    loose_ebc: f64,
    clearing_l: f64,
    planned_flow_l_min: f64,
    last_flow_l_min: f64,
    last_channel_share: f64,
}

/// What stirs the bed in one step.
#[derive(Clone, Copy, Debug)]
pub struct Stirring {
    pub volume_l: f64,
    pub flow_l_min: f64,
    pub rake_strength: f64,
    pub channel_share: f64,
    /// Resistance relative to the fresh bed's.
    pub relative_resistance: f64,
}

impl Turbidity {
    pub fn new(wort: &Wort, bed_mobile_l: f64, planned_flow_l_min: f64) -> Self {
        Self {
            clear_ebc: wort.turbidity_ebc,
            loose_ebc: wort.first_turbidity_ebc,
            clearing_l: wort.clearing_share * bed_mobile_l,
            planned_flow_l_min,
            last_flow_l_min: 0.0,
            last_channel_share: 0.0,
        }
    }

    /// Turbidity of what leaves the bed in this step, EBC.
    pub fn advance(&mut self, seconds: f64, stirring: Stirring) -> f64 {
        self.loose_ebc *= (-stirring.volume_l / self.clearing_l).exp();
        self.loose_ebc += RAKED_EBC_PER_S * stirring.rake_strength * seconds;
        let opened = (stirring.channel_share - self.last_channel_share).max(0.0);
        self.loose_ebc += CHANNEL_EBC * opened;
        let rise = (stirring.flow_l_min - self.last_flow_l_min).max(0.0) / self.planned_flow_l_min;
        // Only what is more than the flow's own unrest tears solids off.
        self.loose_ebc += FLOW_RISE_EBC * (rise - 0.02).max(0.0);
        self.last_flow_l_min = stirring.flow_l_min;
        self.last_channel_share = stirring.channel_share;
        let packed = stirring.relative_resistance.max(0.5);
        (self.clear_ebc + self.loose_ebc) / packed.sqrt()
    }
}
