//! What all run-offs of one projection share.
//!
//! Owns the grid of volumes along which they are played and the table of gravities at which pH laws meet the
//! ceiling. Both are worked out once for a projection, because the ensemble asks them thousands of times.

use crate::washout::{Acidity, Discrepancy};

use super::along::Between;
use super::draws::STEPS;

/// Each step is longer than the one before by this factor: far ahead the doubt is wide anyway.
const GROWTH: f64 = 1.035;

/// One stretch of the run-off ahead, L from now.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Step {
    pub start_l: f64,
    pub length_l: f64,
    /// Logarithm of the run-off volume at its middle.
    pub ln_middle: f64,
    /// How much of the discrepancy lasts from the middle before to this one, and the size of what is new.
    pub rho: f64,
    pub kick: f64,
    /// How the gravity here follows from those of the steps before and after; nothing at both ends.
    pub between: Between,
}

/// The stretches up to the horizon.
#[derive(Clone, Debug, PartialEq)]
pub struct Grid {
    pub steps: [Step; STEPS],
    /// Logarithm of the run-off volume now.
    pub ln_now: f64,
}

impl Grid {
    pub fn new(runoff_l: f64, horizon_l: f64, discrepancy: Discrepancy) -> Self {
        let mut length_l = horizon_l * (GROWTH - 1.0) / (GROWTH.powf(STEPS as f64) - 1.0);
        let mut start_l = 0.0;
        let mut middle_before_l = 0.0;
        let mut middles_l = [0.0; STEPS];
        let mut steps: [Step; STEPS] = std::array::from_fn(|step| {
            let middle_l = start_l + 0.5 * length_l;
            let rho = discrepancy.correlation(middle_l - middle_before_l);
            let new = Step {
                start_l,
                length_l,
                ln_middle: (runoff_l + middle_l).max(1.0).ln(),
                between: Between::default(),
                rho,
                kick: discrepancy.standard_deviation * (1.0 - rho * rho).sqrt(),
            };
            middle_before_l = middle_l;
            middles_l[step] = (runoff_l + middle_l).max(1.0);
            start_l += length_l;
            length_l *= GROWTH;
            new
        });
        for (step, around) in steps[1..].iter_mut().zip(middles_l.windows(3)) {
            step.between = Between::new(around[0], around[1], around[2]);
        }
        Self {
            steps,
            ln_now: runoff_l.max(1.0).ln(),
        }
    }
}

/// Rows of the table, from unwashed to a share of exp(-5), below which no law holds.
const ROWS: usize = 51;
const SPACING: f64 = 0.1;

/// True pH expected along the washing, with its doubt: the law's and the electrode's.
#[derive(Clone, Debug, PartialEq)]
pub struct CeilingTable {
    ph_ceiling: f64,
    first_row: usize,
    rows: [(f64, f64); ROWS],
}

impl CeilingTable {
    pub fn new(acidity: &Acidity, ph_ceiling: f64) -> Self {
        Self {
            ph_ceiling,
            first_row: ((acidity.last_washing() / SPACING) as usize).min(ROWS - 1),
            rows: std::array::from_fn(|row| acidity.expected_truth_at(row as f64 * SPACING)),
        }
    }

    /// Share of the first wort's gravity at which the law that is `z` standard deviations off meets the ceiling;
    /// nought where it never does. What the washing has passed already counts no more.
    pub fn share_left(&self, z: f64) -> f64 {
        let ph = |row: usize| {
            let (mean, standard_deviation) = self.rows[row];
            mean + standard_deviation * z
        };
        let Some(row) = (self.first_row..ROWS).find(|row| ph(*row) >= self.ph_ceiling) else {
            return 0.0;
        };
        if row == self.first_row {
            return f64::INFINITY;
        }
        let (before, here) = (ph(row - 1), ph(row));
        let share = (self.ph_ceiling - before) / (here - before).max(1e-9);
        (-SPACING * (row as f64 - 1.0 + share)).exp()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::washout::AcidityParameters;

    #[test]
    fn the_steps_fill_the_horizon() {
        let discrepancy = Discrepancy {
            standard_deviation: 0.2,
            correlation_length_l: 500.0,
        };
        let grid = Grid::new(2000.0, 3000.0, discrepancy);
        let last = grid.steps[STEPS - 1];
        assert!((last.start_l + last.length_l - 3000.0).abs() < 1e-6);
        assert!(
            (grid.steps[0].ln_middle.exp() - 2000.0 - 0.5 * grid.steps[0].length_l).abs() < 1e-6
        );
    }

    #[test]
    fn the_ceiling_is_met_where_the_law_says() {
        let acidity = Acidity::new(AcidityParameters {
            first_wort_ph: 5.4,
            rise_ph: 0.3,
            share_rise_ph: 0.0,
            late_rise_ph: 0.0,
            ..AcidityParameters::default()
        });
        let share = CeilingTable::new(&acidity, 6.0).share_left(0.0);
        // 5.4 + 0.3 ln(1 / share) = 6.0
        assert!((share - (-2.0_f64).exp()).abs() < 1e-9, "{share}");
        assert!(CeilingTable::new(&acidity, 9.0).share_left(0.0) <= 0.0);
    }
}
