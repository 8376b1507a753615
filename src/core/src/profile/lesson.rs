//! What one finished brew teaches about its tun.
//!
//! Owns the lesson's fields, per kg of grist where another brew is to profit from them, and the marks by which a
//! brew is judged. It does not judge. Numbers are rounded to six digits, so that text gives back the same ones.

use serde::{Deserialize, Serialize};

use crate::projection::PhBasis;

/// The curve that the runnings followed.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct WashoutLesson {
    /// First-wort gravity as seen, °P.
    pub first_wort_gravity_p: f64,
    /// Run-off per kg of grist at which liquor broke through, L/kg.
    pub breakthrough_l_per_kg: f64,
    pub sharpness: f64,
    pub decline: f64,
    pub bend: f64,
}

/// The stop-point, where the kettle came to its target.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct StopLesson {
    /// Run-off per kg of grist at the target, without the heel, L/kg as metered.
    pub volume_l_per_kg: f64,
    /// Extract in the kettle per kg of grist.
    pub extract_kg_per_kg: f64,
}

/// What one raking did to the bed's resistance, 1/m, and to the runnings after it.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct RakeLesson {
    pub before_per_m: f64,
    pub after_per_m: f64,
    /// Runnings above what was forecast before the rakes, mean of the ten minutes after them, °P; None where the run-off
    /// ended sooner.
    #[serde(default)]
    pub gravity_gain_p: Option<f64>,
    /// Extract in them.
    #[serde(default)]
    pub extract_gain_kg: Option<f64>,
}

/// The bed under flow; None where no pressure drop was measured.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct BedLesson {
    /// Median resistance after the first tenth of the run-off, 1/m.
    pub resistance_per_m: Option<f64>,
    /// Greatest flow per area with less than 60 % of the pressure drop limit, L/(min·m²).
    pub safe_flow_l_min_m2: Option<f64>,
    /// Share of the planned volume at which the pressure drop first came above that.
    pub trouble_from_share: Option<f64>,
    pub rakes: Vec<RakeLesson>,
}

/// How pH rose while the extract washed out.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct PhLesson {
    pub basis: PhBasis,
    pub first_wort_ph: f64,
    /// pH gained when the runnings have fallen to a third of the first wort.
    pub rise_ph: f64,
}

/// The marks of the run-off up to the target, by which it is judged.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Quality {
    pub target_reached: bool,
    /// The channelling alarm was annunciated.
    pub channelled: bool,
    /// Instruments contradicted each other.
    pub disagreed: bool,
    /// Time with flow to the kettle, s.
    pub flowing_s: f64,
    /// Shares of it without runnings gravity and without flow measurement.
    pub gravity_missing_share: f64,
    pub flow_missing_share: f64,
}

/// Everything a brew teaches.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct BrewLesson {
    pub brew: String,
    pub recipe: String,
    pub grist_kg: f64,
    pub target_gravity_p: f64,
    /// Planned run-off, without the heel, per kg of grist, L/kg.
    pub planned_l_per_kg: f64,
    pub planned_first_wort_p: Option<f64>,
    pub washout: WashoutLesson,
    /// None where the target was not reached.
    pub stop: Option<StopLesson>,
    pub bed: BedLesson,
    /// None where no pH was read.
    pub ph: Option<PhLesson>,
    pub quality: Quality,
}

/// Six significant digits.
pub(crate) fn rounded(value: f64) -> f64 {
    format!("{value:.5e}").parse().unwrap_or(value)
}

#[cfg(test)]
mod tests {
    use super::rounded;

    #[test]
    fn six_digits_are_kept_whatever_the_size() {
        for (value, expected) in [
            (123456789.0, 123457000.0),
            (-0.00123456789, -0.00123457),
            (0.0, 0.0),
        ] {
            assert!((rounded(value) - expected).abs() <= 1e-12 * f64::abs(expected));
        }
    }
}
