//! Refractive index and the refractometer's °Bx, and from there to °P.
//!
//! Owns the sucrose scale at 20 °C and the wort factor. A refractometer is calibrated in sucrose; wort carries
//! maltose and dextrins, so its °Bx is divided by a factor of about 1.04 (common practice, no source).

use super::range::{OutsideRange, within};

/// Refractive index of water at 20 °C, sodium D line (ICUMSA 1974).
const WATER_INDEX: f64 = 1.33299;

/// nD − 1.33299 by power of the mass fraction, from the first power on.
///
/// Fitted by least squares to the ICUMSA 1974 table at 0, 1, … 35 % (`tests/reference/refractive_index.csv`); it meets
/// every entry within 7e-6, which is the table's own rounding.
const FRACTION_TERMS: [f64; 3] = [0.14274301, 0.05410385, 0.0173588];

/// The range of the fit, °Bx; slightly below zero for noise about water.
const BRIX_RANGE: (f64, f64) = (-2.5, 40.0);

/// Refractive index nD at 20 °C of a sucrose solution, from °Bx (% by mass), for −2.5 to 40 °Bx.
pub fn refractive_index_from_brix(brix: f64) -> f64 {
    let fraction = brix / 100.0;
    WATER_INDEX
        + FRACTION_TERMS
            .iter()
            .rev()
            .fold(0.0, |sum, c| (sum + c) * fraction)
}

/// °Bx from the refractive index nD at 20 °C, to 1e-9 °Bx.
///
/// # Errors
/// [`OutsideRange`] when the index is not that of a solution from −2.5 to 40 °Bx.
pub fn brix_from_refractive_index(index: f64) -> Result<f64, OutsideRange> {
    let range = (
        refractive_index_from_brix(BRIX_RANGE.0),
        refractive_index_from_brix(BRIX_RANGE.1),
    );
    within("refractive index", index, range, "nD")?;
    let [first, second, third] = FRACTION_TERMS;
    let mut fraction = (index - WATER_INDEX) / first;
    for _ in 0..MAXIMUM_STEPS {
        let slope = first + fraction * (2.0 * second + 3.0 * third * fraction);
        let step = (index - refractive_index_from_brix(100.0 * fraction)) / slope;
        fraction += step;
        if step.abs() < 1e-12 {
            break;
        }
    }
    Ok(100.0 * fraction)
}

/// The curve is nearly straight: Newton's steps settle in four; the rest is a stop for the proof.
const MAXIMUM_STEPS: usize = 20;

/// Temperatures for which the reading can be corrected, °C.
const CORRECTION_C: (f64, f64) = (10.0, 30.0);

/// °Bx at 20 °C from °Bx read at `temperature_c` on a refractometer that does not compensate; inline ones do.
///
/// The correction is (a + b·Bx + c·Bx²)·Δ + (d + e·Bx)·Δ² with Δ = t − 20 °C, fitted by least squares to OIV-MA-AS2-02
/// Table I (10–17 °C, 10–30 %) and to water after IAPWS R9-97 (10–30 °C). It meets those within 0.008 °Bx up to 20 °C; above,
/// only the water is a check, and 0.05 °Bx is a fair allowance at 30 °C.
///
/// # Errors
/// [`OutsideRange`] outside 10 to 30 °C or −2.5 to 40 °Bx.
pub fn brix_at_20_c(brix_read: f64, temperature_c: f64) -> Result<f64, OutsideRange> {
    within("temperature", temperature_c, CORRECTION_C, "°C")?;
    within("reading", brix_read, BRIX_RANGE, "°Bx")?;
    let delta = temperature_c - 20.0;
    let linear = 6.244327e-2 + brix_read * (7.061259e-4 - 1.070547e-5 * brix_read);
    let square = 1.230564e-3 - 2.495969e-5 * brix_read;
    Ok(brix_read + delta * (linear + square * delta))
}

/// Gravity in °P from a refractometer's °Bx at 20 °C and the brewery's wort factor (about 1.04: common practice).
pub fn gravity_from_brix_p(brix: f64, wort_factor: f64) -> f64 {
    brix / wort_factor
}

/// What a refractometer shows on wort of this gravity, °Bx.
pub fn brix_from_gravity_p(gravity_p: f64, wort_factor: f64) -> f64 {
    gravity_p * wort_factor
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// ICUMSA 1974, nD at 20 °C. 1e-5: the fit's 7e-6 and the table's last digit; four decimals are certain.
    #[test]
    fn refractive_index_is_that_of_the_icumsa_table() {
        for (brix, index) in [
            (0.0, 1.33299),
            (5.0, 1.34026),
            (10.0, 1.34782),
            (15.0, 1.35568),
            (20.0, 1.36384),
            (30.0, 1.38115),
        ] {
            let got = refractive_index_from_brix(brix);
            assert!(
                (got - index).abs() <= 1e-5,
                "{brix} °Bx: {got} against {index}"
            );
        }
    }

    /// OIV-MA-AS2-02 Table I: at 10 °Bx, 15 °C it is −0.32. 0.008: the fit, and the table's rounding of 0.005.
    #[test]
    fn temperature_correction_is_that_of_the_oiv_table() {
        let table = [
            (10.0, [-0.59, -0.62, -0.65, -0.67, -0.69]),
            (12.0, [-0.49, -0.51, -0.53, -0.55, -0.56]),
            (15.0, [-0.32, -0.33, -0.34, -0.35, -0.36]),
            (17.0, [-0.20, -0.20, -0.21, -0.21, -0.22]),
        ];
        for (t, row) in table {
            for (brix, correction) in [10.0, 15.0, 20.0, 25.0, 30.0].into_iter().zip(row) {
                let got = brix_at_20_c(brix, t).unwrap() - brix;
                assert!(
                    (got - correction).abs() < 8e-3,
                    "{brix} °Bx {t} °C: {got} against {correction}"
                );
            }
        }
    }

    /// Index of water computed with PyPI `iapws` 1.5.5 (IAPWS R9-97, 589.3 nm): what a refractometer set to zero at 20 °C
    /// shows on water of another temperature. 0.008: the fit.
    #[test]
    fn temperature_correction_brings_warm_water_back_to_zero() {
        let at_20_c = 1.3333491;
        for (t, index) in [
            (10.0, 1.3340629),
            (15.0, 1.3337541),
            (25.0, 1.3328583),
            (30.0, 1.3322898),
        ] {
            let read = brix_from_refractive_index(WATER_INDEX + index - at_20_c).unwrap();
            let corrected = brix_at_20_c(read, t).unwrap();
            assert!(
                corrected.abs() < 8e-3,
                "{t} °C: read {read}, corrected {corrected}"
            );
        }
    }

    #[test]
    fn temperature_correction_ends_with_its_table() {
        assert!(brix_at_20_c(10.0, 65.0).is_err());
        assert!((brix_at_20_c(10.0, 20.0).unwrap() - 10.0).abs() < 1e-12);
    }

    #[test]
    fn an_index_of_no_wort_is_refused() {
        assert!(brix_from_refractive_index(1.30).is_err());
        assert!(brix_from_refractive_index(f64::NAN).is_err());
    }

    proptest! {
        #[test]
        fn brix_survives_the_round_trip_through_the_index(brix in -2.5..=40.0f64) {
            let back = brix_from_refractive_index(refractive_index_from_brix(brix)).unwrap();
            prop_assert!((back - brix).abs() < 1e-8);
        }

        #[test]
        fn index_rises_with_brix(brix in -2.5..39.0f64, step in 1e-3..1.0f64) {
            prop_assert!(refractive_index_from_brix(brix + step) > refractive_index_from_brix(brix));
        }
    }
}
