//! The applied value of a check, from what a person really measured.
//!
//! Owns how a buffer, a solution, a hand sample and a weighed tank become a value in the instrument's unit, and how much
//! the temperature matters to it. Formulas and tables are those of `units`.

use serde::{Deserialize, Serialize};
use thiserror::Error;

use crate::units::{
    Buffer, ConversionError, Dimension, OutsideRange, Unit, gravity_from_p, ph_in_process,
    water_density_kg_m3,
};

/// What was applied to the instrument.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(tag = "kind", rename_all = "kebab-case", deny_unknown_fields)]
pub enum Applied {
    /// A value in the unit of the check: a calibrator, a decade box, a column of water.
    Value { value: f64 },
    /// A reference buffer at its temperature.
    Buffer { buffer: Buffer, temperature_c: f64 },
    /// A solution or a hand sample of known gravity; the temperature is that in the instrument and needed for kg/m³.
    Gravity {
        gravity_p: f64,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        temperature_c: Option<f64>,
    },
    /// A hand sample's pH, cooled to 20 °C, while the instrument read wort at a temperature.
    SamplePh { ph: f64, temperature_c: f64 },
    /// Water run into a tank on a scale: what the scale showed in air, and how long it ran.
    WeighedTank {
        mass_kg: f64,
        seconds: f64,
        temperature_c: f64,
    },
}

/// Why there is no applied value.
#[derive(Clone, Debug, PartialEq, Error)]
pub enum ReferenceError {
    #[error("a {kind} cannot be applied to an instrument that reads in {}", .unit.name())]
    DoesNotFit { kind: &'static str, unit: Unit },
    #[error(
        "a weighed tank needs more than 0 kg and more than 0 s; given were {mass_kg} kg and {seconds} s"
    )]
    EmptyTank { mass_kg: f64, seconds: f64 },
    #[error("an applied value is not a number of reasonable size")]
    NotFinite,
    #[error("a temperature of {0} °C is none that a reference can have; allowed is 0 to 110 °C")]
    Temperature(f64),
    #[error(transparent)]
    Outside(#[from] OutsideRange),
    #[error(transparent)]
    Conversion(#[from] ConversionError),
}

/// No instrument of a brewhouse shows more, in whatever unit.
pub(super) const GREATEST: f64 = 1e9;

/// Density of air, kg/m³, and of the weights a scale is adjusted with, kg/m³: the conventions of weighing in air (OIML
/// D 28, from memory).
const AIR_KG_M3: f64 = 1.2;
const WEIGHTS_KG_M3: f64 = 8000.0;

/// Flow into a weighed tank, L/min at the water's temperature, with the buoyancy of air (the principle of ISO 4185).
fn weighed_flow_l_min(mass_kg: f64, seconds: f64, temperature_c: f64) -> f64 {
    let density = water_density_kg_m3(temperature_c);
    let true_kg = mass_kg * (1.0 - AIR_KG_M3 / WEIGHTS_KG_M3) / (1.0 - AIR_KG_M3 / density);
    1e3 * true_kg / density * 60.0 / seconds
}

impl Applied {
    pub fn kind(&self) -> &'static str {
        match self {
            Self::Value { .. } => "value",
            Self::Buffer { .. } => "buffer",
            Self::Gravity { .. } => "gravity",
            Self::SamplePh { .. } => "hand sample of pH",
            Self::WeighedTank { .. } => "weighed tank",
        }
    }

    pub fn temperature_c(&self) -> Option<f64> {
        match *self {
            Self::Value { .. } => None,
            Self::Gravity { temperature_c, .. } => temperature_c,
            Self::Buffer { temperature_c, .. }
            | Self::SamplePh { temperature_c, .. }
            | Self::WeighedTank { temperature_c, .. } => Some(temperature_c),
        }
    }

    /// The applied value in `unit`; `wort_factor` as in [`gravity_from_p`].
    ///
    /// # Errors
    /// [`ReferenceError`]: another quantity, or a value its formula does not reach.
    pub fn value(&self, unit: Unit, wort_factor: f64) -> Result<f64, ReferenceError> {
        let fits = match self {
            Self::Value { .. } => true,
            Self::Buffer { .. } | Self::SamplePh { .. } => unit.dimension() == Dimension::Ph,
            Self::Gravity { .. } => unit.dimension() == Dimension::Gravity,
            Self::WeighedTank { .. } => unit.dimension() == Dimension::Flow,
        };
        if !fits {
            let kind = self.kind();
            return Err(ReferenceError::DoesNotFit { kind, unit });
        }
        if let Some(celsius) = self
            .temperature_c()
            .filter(|it| !(0.0..=110.0).contains(it))
        {
            return Err(ReferenceError::Temperature(celsius));
        }
        let value = match *self {
            Self::Value { value } => value,
            Self::Buffer {
                buffer,
                temperature_c,
            } => buffer.ph(temperature_c)?,
            Self::Gravity {
                gravity_p,
                temperature_c,
            } => gravity_from_p(unit, gravity_p, temperature_c, wort_factor)?,
            Self::SamplePh { ph, temperature_c } => ph_in_process(ph, temperature_c),
            Self::WeighedTank {
                mass_kg,
                seconds,
                temperature_c,
            } => {
                if !(mass_kg > 0.0 && seconds > 0.0) {
                    return Err(ReferenceError::EmptyTank { mass_kg, seconds });
                }
                let flow_l_min = weighed_flow_l_min(mass_kg, seconds, temperature_c);
                unit.linear_from_base(flow_l_min).unwrap_or(f64::NAN)
            }
        };
        if value.abs() <= GREATEST {
            Ok(value)
        } else {
            Err(ReferenceError::NotFinite)
        }
    }

    /// What one kelvin changes the applied value by, in `unit`; nought where no temperature enters.
    pub(super) fn slope_per_k(&self, unit: Unit, wort_factor: f64) -> f64 {
        const HALF_STEP_C: f64 = 0.5;
        let at = |temperature_c: f64| self.at(temperature_c).value(unit, wort_factor).ok();
        let Some(temperature_c) = self.temperature_c() else {
            return 0.0;
        };
        // At an end of a table the step goes one way.
        let low = at(temperature_c - HALF_STEP_C).map(|value| (temperature_c - HALF_STEP_C, value));
        let high =
            at(temperature_c + HALF_STEP_C).map(|value| (temperature_c + HALF_STEP_C, value));
        let here = || at(temperature_c).map(|value| (temperature_c, value));
        match (low.or_else(here), high.or_else(here)) {
            (Some((from_c, from)), Some((to_c, to))) if to_c > from_c => {
                (to - from) / (to_c - from_c)
            }
            _ => 0.0,
        }
    }

    fn at(self, to_c: f64) -> Self {
        match self {
            Self::Value { .. } => self,
            Self::Buffer { buffer, .. } => Self::Buffer {
                buffer,
                temperature_c: to_c,
            },
            Self::Gravity { gravity_p, .. } => Self::Gravity {
                gravity_p,
                temperature_c: Some(to_c),
            },
            Self::SamplePh { ph, .. } => Self::SamplePh {
                ph,
                temperature_c: to_c,
            },
            Self::WeighedTank {
                mass_kg, seconds, ..
            } => Self::WeighedTank {
                mass_kg,
                seconds,
                temperature_c: to_c,
            },
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: 200.0 kg in 240 s of water at 20 °C (998.2072 kg/m³, IAPWS-95). Buoyancy 1.001053: 200.211 kg, 200.570 L,
    /// 50.143 L/min.
    #[test]
    fn a_weighed_tank_gives_the_flow_with_the_buoyancy_of_air() {
        let tank = Applied::WeighedTank {
            mass_kg: 200.0,
            seconds: 240.0,
            temperature_c: 20.0,
        };
        let flow = tank.value(Unit::LitrePerMinute, 1.04).unwrap();
        assert!((flow - 50.143).abs() < 1e-3, "{flow}");
        let hourly = tank.value(Unit::HectolitrePerHour, 1.04).unwrap();
        assert!((hourly - 0.6 * flow).abs() < 1e-9);
        let empty = Applied::WeighedTank {
            mass_kg: 0.0,
            seconds: 240.0,
            temperature_c: 20.0,
        };
        assert!(empty.value(Unit::LitrePerMinute, 1.04).is_err());
    }

    #[test]
    fn a_reference_of_another_quantity_is_refused_in_words() {
        let buffer = Applied::Buffer {
            buffer: Buffer::Phosphate,
            temperature_c: 25.0,
        };
        assert_eq!(buffer.value(Unit::Ph, 1.04), Ok(6.865));
        let error = buffer.value(Unit::Celsius, 1.04).unwrap_err();
        assert!(error.to_string().contains("degC"), "{error}");
        let cold = Applied::Gravity {
            gravity_p: 12.0,
            temperature_c: None,
        };
        assert!(cold.value(Unit::KilogramPerCubicMetre, 1.04).is_err());
        assert_eq!(cold.value(Unit::DegreePlato, 1.04), Ok(12.0));
        assert_eq!(
            Applied::Value { value: f64::NAN }.value(Unit::Ph, 1.04),
            Err(ReferenceError::NotFinite)
        );
    }

    /// A degree more lowers a wort of 12 °P from 1046.44 at 20 °C to 1039.57 at 40 °C (DESIGN's grid): about 0.34 kg/m³ a
    /// degree on the way.
    #[test]
    fn the_temperature_matters_as_the_table_says() {
        let solution = Applied::Gravity {
            gravity_p: 12.0,
            temperature_c: Some(30.0),
        };
        let slope = solution.slope_per_k(Unit::KilogramPerCubicMetre, 1.04);
        assert!((slope + 0.3437).abs() < 0.02, "{slope}");
        let at_the_end = Applied::Buffer {
            buffer: Buffer::Borate,
            temperature_c: 0.0,
        };
        assert!((at_the_end.slope_per_k(Unit::Ph, 1.04) + 0.0138).abs() < 1e-6);
        let plain = Applied::Value { value: 3.0 }.slope_per_k(Unit::Ph, 1.04);
        assert!(plain.abs() < 1e-12, "{plain}");
    }
}
