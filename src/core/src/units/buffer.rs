//! pH reference buffers and their values over temperature.
//!
//! Owns the table of NIST and DIN 19266 and the reading between its points. It does not know what is calibrated with
//! them.

use serde::{Deserialize, Serialize};

use super::range::{OutsideRange, within};

/// A reference buffer of NIST and DIN 19266.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum Buffer {
    /// Potassium hydrogen phthalate, 0.05 mol/kg; nominal 4.01.
    Phthalate,
    /// Equimolal phosphate, 0.025 mol/kg; nominal 6.86.
    Phosphate,
    /// Borax, 0.01 mol/kg; nominal 9.18.
    Borate,
}

/// Temperatures of the table, °C.
const TEMPERATURES_C: [f64; 17] = [
    0.0, 5.0, 10.0, 15.0, 20.0, 25.0, 30.0, 35.0, 40.0, 45.0, 50.0, 55.0, 60.0, 70.0, 80.0, 90.0,
    95.0,
];

/// NIST / DIN 19266 values; those at 0, 20, 25, 40 and 60 °C checked, the others from memory and held against JIS Z 8802
/// and the equations of the NBS below. Above 60 °C the scales of phthalate differ by up to 0.014.
const PHTHALATE: [f64; 17] = [
    4.000, 3.998, 3.997, 3.998, 4.001, 4.005, 4.011, 4.018, 4.027, 4.038, 4.050, 4.064, 4.080,
    4.116, 4.159, 4.210, 4.240,
];
const PHOSPHATE: [f64; 17] = [
    6.984, 6.951, 6.923, 6.900, 6.881, 6.865, 6.853, 6.844, 6.838, 6.834, 6.833, 6.834, 6.836,
    6.845, 6.859, 6.877, 6.886,
];
const BORATE: [f64; 17] = [
    9.464, 9.395, 9.332, 9.276, 9.225, 9.180, 9.139, 9.102, 9.068, 9.038, 9.011, 8.985, 8.962,
    8.921, 8.885, 8.850, 8.833,
];

impl Buffer {
    pub const ALL: [Self; 3] = [Self::Phthalate, Self::Phosphate, Self::Borate];

    /// The spelling in messages and on certificates.
    pub fn name(self) -> &'static str {
        match self {
            Self::Phthalate => "phthalate",
            Self::Phosphate => "phosphate",
            Self::Borate => "borate",
        }
    }

    /// pH of the buffer at a temperature in °C, on straight lines between the table's values (0.002 from the curve).
    ///
    /// # Errors
    /// [`OutsideRange`] outside 0 to 95 °C, where the table ends.
    pub fn ph(self, temperature_c: f64) -> Result<f64, OutsideRange> {
        within("buffer temperature", temperature_c, (0.0, 95.0), "°C")?;
        let table = match self {
            Self::Phthalate => &PHTHALATE,
            Self::Phosphate => &PHOSPHATE,
            Self::Borate => &BORATE,
        };
        let above = TEMPERATURES_C
            .partition_point(|at| *at < temperature_c)
            .clamp(1, table.len() - 1);
        let (from_c, to_c) = (TEMPERATURES_C[above - 1], TEMPERATURES_C[above]);
        let share = (temperature_c - from_c) / (to_c - from_c);
        Ok(table[above - 1] + share * (table[above] - table[above - 1]))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

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

    /// Bates, *J. Res. NBS* 66A (1962) 179: pH(S) = A/T + B + C·T + D·T², constants from memory. Phosphate and borax to
    /// 0.0007 over the whole table; the older phthalate scale lies within 0.014.
    #[test]
    fn the_tables_follow_the_equations_of_the_nbs_to_95_degrees() {
        for (buffer, [a, b, c, d], allowed) in [
            (
                Buffer::Phthalate,
                [1678.30, -9.8357, 0.034946, -2.4804e-5],
                0.014,
            ),
            (
                Buffer::Phosphate,
                [3459.39, -21.0574, 0.073301, -6.2266e-5],
                7e-4,
            ),
            (
                Buffer::Borate,
                [5259.02, -33.1064, 0.114826, -10.7860e-5],
                7e-4,
            ),
        ] {
            for t in TEMPERATURES_C {
                let kelvin = t + 273.15;
                let equation = a / kelvin + b + c * kelvin + d * kelvin.powi(2);
                let got = buffer.ph(t).unwrap();
                assert!(
                    (got - equation).abs() < allowed,
                    "{buffer:?} {t} °C: {got} against {equation}"
                );
            }
        }
    }

    /// JIS Z 8802 (2011) at 70, 80, 90 and 95 °C, two decimals. 0.011: its last digit and the two scales' difference.
    #[test]
    fn hot_buffers_agree_with_jis_z_8802() {
        for (buffer, row) in [
            (Buffer::Phthalate, [4.12, 4.16, 4.20, 4.23]),
            (Buffer::Phosphate, [6.85, 6.86, 6.88, 6.89]),
            (Buffer::Borate, [8.93, 8.89, 8.85, 8.83]),
        ] {
            for (t, ph) in [70.0, 80.0, 90.0, 95.0].into_iter().zip(row) {
                let got = buffer.ph(t).unwrap();
                assert!((got - ph).abs() < 0.011, "{buffer:?} {t} °C: {got}");
            }
        }
    }

    #[test]
    fn a_buffer_beyond_its_table_is_refused() {
        assert!(Buffer::Borate.ph(95.5).is_err());
        assert!(Buffer::Borate.ph(-0.1).is_err());
        assert!(Buffer::Borate.ph(f64::NAN).is_err());
    }
}
