//! Density of wort from gravity and temperature, and back.
//!
//! Owns the sugar-solution density polynomial and its inverse. Wort is taken for a sucrose solution of the same
//! gravity: that is the definition of °P, and the convention behind every brewing table. What the value is
//! used for is not its concern.

use super::range::{OutsideRange, within};

/// Lowest gravity the inverse gives, °P. Below zero has no physical meaning, but a meter with noise or a small
/// offset reads there on water, and a filter must see both sides of zero to average to it.
pub const GRAVITY_LOW_P: f64 = -2.0;

/// Highest gravity the inverse gives, °P.
pub const GRAVITY_HIGH_P: f64 = 35.0;

/// Temperatures the inverse accepts, °C.
const TEMPERATURE_C: (f64, f64) = (0.0, 100.0);

/// Rows by power of τ = (t − 20 °C)/100 K, columns by power of the mass fraction, kg/m³. Source: ICUMSA SPS-4 form
/// in Bubník, Kadlec, Urban & Bruhns, *Sugar Technologists Manual*, Bartens 1995, p. 164.
const FRACTION_TERMS: [&[f64]; 5] = [
    &[385.1761, 135.3705, 40.9299, -3.9643, 13.4853, -17.2890],
    &[-46.2720, -7.1720, 1.1597, 5.1126, 17.5254],
    &[59.7712, 7.2491, 12.3630, -35.4791],
    &[-47.2207, -21.6977, 27.6301],
    &[18.3184, 12.3081],
];

/// The form's own water term, numerator by power of t in °C, kg/m³ (same source).
const WATER_NUMERATOR: [f64; 6] = [
    999.83952,
    16.952577,
    -7.9905127e-3,
    -46.241757e-6,
    105.84601e-9,
    -281.03006e-12,
];

/// The water term's denominator is 1 + this × t, 1/°C.
const WATER_DENOMINATOR_PER_C: f64 = 16.887236e-3;

/// Σ coefficients[k]·x^k.
fn polynomial(coefficients: &[f64], x: f64) -> f64 {
    coefficients.iter().rev().fold(0.0, |sum, c| sum * x + c)
}

/// The water term of the form, kg/m³: up to 0.01 below IAPWS-95 at mash temperatures. It is kept, since the sugar
/// terms were fitted on top of it.
fn own_water_kg_m3(temperature_c: f64) -> f64 {
    polynomial(&WATER_NUMERATOR, temperature_c) / (1.0 + WATER_DENOMINATOR_PER_C * temperature_c)
}

/// Density of wort, kg/m³, from gravity in °P (% extract by mass) and temperature in °C.
///
/// Source: ICUMSA SPS-4 form, *Sugar Technologists Manual*, 1995, p. 164; published for 0–100 °C. Slightly negative
/// gravities continue the polynomial smoothly, so that noise about zero stays unbiased.
pub fn wort_density_kg_m3(gravity_p: f64, temperature_c: f64) -> f64 {
    let fraction = gravity_p / 100.0;
    let tau = (temperature_c - 20.0) / 100.0;
    let sugar = FRACTION_TERMS.iter().rev().fold(0.0, |sum, row| {
        sum * tau + polynomial(row, fraction) * fraction
    });
    own_water_kg_m3(temperature_c) + sugar
}

/// How much the density rises with the gravity at constant temperature, (kg/m³)/°P.
pub fn wort_density_slope_kg_m3_per_p(gravity_p: f64, temperature_c: f64) -> f64 {
    let fraction = gravity_p / 100.0;
    let tau = (temperature_c - 20.0) / 100.0;
    let derivative = |row: &[f64]| {
        row.iter()
            .enumerate()
            .rev()
            .fold(0.0, |sum, (k, c)| sum * fraction + c * (k as f64 + 1.0))
    };
    let slope = FRACTION_TERMS
        .iter()
        .rev()
        .fold(0.0, |sum, row| sum * tau + derivative(row));
    slope / 100.0
}

/// Gravity in °P from density in kg/m³ and temperature in °C, to 1e-9 °P.
///
/// Inverts [`wort_density_kg_m3`] for −2 to 35 °P and 0 to 100 °C. The density rises steadily with the
/// gravity there, so Newton's steps from a linear start always arrive.
///
/// # Errors
/// [`OutsideRange`] naming the temperature, or the density with the range that is possible at this temperature.
pub fn gravity_from_density_p(density_kg_m3: f64, temperature_c: f64) -> Result<f64, OutsideRange> {
    within("temperature", temperature_c, TEMPERATURE_C, "°C")?;
    let low = wort_density_kg_m3(GRAVITY_LOW_P, temperature_c);
    let high = wort_density_kg_m3(GRAVITY_HIGH_P, temperature_c);
    within("density", density_kg_m3, (low, high), "kg/m³")?;
    let mut gravity_p =
        GRAVITY_LOW_P + (GRAVITY_HIGH_P - GRAVITY_LOW_P) * (density_kg_m3 - low) / (high - low);
    for _ in 0..MAXIMUM_STEPS {
        let step = (density_kg_m3 - wort_density_kg_m3(gravity_p, temperature_c))
            / wort_density_slope_kg_m3_per_p(gravity_p, temperature_c);
        gravity_p += step;
        if step.abs() < STEP_TOLERANCE_P {
            break;
        }
    }
    Ok(gravity_p.clamp(GRAVITY_LOW_P, GRAVITY_HIGH_P))
}

/// Newton's method doubles its digits each step: six suffice, the rest is a stop for the proof.
const MAXIMUM_STEPS: usize = 20;
const STEP_TOLERANCE_P: f64 = 1e-10;

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// The form's water term lies up to 0.01 kg/m³ below IAPWS-95 up to 80 °C; a larger gap would be a misprint.
    #[test]
    fn own_water_term_stays_close_to_iapws_95() {
        for tenth in 0..=800 {
            let t = f64::from(tenth) / 10.0;
            let gap = super::super::water_density_kg_m3(t) - wort_density_kg_m3(0.0, t);
            assert!((-0.001..=0.01).contains(&gap), "{t} °C: {gap}");
        }
    }

    /// Sensitivities at 75 °C: 1 kg/m³ is about 0.25 °P and 1 K about 0.15 °P (derived from the same form).
    #[test]
    fn sensitivities_at_mash_temperature_are_those_of_the_design() {
        let per_density = 1.0 / wort_density_slope_kg_m3_per_p(12.0, 75.0);
        assert!((per_density - 0.25).abs() < 0.01, "{per_density}");
        let density = wort_density_kg_m3(12.0, 75.0);
        let per_kelvin = gravity_from_density_p(density, 76.0).unwrap() - 12.0;
        assert!((per_kelvin - 0.15).abs() < 0.02, "{per_kelvin}");
    }

    #[test]
    fn density_out_of_range_names_what_is_possible() {
        let error = gravity_from_density_p(1500.0, 20.0).unwrap_err();
        assert_eq!(error.quantity, "density");
        assert!(error.to_string().contains("1500"), "{error}");
        assert_eq!(
            gravity_from_density_p(1040.0, 120.0).unwrap_err().quantity,
            "temperature"
        );
        assert!(gravity_from_density_p(f64::NAN, 20.0).is_err());
        assert!(gravity_from_density_p(1040.0, f64::NAN).is_err());
    }

    proptest! {
        #[test]
        fn gravity_survives_the_round_trip_through_density(p in -2.0..=35.0f64, t in 0.0..=100.0f64) {
            let back = gravity_from_density_p(wort_density_kg_m3(p, t), t).unwrap();
            prop_assert!((back - p).abs() < 1e-8, "{p} °P at {t} °C came back as {back}");
        }

        #[test]
        fn density_rises_with_gravity(p in -2.0..=34.9f64, t in 0.0..=100.0f64, step in 1e-3..0.1f64) {
            prop_assert!(wort_density_kg_m3(p + step, t) > wort_density_kg_m3(p, t));
        }

        /// Above 4 °C everything a brewer runs off expands on heating.
        #[test]
        fn density_falls_with_temperature(p in 0.0..=35.0f64, t in 5.0..=99.0f64, step in 0.01..1.0f64) {
            prop_assert!(wort_density_kg_m3(p, t + step) < wort_density_kg_m3(p, t));
        }

        #[test]
        fn slope_is_the_derivative_of_the_density(p in -1.0..=34.0f64, t in 0.0..=100.0f64) {
            let h = 1e-4;
            let numeric = (wort_density_kg_m3(p + h, t) - wort_density_kg_m3(p - h, t)) / (2.0 * h);
            prop_assert!((numeric - wort_density_slope_kg_m3_per_p(p, t)).abs() < 1e-6);
        }
    }
}
