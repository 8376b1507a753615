//! Washing of a bed in theory: plug flow with axial dispersion, liquor displacing wort.
//!
//! Owns the exact solutions that a transport simulation must meet and a forecast curve may not leave. Real runnings
//! also carry the slow release from the grist, which is not here. Dimensionless throughout: `bed_volumes` is liquor
//! passed over liquid held in the bed, the Péclet number is velocity × depth / dispersion, and every function gives
//! the share of the liquid at the outlet that is liquor, 0 to 1 (runnings gravity falls as 1 − share).

use crate::units::OutsideRange;

/// Péclet numbers the series is summed for: above, cancellation would cost more than 1e-5 of the answer.
const SERIES_PECLET: (f64, f64) = (0.01, 60.0);

/// Péclet numbers of the Ogata–Banks solution: above, its exponential overflows.
const OGATA_BANKS_PECLET: (f64, f64) = (0.01, 600.0);

/// Terms beyond this share of the sum's scale cannot change the answer.
const NEGLIGIBLE_EXPONENT: f64 = -45.0;

/// At the smallest Péclet number and the smallest volume treated, the terms are used up long before.
const MAXIMUM_TERMS: u32 = 5_000;

fn checked_peclet(peclet: f64, (low, high): (f64, f64)) -> Result<f64, OutsideRange> {
    if (low..=high).contains(&peclet) {
        Ok(peclet)
    } else {
        Err(OutsideRange {
            quantity: "Péclet number",
            value: peclet,
            low,
            high,
            unit: "(dimensionless)",
        })
    }
}

/// Root k = 1, 2, … of μ + 2·atan(2μ/Pe) = kπ. The left side rises steadily, so bisection cannot miss it.
fn eigenvalue(k: u32, peclet: f64) -> f64 {
    use std::f64::consts::PI;
    let target = f64::from(k) * PI;
    let (mut low, mut high) = (target - PI, target);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if middle + 2.0 * (2.0 * middle / peclet).atan() < target {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}

/// Brenner: liquor share at the outlet of a bed closed at both ends (Danckwerts' conditions).
///
/// Source: Brenner, *Chem. Eng. Sci.* 17 (1962) 229; here summed over the poles of the transfer function, the
/// same series in another guise. `bed_volumes` at or below zero give zero.
///
/// # Errors
/// [`OutsideRange`] for a Péclet number outside 0.01 to 60.
pub fn brenner_liquor_share(peclet: f64, bed_volumes: f64) -> Result<f64, OutsideRange> {
    checked_peclet(peclet, SERIES_PECLET)?;
    // Before the front's foot the true share is below 1e-9, and the sum only rounding error.
    if bed_volumes <= 0.0 || ogata_banks(peclet, bed_volumes) < 1e-9 {
        return Ok(0.0);
    }
    let mut share = 1.0;
    for k in 1..=MAXIMUM_TERMS {
        let q = 2.0 * eigenvalue(k, peclet) / peclet;
        let curve = 1.0 + q * q;
        let exponent = 0.5 * peclet - 0.25 * peclet * curve * bed_volumes;
        if exponent < NEGLIGIBLE_EXPONENT {
            break;
        }
        let term = 8.0 * q * q * exponent.exp() / (curve * (4.0 + peclet * curve));
        share += if k % 2 == 0 { term } else { -term };
    }
    Ok(share.clamp(0.0, 1.0))
}

/// Ogata–Banks: liquor share at depth L of a semi-infinite bed with constant concentration at the inlet.
///
/// Source: Ogata & Banks, USGS Professional Paper 411-A (1961). `bed_volumes` at or below zero give zero.
///
/// # Errors
/// [`OutsideRange`] for a Péclet number outside 0.01 to 600.
pub fn ogata_banks_liquor_share(peclet: f64, bed_volumes: f64) -> Result<f64, OutsideRange> {
    checked_peclet(peclet, OGATA_BANKS_PECLET)?;
    if bed_volumes <= 0.0 {
        return Ok(0.0);
    }
    Ok(ogata_banks(peclet, bed_volumes))
}

fn ogata_banks(peclet: f64, bed_volumes: f64) -> f64 {
    let scale = (peclet / (4.0 * bed_volumes)).sqrt();
    let direct = libm::erfc(scale * (1.0 - bed_volumes));
    let mirrored = peclet.exp() * libm::erfc(scale * (1.0 + bed_volumes));
    0.5 * (direct + mirrored)
}

/// Variance of the residence time over its mean squared in a bed closed at both ends: 2/Pe − 2/Pe²·(1 − e^−Pe).
///
/// Source: Levenspiel, *Chemical Reaction Engineering*, ch. 13 (van der Laan 1958). Tends to one, the stirred vessel,
/// as the Péclet number tends to zero.
pub fn residence_variance(peclet: f64) -> f64 {
    2.0 / peclet + 2.0 / (peclet * peclet) * (-peclet).exp_m1()
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    const BED_VOLUMES: [f64; 5] = [0.5, 0.75, 1.0, 1.5, 2.0];

    /// Brenner 1962, closed–closed; recomputed with PyPI `mpmath` 1.4.1 (Laplace inversion, 30 digits). 6e-6: half the
    /// last digit.
    #[test]
    fn brenner_outlet_share_is_that_of_the_table() {
        let table = [
            (10.0, [0.06811, 0.31182, 0.58033, 0.88206, 0.97153]),
            (40.0, [0.00093, 0.11387, 0.54348, 0.97550, 0.99956]),
        ];
        for (peclet, row) in table {
            for (volumes, share) in BED_VOLUMES.into_iter().zip(row) {
                let got = brenner_liquor_share(peclet, volumes).unwrap();
                assert!(
                    (got - share).abs() < 6e-6,
                    "Pe {peclet} T {volumes}: {got} against {share}"
                );
            }
        }
    }

    /// Same equation inverted with PyPI `mpmath` 1.4.1. 1e-6 at the series' upper end, 1e-7 elsewhere.
    #[test]
    fn brenner_series_agrees_with_an_independent_inversion() {
        for (peclet, volumes, share, tolerance) in [
            (2.0, 0.25, 0.060918753, 1e-7),
            (2.0, 1.0, 0.62414421, 1e-7),
            (10.0, 0.25, 0.00039665085, 1e-7),
            (40.0, 1.0, 0.54347576, 1e-7),
            (60.0, 0.5, 6.3984807e-5, 1e-6),
            (60.0, 0.75, 0.065371675, 1e-6),
            (60.0, 2.0, 0.99996939, 1e-6),
        ] {
            let got = brenner_liquor_share(peclet, volumes).unwrap();
            assert!(
                (got - share).abs() < tolerance,
                "Pe {peclet} T {volumes}: {got} against {share}"
            );
        }
    }

    /// Ogata & Banks 1961. 6e-6: half the last digit.
    #[test]
    fn ogata_banks_share_is_that_of_the_table() {
        let row = [0.08007, 0.32790, 0.58529, 0.87452, 0.96622];
        for (volumes, share) in BED_VOLUMES.into_iter().zip(row) {
            let got = ogata_banks_liquor_share(10.0, volumes).unwrap();
            assert!(
                (got - share).abs() < 6e-6,
                "T {volumes}: {got} against {share}"
            );
        }
    }

    /// Levenspiel ch. 13: the variance of the closed vessel. The integral of 2T(1 − F) less one, by Simpson's rule.
    #[test]
    fn variance_identity_holds_for_the_series() {
        for peclet in [2.0, 10.0, 40.0] {
            let (steps, end) = (4000, 20.0);
            let h = end / f64::from(steps);
            let integrand = |i: i32| {
                let volumes = f64::from(i) * h;
                2.0 * volumes * (1.0 - brenner_liquor_share(peclet, volumes).unwrap())
            };
            let inner: f64 = (1..steps)
                .map(|i| integrand(i) * if i % 2 == 1 { 4.0 } else { 2.0 })
                .sum();
            let second_moment = (integrand(0) + inner + integrand(steps)) * h / 3.0;
            let variance = second_moment - 1.0;
            let expected = residence_variance(peclet);
            assert!(
                (variance - expected).abs() < 1e-6,
                "Pe {peclet}: {variance} against {expected}"
            );
        }
    }

    #[test]
    fn a_bed_that_mixes_fully_has_the_variance_of_a_stirred_vessel() {
        assert!((residence_variance(1e-3) - 1.0).abs() < 1e-3);
    }

    #[test]
    fn a_peclet_number_the_series_cannot_do_is_refused() {
        assert!(brenner_liquor_share(61.0, 1.0).is_err());
        assert!(brenner_liquor_share(f64::NAN, 1.0).is_err());
        assert!(ogata_banks_liquor_share(601.0, 1.0).is_err());
    }

    proptest! {
        #[test]
        fn liquor_share_only_rises(peclet in 0.05..60.0f64, volumes in 0.0..3.0f64, step in 0.01..0.5f64) {
            let earlier = brenner_liquor_share(peclet, volumes).unwrap();
            let later = brenner_liquor_share(peclet, volumes + step).unwrap();
            prop_assert!((0.0..=1.0).contains(&earlier));
            prop_assert!(later >= earlier - 1e-5, "{earlier} then {later}");
        }

        #[test]
        fn ogata_banks_only_rises(peclet in 0.05..600.0f64, volumes in 0.0..3.0f64, step in 0.01..0.5f64) {
            let earlier = ogata_banks_liquor_share(peclet, volumes).unwrap();
            let later = ogata_banks_liquor_share(peclet, volumes + step).unwrap();
            prop_assert!(later >= earlier - 1e-9 && later <= 1.0 + 1e-9);
        }
    }
}
