//! The units a reading may arrive in, and what kind of quantity each one measures.
//!
//! Owns the spelling of units in configuration and the linear conversions to the program's own units.
//! Gravity units are not linear: `kg/m3`, `sg` and `degBx` go through the physics beside this file.
//! Must not know instruments or where a value came from.

use serde::{Deserialize, Serialize};

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
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
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
