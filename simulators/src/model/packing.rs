//! How tight the bed is: settling fines, packing under pressure, and what the rakes undo.
//!
//! Owns the factor on the fresh bed's resistance. Must not know lanes or viscosity.

use crate::scenario::Bed as BedKeys;

/// Time constant of loosening while the rakes run, s. Common practice, no source, as all of these.
const LOOSENING_S: f64 = 15.0;

/// Share of the fresh bed's resistance that full raking takes away.
const LOOSENED_SHARE: f64 = 0.2;

/// Time constant of settling again afterwards, s.
const RESETTLING_S: f64 = 1500.0;

/// State of the bed's structure.
#[derive(Clone, Debug)]
pub struct Packing {
    settling: f64,
    planned_volume_l: f64,
    threshold_kpa: f64,
    rate_per_s: f64,
    /// Logarithm of the packing beyond the fresh bed.
    packed: f64,
    /// Packing forced from outside: rate per second and how much of its time is left.
    forced_per_s: f64,
    forced_left_s: f64,
    /// Volume since the fines were last raked up, L.
    settled_volume_l: f64,
    /// 0 (settled) to 1 (freshly raked).
    looseness: f64,
}

impl Packing {
    pub fn fresh(keys: &BedKeys, planned_volume_l: f64) -> Self {
        Self {
            settling: keys.settling,
            planned_volume_l,
            threshold_kpa: keys.compaction_threshold_kpa,
            rate_per_s: keys.compaction_per_h / 3600.0,
            packed: 0.0,
            forced_per_s: 0.0,
            forced_left_s: 0.0,
            settled_volume_l: 0.0,
            looseness: 0.0,
        }
    }

    /// Factor on the fresh bed's resistance. Convex in volume (fines) and in time (packing under pressure).
    pub fn factor(&self) -> f64 {
        let settled = self.settling * (self.settled_volume_l / self.planned_volume_l).powi(2);
        (1.0 + settled) * self.packed.exp() * (1.0 - LOOSENED_SHARE * self.looseness)
    }

    /// Multiplies the resistance by `factor` from now on, exponentially over `over_s`.
    pub fn force(&mut self, factor: f64, over_s: f64) {
        self.forced_per_s = factor.ln() / over_s;
        self.forced_left_s = over_s;
    }

    /// One step at this pressure drop.
    pub fn advance(&mut self, seconds: f64, volume_l: f64, pressure_drop_kpa: f64) {
        let beyond = (pressure_drop_kpa / self.threshold_kpa - 1.0).max(0.0);
        self.packed += self.rate_per_s * beyond * seconds;
        let forced_s = seconds.min(self.forced_left_s);
        self.packed += self.forced_per_s * forced_s;
        self.forced_left_s -= forced_s;
        self.settled_volume_l += volume_l;
        self.looseness *= (-seconds / RESETTLING_S).exp();
    }

    /// One step of raking with a strength of 0 to 1; gives the share of everything that was undone.
    pub fn rake(&mut self, seconds: f64, strength: f64) -> f64 {
        let undone = 1.0 - (-strength * seconds / LOOSENING_S).exp();
        self.packed *= 1.0 - undone;
        self.settled_volume_l *= 1.0 - undone;
        self.looseness += (1.0 - self.looseness) * undone;
        undone
    }
}
