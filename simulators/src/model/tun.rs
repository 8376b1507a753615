//! Wort above the bed, and the liquor that follows the run-off.

use super::wort::Wort;
use crate::scenario::{Scenario, Sparge, SpargeMode};

/// The mixed layer above the bed.
#[derive(Clone, Debug)]
pub struct Head {
    pub volume_l: f64,
    pub extract_kg: f64,
    /// Litres for each millimetre of depth.
    area_l_mm: f64,
    sparge: Sparge,
    planned_flow_l_min: f64,
    begun: bool,
    batch_on: bool,
    liquor_l: f64,
}

impl Head {
    /// Everything that is neither in the bed nor in the pipe stands above the bed.
    pub fn new(scenario: &Scenario, wort: &Wort, elsewhere_l: f64) -> Self {
        let concentration_kg_l = wort.concentration_kg_l(scenario.plan.first_wort_gravity_p);
        let all_l = scenario.bed.extract_kg_per_kg * scenario.plan.grist_kg / concentration_kg_l;
        let volume_l = (all_l - elsewhere_l).max(0.0);
        Self {
            volume_l,
            extract_kg: volume_l * concentration_kg_l,
            area_l_mm: scenario.tun.bed_area_m2,
            sparge: scenario.sparge.clone(),
            planned_flow_l_min: scenario.plan.planned_volume_l / scenario.plan.runoff_minutes,
            begun: false,
            batch_on: false,
            liquor_l: 0.0,
        }
    }

    /// Concentration of what enters the bed, kg/L.
    pub fn concentration_kg_l(&self) -> f64 {
        if self.volume_l > 1e-9 {
            self.extract_kg / self.volume_l
        } else {
            0.0
        }
    }

    /// Liquor flow for this step, L/min: on and off, or continuous, after the wort above the bed.
    pub fn sparge_flow_l_min(&mut self, runoff_l_min: f64, returned: bool) -> f64 {
        let depth_mm = self.volume_l / self.area_l_mm;
        if depth_mm <= self.sparge.head_mm {
            self.begun = true;
            self.batch_on = true;
        } else if depth_mm >= self.sparge.head_mm + self.sparge.batch_mm {
            self.batch_on = false;
        }
        let spent = self
            .sparge
            .liquor_l
            .is_some_and(|most_l| self.liquor_l >= most_l);
        if !self.begun || spent || returned {
            return 0.0;
        }
        match self.sparge.mode {
            SpargeMode::Continuous => {
                let short = 1.0 - depth_mm / self.sparge.head_mm;
                runoff_l_min * (1.0 + 2.0 * short).clamp(0.0, 1.5)
            }
            SpargeMode::Intermittent if self.batch_on && runoff_l_min > 0.0 => {
                self.sparge.batch_flow_factor * self.planned_flow_l_min.max(runoff_l_min)
            }
            SpargeMode::Intermittent => 0.0,
        }
    }

    /// Adds liquor.
    pub fn add_liquor(&mut self, volume_l: f64) {
        self.volume_l += volume_l;
        self.liquor_l += volume_l;
    }

    /// Adds wort that comes back, or takes away what enters the bed (negative).
    pub fn add(&mut self, volume_l: f64, extract_kg: f64) {
        self.volume_l += volume_l;
        self.extract_kg += extract_kg;
    }

    /// Liquor given so far, L.
    pub fn liquor_l(&self) -> f64 {
        self.liquor_l
    }
}
