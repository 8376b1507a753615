//! The units a reading may arrive in, and what kind of quantity each one measures.
//!
//! Owns the spelling of units in configuration and the linear conversions to the program's own units.
//! Gravity units are not linear: `kg/m3`, `sg` and `degBx` go through the physics beside this file.
//! Must not know instruments or where a value came from.

use serde::{Deserialize, Serialize};

use super::water::ZERO_CELSIUS_K;

/// A unit as written in the configuration.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum Unit {
    #[serde(rename = "kg/m3")]
    KilogramPerCubicMetre,
    #[serde(rename = "degP")]
    DegreePlato,
    #[serde(rename = "sg")]
    SpecificGravity,
    #[serde(rename = "degBx")]
    DegreeBrix,
    #[serde(rename = "L/min")]
    LitrePerMinute,
    #[serde(rename = "L/h")]
    LitrePerHour,
    #[serde(rename = "hL/h")]
    HectolitrePerHour,
    #[serde(rename = "m3/h")]
    CubicMetrePerHour,
    #[serde(rename = "L")]
    Litre,
    #[serde(rename = "hL")]
    Hectolitre,
    #[serde(rename = "m3")]
    CubicMetre,
    #[serde(rename = "%")]
    Percent,
    #[serde(rename = "kPa")]
    Kilopascal,
    #[serde(rename = "mbar")]
    Millibar,
    #[serde(rename = "Pa")]
    Pascal,
    #[serde(rename = "mmH2O")]
    MillimetreOfWater,
    #[serde(rename = "EBC")]
    Ebc,
    #[serde(rename = "NTU")]
    Ntu,
    #[serde(rename = "FNU")]
    Fnu,
    #[serde(rename = "degC")]
    Celsius,
    #[serde(rename = "degF")]
    Fahrenheit,
    #[serde(rename = "K")]
    Kelvin,
    #[serde(rename = "pH")]
    Ph,
    #[serde(rename = "bool")]
    Bool,
    /// A current loop; the instrument's span says what it stands for.
    #[serde(rename = "mA")]
    Milliampere,
}

/// What kind of quantity a unit measures.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Dimension {
    Gravity,
    Flow,
    Volume,
    Pressure,
    Turbidity,
    Temperature,
    Ph,
    Switch,
    /// A current, which stands for another dimension by its span.
    Current,
}

impl Unit {
    pub const ALL: [Self; 25] = [
        Self::KilogramPerCubicMetre,
        Self::DegreePlato,
        Self::SpecificGravity,
        Self::DegreeBrix,
        Self::LitrePerMinute,
        Self::LitrePerHour,
        Self::HectolitrePerHour,
        Self::CubicMetrePerHour,
        Self::Litre,
        Self::Hectolitre,
        Self::CubicMetre,
        Self::Percent,
        Self::Kilopascal,
        Self::Millibar,
        Self::Pascal,
        Self::MillimetreOfWater,
        Self::Ebc,
        Self::Ntu,
        Self::Fnu,
        Self::Celsius,
        Self::Fahrenheit,
        Self::Kelvin,
        Self::Ph,
        Self::Bool,
        Self::Milliampere,
    ];

    pub fn dimension(self) -> Dimension {
        match self {
            Self::KilogramPerCubicMetre
            | Self::DegreePlato
            | Self::SpecificGravity
            | Self::DegreeBrix => Dimension::Gravity,
            Self::LitrePerMinute
            | Self::LitrePerHour
            | Self::HectolitrePerHour
            | Self::CubicMetrePerHour => Dimension::Flow,
            // A level in per cent becomes a volume by the vessel's capacity or strapping table.
            Self::Litre | Self::Hectolitre | Self::CubicMetre | Self::Percent => Dimension::Volume,
            Self::Kilopascal | Self::Millibar | Self::Pascal | Self::MillimetreOfWater => {
                Dimension::Pressure
            }
            Self::Ebc | Self::Ntu | Self::Fnu => Dimension::Turbidity,
            Self::Celsius | Self::Fahrenheit | Self::Kelvin => Dimension::Temperature,
            Self::Ph => Dimension::Ph,
            Self::Bool => Dimension::Switch,
            Self::Milliampere => Dimension::Current,
        }
    }

    /// The spelling used in configuration, messages and publications.
    pub fn name(self) -> &'static str {
        match self {
            Self::KilogramPerCubicMetre => "kg/m3",
            Self::DegreePlato => "degP",
            Self::SpecificGravity => "sg",
            Self::DegreeBrix => "degBx",
            Self::LitrePerMinute => "L/min",
            Self::LitrePerHour => "L/h",
            Self::HectolitrePerHour => "hL/h",
            Self::CubicMetrePerHour => "m3/h",
            Self::Litre => "L",
            Self::Hectolitre => "hL",
            Self::CubicMetre => "m3",
            Self::Percent => "%",
            Self::Kilopascal => "kPa",
            Self::Millibar => "mbar",
            Self::Pascal => "Pa",
            Self::MillimetreOfWater => "mmH2O",
            Self::Ebc => "EBC",
            Self::Ntu => "NTU",
            Self::Fnu => "FNU",
            Self::Celsius => "degC",
            Self::Fahrenheit => "degF",
            Self::Kelvin => "K",
            Self::Ph => "pH",
            Self::Bool => "bool",
            Self::Milliampere => "mA",
        }
    }

    /// Factor and offset to the program's own unit of the dimension, or none when the way there is not a straight
    /// line: L/min, L, kPa, EBC, °C, pH, 0/1.
    fn line(self) -> Option<(f64, f64)> {
        match self {
            Self::LitrePerMinute
            | Self::Litre
            | Self::Kilopascal
            | Self::Ebc
            | Self::Celsius
            | Self::Ph
            | Self::Bool => Some((1.0, 0.0)),
            Self::LitrePerHour => Some((1.0 / 60.0, 0.0)),
            Self::HectolitrePerHour => Some((100.0 / 60.0, 0.0)),
            Self::CubicMetrePerHour => Some((1000.0 / 60.0, 0.0)),
            Self::Hectolitre => Some((100.0, 0.0)),
            Self::CubicMetre => Some((1000.0, 0.0)),
            Self::Millibar => Some((0.1, 0.0)),
            Self::Pascal => Some((1e-3, 0.0)),
            Self::MillimetreOfWater => Some((KILOPASCAL_PER_MM_WATER, 0.0)),
            Self::Ntu | Self::Fnu => Some((1.0 / NTU_PER_EBC, 0.0)),
            Self::Fahrenheit => Some((5.0 / 9.0, -160.0 / 9.0)),
            Self::Kelvin => Some((1.0, -ZERO_CELSIUS_K)),
            Self::KilogramPerCubicMetre
            | Self::DegreePlato
            | Self::SpecificGravity
            | Self::DegreeBrix
            | Self::Percent
            | Self::Milliampere => None,
        }
    }

    /// The value in the program's own unit of the dimension: L/min, L, kPa, EBC, °C, pH, 0/1.
    ///
    /// None for gravities (see [`gravity_to_p`](super::gravity_to_p)), `%` and `mA` (the vessel or the span says
    /// what they stand for).
    pub fn linear_to_base(self, value: f64) -> Option<f64> {
        self.line().map(|(factor, offset)| value * factor + offset)
    }

    /// The value in this unit, from the program's own unit: the inverse of [`Unit::linear_to_base`].
    pub fn linear_from_base(self, base: f64) -> Option<f64> {
        self.line().map(|(factor, offset)| (base - offset) / factor)
    }
}

/// Conventional millimetre of water, 9.80665 Pa (ISO 80000-4), kPa.
const KILOPASCAL_PER_MM_WATER: f64 = 9.80665e-3;

/// 1 EBC formazin unit is 4 NTU: common practice, no source. FNU and NTU are alike in number on formazin (ISO 7027).
const NTU_PER_EBC: f64 = 4.0;

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn every_unit_is_named_as_the_configuration_spells_it() {
        for unit in Unit::ALL {
            let spelled = serde_json::to_value(unit).unwrap();
            assert_eq!(spelled, unit.name());
            assert_eq!(serde_json::from_value::<Unit>(spelled).unwrap(), unit);
        }
    }

    /// Definitions of the units; °F from NIST SP 811.
    #[test]
    fn linear_units_convert_by_their_definitions() {
        for (unit, value, base) in [
            (Unit::LitrePerHour, 3600.0, 60.0),
            (Unit::HectolitrePerHour, 36.0, 60.0),
            (Unit::CubicMetrePerHour, 3.6, 60.0),
            (Unit::Hectolitre, 52.0, 5200.0),
            (Unit::CubicMetre, 5.2, 5200.0),
            (Unit::Millibar, 25.0, 2.5),
            (Unit::Pascal, 2500.0, 2.5),
            (Unit::MillimetreOfWater, 100.0, 0.980665),
            (Unit::Ntu, 4.0, 1.0),
            (Unit::Fnu, 4.0, 1.0),
            (Unit::Fahrenheit, 212.0, 100.0),
            (Unit::Fahrenheit, -40.0, -40.0),
            (Unit::Kelvin, 348.15, 75.0),
            (Unit::Ph, 5.4, 5.4),
            (Unit::Bool, 1.0, 1.0),
        ] {
            let got = unit.linear_to_base(value).unwrap();
            assert!((got - base).abs() < 1e-9, "{value} {}: {got}", unit.name());
        }
    }

    #[test]
    fn units_that_need_more_than_a_line_are_refused() {
        for unit in Unit::ALL {
            let straight = !matches!(unit.dimension(), Dimension::Gravity | Dimension::Current)
                && unit != Unit::Percent;
            assert_eq!(
                unit.linear_to_base(1.0).is_some(),
                straight,
                "{}",
                unit.name()
            );
        }
    }

    proptest! {
        #[test]
        fn a_value_survives_the_round_trip_through_the_base_unit(value in -1e4..1e4f64) {
            for unit in Unit::ALL {
                if let Some(base) = unit.linear_to_base(value) {
                    let back = unit.linear_from_base(base).unwrap();
                    prop_assert!((back - value).abs() < 1e-8, "{}", unit.name());
                }
            }
        }
    }
}
