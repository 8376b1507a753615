//! Any gravity unit of the configuration to °P and back.
//!
//! Owns which of the four gravity units needs which companion: a density needs the temperature, a refractive °Bx the
//! wort factor. The formulas are beside this file.

use thiserror::Error;

use super::density::{GRAVITY_HIGH_P, GRAVITY_LOW_P, gravity_from_density_p, wort_density_kg_m3};
use super::range::{OutsideRange, within};
use super::refractive::{brix_from_gravity_p, gravity_from_brix_p};
use super::specific_gravity::{
    apparent_specific_gravity_from_gravity, gravity_from_apparent_specific_gravity_p,
};
use super::unit::Unit;

/// Why a value could not be turned into °P.
#[derive(Clone, Copy, Debug, PartialEq, Error)]
pub enum ConversionError {
    /// The unit does not measure gravity.
    #[error("`{}` is not a unit of gravity; use kg/m3, degP, sg or degBx", .0.name())]
    NotAGravity(Unit),
    /// A density without the wort's temperature says nothing about gravity.
    #[error("a density in kg/m3 needs the wort's temperature to become °P")]
    MissingTemperature,
    #[error("wort factor is {0}; it must be above zero (common practice: about 1.04)")]
    WortFactor(f64),
    #[error(transparent)]
    Outside(#[from] OutsideRange),
}

/// Gravity in °P from a value in one of the four gravity units.
///
/// `kg/m3` is the density at `temperature_c`; `sg` is the apparent specific gravity 20/20 °C in air; `degBx` is the
/// refractometer's sucrose scale, corrected to 20 °C, divided by `wort_factor`; `degP` passes when it is possible.
///
/// # Errors
/// [`ConversionError`]: another unit, no temperature for a density, or a value no wort from −2 to 35 °P has.
pub fn gravity_to_p(
    unit: Unit,
    value: f64,
    temperature_c: Option<f64>,
    wort_factor: f64,
) -> Result<f64, ConversionError> {
    match unit {
        Unit::DegreePlato => Ok(plato(value)?),
        Unit::SpecificGravity => Ok(gravity_from_apparent_specific_gravity_p(value)?),
        Unit::KilogramPerCubicMetre => {
            let temperature_c = temperature_c.ok_or(ConversionError::MissingTemperature)?;
            Ok(gravity_from_density_p(value, temperature_c)?)
        }
        Unit::DegreeBrix => {
            let factor = positive(wort_factor)?;
            Ok(plato(gravity_from_brix_p(value, factor))?)
        }
        other => Err(ConversionError::NotAGravity(other)),
    }
}

/// A gravity in °P as a value in one of the four gravity units: the inverse of [`gravity_to_p`].
///
/// # Errors
/// As [`gravity_to_p`].
pub fn gravity_from_p(
    unit: Unit,
    gravity_p: f64,
    temperature_c: Option<f64>,
    wort_factor: f64,
) -> Result<f64, ConversionError> {
    let gravity_p = plato(gravity_p)?;
    match unit {
        Unit::DegreePlato => Ok(gravity_p),
        Unit::SpecificGravity => Ok(apparent_specific_gravity_from_gravity(gravity_p)),
        Unit::KilogramPerCubicMetre => {
            let temperature_c = temperature_c.ok_or(ConversionError::MissingTemperature)?;
            within("temperature", temperature_c, (0.0, 100.0), "°C")?;
            Ok(wort_density_kg_m3(gravity_p, temperature_c))
        }
        Unit::DegreeBrix => Ok(brix_from_gravity_p(gravity_p, positive(wort_factor)?)),
        other => Err(ConversionError::NotAGravity(other)),
    }
}

fn plato(value: f64) -> Result<f64, OutsideRange> {
    within("gravity", value, (GRAVITY_LOW_P, GRAVITY_HIGH_P), "°P")
}

fn positive(wort_factor: f64) -> Result<f64, ConversionError> {
    if wort_factor.is_finite() && wort_factor > 0.0 {
        Ok(wort_factor)
    } else {
        Err(ConversionError::WortFactor(wort_factor))
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    const GRAVITY_UNITS: [Unit; 4] = [
        Unit::KilogramPerCubicMetre,
        Unit::DegreePlato,
        Unit::SpecificGravity,
        Unit::DegreeBrix,
    ];

    #[test]
    fn a_density_without_temperature_is_refused() {
        assert_eq!(
            gravity_to_p(Unit::KilogramPerCubicMetre, 1040.0, None, 1.04),
            Err(ConversionError::MissingTemperature)
        );
    }

    #[test]
    fn a_unit_of_another_quantity_is_refused_by_name() {
        let error = gravity_to_p(Unit::Kilopascal, 1.0, None, 1.04).unwrap_err();
        assert!(error.to_string().contains("kPa"), "{error}");
    }

    #[test]
    fn a_refractometer_reading_is_divided_by_the_wort_factor() {
        let p = gravity_to_p(Unit::DegreeBrix, 10.4, None, 1.04).unwrap();
        assert!((p - 10.0).abs() < 1e-12);
        assert!(gravity_to_p(Unit::DegreeBrix, 10.4, None, 0.0).is_err());
    }

    #[test]
    fn a_gravity_no_wort_has_is_refused_in_every_unit() {
        for (unit, value) in [
            (Unit::KilogramPerCubicMetre, 1300.0),
            (Unit::DegreePlato, 50.0),
            (Unit::SpecificGravity, 1.4),
            (Unit::DegreeBrix, 60.0),
            (Unit::DegreePlato, f64::NAN),
        ] {
            assert!(matches!(
                gravity_to_p(unit, value, Some(75.0), 1.04),
                Err(ConversionError::Outside(_))
            ));
        }
    }

    proptest! {
        #[test]
        fn gravity_survives_the_round_trip_through_every_unit(
            p in -2.0..=35.0f64, t in 0.0..=100.0f64, factor in 0.9..1.1f64
        ) {
            for unit in GRAVITY_UNITS {
                let value = gravity_from_p(unit, p, Some(t), factor).unwrap();
                let clamped = gravity_to_p(unit, value, Some(t), factor);
                // °Bx divides by the factor: the ends of the range may be missed by a rounding.
                if (p.abs() - 35.0).abs() > 1e-9 && (p + 2.0).abs() > 1e-9 {
                    prop_assert!((clamped.unwrap() - p).abs() < 1e-8);
                }
            }
        }
    }
}
