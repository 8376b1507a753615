//! Wort as the model's vessels hold it: additive volumes inside the tun, table density at the meters.
//!
//! Owns the bridge between concentration, gravity and mass. The published tables live in `lauter_core::units`;
//! here only the two specific volumes that make mixing exactly conservative are derived from them.

use lauter_core::units;

/// Specific volumes at the tun's temperature. With `1/rho = (1-x) v_water + x v_extract`, volumes add up on
/// mixing; against the tables this is within 0.05 % from 0 to 22 °P, and no kettle volume depends on it, for
/// what passes the meters is counted as mass over table density.
#[derive(Clone, Copy, Debug)]
pub struct Wort {
    water_l_kg: f64,
    extract_l_kg: f64,
}

impl Wort {
    /// Fitted to water and to 16 °P at this temperature.
    pub fn at(temperature_c: f64) -> Self {
        let water_l_kg = 1000.0 / units::wort_density_kg_m3(0.0, temperature_c);
        let x = 0.16;
        let wort_l_kg = 1000.0 / units::wort_density_kg_m3(100.0 * x, temperature_c);
        Self {
            water_l_kg,
            extract_l_kg: (wort_l_kg - (1.0 - x) * water_l_kg) / x,
        }
    }

    /// Extract in a litre of wort of this gravity, kg/L.
    pub fn concentration_kg_l(&self, gravity_p: f64) -> f64 {
        let x = gravity_p / 100.0;
        x / ((1.0 - x) * self.water_l_kg + x * self.extract_l_kg)
    }

    /// Water in a volume that holds this much extract, kg.
    pub fn water_kg(&self, volume_l: f64, extract_kg: f64) -> f64 {
        (volume_l - extract_kg * self.extract_l_kg) / self.water_l_kg
    }

    /// Gravity of wort of this concentration, °P.
    pub fn gravity_p(&self, concentration_kg_l: f64) -> f64 {
        let water_kg_l = self.water_kg(1.0, concentration_kg_l);
        100.0 * concentration_kg_l / (concentration_kg_l + water_kg_l)
    }
}

#[cfg(test)]
mod tests {
    use super::Wort;
    use lauter_core::units;

    #[test]
    fn gravity_and_concentration_are_each_other_s_inverse() {
        let wort = Wort::at(75.0);
        for gravity_p in [0.0, 0.5, 3.0, 12.4, 22.0] {
            let back = wort.gravity_p(wort.concentration_kg_l(gravity_p));
            assert!((back - gravity_p).abs() < 1e-10);
        }
    }

    #[test]
    fn additive_volumes_stay_within_half_a_per_mille_of_the_tables() {
        let wort = Wort::at(75.0);
        for tenths in 0..=220 {
            let gravity_p = f64::from(tenths) / 10.0;
            let c = wort.concentration_kg_l(gravity_p);
            let additive_kg_m3 = 1000.0 * (c + wort.water_kg(1.0, c));
            let table_kg_m3 = units::wort_density_kg_m3(gravity_p, 75.0);
            assert!(
                (additive_kg_m3 / table_kg_m3 - 1.0).abs() < 5e-4,
                "{gravity_p} °P"
            );
        }
    }
}
