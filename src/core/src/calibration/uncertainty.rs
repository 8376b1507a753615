//! Combined and expanded uncertainty after JCGM 100 (the GUM).
//!
//! Owns the law of propagation for contributions that do not depend on one another, the effective degrees of freedom
//! (Welch–Satterthwaite, JCGM 100 eq. G.2b) and the coverage factor. It does not know where a contribution comes from.

use serde::{Deserialize, Serialize};
use statrs::distribution::{ContinuousCDF, StudentsT};

/// Where a contribution comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum Source {
    /// The applied value itself, from its certificate: type B, normal.
    Reference,
    /// The scatter of repeated readings: type A.
    Repeatability,
    /// The last digit of the reading: type B, rectangular.
    Resolution,
    /// Up and down differ: type B, rectangular over half the difference.
    Hysteresis,
    /// The temperature at which the applied value was read from its table: type B, normal.
    Temperature,
    /// The formula that makes the applied value from what was measured: type B, rectangular.
    Formula,
}

/// One contribution, as a standard uncertainty in the unit of the result.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Component {
    pub source: Source,
    pub standard: f64,
    /// None: taken as known (type B).
    pub degrees_of_freedom: Option<f64>,
}

/// The uncertainty of a result.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Uncertainty {
    pub components: Vec<Component>,
    pub combined: f64,
    /// Effective degrees of freedom; None where every contribution is taken as known.
    pub degrees_of_freedom: Option<f64>,
    pub coverage_factor: f64,
    pub expanded: f64,
}

/// The coverage probability of two standard deviations of the normal distribution.
const COVERAGE: f64 = 0.9545;

/// Combines contributions that do not depend on one another; `enough_freedom` as in `Parameters`.
pub fn combine(components: Vec<Component>, enough_freedom: f64) -> Uncertainty {
    let combined = components
        .iter()
        .map(|component| component.standard * component.standard)
        .sum::<f64>()
        .sqrt();
    let uncertain: f64 = components
        .iter()
        .filter_map(|component| Some(component.standard.powi(4) / component.degrees_of_freedom?))
        .sum();
    let degrees_of_freedom = (uncertain > 0.0).then(|| combined.powi(4) / uncertain);
    let coverage_factor = coverage_factor(degrees_of_freedom, enough_freedom);
    Uncertainty {
        components,
        combined,
        degrees_of_freedom,
        coverage_factor,
        expanded: coverage_factor * combined,
    }
}

/// 2, or Student's factor for the same coverage where few repeats stand behind the result. Degrees of freedom are cut to
/// the whole number below, as JCGM 100 G.4.1 allows.
pub fn coverage_factor(degrees_of_freedom: Option<f64>, enough_freedom: f64) -> f64 {
    let Some(freedom) = degrees_of_freedom.filter(|freedom| *freedom < enough_freedom) else {
        return 2.0;
    };
    StudentsT::new(0.0, 1.0, freedom.floor().max(1.0)).map_or(2.0, |student| {
        student.inverse_cdf(0.5 + 0.5 * COVERAGE).max(2.0)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// JCGM 100 table G.2, 95.45 %. 0.006: its last digit.
    #[test]
    fn coverage_factors_are_those_of_the_gum() {
        for (freedom, factor) in [
            (1.0, 13.97),
            (2.0, 4.53),
            (3.0, 3.31),
            (4.0, 2.87),
            (5.0, 2.65),
            (6.0, 2.52),
            (7.0, 2.43),
            (8.0, 2.37),
            (9.0, 2.32),
            (10.0, 2.28),
            (20.0, 2.13),
        ] {
            let got = coverage_factor(Some(freedom), 50.0);
            assert!((got - factor).abs() < 6e-3, "{freedom}: {got}");
        }
        for (freedom, factor) in [(Some(4.9), 2.87), (Some(50.0), 2.0), (None, 2.0)] {
            let got = coverage_factor(freedom, 50.0);
            assert!((got - factor).abs() < 6e-3, "{freedom:?}: {got}");
        }
    }

    /// JCGM 100 H.1, the end gauge: 25 nm (18 degrees of freedom), 5.8 (24), 3.9 (5), 6.7 (8), 2.9 (50) and 16.6 nm (2).
    /// The guide rounds to 32 nm and 16.
    #[test]
    fn the_end_gauge_of_the_gum_has_its_uncertainty_and_its_freedom() {
        let components = [
            (25.0, 18.0),
            (5.8, 24.0),
            (3.9, 5.0),
            (6.7, 8.0),
            (2.9, 50.0),
            (16.6, 2.0),
        ]
        .map(|(standard, freedom)| Component {
            source: Source::Reference,
            standard,
            degrees_of_freedom: Some(freedom),
        });
        let combined = combine(components.to_vec(), 50.0);
        assert!((combined.combined - 32.0).abs() < 0.5, "{combined:?}");
        let freedom = combined.degrees_of_freedom.unwrap();
        assert!((16.0..17.0).contains(&freedom), "{freedom}");
    }

    #[test]
    fn what_is_taken_as_known_leaves_the_freedom_to_the_rest() {
        let known = Component {
            source: Source::Reference,
            standard: 3.0,
            degrees_of_freedom: None,
        };
        let repeated = Component {
            source: Source::Repeatability,
            standard: 4.0,
            degrees_of_freedom: Some(4.0),
        };
        let combined = combine(vec![known, repeated], 50.0);
        assert!((combined.combined - 5.0).abs() < 1e-12);
        // 5⁴ / (4⁴/4) = 9.77.
        assert!((combined.degrees_of_freedom.unwrap() - 9.765_625).abs() < 1e-12);
        assert_eq!(combine(vec![known], 50.0).degrees_of_freedom, None);
        assert!(combine(Vec::new(), 50.0).expanded.abs() < 1e-12);
    }
}
