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
    within("refractive index", index, range, "nD at 20 °C")?;
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
