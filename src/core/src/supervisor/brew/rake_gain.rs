//! What a raking regained: runnings above what was forecast for them before it.
//!
//! Owns the forecast from before the rakes and the sum of the extract beyond it. It does not judge whether the rakes did
//! it: a pause or a change of flow meanwhile counts as theirs, which is why it is read soon.

use serde::{Deserialize, Serialize};

use crate::reading::Moment;
use crate::units::wort_density_kg_m3;
use crate::washout::Washout;

/// It is read this long after the rakes have stopped, s: by then the freshly opened bed has reached the pipe. Common
/// practice, no source.
const READ_AFTER_S: f64 = 600.0;

/// One raking whose gain is being summed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct RakeGain {
    forecast: Washout,
    /// Mean of the runnings above the forecast, weighted by volume.
    summed_p_l: f64,
    summed_l: f64,
    extract_kg: f64,
}

/// A gain that has been read.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Gained {
    pub gravity_p: f64,
    pub extract_kg: f64,
}

impl RakeGain {
    /// `washout` as it stands when the rakes start.
    pub fn new(washout: &Washout) -> Self {
        Self {
            forecast: washout.without_bins(),
            summed_p_l: 0.0,
            summed_l: 0.0,
            extract_kg: 0.0,
        }
    }

    /// A step of wort to the kettle after the rakes have started.
    pub fn add(&mut self, runoff_l: f64, volume_l: f64, gravity_p: f64, temperature_c: f64) {
        let above_p = gravity_p - self.forecast.expected(runoff_l).0;
        let mass_kg = volume_l * wort_density_kg_m3(gravity_p, temperature_c) / 1000.0;
        self.summed_p_l += above_p * volume_l;
        self.summed_l += volume_l;
        self.extract_kg += above_p / 100.0 * mass_kg;
    }

    /// The gain, once the rakes have stood long enough; None before, and where nothing ran.
    pub fn read(&self, raked: Moment, now: Moment) -> Option<Gained> {
        (now.since(raked) >= READ_AFTER_S && self.summed_l > 0.0).then(|| Gained {
            gravity_p: self.summed_p_l / self.summed_l,
            extract_kg: self.extract_kg,
        })
    }
}

impl Gained {
    /// In words.
    pub fn told(self) -> String {
        if self.gravity_p > 0.0 {
            format!(
                "After the raking the runnings lay {:.1} °P above the forecast: {:.1} kg of extract regained in ten minutes.",
                self.gravity_p, self.extract_kg
            )
        } else {
            format!(
                "After the raking the runnings lay {:.1} °P below the forecast: no extract regained in ten minutes.",
                -self.gravity_p
            )
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::washout::{Expectation, Parameters};

    fn washout() -> Washout {
        let expectation = Expectation {
            grist_kg: 980.0,
            first_wort_gravity_p: Some(18.0),
            target_gravity_p: 12.4,
            planned_volume_l: 5200.0,
            heel_l: 0.0,
        };
        Washout::new(Parameters::default(), expectation)
    }

    #[test]
    fn wort_a_degree_above_the_forecast_is_a_hundredth_of_its_mass_in_extract() {
        let washout = washout();
        let mut gain = RakeGain::new(&washout);
        for step in 0..600 {
            let runoff_l = 3000.0 + f64::from(step);
            gain.add(runoff_l, 1.0, washout.expected(runoff_l).0 + 1.0, 75.0);
        }
        let raked = Moment::from_seconds(100.0);
        assert_eq!(gain.read(raked, Moment::from_seconds(699.0)), None);
        let gained = gain.read(raked, Moment::from_seconds(700.0)).unwrap();
        assert!((gained.gravity_p - 1.0).abs() < 1e-9, "{gained:?}");
        // 600 L of wort near 1 kg/L.
        assert!((5.8..6.4).contains(&gained.extract_kg), "{gained:?}");
        assert!(gained.told().contains("1.0 °P above"), "{}", gained.told());
    }
}
