//! Specific gravity 20/20, as hydrometers and sugar tables have it (in air) and as density meters have it (in vacuum).
//!
//! Owns the difference between the two. Feeding a vacuum SG to a table made in air costs about 0.015 °P, a third of
//! what a good meter is bought for, so both are spelled out and `sg` in a configuration always means *in air*.

use super::density::{GRAVITY_HIGH_P, GRAVITY_LOW_P, gravity_from_density_p, wort_density_kg_m3};
use super::range::{OutsideRange, within};

/// Temperature of both the wort and the water it is compared with, °C.
const REFERENCE_C: f64 = 20.0;

/// Air at 20 °C, 101.325 kPa, 50 % relative humidity, kg/m³ (the conventional value of OIML R 111).
const AIR_KG_M3: f64 = 1.2;

/// Brass weights in the older sugar tables, kg/m³ (NBS Circular 440: 8.4 g/mL).
const BRASS_KG_M3: f64 = 8400.0;

/// Apparent specific gravity 20/20 °C (weighed in air) of wort of this gravity in °P.
///
/// (ρ − ρ_air)/(ρ_water − ρ_air), which is what a pycnometer gives; the weights' own buoyancy cancels. Source of the
/// definition: USDA technical inspection table of sucrose solutions; ASBC.
pub fn apparent_specific_gravity_from_gravity(gravity_p: f64) -> f64 {
    let water = wort_density_kg_m3(0.0, REFERENCE_C);
    (wort_density_kg_m3(gravity_p, REFERENCE_C) - AIR_KG_M3) / (water - AIR_KG_M3)
}

/// Specific gravity 20/20 °C in vacuum (the ratio of densities) of wort of this gravity in °P.
pub fn vacuum_specific_gravity_from_gravity(gravity_p: f64) -> f64 {
    wort_density_kg_m3(gravity_p, REFERENCE_C) / wort_density_kg_m3(0.0, REFERENCE_C)
}

/// Gravity in °P from apparent specific gravity 20/20 °C (in air).
///
/// # Errors
/// [`OutsideRange`] when it is not the SG of any wort from −2 to 35 °P.
pub fn gravity_from_apparent_specific_gravity_p(sg: f64) -> Result<f64, OutsideRange> {
    checked(
        "specific gravity",
        sg,
        apparent_specific_gravity_from_gravity,
    )?;
    let water = wort_density_kg_m3(0.0, REFERENCE_C);
    from_reference_density(AIR_KG_M3 + sg * (water - AIR_KG_M3))
}

/// Gravity in °P from specific gravity 20/20 °C in vacuum.
///
/// # Errors
/// [`OutsideRange`] when it is not the SG of any wort from −2 to 35 °P.
pub fn gravity_from_vacuum_specific_gravity_p(sg: f64) -> Result<f64, OutsideRange> {
    checked(
        "vacuum specific gravity",
        sg,
        vacuum_specific_gravity_from_gravity,
    )?;
    from_reference_density(sg * wort_density_kg_m3(0.0, REFERENCE_C))
}

/// What a cubic metre of wort weighs in air against brass weights, kg/m³: the basis of the older sugar tables.
pub fn weight_in_air_kg_m3(density_kg_m3: f64) -> f64 {
    (density_kg_m3 - AIR_KG_M3) / (1.0 - AIR_KG_M3 / BRASS_KG_M3)
}

fn checked(
    quantity: &'static str,
    sg: f64,
    from_gravity: fn(f64) -> f64,
) -> Result<f64, OutsideRange> {
    let range = (from_gravity(GRAVITY_LOW_P), from_gravity(GRAVITY_HIGH_P));
    within(quantity, sg, range, "sg")
}

/// The range is already checked; the clamp takes up the last rounding at its ends.
fn from_reference_density(density_kg_m3: f64) -> Result<f64, OutsideRange> {
    let low = wort_density_kg_m3(GRAVITY_LOW_P, REFERENCE_C);
    let high = wort_density_kg_m3(GRAVITY_HIGH_P, REFERENCE_C);
    gravity_from_density_p(density_kg_m3.clamp(low, high), REFERENCE_C)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// USDA apparent specific gravity 20/20 in air. 3e-5, which is 0.008 °P: the table rests on the densities of 1918
    /// (NBS Circular 440), which lie up to 0.02 kg/m³ above today's.
    #[test]
    fn apparent_specific_gravity_is_that_of_the_usda_table() {
        for (p, sg) in [(3.8, 1.01490), (4.0, 1.01569), (7.6, 1.03017)] {
            let got = apparent_specific_gravity_from_gravity(p);
            assert!((got - sg).abs() <= 3e-5, "{p} °Bx: {got} against {sg}");
        }
    }

    /// NBS Circular 440, weight in air, lb per US gallon. 0.001: the table's last digit.
    #[test]
    fn weight_in_air_is_that_of_nbs_circular_440() {
        let pound_per_gallon = 0.45359237 / 3.785411784e-3;
        for (p, weight) in [(0.0, 8.322), (1.0, 8.354), (5.0, 8.486)] {
            let got = weight_in_air_kg_m3(wort_density_kg_m3(p, 20.0)) / pound_per_gallon;
            assert!(
                (got - weight).abs() <= 1e-3,
                "{p} %: {got} against {weight}"
            );
        }
    }

    /// Derived: mixing up air and vacuum costs about 0.015 °P at 12 °P.
    #[test]
    fn vacuum_specific_gravity_in_a_table_made_in_air_costs_a_hundredth_of_a_plato() {
        let vacuum = vacuum_specific_gravity_from_gravity(12.0);
        let wrong = gravity_from_apparent_specific_gravity_p(vacuum).unwrap();
        let cost = 12.0 - wrong;
        assert!((0.010..0.020).contains(&cost), "{cost}");
    }

    #[test]
    fn water_has_specific_gravity_one_in_air_and_in_vacuum() {
        assert!((apparent_specific_gravity_from_gravity(0.0) - 1.0).abs() < 1e-15);
        assert!((vacuum_specific_gravity_from_gravity(0.0) - 1.0).abs() < 1e-15);
    }

    #[test]
    fn specific_gravity_of_no_wort_is_refused() {
        assert!(gravity_from_apparent_specific_gravity_p(1.3).is_err());
        assert!(gravity_from_apparent_specific_gravity_p(f64::NAN).is_err());
        assert!(gravity_from_vacuum_specific_gravity_p(0.9).is_err());
    }

    proptest! {
        #[test]
        fn gravity_survives_the_round_trip_through_specific_gravity(p in -2.0..=35.0f64) {
            let air = apparent_specific_gravity_from_gravity(p);
            prop_assert!((gravity_from_apparent_specific_gravity_p(air).unwrap() - p).abs() < 1e-8);
            let vacuum = vacuum_specific_gravity_from_gravity(p);
            prop_assert!((gravity_from_vacuum_specific_gravity_p(vacuum).unwrap() - p).abs() < 1e-8);
        }
    }
}
