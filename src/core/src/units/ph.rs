//! pH of wort between the line and the laboratory, calibration buffers, and the electrode's slope.
//!
//! Owns two different things that both go by "temperature compensation": the electrode's slope, which every meter
//! corrects itself, and the wort's own acidity, which none does. A limit of pH 6 for a cooled sample is about 5.6 in
//! the line, so a value never travels without its basis.

use serde::{Deserialize, Serialize};

use super::range::{OutsideRange, within};
use super::water::ZERO_CELSIUS_K;

/// Fall of wort pH on heating, 1/K: about 0.35 lower at 65 °C and 0.45 lower at 78 °C than at room temperature (Briggs,
/// Boulton, Brookes & Stevens, *Brewing: Science and Practice*, 2004). Both points lie on one straight line.
const WORT_PH_FALL_PER_C: f64 = 0.00777;

/// Room temperature of a laboratory pH, °C.
const ROOM_C: f64 = 20.0;

/// pH the same wort has when cooled to 20 °C, from the pH read at `temperature_c` in °C.
///
/// Source: Briggs et al. 2004; an average over worts, good to about 0.05.
pub fn ph_at_room(ph_process: f64, temperature_c: f64) -> f64 {
    ph_process + WORT_PH_FALL_PER_C * (temperature_c - ROOM_C)
}

/// pH the wort has at `temperature_c` in °C, from the pH of the sample cooled to 20 °C: the inverse of [`ph_at_room`].
pub fn ph_in_process(ph_room: f64, temperature_c: f64) -> f64 {
    ph_room - WORT_PH_FALL_PER_C * (temperature_c - ROOM_C)
}

/// Slope of an ideal pH electrode, mV per pH, at `temperature_c` in °C: R·T·ln 10/F (Nernst; CODATA 2018).
pub fn nernst_slope_mv_per_ph(temperature_c: f64) -> f64 {
    const GAS_CONSTANT_J_MOL_K: f64 = 8.314462618;
    const FARADAY_C_MOL: f64 = 96485.33212;
    1e3 * GAS_CONSTANT_J_MOL_K * (temperature_c + ZERO_CELSIUS_K) * std::f64::consts::LN_10
        / FARADAY_C_MOL
}

/// A reference buffer of NIST and DIN 19266.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Buffer {
    /// Potassium hydrogen phthalate, 0.05 mol/kg; nominal 4.01.
    Phthalate,
    /// Equimolal phosphate, 0.025 mol/kg; nominal 6.86.
    Phosphate,
    /// Borax, 0.01 mol/kg; nominal 9.18.
    Borate,
}

/// Step of the buffer tables, °C; they begin at 0 °C.
const BUFFER_STEP_C: f64 = 5.0;

/// NIST / DIN 19266 values at 0, 5, … 60 °C; those at 0, 20, 25, 40 and 60 °C checked, the others from memory.
const PHTHALATE: [f64; 13] = [
    4.000, 3.998, 3.997, 3.998, 4.001, 4.005, 4.011, 4.018, 4.027, 4.038, 4.050, 4.064, 4.080,
];
const PHOSPHATE: [f64; 13] = [
    6.984, 6.951, 6.923, 6.900, 6.881, 6.865, 6.853, 6.844, 6.838, 6.834, 6.833, 6.834, 6.836,
];
const BORATE: [f64; 13] = [
    9.464, 9.395, 9.332, 9.276, 9.225, 9.180, 9.139, 9.102, 9.068, 9.038, 9.011, 8.985, 8.962,
];

impl Buffer {
    /// pH of the buffer at a temperature in °C, on straight lines between the table's values (0.002 from the curve).
    ///
    /// # Errors
    /// [`OutsideRange`] outside 0 to 60 °C, where the table ends.
    pub fn ph(self, temperature_c: f64) -> Result<f64, OutsideRange> {
        within("buffer temperature", temperature_c, (0.0, 60.0), "°C")?;
        let table = match self {
            Self::Phthalate => &PHTHALATE,
            Self::Phosphate => &PHOSPHATE,
            Self::Borate => &BORATE,
        };
        let position = temperature_c / BUFFER_STEP_C;
        let index = (position as usize).min(table.len() - 2);
        let share = position - index as f64;
        Ok(table[index] + share * (table[index + 1] - table[index]))
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// Briggs et al. 2004: about 0.35 lower at 65 °C, 0.45 lower at 78 °C. 0.005: half the last digit.
    #[test]
    fn wort_reads_lower_in_the_line_than_cooled() {
        assert!((5.8 - ph_in_process(5.8, 65.0) - 0.35).abs() < 0.005);
        assert!((5.8 - ph_in_process(5.8, 78.0) - 0.45).abs() < 0.005);
    }

    /// NIST / DIN 19266 tables. Exact: the values stand in the table.
    #[test]
    fn buffer_values_are_those_of_din_19266() {
        let table = [
            (Buffer::Phthalate, [4.000, 4.001, 4.005, 4.027, 4.080]),
            (Buffer::Phosphate, [6.984, 6.881, 6.865, 6.838, 6.836]),
            (Buffer::Borate, [9.464, 9.225, 9.180, 9.068, 8.962]),
        ];
        for (buffer, row) in table {
            for (t, ph) in [0.0, 20.0, 25.0, 40.0, 60.0].into_iter().zip(row) {
                let got = buffer.ph(t).unwrap();
                assert!((got - ph).abs() < 1e-9, "{buffer:?} {t} °C: {got}");
            }
        }
    }

    /// Hetzer, Durst, Robinson & Bates, *J. Res. NBS* 81A (1977) 21: pH(S) of phthalate over absolute temperature. That
    /// redetermination lies up to 0.003 above the older table from 10 to 35 °C, where electrodes are calibrated, and 0.010 at 0 °C.
    #[test]
    fn phthalate_table_follows_the_equation_of_the_nbs() {
        for t in (0..=60).step_by(5) {
            let kelvin = f64::from(t) + 273.15;
            let equation =
                2073.44 / kelvin - 13.3270 + 0.045199 * kelvin - 3.4846e-5 * kelvin.powi(2);
            let got = Buffer::Phthalate.ph(f64::from(t)).unwrap();
            let allowed = if (10..=35).contains(&t) {
                3.5e-3
            } else {
                0.0105
            };
            assert!(
                (got - equation).abs() < allowed,
                "{t} °C: {got} against {equation}"
            );
        }
    }

    /// JIS Z 8802 lists the same buffers to two decimals. 0.006 for the rounding; its phthalate has an older scale.
    #[test]
    fn phosphate_and_borate_agree_with_jis_z_8802() {
        let phosphate = [
            6.98, 6.95, 6.92, 6.90, 6.88, 6.86, 6.85, 6.84, 6.84, 6.83, 6.83,
        ];
        let borate = [
            9.46, 9.39, 9.33, 9.27, 9.22, 9.18, 9.14, 9.10, 9.07, 9.04, 9.01,
        ];
        for (i, (phosphate, borate)) in phosphate.into_iter().zip(borate).enumerate() {
            let t = i as f64 * 5.0;
            assert!(
                (Buffer::Phosphate.ph(t).unwrap() - phosphate).abs() < 6e-3,
                "{t} °C"
            );
            assert!(
                (Buffer::Borate.ph(t).unwrap() - borate).abs() < 6.1e-3,
                "{t} °C"
            );
        }
    }

    /// R·T·ln 10/F with CODATA 2018. 0.0006 mV: half the last digit.
    #[test]
    fn electrode_slope_is_that_of_nernst() {
        for (t, slope) in [(20.0, 58.167), (25.0, 59.159), (75.0, 69.080)] {
            let got = nernst_slope_mv_per_ph(t);
            assert!((got - slope).abs() <= 6e-4, "{t} °C: {got}");
        }
    }

    #[test]
    fn a_buffer_beyond_its_table_is_refused() {
        assert!(Buffer::Borate.ph(61.0).is_err());
        assert!(Buffer::Borate.ph(f64::NAN).is_err());
    }

    proptest! {
        #[test]
        fn ph_survives_the_round_trip_between_line_and_laboratory(ph in 4.0..8.0f64, t in 0.0..100.0f64) {
            prop_assert!((ph_in_process(ph_at_room(ph, t), t) - ph).abs() < 1e-12);
        }
    }
}
