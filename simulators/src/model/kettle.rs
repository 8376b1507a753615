//! The kettle: masses of water and extract, and the volume as metered on the way in.

use lauter_core::units;

use crate::scenario::Kettle as KettleKeys;

/// Contents of the kettle.
#[derive(Clone, Copy, Debug)]
pub struct Kettle {
    pub water_kg: f64,
    pub extract_kg: f64,
    /// Hot volume: the heel and what passed the meters.
    pub volume_l: f64,
    pub temperature_c: f64,
}

impl Kettle {
    /// A kettle with its heel at the wort's temperature.
    pub fn with_heel(keys: &KettleKeys, temperature_c: f64) -> Self {
        let density = units::wort_density_kg_m3(keys.heel_gravity_p, temperature_c);
        let wort_kg = keys.heel_l * density / 1000.0;
        let extract_kg = wort_kg * keys.heel_gravity_p / 100.0;
        Self {
            water_kg: wort_kg - extract_kg,
            extract_kg,
            volume_l: keys.heel_l,
            temperature_c,
        }
    }

    pub fn fill(&mut self, water_kg: f64, extract_kg: f64, volume_l: f64, temperature_c: f64) {
        self.water_kg += water_kg;
        self.extract_kg += extract_kg;
        self.volume_l += volume_l;
        if self.volume_l > 0.0 {
            self.temperature_c += (temperature_c - self.temperature_c) * volume_l / self.volume_l;
        }
    }

    /// Extract mass over wort mass, °P; none while the kettle is empty.
    pub fn gravity_p(&self) -> Option<f64> {
        let wort_kg = self.water_kg + self.extract_kg;
        (wort_kg > 0.0).then(|| 100.0 * self.extract_kg / wort_kg)
    }
}
